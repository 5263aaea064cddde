//! Sequences of 16-bit PNG files.

use std::fs;

use stillpath::encode;
use stillpath::picture::{Frame, FrameKind, Pixels};
use stillpath::plan::DeliveryPlan;
use stillpath::shot::Codec;
use stillpath::units::Size;
use stillpath::work::SinkError;

use super::{delivery, names_in};

fn sequence() -> DeliveryPlan {
    delivery(Codec::PNG, Size::new(65, 33), "24")
}

/// Frame `index` of a pattern in which every bit of every sample matters.
fn pattern(size: Size, index: u32) -> Frame {
    let mut frame = Frame::new(FrameKind::Rgb16, size);
    let Pixels::Rgb16(samples) = &mut frame.pixels else { unreachable!() };
    for (at, sample) in samples.iter_mut().enumerate() {
        *sample = (at as u32).wrapping_mul(40_503).wrapping_add(index * 257) as u16;
    }
    frame
}

#[test]
fn frames_come_back_as_they_went_in() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("made/here/wide");
    let plan = sequence();
    for threads in [1, 3] {
        let frames: Vec<Frame> = (0..9).map(|index| pattern(plan.frame, index)).collect();
        let mut sink = encode::open(&plan, &path, threads).unwrap();
        for frame in &frames {
            sink.write(frame).unwrap();
        }
        let written = sink.finish().unwrap();
        assert_eq!((written.frames, &written.path), (9, &path));
        assert_eq!(names_in(&path), (0..9).map(|index| format!("{index:06}.png")).collect::<Vec<_>>());
        assert_eq!(names_in(path.parent().unwrap()), ["wide"]);
        let mut bytes = 0;
        for (index, frame) in frames.iter().enumerate() {
            let file = path.join(format!("{index:06}.png"));
            bytes += fs::metadata(&file).unwrap().len();
            let image::DynamicImage::ImageRgb16(image) = image::open(&file).unwrap() else { panic!("not 16-bit RGB") };
            assert_eq!(Pixels::Rgb16(image.into_raw()), frame.pixels, "frame {index}");
        }
        assert_eq!(written.bytes, bytes);
    }
}

#[test]
fn every_file_is_marked_srgb() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wide");
    let plan = sequence();
    let mut sink = encode::open(&plan, &path, 1).unwrap();
    sink.write(&pattern(plan.frame, 0)).unwrap();
    sink.finish().unwrap();
    let file = std::io::BufReader::new(fs::File::open(path.join("000000.png")).unwrap());
    let reader = png::Decoder::new(file).read_info().unwrap();
    assert_eq!(reader.info().srgb, Some(png::SrgbRenderingIntent::RelativeColorimetric));
}

#[test]
fn a_shorter_sequence_takes_the_place_of_a_longer_one_whole() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wide");
    let plan = sequence();
    for frames in [7, 3] {
        let mut sink = encode::open(&plan, &path, 2).unwrap();
        for index in 0..frames {
            sink.write(&pattern(plan.frame, index)).unwrap();
        }
        if path.exists() {
            assert_eq!(names_in(&path).len(), 7, "the old sequence must stand until the new one is whole");
        }
        sink.finish().unwrap();
        assert_eq!(names_in(&path).len(), frames as usize);
        assert_eq!(names_in(folder.path()), ["wide"]);
    }
}

#[test]
fn a_folder_that_holds_anything_else_is_never_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wide");
    fs::create_dir(&path).unwrap();
    for stranger in ["TIDE0001.JPG", "0001.png", "000001.png.bak", "notes.txt"] {
        fs::write(path.join(stranger), "dear").unwrap();
        let refused = encode::open(&sequence(), &path, 1).err().unwrap().to_string();
        assert!(refused.contains(stranger) && refused.contains("more than numbered frames"), "{refused}");
        assert_eq!(names_in(&path), [stranger]);
        assert_eq!(names_in(folder.path()), ["wide"]);
        fs::remove_file(path.join(stranger)).unwrap();
    }
    fs::remove_dir(&path).unwrap();
    fs::write(&path, "a file").unwrap();
    assert!(encode::open(&sequence(), &path, 1).is_err());
    assert_eq!(fs::read(&path).unwrap(), b"a file");
}

#[test]
fn a_stranger_that_comes_while_frames_are_made_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wide");
    let plan = sequence();
    fs::create_dir(&path).unwrap();
    let mut sink = encode::open(&plan, &path, 1).unwrap();
    sink.write(&pattern(plan.frame, 0)).unwrap();
    fs::write(path.join("TIDE0001.JPG"), "dear").unwrap();
    assert!(matches!(sink.finish(), Err(SinkError::Disk { .. })));
    assert_eq!(names_in(&path), ["TIDE0001.JPG"]);
    assert_eq!(names_in(folder.path()), ["wide"]);
}

#[test]
fn a_dropped_sequence_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let plan = sequence();
    let mut sink = encode::open(&plan, &folder.path().join("wide"), 2).unwrap();
    for index in 0..5 {
        sink.write(&pattern(plan.frame, index)).unwrap();
    }
    drop(sink);
    assert!(names_in(folder.path()).is_empty());
}

#[test]
fn what_a_killed_run_left_is_taken_over() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wide");
    let left = folder.path().join(".wide.part/output");
    fs::create_dir_all(&left).unwrap();
    fs::write(left.join("000041.png"), "half a fra").unwrap();
    // Killed between moving the old sequence aside and naming the new one.
    let earlier = folder.path().join(".wide.old");
    fs::create_dir(&earlier).unwrap();
    fs::write(earlier.join("000000.png"), "whole").unwrap();
    let plan = sequence();
    let mut sink = encode::open(&plan, &path, 1).unwrap();
    assert_eq!(fs::read(path.join("000000.png")).unwrap(), b"whole", "the old sequence is back");
    sink.write(&pattern(plan.frame, 0)).unwrap();
    assert_eq!(sink.finish().unwrap().frames, 1);
    assert_eq!(names_in(&path), ["000000.png"]);
    assert_eq!(names_in(folder.path()), ["wide"]);
}

#[test]
fn a_workers_fault_reaches_a_later_write_and_no_sequence_comes_of_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wide");
    let plan = sequence();
    let mut sink = encode::open(&plan, &path, 1).unwrap();
    sink.write(&pattern(plan.frame, 0)).unwrap();
    // Somebody takes frame 1's name.
    fs::write(folder.path().join(".wide.part/output/000001.png"), "").unwrap();
    let fault = (1..200).find_map(|index| sink.write(&pattern(plan.frame, index)).err()).unwrap();
    assert!(sink.write(&pattern(plan.frame, 200)).is_err());
    assert!(sink.finish().is_err(), "a sequence with a broken file was called whole");
    let SinkError::Disk { path: named, source } = fault else { panic!("{fault}") };
    assert!(named.ends_with("000001.png"), "{}", named.display());
    assert_eq!(source.kind(), std::io::ErrorKind::AlreadyExists);
    assert!(!path.exists());
}
