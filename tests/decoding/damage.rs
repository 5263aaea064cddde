//! Files that are not whole: what is wrong is named, and no stale or grey row is ever given out.

use std::time::{Duration, SystemTime};

use stillpath::decode::{Decoder, Want, test_decode};
use stillpath::ffi::jpeg::{Coding, Colour, Encoding, encode};
use stillpath::shoot::{Damage, Format};
use stillpath::units::Size;

use super::{Folder, damage_of, decoded, encoding, oracle, patched, rows, scene, ycbcr};

const SIZE: Size = Size { width: 96, height: 80 };

fn scan_start(jpeg: &[u8]) -> usize {
    jpeg.windows(2).position(|pair| pair == [0xFF, 0xDA]).unwrap() + 14
}

#[test]
fn an_empty_file_is_empty() {
    let folder = Folder::new();
    assert_eq!(test_decode(&folder.jpeg(SIZE, b"")), Err(Damage::Empty));
}

#[test]
fn a_page_saved_under_a_stills_name_is_said_to_be_one() {
    for (bytes, expected) in [
        (&b"\n<!DOCTYPE html><html><body>camera offline</body></html>"[..], "an HTML page"),
        (b"camera offline\n", "a text"),
        (&[0; 4096], "nothing but zero bytes"),
        (b"\x01\x02\x03\x04", "bytes of no known kind"),
    ] {
        assert_eq!(damage_of(bytes, SIZE), Damage::NotAPicture(expected.into()));
    }
}

/// Wherever a file is cut, the rows said to be whole are (FFmpeg's decoder shows the same ones), and whichever rows are
/// asked for, it is damaged.
///
/// Fault 11: a JPEG cut short.
#[test]
fn a_jpeg_cut_short_is_damaged_whichever_rows_are_asked_for_and_has_the_rows_it_says() {
    for subsampling in [(1, 1), (2, 1), (2, 2)] {
        for restart_rows in [0, 1] {
            let how = Encoding { restart_rows, ..encoding(Colour::YCbCr, subsampling) };
            let jpeg = encode(&scene(SIZE, 3), SIZE, &how);
            let sizes = [(SIZE.width, SIZE.height)];
            let (across, down) = (u32::from(subsampling.0), u32::from(subsampling.1));
            let chroma = (SIZE.width.div_ceil(across), SIZE.height.div_ceil(down));
            let sizes = [sizes[0], chroma, chroma];
            let whole = oracle::planes(&jpeg, &sizes);
            let mut partly = 0;
            for end in (scan_start(&jpeg)..jpeg.len() - 2).step_by(97) {
                let folder = Folder::new();
                let still = folder.jpeg(SIZE, &jpeg[..end]);
                let mut decoder = Decoder::new();
                let damage = decoder.decode(&still, Want::rows(0..SIZE.height), None).unwrap_err();
                let Damage::CutShort { decoded: good, due: 80 } = damage else { panic!("cut at {end}: {damage}") };
                assert!(good < 80);
                assert_eq!(decoder.decode(&still, Want::rows(0..8), None).unwrap_err(), damage, "cut at {end}");
                if good == 0 {
                    continue;
                }
                partly += 1;
                let part = oracle::planes(&jpeg[..end], &sizes);
                for plane in 0..3 {
                    let good = (good / SIZE.height.div_ceil(sizes[plane].1)) as usize;
                    assert_eq!(part[plane][..good], whole[plane][..good], "cut at {end}, plane {plane}");
                }
            }
            assert!(partly > 5, "{partly} cuts left some rows whole");
        }
    }
}

#[test]
fn a_progressive_jpeg_cut_short_is_never_taken_for_whole() {
    let how = Encoding { coding: Coding::Progressive, ..encoding(Colour::YCbCr, (2, 2)) };
    let jpeg = encode(&scene(SIZE, 3), SIZE, &how);
    let mut in_last_scan = 0;
    for end in scan_start(&jpeg)..jpeg.len() - 2 {
        let damage = damage_of(&jpeg[..end], SIZE);
        let Damage::CutShort { decoded, due: 80 } = damage else { panic!("cut at {end}: {damage}") };
        in_last_scan += u32::from(decoded > 0);
    }
    assert!(in_last_scan > 0, "rows refined by the last scan before the cut are whole");
}

#[test]
fn a_jpeg_cut_in_its_header_has_no_rows() {
    let jpeg = ycbcr(SIZE, (2, 2));
    for end in (4..scan_start(&jpeg) - 14).step_by(13) {
        assert_eq!(damage_of(&jpeg[..end], SIZE), Damage::CutShort { decoded: 0, due: 80 }, "cut at {end}");
    }
}

#[test]
fn a_jpeg_that_lacks_only_its_end_marker_is_whole() {
    for (coding, restart_rows) in [(Coding::Baseline, 0), (Coding::Baseline, 1), (Coding::Progressive, 0)] {
        let how = Encoding { coding, restart_rows, ..encoding(Colour::YCbCr, (2, 2)) };
        let jpeg = encode(&scene(SIZE, 3), SIZE, &how);
        assert_eq!(jpeg[jpeg.len() - 2..], [0xFF, 0xD9]);
        let (whole, seen) = (decoded(&jpeg, SIZE), decoded(&jpeg[..jpeg.len() - 2], SIZE));
        for plane in 0..3 {
            assert_eq!(rows(&whole, plane), rows(&seen, plane), "{coding:?}");
        }
    }
}

#[test]
fn bytes_after_the_end_marker_and_between_segments_change_nothing() {
    let jpeg = ycbcr(SIZE, (2, 1));
    let whole = decoded(&jpeg, SIZE);
    let block = [&jpeg[..], b"MAKER BLOCK", &[0xFF, 0xD8, 0xFF, 0x00, 0x12]].concat();
    let second = [&jpeg[..], &ycbcr(SIZE, (2, 1))].concat();
    let fill = [&jpeg[..jpeg.len() - 2], &[0xFF; 40], &[0xFF, 0xD9]].concat();
    let zeros = [&jpeg[..], &[0; 5000]].concat();
    // After the start marker and the JFIF segment of 18 bytes.
    let stray = [&jpeg[..20], &[0, 0, 7], &jpeg[20..]].concat();
    for (what, file) in [("block", block), ("second", second), ("fill", fill), ("zeros", zeros), ("stray", stray)] {
        let seen = decoded(&file, SIZE);
        for plane in 0..3 {
            assert_eq!(rows(&whole, plane), rows(&seen, plane), "{what}");
        }
    }
}

/// What a file system leaves after a power cut: the right length, zeros from some block on.
#[test]
fn zeros_in_place_of_the_rest_are_a_file_cut_short() {
    let jpeg = ycbcr(SIZE, (2, 2));
    let mut cut = jpeg.clone();
    let end = scan_start(&jpeg) + (jpeg.len() - scan_start(&jpeg)) / 2;
    cut[end..].fill(0);
    let damage = damage_of(&cut, SIZE);
    assert!(matches!(damage, Damage::CutShort { decoded: 1..80, due: 80 }), "{damage}");
}

#[test]
fn a_restart_marker_out_of_order_is_damage() {
    let how = Encoding { restart_rows: 1, ..encoding(Colour::YCbCr, (2, 2)) };
    let jpeg = encode(&scene(SIZE, 3), SIZE, &how);
    let second = jpeg.windows(2).position(|pair| pair == [0xFF, 0xD1]).unwrap();
    let damage = damage_of(&patched(&jpeg, second, &[0xFF, 0xD5]), SIZE);
    assert!(matches!(&damage, Damage::Corrupt(what) if what.contains("32 of 80 rows")), "{damage}");
}

/// Fault 14: corrupt in the middle (by the decoder's warnings, and by the neighbours).
#[test]
fn a_missing_piece_in_the_middle_is_damage() {
    for coding in [Coding::Baseline, Coding::Progressive] {
        let how = Encoding { coding, ..encoding(Colour::YCbCr, (2, 2)) };
        let jpeg = encode(&scene(SIZE, 3), SIZE, &how);
        let start = scan_start(&jpeg);
        let mut missed = 0;
        let places = (start + 100..jpeg.len() - 700).step_by(131);
        let tried = places.clone().count();
        for at in places {
            let file = [&jpeg[..at], &jpeg[at + 512..]].concat();
            let folder = Folder::new();
            missed += usize::from(test_decode(&folder.jpeg(SIZE, &file)).is_ok());
        }
        assert_eq!(missed, 0, "of {tried}, {coding:?}");
    }
}

/// libjpeg fills a component that never came with mid-grey and says nothing.
#[test]
fn a_colour_without_its_scan_is_damage() {
    let how = Encoding { coding: Coding::Separate, ..encoding(Colour::YCbCr, (2, 2)) };
    let jpeg = encode(&scene(SIZE, 3), SIZE, &how);
    let scans: Vec<usize> = (0..jpeg.len() - 1).filter(|at| jpeg[*at..at + 2] == [0xFF, 0xDA]).collect();
    assert_eq!(scans.len(), 3);
    // Tables stand before the scan they are for: what matters is that the last scan's own marker is gone.
    let cut = &jpeg[..scans[2]];
    assert_eq!(damage_of(cut, SIZE), Damage::CutShort { decoded: 0, due: 80 });
    let damage = damage_of(&[cut, &[0xFF, 0xD9]].concat(), SIZE);
    assert!(matches!(&damage, Damage::Corrupt(what) if what.contains("scans are missing")), "{damage}");
    // Cut within the last component's scan, the rows before the cut are whole in all three.
    let damage = damage_of(&jpeg[..scans[2] + (jpeg.len() - scans[2]) / 2], SIZE);
    assert!(matches!(damage, Damage::CutShort { decoded: 1..80, due: 80 }), "{damage}");
}

#[test]
fn a_header_that_promises_too_much_is_refused_before_anything_is_allocated() {
    let jpeg = ycbcr(SIZE, (2, 2));
    let frame = jpeg.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    let huge = Size::new(65_000, 65_000);
    let side = 65_000_u16.to_be_bytes();
    let file = patched(&jpeg, frame + 5, &[side, side].concat());
    assert_eq!(damage_of(&file, huge), Damage::TooLarge("65000x65000".into()));
}

/// Fault 18: changed since the survey.
#[test]
fn a_file_that_changed_since_the_survey_is_refused() {
    let folder = Folder::new();
    let jpeg = ycbcr(SIZE, (2, 2));
    let still = folder.jpeg(SIZE, &jpeg);
    assert_eq!(test_decode(&still), Ok(()));
    let file = std::fs::File::options().append(true).open(&still.path).unwrap();
    file.set_modified(SystemTime::now() + Duration::from_secs(5)).unwrap();
    assert_eq!(test_decode(&still), Err(Damage::Changed), "touched");

    let still = folder.jpeg(SIZE, &jpeg);
    std::fs::write(&still.path, [&jpeg[..], b"more"].concat()).unwrap();
    assert_eq!(test_decode(&still), Err(Damage::Changed), "longer");

    let still = folder.jpeg(SIZE, &jpeg);
    std::fs::write(&still.path, b"").unwrap();
    assert_eq!(test_decode(&still), Err(Damage::Changed), "emptied");

    let other = folder.jpeg(Size::new(96, 81), &jpeg);
    assert_eq!(test_decode(&other), Err(Damage::Changed), "of another size");
}

#[test]
fn what_cannot_be_read_says_why_in_the_systems_words() {
    let folder = Folder::new();
    let mut still = folder.jpeg(SIZE, &ycbcr(SIZE, (2, 2)));
    std::fs::remove_file(&still.path).unwrap();
    let damage = test_decode(&still).unwrap_err();
    assert!(matches!(&damage, Damage::Unreadable(why) if why.contains("os error 2")), "{damage}");
    still.path = folder.path().to_owned();
    let damage = test_decode(&still).unwrap_err();
    assert!(matches!(&damage, Damage::Unreadable(why) if why.contains("not a regular file")), "{damage}");
}

#[test]
fn a_decoder_goes_on_after_every_kind_of_damage() {
    let jpeg = ycbcr(SIZE, (2, 2));
    let expected = decoded(&jpeg, SIZE);
    let (folder, mut decoder, mut spare) = (Folder::new(), Decoder::new(), None);
    let start = scan_start(&jpeg);
    let frame = jpeg.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    let bad = [
        jpeg[..start + 300].to_vec(),
        jpeg[..40].to_vec(),
        patched(&jpeg, start + 200, &[0xFF, 0xD9, 0xFF, 0xD9]),
        patched(&jpeg, frame + 4, &[12]),
        b"<html>".to_vec(),
    ];
    for bad in bad {
        let still = folder.still("bad.jpg", Format::Jpeg, SIZE, &bad);
        assert!(decoder.decode(&still, Want::rows(0..80), spare.take()).is_err());
        let picture = decoder.decode(&folder.jpeg(SIZE, &jpeg), Want::rows(0..80), None).unwrap();
        for plane in 0..3 {
            assert_eq!(rows(&expected, plane), rows(&picture, plane));
        }
        spare = Some(picture);
    }
}

/// libjpeg keeps tables from one file to the next.
#[test]
fn a_file_that_lost_its_tables_is_not_decoded_with_the_last_ones() {
    let jpeg = ycbcr(SIZE, (2, 2));
    let table = jpeg.windows(2).position(|pair| pair == [0xFF, 0xDB]).unwrap();
    let length = usize::from(u16::from_be_bytes([jpeg[table + 2], jpeg[table + 3]]));
    let without = [&jpeg[..table], &jpeg[table + 2 + length..]].concat();
    let (folder, mut decoder) = (Folder::new(), Decoder::new());
    decoder.decode(&folder.jpeg(SIZE, &jpeg), Want::rows(0..80), None).unwrap();
    let damage = decoder.decode(&folder.jpeg(SIZE, &without), Want::rows(0..80), None).unwrap_err();
    assert!(matches!(damage, Damage::Corrupt(_)), "{damage}");
}
