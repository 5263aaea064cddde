//! Files made of stretches: seams that nobody sees, and outputs taken up where another run left them.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use stillpath::encode::{self, Begun};
use stillpath::picture::{Frame, Pixels};
use stillpath::plan::{Corrections, DeliveryPlan, Layers, Row};
use stillpath::shot::{Av1, Codec, Ffv1, H264, Hevc, Jpeg, Prores, Samples};
use stillpath::units::{Size, SlotIndex};
use stillpath::work::{Key, Known, Met, Stretch, Stretches, Written};

use super::{SMALL, delivery, drifting, ffprobe, make, names_in};

/// With B-frames, which the seams must not let slip.
fn clip(fps: &str) -> DeliveryPlan {
    delivery(Codec::H264(H264 { preset: "fast".into(), ..H264::default() }), SMALL, fps)
}

/// Stretches of so many frames in all, whose keys are made of these words.
fn cut(plan: &DeliveryPlan, frames: usize, word: impl Fn(usize) -> &'static str) -> Stretches {
    let every = encode::stretch(plan);
    let stretch = |index: usize| Stretch {
        key: blake3::hash(format!("{index} {}", word(index)).as_bytes()).into(),
        rows: index * every..((index + 1) * every).min(frames),
        slots: vec![SlotIndex(index)],
    };
    Stretches { every, each: (0..frames.div_ceil(every)).map(stretch).collect() }
}

/// The frame of a row in the kind that the delivery takes.
fn frame(plan: &DeliveryPlan, row: usize) -> Frame {
    let drifting = drifting(plan.frame, row as u64);
    let Pixels::Yuv420 { y, .. } = &drifting.pixels else { return drifting };
    let mut frame = Frame::new(encode::kind(&plan.codec), plan.frame);
    match &mut frame.pixels {
        Pixels::Rgb16(samples) => *samples = y.iter().flat_map(|code| [u16::from(*code) * 257; 3]).collect(),
        Pixels::Rgb8(samples) => *samples = y.iter().flat_map(|code| [*code; 3]).collect(),
        Pixels::Yuv10 { y: deep, .. } => *deep = y.iter().map(|code| u16::from(*code) * 4).collect(),
        Pixels::Yuv420 { .. } | Pixels::Planes(_) => return drifting,
    }
    frame
}

/// Begins an output or takes it up, gives it so many of the frames that are due, and ends it where that is all of them.
/// What comes back is what was due, what was written, and the hashes of all frames.
fn go_on(
    plan: &DeliveryPlan,
    path: &Path,
    stretches: &Stretches,
    most: usize,
) -> (Vec<usize>, Option<Written>, Vec<blake3::Hash>) {
    let Begun { mut sink, due, taken } = encode::begin(plan, None, path, 1, stretches.clone(), false).unwrap();
    let due: Vec<usize> = due.into_iter().flatten().collect();
    let mut made = Vec::new();
    for row in due.iter().take(most) {
        let frame = frame(plan, *row);
        made.push(frame.hash());
        sink.write_known(&frame, &Known { hash: frame.hash(), met: &Met::default }).unwrap();
    }
    let written = (most >= due.len()).then(|| sink.finish().unwrap());
    (due, written, taken.and_made(&made, stretches))
}

#[test]
fn seams_show_neither_in_time_nor_in_any_packets_order_whatever_is_left_for_the_last_stretch() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clip.mp4");
    // 30 a second is where parts joined by FFmpeg's stream copy came out with one step of 502 ticks among 512.
    for (rate, stretch) in [("30", 120), ("24000/1001", 94), ("5", 20), ("1/2", 2)] {
        let plan = clip(rate);
        assert_eq!(encode::stretch(&plan), stretch);
        for frames in [stretch, stretch + 1, stretch + 2, 2 * stretch, 2 * stretch + 3, 2 * stretch + 17] {
            make(&plan, &path, frames as u64, 1);
            let probed = ffprobe(&path);
            let shown = probed["frames"].as_array().unwrap();
            assert_eq!(shown.len(), frames, "{rate}");
            let numbers =
                |field: &str| -> Vec<i64> { shown.iter().map(|frame| frame[field].as_i64().unwrap()).collect() };
            let tick = numbers("pkt_duration")[0];
            let due: Vec<i64> = (0..).step_by(usize::try_from(tick).unwrap()).take(frames).collect();
            assert_eq!(numbers("pts"), due, "{rate}, {frames} frames");
            assert!(numbers("pkt_duration").iter().all(|duration| *duration == tick));
            let packets = ["-v", "error", "-of", "json", "-show_packets", path.to_str().unwrap()];
            let packets: serde_json::Value = serde_json::from_slice(&super::run("ffprobe", &packets)).unwrap();
            let decoded: Vec<i64> =
                packets["packets"].as_array().unwrap().iter().map(|packet| packet["dts"].as_i64().unwrap()).collect();
            assert!(decoded.windows(2).all(|pair| pair[1] - pair[0] == tick), "{rate}, {frames} frames: {decoded:?}");
            // Each stretch begins with a frame that needs no other.
            let keys: Vec<usize> = (0..frames).filter(|index| shown[*index]["key_frame"] == 1).collect();
            assert!((0..frames).step_by(stretch).all(|first| keys.contains(&first)), "{rate}: {keys:?}");
        }
    }
}

/// Makes outputs that were dropped after so many frames whole, and holds them against one that never was.
fn taken_up(plan: &DeliveryPlan, name: &str, bytes: impl Fn(&Path) -> Vec<Vec<u8>>) {
    let folder = tempfile::tempdir().unwrap();
    let every = encode::stretch(plan);
    let frames = 3 * every + every / 2;
    let stretches = cut(plan, frames, |_| "");
    let whole = folder.path().join("whole").join(name);
    let (due, _, hashes) = go_on(plan, &whole, &stretches, usize::MAX);
    assert_eq!((due.len(), hashes.len()), (frames, frames));
    for stops in [&[1][..], &[every - 1], &[every, 1, every + 1], &[2 * every + 3, every], &[frames - 1]] {
        let path = folder.path().join("again").join(name);
        let mut kept = 0;
        for stop in stops {
            let (due, written, _) = go_on(plan, &path, &stretches, *stop);
            assert_eq!((due.len(), written), (frames - kept, None), "{stops:?}");
            kept += stop / every * every;
            assert_eq!(encode::kept(&path, &stretches).map_or(0, |(frames, _)| frames), kept, "{stops:?}");
            assert!(!path.exists(), "an unfinished output has its final name");
        }
        let (due, written, seen) = go_on(plan, &path, &stretches, usize::MAX);
        assert_eq!(due, (kept..frames).collect::<Vec<_>>());
        assert_eq!(written.unwrap().frames, frames as u64);
        assert_eq!(seen, hashes);
        assert!(bytes(&path) == bytes(&whole), "{stops:?}: the bytes tell that the run was interrupted");
        // Until its run is over it is known to be there, and nothing is made twice.
        assert!(encode::is_finished(&path, &stretches));
        let (due, written, seen) = go_on(plan, &path, &stretches, 0);
        assert_eq!((due.len(), written.map(|written| written.frames), seen), (0, Some(frames as u64), hashes.clone()));
        encode::tidy(&path);
        assert_eq!(names_in(path.parent().unwrap()), [name]);
        fs::remove_dir_all(path.parent().unwrap()).unwrap();
    }
}

fn file(path: &Path) -> Vec<Vec<u8>> {
    vec![fs::read(path).unwrap()]
}

fn files(path: &Path) -> Vec<Vec<u8>> {
    names_in(path).iter().map(|name| fs::read(path.join(name)).unwrap()).collect()
}

#[test]
fn a_clip_taken_up_has_the_bytes_of_one_that_was_never_interrupted() {
    taken_up(&clip("2"), "clip.mp4", file);
}

#[test]
fn a_sequence_taken_up_has_the_files_of_one_that_was_never_interrupted() {
    taken_up(&delivery(Codec::PNG, SMALL, "4"), "clip", files);
}

/// A frame that every codec takes.
const LARGER: Size = Size { width: 256, height: 120 };

#[test]
fn every_codec_taken_up_has_the_bytes_of_one_that_was_never_interrupted() {
    let of = |codec: Codec, fps: &str| delivery(codec, LARGER, fps);
    taken_up(&of(Codec::Hevc(Hevc { preset: "ultrafast".into(), ..Hevc::default() }), "1"), "clip.mp4", file);
    taken_up(&of(Codec::Av1(Av1 { preset: 12, ..Av1::from_quality(75.0) }), "1"), "clip.mp4", file);
    taken_up(&of(Codec::Prores(Prores::from_quality(75.0)), "2"), "clip.mov", file);
    taken_up(&of(Codec::Dnxhr, "2"), "clip.mov", file);
    taken_up(&delivery(Codec::Ffv1(Ffv1 { samples: Samples::Half }), SMALL, "2"), "clip.mkv", file);
    taken_up(&delivery(Codec::Tiff, SMALL, "2"), "clip", files);
    taken_up(&delivery(Codec::Jpeg(Jpeg::from_quality(75.0)), SMALL, "2"), "clip", files);
}

/// An output of three stretches of which two are whole, and the stretches' files.
fn begun(plan: &DeliveryPlan, path: &Path) -> (Stretches, PathBuf) {
    let every = encode::stretch(plan);
    let stretches = cut(plan, 3 * every, |_| "");
    go_on(plan, path, &stretches, 2 * every + 1);
    let folder = path.with_file_name(format!(".{}.part", path.file_name().unwrap().to_str().unwrap()));
    (stretches, folder)
}

/// Fault 76: what is kept is another script's or version's.
#[test]
fn only_stretches_whose_keys_still_fit_are_taken_over() {
    let folder = tempfile::tempdir().unwrap();
    for plan in [clip("2"), delivery(Codec::PNG, SMALL, "4")] {
        let (path, whole) = (folder.path().join("clip"), folder.path().join("whole"));
        let every = encode::stretch(&plan);
        begun(&plan, &path);
        let changed = cut(&plan, 3 * every, |index| if index == 0 { "another script" } else { "" });
        let (due, ..) = go_on(&plan, &path, &changed, usize::MAX);
        assert_eq!(due, (0..every).chain(2 * every..3 * every).collect::<Vec<_>>());
        go_on(&plan, &whole, &changed, usize::MAX);
        let bytes = if whole.is_dir() { files } else { file };
        assert!(bytes(&path) == bytes(&whole));
        // A stretch of other frames does not fit either, nor does one of another length.
        for path in [path, whole] {
            encode::tidy(&path);
            if path.is_dir() { fs::remove_dir_all(path).unwrap() } else { fs::remove_file(path).unwrap() }
        }
    }
    let (plan, path) = (clip("5"), folder.path().join("longer"));
    begun(&plan, &path);
    let longer = cut(&plan, 65, |_| "");
    assert_eq!(go_on(&plan, &path, &longer, 0).0, (40..65).collect::<Vec<_>>());
    // Beginning afresh takes nothing.
    let begun = encode::begin(&plan, None, &path, 1, longer, true).unwrap();
    assert_eq!(begun.due.into_iter().flatten().count(), 65);
    drop(begun.sink);
    assert!(names_in(folder.path()).is_empty());
}

#[test]
fn a_stretch_that_is_damaged_cut_short_or_in_anothers_place_is_made_again() {
    let folder = tempfile::tempdir().unwrap();
    let (plan, path, whole) = (clip("5"), folder.path().join("clip.mp4"), folder.path().join("whole.mp4"));
    go_on(&plan, &whole, &cut(&plan, 60, |_| ""), usize::MAX);
    let spoil: [&dyn Fn(&Path); 4] = [
        &|folder| {
            let mut bytes = fs::read(folder.join("000000.stretch")).unwrap();
            let middle = bytes.len() / 2;
            bytes[middle] ^= 1;
            fs::write(folder.join("000000.stretch"), bytes).unwrap();
        },
        &|folder| {
            let bytes = fs::read(folder.join("000000.stretch")).unwrap();
            fs::write(folder.join("000000.stretch"), &bytes[..bytes.len() - 1]).unwrap();
        },
        &|folder| fs::write(folder.join("000000.stretch"), "").unwrap(),
        &|folder| _ = fs::copy(folder.join("000001.stretch"), folder.join("000000.stretch")).unwrap(),
    ];
    for spoil in spoil {
        let (stretches, left) = begun(&plan, &path);
        spoil(&left);
        let (due, ..) = go_on(&plan, &path, &stretches, usize::MAX);
        assert_eq!(due, (0..20).chain(40..60).collect::<Vec<_>>());
        assert!(file(&path) == file(&whole));
        encode::tidy(&path);
        fs::remove_file(&path).unwrap();
    }
    // Of a sequence one file is enough.
    let (plan, path) = (delivery(Codec::PNG, SMALL, "4"), folder.path().join("clip"));
    let (stretches, left) = begun(&plan, &path);
    let frame = left.join("output/000009.png");
    let bytes = fs::read(&frame).unwrap();
    fs::write(&frame, &bytes[..bytes.len() - 1]).unwrap();
    let (due, ..) = go_on(&plan, &path, &stretches, usize::MAX);
    assert_eq!(due, (8..24).collect::<Vec<_>>());
    assert_eq!(fs::read(path.join("000009.png")).unwrap(), bytes);
}

#[test]
fn what_was_met_in_decoding_stills_comes_back_with_the_frames_that_show_them() {
    let folder = tempfile::tempdir().unwrap();
    for plan in [clip("2"), delivery(Codec::PNG, SMALL, "4")] {
        let path = folder.path().join(format!("{:?}", encode::kind(&plan.codec)));
        let every = encode::stretch(&plan);
        let stretches = cut(&plan, 2 * every, |_| "");
        let remarks = [("odd".to_owned(), vec![SlotIndex(0), SlotIndex(1), SlotIndex(7)])];
        let met = || Met { remarks: remarks.clone().into(), ..Met::default() };
        let Begun { mut sink, .. } = encode::begin(&plan, None, &path, 1, stretches.clone(), false).unwrap();
        for row in 0..every {
            let frame = frame(&plan, row);
            sink.write_known(&frame, &Known { hash: frame.hash(), met: &met }).unwrap();
        }
        drop(sink);
        let begun = encode::begin(&plan, None, &path, 1, stretches, false).unwrap();
        // The stretch shows still 0 alone.
        assert_eq!(begun.taken.met.remarks.into_iter().collect::<Vec<_>>(), [("odd".to_owned(), vec![SlotIndex(0)])]);
    }
}

#[test]
fn nobody_asks_for_a_key_before_its_stills_are_decoded_unless_there_is_something_to_compare_it_with() {
    let folder = tempfile::tempdir().unwrap();
    for (plan, name) in [(clip("2"), "clip.mp4"), (delivery(Codec::PNG, SMALL, "4"), "clip")] {
        let path = folder.path().join(name);
        let every = encode::stretch(&plan);
        let asked = Arc::new(AtomicUsize::new(0));
        let counted = || {
            let mut stretches = cut(&plan, 2 * every, |_| "");
            for stretch in &mut stretches.each {
                let (asked, key) = (Arc::clone(&asked), stretch.key.get(&Met::default()));
                stretch.key = Key::later(move |_| {
                    asked.fetch_add(1, Ordering::Relaxed);
                    key
                });
            }
            stretches
        };
        let taken = |expected: usize| assert_eq!(asked.swap(0, Ordering::Relaxed), expected, "{name}");
        let stretches = counted();
        let mut sink = encode::begin(&plan, None, &path, 1, stretches.clone(), false).unwrap().sink;
        taken(0);
        for row in 0..every {
            let frame = frame(&plan, row);
            sink.write_known(&frame, &Known { hash: frame.hash(), met: &Met::default }).unwrap();
        }
        drop(sink);
        taken(1);
        // Of two stretches one is there, and only that is compared.
        let begun = encode::begin(&plan, None, &path, 1, counted(), false).unwrap();
        assert_eq!(begun.due, vec![every..2 * every]);
        taken(1);
        drop(begun);
        encode::tidy(&path);
    }
}

/// A plan of so many frames, each of a still of its own, or of `held` frames a still.
fn rows(plan: DeliveryPlan, frames: usize, held: usize) -> DeliveryPlan {
    let window = stillpath::geom::Window { x: 0.0, y: 0.0, width: 64.0, height: 48.0, roll: 0.0 };
    let mut corrections = Corrections::new(None, None, &[]);
    let row = |frame: usize| {
        let (slot, position) = (SlotIndex(frame / held), 0.0);
        let layers = Layers::One(corrections.layer(slot, None, window));
        Row { position, slot, shown: slot, stand_in: None, window, layers }
    };
    plan.with_rows((0..frames).map(row).collect())
}

#[test]
fn a_stretch_has_no_more_work_than_five_seconds_nor_more_of_the_clip_and_is_never_shorter_than_about_one() {
    let lengths = |plan: &DeliveryPlan, still: u32, together: usize| -> Vec<usize> {
        let cut = encode::cut(plan, Size::new(still, still), together);
        assert!(cut.windows(2).all(|pair| pair[0].end == pair[1].start) && cut[0].start == 0, "{cut:?}");
        assert_eq!(cut.last().unwrap().end, plan.rows.len());
        cut.iter().map(ExactSizeIterator::len).collect()
    };
    let h264 = |preset: &str, side| H264Clip { preset: preset.into(), side };
    let clip = |H264Clip { preset, side }: H264Clip, frames, held| {
        rows(delivery(Codec::H264(H264 { preset, ..H264::default() }), Size::new(side, side), "24"), frames, held)
    };
    // Little work: four seconds, of two groups of pictures.
    assert_eq!(lengths(&clip(h264("medium", 64), 200, 1), 64, 1), [96, 96, 8]);
    // More, by larger frames, slower presets, larger stills, more stills, or more deliveries: two seconds, then one.
    assert_eq!(lengths(&clip(h264("medium", 1200), 96, 4), 64, 1), [48, 48]);
    assert_eq!(lengths(&clip(h264("medium", 2000), 96, 4), 64, 1), [24; 4]);
    assert_eq!(lengths(&clip(h264("slower", 1200), 96, 4), 64, 1), [24; 4]);
    assert_eq!(lengths(&clip(h264("medium", 800), 96, 4), 64, 2), [48, 48]);
    assert_eq!(lengths(&clip(h264("medium", 64), 96, 4), 8000, 1), [96]);
    assert_eq!(lengths(&clip(h264("medium", 64), 96, 1), 8000, 1), [24; 4]);
    // However much it is, not shorter than that.
    assert_eq!(lengths(&clip(h264("placebo", 4000), 96, 1), 8000, 3), [24; 4]);
    // A place where much is shown is cut, and moves no cut elsewhere.
    let mut uneven = clip(h264("medium", 64), 288, 288);
    let busy = clip(h264("medium", 64), 288, 1);
    uneven.rows.splice(100..148, busy.rows[100..148].to_vec());
    assert_eq!(lengths(&uneven, 8000, 1), [96, 24, 24, 48, 96]);
    let sequence = rows(delivery(Codec::PNG, Size::new(64, 64), "24"), 100, 1);
    assert_eq!(lengths(&sequence, 64, 1), [48, 48, 4]);
}

/// What tells the clips of that test apart.
struct H264Clip {
    preset: String,
    side: u32,
}
