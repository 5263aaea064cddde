//! What every codec besides H.264 promises: held against FFmpeg's command line, MediaInfo and libtiff's tools.

use std::fs;

use serde_json::Value;
use stillpath::encode;
use stillpath::picture::{Frame, Pixels};
use stillpath::plan::DeliveryPlan;
use stillpath::shot::{Av1, Codec, Ffv1, Hevc, Jpeg, Png, Prores, ProresProfile, Samples};
use stillpath::units::Size;

use super::{decoded, delivery, ffprobe, mediainfo, run};

/// The smallest frame that all of them take.
const FRAME: Size = Size { width: 256, height: 128 };

fn hevc() -> Codec {
    Codec::Hevc(Hevc { preset: "ultrafast".into(), ..Hevc::default() })
}

fn av1() -> Codec {
    Codec::Av1(Av1 { preset: 12, ..Av1::from_quality(75.0) })
}

fn prores(profile: ProresProfile) -> Codec {
    Codec::Prores(Prores { profile })
}

fn ffv1(samples: Samples) -> Codec {
    Codec::Ffv1(Ffv1 { samples })
}

/// A frame of a delivery's kind: a texture that drifts, of all depths that its samples have.
fn drifting(plan: &DeliveryPlan, index: u64) -> Frame {
    let mut frame = Frame::new(encode::kind_of(plan), plan.frame);
    let wave = |at: usize, across: usize, most: f64| {
        let (x, y) = ((at % across) as f64 - index as f64, (at / across) as f64);
        (0.5 + 0.3 * (x / 9.0).sin() + 0.15 * (y / 7.0).cos()) * most
    };
    let width = plan.frame.width as usize;
    #[expect(clippy::cast_sign_loss, reason = "waves above 0")]
    match &mut frame.pixels {
        Pixels::Yuv10 { chroma, y, cb, cr } => {
            let own = chroma.size(plan.frame).width as usize;
            y.iter_mut().enumerate().for_each(|(at, code)| *code = 64 + wave(at, width, 876.0) as u16);
            cb.iter_mut().enumerate().for_each(|(at, code)| *code = 300 + wave(at, own, 300.0) as u16);
            cr.iter_mut().enumerate().for_each(|(at, code)| *code = 600 - wave(at, own, 200.0) as u16);
        }
        Pixels::Rgb8(samples) => {
            samples.iter_mut().enumerate().for_each(|(at, code)| *code = wave(at / 3, width, 255.0) as u8);
        }
        Pixels::Rgb16(samples) => {
            let of = |at: usize| wave(at / 3, width, 65_535.0) as u16 ^ (at % 3 * 37) as u16;
            samples.iter_mut().enumerate().for_each(|(at, code)| *code = of(at));
        }
        Pixels::Yuv420 { .. } | Pixels::Planes(_) => unreachable!("none of these codecs takes them"),
    }
    frame
}

/// Makes a delivery in a folder of its own; its path with that.
fn made(plan: &DeliveryPlan, frames: u64) -> (tempfile::TempDir, std::path::PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = encode::output_path(folder.path(), "harbour", plan);
    let mut sink = encode::open(plan, &path, 2).unwrap();
    for index in 0..frames {
        sink.write(&drifting(plan, index)).unwrap();
    }
    assert_eq!(sink.finish().unwrap().frames, frames);
    (folder, path)
}

/// A codec, how its file's name ends, and what FFmpeg's and MediaInfo's command lines have to say of it.
type Row = (Codec, &'static str, &'static [(&'static str, &'static str)], &'static [(&'static str, &'static str)]);

/// MediaInfo and ffprobe name profiles by what the streams declare: HEVC's Main 10 (ITU-T H.265 A.3.3), AV1's Main (its
/// specification, A.2), ProRes's four letters (SMPTE RDD 36), DNxHR's (SMPTE ST 2019-1).
fn rows() -> [Row; 7] {
    [
        (
            hevc(),
            "mp4",
            &[
                ("codec_name", "hevc"),
                ("codec_tag_string", "hvc1"),
                ("profile", "Main 10"),
                ("pix_fmt", "yuv420p10le"),
                ("chroma_location", "left"),
                ("color_range", "tv"),
            ],
            &[("Format", "HEVC"), ("ChromaSubsampling", "4:2:0"), ("BitDepth", "10"), ("colour_range", "Limited")],
        ),
        (
            av1(),
            "mp4",
            &[
                ("codec_name", "av1"),
                ("codec_tag_string", "av01"),
                ("profile", "Main"),
                ("pix_fmt", "yuv420p10le"),
                ("color_range", "tv"),
            ],
            &[("Format", "AV1"), ("ChromaSubsampling", "4:2:0"), ("BitDepth", "10"), ("colour_range", "Limited")],
        ),
        (
            prores(ProresProfile::Hq),
            "mov",
            &[("codec_name", "prores"), ("codec_tag_string", "apch"), ("profile", "HQ"), ("pix_fmt", "yuv422p10le")],
            &[("Format", "ProRes"), ("Format_Profile", "422 HQ"), ("ChromaSubsampling", "4:2:2")],
        ),
        (
            prores(ProresProfile::Full),
            "mov",
            &[("codec_name", "prores"), ("codec_tag_string", "ap4h"), ("profile", "4444"), ("pix_fmt", "yuv444p12le")],
            &[("Format", "ProRes"), ("Format_Profile", "4444"), ("ChromaSubsampling", "4:4:4")],
        ),
        (
            Codec::Dnxhr,
            "mov",
            &[
                ("codec_name", "dnxhd"),
                ("codec_tag_string", "AVdh"),
                ("profile", "DNXHR HQX"),
                ("pix_fmt", "yuv422p10le"),
            ],
            &[("Format", "VC-3"), ("ChromaSubsampling", "4:2:2")],
        ),
        (
            ffv1(Samples::Half),
            "mkv",
            &[("codec_name", "ffv1"), ("pix_fmt", "yuv422p10le"), ("color_range", "tv")],
            &[("Format", "FFV1"), ("ChromaSubsampling", "4:2:2"), ("BitDepth", "10"), ("Compression_Mode", "Lossless")],
        ),
        (
            ffv1(Samples::Full),
            "mkv",
            &[("codec_name", "ffv1"), ("pix_fmt", "yuv444p10le"), ("color_range", "tv")],
            &[("Format", "FFV1"), ("ChromaSubsampling", "4:4:4"), ("BitDepth", "10"), ("Compression_Mode", "Lossless")],
        ),
    ]
}

#[test]
fn every_codec_passes_the_conformance_table() {
    const FRAMES: u64 = 7;
    for (codec, ending, of_ffprobe, of_mediainfo) in rows() {
        let plan = delivery(codec.clone(), FRAME, "24000/1001");
        let (_folder, path) = made(&plan, FRAMES);
        assert_eq!(path.extension().unwrap(), ending, "{codec:?}");
        let (probed, seen) = (ffprobe(&path), mediainfo(&path));
        let stream = &probed["streams"][0];
        let bt709 = ["color_space", "color_transfer", "color_primaries"].map(|field| (field, "bt709"));
        for (field, due) in of_ffprobe.iter().chain(&bt709) {
            assert_eq!(stream[field], *due, "{field} of {codec:?}");
        }
        let tagged = [("ScanType", "Progressive"), ("colour_primaries", "BT.709"), ("matrix_coefficients", "BT.709")];
        // MediaInfo 22.12 reads no scan type of AV1 and FFV1.
        let silent = matches!(codec, Codec::Av1(_) | Codec::Ffv1(_));
        for (field, due) in of_mediainfo.iter().chain(&tagged[usize::from(silent)..]) {
            assert_eq!(seen[field], *due, "{field} of {codec:?}: {seen:#}");
        }
        assert_eq!(stream["sample_aspect_ratio"], "1:1", "{codec:?}");
        assert_eq!((&stream["width"], &stream["height"]), (&FRAME.width.into(), &FRAME.height.into()));
        assert_eq!(stream["r_frame_rate"], "24000/1001", "{codec:?}");
        assert_eq!(stream["start_time"], "0.000000", "{codec:?}");
        assert_eq!(probed["format"]["nb_streams"], 1, "{codec:?}");
        assert_eq!(probed["format"]["tags"]["creation_time"], Value::Null);
        times(&probed, &codec, FRAMES);
        if ending != "mkv" {
            index_comes_first(&path);
        }
    }
}

/// Every frame at its own tick, without a gap; Matroska's at the nearest millisecond.
fn times(probed: &Value, codec: &Codec, frames: u64) {
    let shown: Vec<u64> =
        probed["frames"].as_array().unwrap().iter().map(|frame| frame["pts"].as_u64().unwrap()).collect();
    let due: Vec<u64> = match codec {
        Codec::Ffv1(_) => (0..frames).map(|index| (index as f64 * 1001.0 / 24.0).round() as u64).collect(),
        _ => (0..frames).map(|index| index * 1001).collect(),
    };
    assert_eq!(shown, due, "{codec:?}");
}

fn index_comes_first(path: &std::path::Path) {
    let bytes = fs::read(path).unwrap();
    let at = |name: &[u8]| bytes.windows(4).position(|four| four == name).unwrap();
    assert!(at(b"moov") < at(b"mdat"), "{}", path.display());
}

#[test]
fn what_is_lossless_gives_every_code_back() {
    let cases =
        [(ffv1(Samples::Half), "yuv422p10le"), (ffv1(Samples::Full), "yuv444p10le"), (ffv1(Samples::Rgb), "gbrp16le")];
    for (codec, layout) in cases {
        let plan = delivery(codec.clone(), FRAME, "24");
        let (_folder, path) = made(&plan, 3);
        let seen = decoded(&path, &["-pix_fmt", layout]);
        let due: Vec<u8> = (0..3).flat_map(|index| raw(&drifting(&plan, index))).collect();
        assert!(seen == due, "{codec:?}");
    }
}

/// A frame's planes as FFmpeg's raw video has them: R'G'B' as green, blue and red.
fn raw(frame: &Frame) -> Vec<u8> {
    let words = |plane: &mut dyn Iterator<Item = u16>| plane.flat_map(u16::to_le_bytes).collect::<Vec<u8>>();
    match &frame.pixels {
        Pixels::Yuv10 { y, cb, cr, .. } => {
            [y, cb, cr].into_iter().flat_map(|plane| words(&mut plane.iter().copied())).collect()
        }
        Pixels::Rgb16(samples) => {
            [1, 2, 0].into_iter().flat_map(|at| words(&mut samples.iter().skip(at).step_by(3).copied())).collect()
        }
        _ => unreachable!("not asked for"),
    }
}

#[test]
fn what_loses_something_stays_near_at_the_usual_quality() {
    // 40 dB of smooth waves; 10 bits keep more than 8 could show.
    for codec in [hevc(), av1(), prores(ProresProfile::Hq), prores(ProresProfile::Full), Codec::Dnxhr] {
        let plan = delivery(codec.clone(), FRAME, "24");
        let (_folder, path) = made(&plan, 5);
        let layout = match drifting(&plan, 0).pixels {
            Pixels::Yuv10 { chroma, .. } => match chroma.spacing() {
                (2, 2) => "yuv420p10le",
                (2, 1) => "yuv422p10le",
                _ => "yuv444p10le",
            },
            _ => unreachable!("all of them take 10 bits"),
        };
        let seen = decoded(&path, &["-pix_fmt", layout]);
        let due: Vec<u8> = (0..5).flat_map(|index| raw(&drifting(&plan, index))).collect();
        assert_eq!(seen.len(), due.len(), "{codec:?}");
        let codes = |bytes: &[u8]| {
            bytes.as_chunks().0.iter().map(|code| f64::from(u16::from_le_bytes(*code))).collect::<Vec<_>>()
        };
        let squares: f64 = codes(&seen).iter().zip(codes(&due)).map(|(seen, due)| (seen - due).powi(2)).sum();
        let decibels = 10.0 * (1023.0_f64.powi(2) / (squares / (seen.len() / 2) as f64)).log10();
        assert!(decibels > 40.0, "{codec:?}: {decibels:.1} dB");
    }
}

#[test]
fn sequences_of_every_kind_hold_the_frames_that_were_given() {
    for (codec, ending) in
        [(Codec::Png(Png { depth: 8 }), "png"), (Codec::Tiff, "tif"), (Codec::Jpeg(Jpeg::from_quality(75.0)), "jpg")]
    {
        let plan = delivery(codec.clone(), Size::new(65, 33), "24");
        let (_folder, path) = made(&plan, 3);
        let files = encode::frames_of(&path).unwrap();
        let names: Vec<_> = files.iter().map(|file| file.file_name().unwrap().to_str().unwrap()).collect();
        assert_eq!(names, [0, 1, 2].map(|index| format!("00000{index}.{ending}")), "{codec:?}");
        let frame = drifting(&plan, 1);
        match &frame.pixels {
            Pixels::Rgb8(due) => {
                let seen = decoded(&files[1], &["-pix_fmt", "rgb24", "-sws_flags", "accurate_rnd+full_chroma_int"]);
                let most = seen.iter().zip(due).map(|(seen, due)| seen.abs_diff(*due)).max().unwrap();
                let allowed = if ending == "png" { 0 } else { 8 };
                assert!(most <= allowed, "{codec:?}: {most}");
            }
            Pixels::Rgb16(due) => {
                let seen = decoded(&files[1], &["-pix_fmt", "rgb48le"]);
                assert!(seen == due.iter().flat_map(|code| code.to_le_bytes()).collect::<Vec<u8>>(), "{codec:?}");
            }
            _ => unreachable!("not asked for"),
        }
        if ending == "tif" {
            let told = String::from_utf8(run("tiffinfo", &[files[0].to_str().unwrap()])).unwrap();
            for words in [
                "Bits/Sample: 16",
                "Compression Scheme: AdobeDeflate",
                "Photometric Interpretation: RGB color",
                "Samples/Pixel: 3",
            ] {
                assert!(told.contains(words), "{told}");
            }
        }
        if ending == "jpg" {
            let probed = ffprobe(&files[0]);
            assert_eq!(probed["streams"][0]["pix_fmt"], "yuvj444p");
        }
    }
}

/// SMPTE ST 12-1's labels, in a track of QuickTime's and MP4's (`tmcd`).
#[test]
fn a_timecode_stands_in_a_track_of_its_own() {
    for (codec, rate, label) in [
        (Codec::H264(stillpath::shot::H264::default()), "25", "10:00:00:00"),
        (hevc(), "30000/1001", "00:59:59;28"),
        (prores(ProresProfile::Hq), "24000/1001", "01:02:03:04"),
    ] {
        let mut plan = delivery(codec.clone(), FRAME, rate);
        plan.extras.timecode = Some(label.into());
        let folder = tempfile::tempdir().unwrap();
        let path = encode::output_path(folder.path(), "harbour", &plan);
        let mut sink = encode::open(&plan, &path, 1).unwrap();
        for _ in 0..3 {
            sink.write(&Frame::new(encode::kind_of(&plan), FRAME)).unwrap();
        }
        sink.finish().unwrap();
        let probed = ffprobe(&path);
        let tracks = probed["streams"].as_array().unwrap();
        assert_eq!(tracks.len(), 2, "{codec:?}");
        assert_eq!((&tracks[1]["codec_tag_string"], &tracks[1]["tags"]["timecode"]), (&"tmcd".into(), &label.into()));
        let whole: Value =
            serde_json::from_slice(&run("mediainfo", &["--Output=JSON", path.to_str().unwrap()])).unwrap();
        let other = whole["media"]["track"].as_array().unwrap().iter().find(|track| track["@type"] == "Other").unwrap();
        assert_eq!(other["TimeCode_FirstFrame"], label, "{codec:?}: {other:#}");
    }
}

/// Fault 65: odd size, no rate.
#[test]
fn what_a_codec_cannot_hold_is_refused_with_what_it_takes() {
    let refused = |codec: &Codec, width, height, fps: &str| {
        encode::preflight(codec, Size::new(width, height), fps.parse().unwrap()).unwrap_err()
    };
    let (hq, hqx) = (prores(ProresProfile::Hq), Codec::Dnxhr);
    for (codec, width, height, fps, words) in [
        (&hevc(), 8256, 8256, "24", "HEVC takes up to 35.7 million, and sides of 64 to 16888"),
        (&hevc(), 1281, 720, "24", "HEVC needs even sides, such as 1282x720"),
        (&hevc(), 8192, 4320, "121", "too fast for HEVC: up to 120.89"),
        (&av1(), 1280, 721, "24", "AV1 needs even sides, such as 1280x722"),
        (&av1(), 1280, 32, "24", "AV1 takes 64x64 to 16384x8704"),
        (&av1(), 1280, 720, "250", "too fast for AV1: up to 240"),
        (&hq, 1281, 720, "24", "ProRes needs an even width, such as 1282x720"),
        (&hq, 17_000, 720, "24", "ProRes takes 16x16 to 16384x16384"),
        (&hqx, 128, 128, "24", "DNxHR takes 256x120 to 16384x16384"),
        (&hqx, 1281, 721, "24", "DNxHR needs even sides, such as 1282x722"),
        (&ffv1(Samples::Half), 65, 33, "24", "FFV1 needs an even width, such as 66x33"),
        (&ffv1(Samples::Rgb), 20_000, 20_000, "24", "frames of 20000x20000 are 400 million pixels: FFV1 takes about"),
        (&Codec::Jpeg(Jpeg { quality: 90 }), 70_000, 10, "24", "each side of a JPEG is 1 to 65500 pixels"),
        (&Codec::Tiff, 40_000, 20_000, "24", "each side of a TIFF is 1 to 35"),
    ] {
        let said = refused(codec, width, height, fps);
        assert!(said.contains(words), "{said}");
    }
    assert_eq!(encode::preflight(&ffv1(Samples::Full), Size::new(65, 33), "24".parse().unwrap()), Ok(()));
    let wrong = |codec: Codec| refused(&codec, 256, 128, "24");
    assert!(wrong(Codec::Av1(Av1 { preset: 14, ..Av1::from_quality(75.0) })).contains("available: 0 to 13"));
    assert!(
        wrong(Codec::Hevc(Hevc { preset: "quick".into(), ..Hevc::default() })).contains("x265 has no preset 'quick'")
    );
    assert!(wrong(Codec::Hevc(Hevc { most: Some(10), ..Hevc::default() })).contains("at least 50000"));
}

/// Decoded by others than FFmpeg: OpenH264 and aom behind GStreamer's own reader of MP4, and libde265.
#[test]
fn other_decoders_than_ffmpegs_show_every_frame() {
    const FRAMES: u64 = 20;
    let by_gstreamer = |path: &std::path::Path, parser: &str, decoder: &str| {
        let raw = path.with_extension("raw");
        let (from, to) = (format!("location={}", path.display()), format!("location={}", raw.display()));
        run(
            "gst-launch-1.0",
            &["-q", "filesrc", &from, "!", "qtdemux", "!", parser, "!", decoder, "!", "filesink", &to],
        );
        fs::read(raw).unwrap()
    };
    let by_libde265 = |path: &std::path::Path| {
        let (stream, raw) = (path.with_extension("hevc"), path.with_extension("raw"));
        let copied = ["-v", "error", "-i", path.to_str().unwrap(), "-c", "copy", stream.to_str().unwrap()];
        run("ffmpeg", &copied);
        run("libde265-dec265", &["-q", "-o", raw.to_str().unwrap(), stream.to_str().unwrap()]);
        fs::read(raw).unwrap()
    };
    for codec in [Codec::H264(stillpath::shot::H264::default()), hevc(), av1()] {
        let plan = delivery(codec.clone(), FRAME, "24");
        let folder = tempfile::tempdir().unwrap();
        let path = encode::output_path(folder.path(), "harbour", &plan);
        let mut sink = encode::open(&plan, &path, 1).unwrap();
        let frames: Vec<Frame> = (0..FRAMES)
            .map(|index| {
                if encode::kind_of(&plan).bits() == 8 { super::drifting(FRAME, index) } else { drifting(&plan, index) }
            })
            .collect();
        frames.iter().for_each(|frame| sink.write(frame).unwrap());
        sink.finish().unwrap();
        let seen = match codec {
            Codec::H264(_) => by_gstreamer(&path, "h264parse", "openh264dec"),
            Codec::Av1(_) => by_gstreamer(&path, "av1parse", "av1dec"),
            _ => by_libde265(&path),
        };
        let samples = FRAME.width as usize * FRAME.height as usize * 3 / 2;
        let bytes = if matches!(codec, Codec::H264(_)) { 1 } else { 2 };
        assert_eq!(seen.len(), FRAMES as usize * samples * bytes, "{codec:?}");
        // The last frame's luma, which is lost where an encoder is not emptied.
        let last = &seen[seen.len() - samples * bytes..][..samples * bytes * 2 / 3];
        let squares: f64 = match &frames[FRAMES as usize - 1].pixels {
            Pixels::Yuv420 { y, .. } => last.iter().zip(y).map(|(a, b)| (f64::from(*a) - f64::from(*b)).powi(2)).sum(),
            Pixels::Yuv10 { y, .. } => {
                let words = last.as_chunks().0.iter().map(|word| u16::from_le_bytes(*word));
                words.zip(y).map(|(a, b)| ((f64::from(a) - f64::from(*b)) / 4.0).powi(2)).sum()
            }
            _ => unreachable!("not asked for"),
        };
        let decibels = 10.0 * (255.0_f64.powi(2) / (squares / (samples * 2 / 3) as f64)).log10();
        assert!(decibels > 35.0, "{codec:?}: {decibels:.1} dB");
    }
}

/// A stream that is heavier than its level's Main tier says so in the file's head, and in both parameter sets.
#[test]
fn heavy_hevc_declares_what_it_needs() {
    let size = Size::new(256, 192);
    let plan = delivery(Codec::Hevc(Hevc { crf: 1.0, preset: "ultrafast".into(), most: None, size: None }), size, "60");
    let folder = tempfile::tempdir().unwrap();
    let path = encode::output_path(folder.path(), "harbour", &plan);
    let mut sink = encode::open(&plan, &path, 1).unwrap();
    let mut noise = 1_u32;
    for _ in 0..300 {
        let mut frame = Frame::new(encode::kind_of(&plan), size);
        let Pixels::Yuv10 { y, cb, cr, .. } = &mut frame.pixels else { unreachable!("HEVC has 10 bits") };
        for code in [y, cb, cr].into_iter().flatten() {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *code = 64 + (noise >> 24) as u16 * 3;
        }
        sink.write(&frame).unwrap();
    }
    sink.finish().unwrap();
    // 256 x 192 at 60 is level 2 (ITU-T H.265, Table A.8), whose decoder takes 1.5 Mbit/s and holds as much; noise is
    // more. Table A.8's millions of bits a second, in Main tier and in High tier, from memory.
    let bits = fs::metadata(&path).unwrap().len() * 8 / 5;
    assert!(bits > 1_900_000, "{bits} bits in a second");
    let rows = [
        ("2.1", 3.0, 0.0),
        ("3", 6.0, 0.0),
        ("3.1", 10.0, 0.0),
        ("4", 12.0, 30.0),
        ("4.1", 20.0, 50.0),
        ("5", 25.0, 100.0),
    ];
    // FFmpeg reads the parameter sets where they stand, MediaInfo the container's record.
    let seen = mediainfo(&path);
    let (level, tier) = (seen["Format_Level"].as_str().unwrap(), seen["Format_Tier"].as_str().unwrap());
    let by_ffmpeg = ffprobe(&path)["streams"][0]["level"].as_f64().unwrap() / 30.0;
    assert_eq!(level, format!("{by_ffmpeg}"), "{tier}");
    let row = rows.iter().find(|(own, ..)| *own == level);
    let carried = row.map(|(_, main, high)| if tier == "High" { *high } else { *main });
    let carried = carried.unwrap_or_else(|| panic!("level {level}, {tier} tier"));
    assert!(carried * 1.2e6 > bits as f64, "level {level}, {tier} tier, for {bits} bits in a second");
    assert_eq!(decoded(&path, &["-pix_fmt", "yuv420p10le"]).len(), 300 * 256 * 192 * 3);
}

/// A cap holds over every second, whatever is in the pictures.
#[test]
fn a_cap_on_bits_a_second_is_kept() {
    let size = Size::new(320, 240);
    for most in [400_000, 1_000_000] {
        for codec in [
            Codec::H264(stillpath::shot::H264 { most: Some(most), preset: "veryfast".into(), ..Default::default() }),
            Codec::Hevc(Hevc { most: Some(most), preset: "ultrafast".into(), ..Hevc::default() }),
        ] {
            let plan = delivery(codec.clone(), size, "24");
            let folder = tempfile::tempdir().unwrap();
            let path = encode::output_path(folder.path(), "harbour", &plan);
            let mut sink = encode::open(&plan, &path, 1).unwrap();
            // Noise, of which every frame is new: far more than either cap.
            let mut noise = 1_u32;
            for _ in 0..72 {
                let mut frame = Frame::new(encode::kind_of(&plan), size);
                let mut next = || {
                    noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    noise >> 24
                };
                match &mut frame.pixels {
                    Pixels::Yuv420 { y, .. } => y.iter_mut().for_each(|code| *code = 16 + (next() % 200) as u8),
                    Pixels::Yuv10 { y, .. } => y.iter_mut().for_each(|code| *code = 64 + (next() * 3) as u16),
                    _ => unreachable!("not asked for"),
                }
                sink.write(&frame).unwrap();
            }
            sink.finish().unwrap();
            let probed = ffprobe(&path);
            let bytes: Vec<u64> = probed["frames"]
                .as_array()
                .unwrap()
                .iter()
                .map(|frame| frame["pkt_size"].as_str().unwrap().parse().unwrap())
                .collect();
            // A decoder that holds a second's bits gets through: two seconds' bits in any one second at most.
            let heaviest = bytes.windows(24).map(|second| 8 * second.iter().sum::<u64>()).max().unwrap();
            assert!(heaviest <= 2 * most, "{codec:?}: {heaviest} bits in a second");
            let mean = 8 * bytes.iter().sum::<u64>() / 3;
            assert!(mean <= most * 5 / 4, "{codec:?}: {mean} bits a second");
        }
    }
}
