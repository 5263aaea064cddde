//! What an H.264 delivery promises: constant to the tick, tagged, High, closed groups, index first.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;
use stillpath::encode;
use stillpath::ffi::ffmpeg;
use stillpath::picture::{Frame, FrameKind, Pixels};
use stillpath::shot::{Codec, H264};
use stillpath::units::{FrameRate, Size};
use stillpath::work::Written;

use super::{SMALL, decoded, delivery, drifting, ffprobe, h264, make, mediainfo, names_in, run};

#[test]
fn every_rate_and_length_is_constant_to_the_tick() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clip.mp4");
    for (rate, lengths) in [
        ("24", &[1, 2, 17, 60][..]),
        ("25", &[60]),
        ("30", &[1, 17, 60]),
        ("60", &[60]),
        ("30000/1001", &[1, 2, 17, 60]),
        ("24000/1001", &[60]),
        ("1", &[5]),
        ("1/2", &[5]),
    ] {
        for &frames in lengths {
            let written = make(&h264(SMALL, rate), &path, frames, 1);
            let (bytes, remarks) = (fs::metadata(&path).unwrap().len(), Vec::new());
            assert_eq!(written, Written { path: path.clone(), frames, bytes, remarks, blake3: None });
            constant(&path, rate.parse().unwrap(), frames);
        }
    }
    assert_eq!(names_in(folder.path()), ["clip.mp4"]);
}

/// Every frame's time by ffprobe, in ticks: `0, t, 2t …`, nothing rounded, nothing shifted.
fn constant(path: &Path, fps: FrameRate, frames: u64) {
    let probed = ffprobe(path);
    let stream = &probed["streams"][0];
    let rate = format!("{}/{}", fps.numerator(), fps.denominator());
    assert_eq!(stream["r_frame_rate"], rate.as_str());
    assert_eq!(stream["avg_frame_rate"], rate.as_str());
    assert_eq!(stream["nb_frames"], frames.to_string().as_str());
    assert_eq!(stream["start_pts"], 0);
    let timescale: u64 = stream["time_base"].as_str().unwrap().strip_prefix("1/").unwrap().parse().unwrap();
    let tick = timescale * u64::from(fps.denominator()) / u64::from(fps.numerator());
    assert_eq!(
        tick * u64::from(fps.numerator()),
        timescale * u64::from(fps.denominator()),
        "a frame is no whole number of ticks"
    );
    assert_eq!(stream["duration_ts"], frames * tick);
    let shown: Vec<u64> =
        probed["frames"].as_array().unwrap().iter().map(|frame| frame["pts"].as_u64().unwrap()).collect();
    assert_eq!(shown, (0..frames).map(|index| index * tick).collect::<Vec<_>>());
    assert!(probed["frames"].as_array().unwrap().iter().all(|frame| frame["pkt_duration"] == tick));

    let seen = mediainfo(path);
    assert_eq!(seen["FrameRate_Mode"], "CFR", "{seen:#}");
    assert_eq!(seen["FrameCount"], frames.to_string().as_str());
    let seconds: f64 = seen["Duration"].as_str().unwrap().parse().unwrap();
    assert!((seconds - fps.time_of(frames).0).abs() <= 0.000_501, "{seconds} s of {frames} frames at {fps}");
    assert_eq!(seen["Delay"], Value::Null, "MediaInfo sees the clip begin late");
}

#[test]
fn deliveries_of_all_shapes_pass_the_conformance_table() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clip.mp4");
    // Levels: the smallest of Table A-1 that holds the frame and the rate (common practice for these sizes, no source).
    for (width, height, rate, level) in
        [(1920, 1080, "24", 40), (1080, 1920, "30", 40), (1080, 1080, "30", 32), (1920, 1080, "60000/1001", 42)]
    {
        make(&h264(Size::new(width, height), rate), &path, 5, 2);
        let probed = ffprobe(&path);
        let stream = &probed["streams"][0];
        for (field, due) in [
            ("codec_name", "h264"),
            ("codec_tag_string", "avc1"),
            ("profile", "High"),
            ("pix_fmt", "yuv420p"),
            ("color_range", "tv"),
            ("color_space", "bt709"),
            ("color_transfer", "bt709"),
            ("color_primaries", "bt709"),
            ("chroma_location", "left"),
            ("field_order", "progressive"),
            ("sample_aspect_ratio", "1:1"),
            ("start_time", "0.000000"),
        ] {
            assert_eq!(stream[field], due, "{field} of {width}x{height}");
        }
        assert_eq!(
            (&stream["width"], &stream["height"], &stream["level"]),
            (&width.into(), &height.into(), &level.into())
        );
        assert_eq!(stream["tags"]["creation_time"], Value::Null);
        assert_eq!(probed["format"]["tags"]["creation_time"], Value::Null);
        assert_eq!(probed["format"]["tags"]["title"], Value::Null);

        let seen = mediainfo(&path);
        for (field, due) in [
            ("Format", "AVC"),
            ("Format_Profile", "High"),
            ("ColorSpace", "YUV"),
            ("ChromaSubsampling", "4:2:0"),
            ("BitDepth", "8"),
            ("ScanType", "Progressive"),
            ("PixelAspectRatio", "1.000"),
            ("Rotation", "0.000"),
            ("colour_range", "Limited"),
            ("colour_primaries", "BT.709"),
            ("transfer_characteristics", "BT.709"),
            ("matrix_coefficients", "BT.709"),
            ("colour_range_Source", "Container / Stream"),
            ("colour_primaries_Source", "Container / Stream"),
            ("transfer_characteristics_Source", "Container / Stream"),
            ("matrix_coefficients_Source", "Container / Stream"),
        ] {
            assert_eq!(seen[field], due, "{field} of {width}x{height}");
        }
        let declared: f64 = seen["Format_Level"].as_str().unwrap().parse().unwrap();
        assert!((declared * 10.0 - f64::from(level)).abs() < 1e-9, "level {declared}");
    }
}

#[test]
fn the_level_is_the_one_libx264_picks_itself() {
    let folder = tempfile::tempdir().unwrap();
    let (ours, its_own) = (folder.path().join("ours.mp4"), folder.path().join("its-own.mp4"));
    for (size, rate) in [("64x48", "24"), ("352x288", "30"), ("640x480", "25"), ("720x576", "25"), ("1280x720", "60")] {
        let (width, height) = size.split_once('x').unwrap();
        let frame = Size::new(width.parse().unwrap(), height.parse().unwrap());
        let mut sink = encode::open(&h264(frame, rate), &ours, 1).unwrap();
        sink.write(&Frame::new(FrameKind::Yuv420, frame)).unwrap();
        sink.finish().unwrap();
        let source = format!("color=size={size}:rate={rate}:duration=0.1");
        let encoder = ["-c:v", "libx264", "-preset", "veryfast", "-pix_fmt", "yuv420p", "-crf", "18"];
        let input = ["-v", "error", "-y", "-f", "lavfi", "-i", &source];
        run("ffmpeg", &[&input[..], &encoder, &[its_own.to_str().unwrap()]].concat());
        let levels = [&ours, &its_own].map(|path| ffprobe(path)["streams"][0]["level"].clone());
        assert_eq!(levels[0], levels[1], "{size} at {rate}");
    }
}

#[test]
fn a_heavy_stream_declares_a_level_that_carries_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clip.mp4");
    let size = Size::new(320, 240);
    let codec = H264 { crf: 1.0, preset: "ultrafast".into(), tune: None, most: None, size: None };
    let mut sink = encode::open(&delivery(Codec::H264(codec), size, "25"), &path, 1).unwrap();
    let mut noise = 1_u32;
    let mut frame = Frame::new(FrameKind::Yuv420, size);
    for _ in 0..50 {
        let Pixels::Yuv420 { y, .. } = &mut frame.pixels else { unreachable!() };
        for sample in y {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *sample = 16 + (noise >> 25) as u8;
        }
        sink.write(&frame).unwrap();
    }
    let written = sink.finish().unwrap();
    let bits = 8 * written.bytes;
    // Table A-1 at High's factor 1.25: a decoder of level 2.2 holds 5 Mbit and takes 5 Mbit/s, one of level 3 holds
    // 12.5 and takes 12.5: in two seconds up to 15 and 37.5 Mbit. Level 1.3 would do for the frame, with 2.5 Mbit and
    // 0.96 Mbit/s.
    assert!((15_000_000..35_000_000).contains(&bits), "{bits} bits: not the stream this test means");
    assert_eq!(ffprobe(&path)["streams"][0]["level"], 30);
    assert_eq!(mediainfo(&path)["Format_Level"], "3");
    assert_eq!(decoded(&path, &["-pix_fmt", "yuv420p"]).len(), 50 * 320 * 240 * 3 / 2);
}

#[test]
fn groups_are_closed_and_last_two_seconds_at_most() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clip.mp4");
    for (rate, longest) in [("24", 48), ("24000/1001", 47), ("30", 60), ("5", 10)] {
        let codec = H264 { preset: "medium".into(), tune: Some("stillimage".into()), ..H264::default() };
        make(&delivery(Codec::H264(codec), SMALL, rate), &path, 130, 1);
        let packets = ffmpeg::read_back(&path, "mov").unwrap().packets;
        assert!(packets[0].key);
        let keys: Vec<usize> = (0..packets.len()).filter(|&index| packets[index].key).chain([packets.len()]).collect();
        for pair in keys.windows(2) {
            assert!(pair[1] - pair[0] <= longest, "{} frames in a group at {rate}", pair[1] - pair[0]);
        }
        for &key in &keys[..keys.len() - 1] {
            // Closed: nothing after the key frame, in the order of decoding, is shown before it.
            assert!(packets[key..].iter().all(|packet| packet.pts >= packets[key].pts), "an open group at {rate}");
        }
        assert!(keys.len() > 130 / longest, "{keys:?}");
        // Every key frame is an IDR picture: slices of type 5, by the file's own bytes.
        let dump =
            run("ffprobe", &["-v", "error", "-show_packets", "-show_data", "-of", "json", path.to_str().unwrap()]);
        let dump: Value = serde_json::from_slice(&dump).unwrap();
        for packet in dump["packets"].as_array().unwrap() {
            let slices = slice_types(packet["data"].as_str().unwrap());
            let key = packet["flags"].as_str().unwrap().contains('K');
            assert!(slices.iter().all(|&kind| (kind == 5) == key) && !slices.is_empty(), "{slices:?}");
        }
    }
}

/// The NAL unit types of a packet's slices (1 and 5 of ITU-T H.264 Table 7-1), from ffprobe's hexadecimal dump.
fn slice_types(dump: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    for line in dump.lines().filter_map(|line| line.split_once(": ")) {
        let digits: String = line.1.chars().take(40).filter(char::is_ascii_hexdigit).collect();
        bytes.extend((0..digits.len() / 2).map(|at| u8::from_str_radix(&digits[2 * at..2 * at + 2], 16).unwrap()));
    }
    let mut kinds = Vec::new();
    let mut rest = &bytes[..];
    while let [a, b, c, d, unit @ ..] = rest {
        kinds.push(unit[0] & 31);
        rest = &unit[u32::from_be_bytes([*a, *b, *c, *d]) as usize..];
    }
    kinds.retain(|kind| matches!(kind, 1 | 5));
    kinds
}

/// The boxes of an MP4 file by their path (ISO/IEC 14496-12), each with its place and content.
fn boxes(bytes: &[u8], path: &str, found: &mut BTreeMap<String, (usize, Vec<u8>)>) {
    let mut at = 0;
    while at + 8 <= bytes.len() {
        let length = u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
        let name = format!("{path}/{}", String::from_utf8_lossy(&bytes[at + 4..at + 8]));
        let inside = &bytes[at + 8..at + length];
        let skipped = match &bytes[at + 4..at + 8] {
            b"moov" | b"trak" | b"edts" | b"mdia" | b"minf" | b"stbl" => Some(0),
            b"stsd" => Some(8),
            b"avc1" => Some(78),
            _ => None,
        };
        if let Some(skipped) = skipped {
            boxes(&inside[skipped..], &name, found);
        }
        assert!(found.insert(name.clone(), (at, inside.to_vec())).is_none(), "{name} twice");
        at += length;
    }
    assert_eq!(at, bytes.len(), "{path}");
}

fn number(content: &[u8], at: usize) -> u32 {
    u32::from_be_bytes(content[at..at + 4].try_into().unwrap())
}

#[test]
fn the_index_comes_first_and_says_the_same_as_the_stream() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clip.mp4");
    let codec = H264 { preset: "medium".into(), ..H264::default() };
    make(&delivery(Codec::H264(codec), SMALL, "30000/1001"), &path, 70, 1);
    let mut found = BTreeMap::new();
    boxes(&fs::read(&path).unwrap(), "", &mut found);
    assert!(found["/moov"].0 < found["/mdat"].0, "{:?}", found.keys());
    let stbl = "/moov/trak/mdia/minf/stbl";
    // nclx, primaries 1, transfer 1, matrix 1, limited range (ISO/IEC 14496-12 12.1.5, codes of ITU-T H.273, from
    // memory).
    assert_eq!(found[&format!("{stbl}/stsd/avc1/colr")].1, b"nclx\0\x01\0\x01\0\x01\0");
    assert_eq!(found[&format!("{stbl}/stsd/avc1/pasp")].1, [0, 0, 0, 1, 0, 0, 0, 1]);
    // One run of equal durations.
    let durations = &found[&format!("{stbl}/stts")].1;
    assert_eq!((number(durations, 4), number(durations, 8), number(durations, 12)), (1, 70, 1001));
    // Track and clip count in the same unit, so neither length is rounded.
    let (track, clip) = (&found["/moov/trak/mdia/mdhd"].1, &found["/moov/mvhd"].1);
    assert_eq!((number(track, 12), number(track, 16)), (30_000, 70_070));
    assert_eq!((number(clip, 12), number(clip, 16)), (30_000, 70_070));
    assert_eq!((number(clip, 4), number(track, 4)), (0, 0), "a creation time");
    // One edit, at normal speed, of the whole length: it only takes back the delay that B-frames bring.
    let edits = &found["/moov/trak/edts/elst"].1;
    let offsets = &found[&format!("{stbl}/ctts")].1;
    assert_eq!((number(edits, 4), number(edits, 8), number(edits, 16)), (1, 70_070, 0x0001_0000));
    assert_eq!(number(edits, 12), number(offsets, 12), "the first frame's delay");
}

#[test]
fn the_streams_own_header_says_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clip.mp4");
    make(&h264(SMALL, "30000/1001"), &path, 3, 1);
    let dump = ["-i", path.to_str().unwrap(), "-c", "copy", "-bsf:v", "trace_headers", "-f", "null", "-"];
    let output = Command::new("ffmpeg").args(dump).output().unwrap();
    assert!(output.status.success());
    let dump = String::from_utf8_lossy(&output.stderr).into_owned();
    let header = |field: &str| -> u32 {
        let line = dump.lines().find(|line| line.split_whitespace().any(|word| word == field)).expect(field);
        line.rsplit_once("= ").unwrap().1.trim().parse().unwrap()
    };
    // ITU-T H.264 Annex E: two ticks a frame, so the rate is time_scale / (2 num_units_in_tick).
    for (field, due) in [
        ("profile_idc", 100),
        ("chroma_format_idc", 1),
        ("bit_depth_luma_minus8", 0),
        ("frame_mbs_only_flag", 1),
        ("aspect_ratio_idc", 1),
        ("video_full_range_flag", 0),
        ("colour_primaries", 1),
        ("transfer_characteristics", 1),
        ("matrix_coefficients", 1),
        // Absent means left.
        ("chroma_loc_info_present_flag", 0),
        ("num_units_in_tick", 1001),
        ("time_scale", 60_000),
        ("fixed_frame_rate_flag", 1),
    ] {
        assert_eq!(header(field), due, "{field}");
    }
}

#[test]
fn a_closed_file_of_every_preset_and_tune_is_high() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clip.mp4");
    let size = Size::new(320, 240);
    let tunes = H264::TUNES.map(Some);
    for preset in H264::PRESETS {
        for tune in [None].into_iter().chain(tunes) {
            let codec = H264 { crf: 23.0, preset: preset.into(), tune: tune.map(Into::into), most: None, size: None };
            let codec = Codec::H264(codec);
            assert_eq!(encode::preflight(&codec, size, "24".parse().unwrap()), Ok(()), "{preset} {tune:?}");
            let mut sink = encode::open(&delivery(codec, size, "24"), &path, 2).unwrap();
            for index in 0..3 {
                sink.write(&drifting(size, index)).unwrap();
            }
            // The sink itself reads profile, level, tags and times back.
            assert_eq!(sink.finish().unwrap().frames, 3, "{preset} {tune:?}");
        }
    }
}

/// BT.709 bars of 100 % and 75 % as code values, and the R'G'B' they stand for (Recommendation ITU-R BT.709-6; the
/// codes computed with exact fractions and with colour-science 0.4.7's `RGB_to_YCbCr`).
const BARS: [([u8; 3], [u8; 3]); 16] = [
    ([235, 128, 128], [255, 255, 255]),
    ([219, 16, 138], [255, 255, 0]),
    ([188, 154, 16], [0, 255, 255]),
    ([173, 42, 26], [0, 255, 0]),
    ([78, 214, 230], [255, 0, 255]),
    ([63, 102, 240], [255, 0, 0]),
    ([32, 240, 118], [0, 0, 255]),
    ([16, 128, 128], [0, 0, 0]),
    ([180, 128, 128], [191, 191, 191]),
    ([168, 44, 136], [191, 191, 0]),
    ([145, 147, 44], [0, 191, 191]),
    ([133, 63, 52], [0, 191, 0]),
    ([63, 193, 204], [191, 0, 191]),
    ([51, 109, 212], [191, 0, 0]),
    ([28, 212, 120], [0, 0, 191]),
    ([16, 128, 128], [0, 0, 0]),
];

#[test]
fn bars_decoded_by_their_tags_are_the_colours_that_were_meant() {
    const BAR: usize = 32;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bars.mp4");
    let size = Size::new((BAR * BARS.len()) as u32, 64);
    let (width, height) = (size.width as usize, size.height as usize);
    let mut frame = Frame::new(FrameKind::Yuv420, size);
    let Pixels::Yuv420 { y, cb, cr } = &mut frame.pixels else { unreachable!() };
    for (at, sample) in y.iter_mut().enumerate() {
        *sample = BARS[at % width / BAR].0[0];
    }
    for (at, (cb, cr)) in cb.iter_mut().zip(cr).enumerate() {
        [_, *cb, *cr] = BARS[at % (width / 2) / (BAR / 2)].0;
    }
    let mut sink = encode::open(&h264(size, "24"), &path, 1).unwrap();
    for _ in 0..3 {
        sink.write(&frame).unwrap();
    }
    sink.finish().unwrap();
    // No matrix or range is named here: FFmpeg goes by the file's tags.
    let pixels = decoded(&path, &["-vf", "scale=flags=accurate_rnd+full_chroma_int", "-pix_fmt", "rgb24"]);
    assert_eq!(pixels.len(), 3 * 3 * width * height);
    for picture in pixels.chunks_exact(3 * width * height) {
        for (bar, (_, meant)) in BARS.iter().enumerate() {
            let middle = 3 * (height / 2 * width + bar * BAR + BAR / 2);
            let seen = &picture[middle..middle + 3];
            let off = seen.iter().zip(meant).map(|(seen, meant)| seen.abs_diff(*meant)).max().unwrap();
            assert!(off <= 2, "bar {bar}: {seen:?} where {meant:?} is meant");
        }
    }
}

#[test]
fn one_thread_and_two_show_the_same_frames_and_each_repeats_its_bytes() {
    let folder = tempfile::tempdir().unwrap();
    // Rows of 326 and 163 samples fill no register: FFmpeg's own rows are longer.
    let size = Size::new(326, 242);
    let picture = 326 * 242 * 3 / 2;
    let made = |name: &str, threads| {
        let path = folder.path().join(name);
        make(&h264(size, "30"), &path, 40, threads);
        let pixels = decoded(&path, &["-pix_fmt", "yuv420p"]);
        assert_eq!(pixels.len(), 40 * picture);
        (fs::read(&path).unwrap(), pixels)
    };
    for threads in [1, 2, 200] {
        assert_eq!(made("first.mp4", threads).0, made("again.mp4", threads).0, "{threads} threads");
    }
    for (threads, index) in [(1, 0), (1, 20), (1, 39), (2, 39)] {
        let pixels = made("clip.mp4", threads).1;
        let Pixels::Yuv420 { y, cb, cr } = drifting(size, index as u64).pixels else { unreachable!() };
        let mut seen = &pixels[index * picture..];
        for (plane, given) in [("luma", y), ("blue", cb), ("red", cr)] {
            let error: f64 =
                seen.iter().zip(&given).map(|(seen, given)| f64::from(seen.abs_diff(*given)).powi(2)).sum();
            let decibels = 10.0 * (255.0 * 255.0 * given.len() as f64 / error).log10();
            assert!(decibels > 38.0, "frame {index} is not the one that was given: {plane} {decibels:.1} dB");
            seen = &seen[given.len()..];
        }
    }
}
