//! Stills decoded small: means of the whole picture's squares, where their sitings say; and the same again from the
//! store.

use std::fs;

use stillpath::decode::{Decoder, SMALL_STILLS, SmallStills, Want};
use stillpath::ffi::jpeg::{Coding, Colour, Encoding, encode};
use stillpath::picture::{Picture, Plane, Profile, Samples};
use stillpath::shoot::{Damage, Format, Orientation, Still};
use stillpath::store::Store;
use stillpath::units::Size;

use super::{Folder, SUBSAMPLINGS, encoding, scene, ycbcr};

const ORIENTATIONS: [Orientation; 8] = [
    Orientation::Upright,
    Orientation::Mirrored,
    Orientation::HalfTurn,
    Orientation::Flipped,
    Orientation::Transposed,
    Orientation::QuarterClockwise,
    Orientation::Transversed,
    Orientation::QuarterAnticlockwise,
];

fn sample(plane: &Plane, x: usize, y: usize) -> f64 {
    match &plane.samples {
        Samples::Eight(samples) => f64::from(samples[y * plane.stride + x]),
        Samples::Sixteen(samples) => f64::from(samples[y * plane.stride + x]) / 257.0,
    }
}

/// The samples of a square of so many a side about a middle, along one axis; none where not all of them are inside.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "samples of a small picture")]
fn samples_about(middle: f64, side: f64, length: u32) -> Option<std::ops::Range<usize>> {
    let first = middle - (side - 1.0) / 2.0;
    assert!((first - first.round()).abs() < 1e-9, "squares begin at samples");
    let first = first.round();
    (first >= 0.0 && first + side <= f64::from(length)).then_some(first as usize..(first + side) as usize)
}

/// How far small samples are, at most and on the whole, from the means of the whole picture's samples in the squares
/// that they are in the middle of: whole squares inside the picture only.
fn off(small: &Picture, whole: &Picture, side: f64) -> (f64, f64) {
    assert_eq!((small.size, small.planes.len()), (whole.size, whole.planes.len()));
    let (mut most, mut sum, mut count) = (0.0_f64, 0.0, 0);
    for (few, many) in small.planes.iter().zip(&whole.planes) {
        assert_eq!([few.siting.step_x, few.siting.step_y], [side * many.siting.step_x, side * many.siting.step_y]);
        let range = |at: u32, [few, many]: [(f64, f64); 2], length: u32| {
            samples_about((few.0 + f64::from(at) * few.1 - many.0) / many.1, side, length)
        };
        let (a, b) = (few.siting, many.siting);
        for y in 0..few.height {
            let Some(rows) = range(y, [(a.origin_y, a.step_y), (b.origin_y, b.step_y)], many.height) else { continue };
            for x in 0..few.width {
                let Some(columns) = range(x, [(a.origin_x, a.step_x), (b.origin_x, b.step_x)], many.width) else {
                    continue;
                };
                let square = rows.clone().flat_map(|y| columns.clone().map(move |x| sample(many, x, y)));
                let away = sample(few, x as usize, y as usize) - square.sum::<f64>() / (side * side);
                (most, sum, count) = (most.max(away.abs()), sum + away, count + 1);
            }
        }
    }
    assert!(count > 100, "{count} squares");
    (most, (sum / f64::from(count)).abs())
}

/// As the survey lists a still of this orientation.
fn turned(mut still: Still, orientation: Orientation) -> Still {
    still.orientation = orientation;
    still
}

fn decoded(still: &Still, denominator: u32) -> Picture {
    let rows = 0..still.orientation.upright(still.stored).height;
    Decoder::new().decode(still, Want::Planes { rows, scale: denominator }, None).unwrap()
}

// libjpeg's reduced transforms are averages of the whole one's outputs (its jidctred.c says so), rounded once in place
// of every sample, and clipped afterwards.
#[test]
fn a_jpeg_decoded_small_is_the_means_of_squares_whatever_its_chroma_and_orientation() {
    let size = Size::new(171, 133);
    for subsampling in SUBSAMPLINGS {
        for (coding, orientations) in [
            (Coding::Baseline, &ORIENTATIONS[..]),
            (Coding::Progressive, &ORIENTATIONS[..1]),
            (Coding::Separate, &ORIENTATIONS[..1]),
        ] {
            let folder = Folder::new();
            let how = Encoding { coding, ..encoding(Colour::YCbCr, subsampling) };
            let still = folder.jpeg(size, &encode(&scene(size, 3), size, &how));
            for orientation in orientations {
                let still = turned(still.clone(), *orientation);
                let whole = decoded(&still, 1);
                for denominator in [2, 4, 8] {
                    let (most, mean) = off(&decoded(&still, denominator), &whole, f64::from(denominator));
                    let what =
                        format!("{subsampling:?}, {coding:?}, {orientation:?}, 1/{denominator}: {most:.3}, {mean:.4}");
                    assert!(most < 1.8 && mean < 0.1, "{what}");
                }
            }
        }
    }
}

#[test]
fn co_sited_chroma_keeps_its_place_and_grey_has_one_plane() {
    let size = Size::new(160, 128);
    let folder = Folder::new();
    // YCbCrPositioning 2 (TIFF 6.0, section 21), in an Exif segment of its own.
    let segment = b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x02\x13\0\x03\0\0\0\x01\0\x02\0\0\0\0\0\0".to_vec();
    let markers: [(u8, &[u8]); 1] = [(0xE1, &segment)];
    let co_sited = Encoding { markers: &markers, ..encoding(Colour::YCbCr, (2, 2)) };
    let grey = encoding(Colour::Grey, (1, 1));
    for (bytes, planes) in [(encode(&scene(size, 3), size, &co_sited), 3), (encode(&scene(size, 1), size, &grey), 1)] {
        let still = folder.jpeg(size, &bytes);
        let (small, whole) = (decoded(&still, 4), decoded(&still, 1));
        assert_eq!(small.planes.len(), planes);
        if planes == 3 {
            assert_eq!((whole.planes[1].siting.origin_x, small.planes[1].siting.origin_x), (0.5, 3.5));
        }
        let (most, mean) = off(&small, &whole, 4.0);
        assert!(most < 1.8 && mean < 0.1, "{most}, {mean}");
    }
}

#[test]
fn pngs_and_inks_are_decoded_whole_and_reduced() {
    let size = Size::new(97, 75);
    let folder = Folder::new();
    let mut deep = Vec::new();
    let mut encoder = png::Encoder::new(&mut deep, size.width, size.height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Sixteen);
    let words: Vec<u8> = scene(size, 3).iter().flat_map(|code| (u16::from(*code) * 257 + 11).to_be_bytes()).collect();
    encoder.write_header().unwrap().write_image_data(&words).unwrap();
    let inks = encode(&scene(size, 4), size, &encoding(Colour::Cmyk, (1, 1)));
    let stills =
        [folder.still("deep.png", Format::Png, size, &deep), folder.still("inks.jpg", Format::Jpeg, size, &inks)];
    for (still, bar) in stills.iter().zip([0.003, 0.51]) {
        for denominator in [2, 4, 8] {
            let (most, mean) = off(&decoded(still, denominator), &decoded(still, 1), f64::from(denominator));
            assert!(most < bar && mean < 0.02, "{}, 1/{denominator}: {most}, {mean}", still.path.display());
        }
    }
}

#[test]
fn rows_asked_for_small_are_those_of_the_whole_small_still() {
    let size = Size::new(171, 333);
    let folder = Folder::new();
    for subsampling in SUBSAMPLINGS {
        let still = folder.jpeg(size, &ycbcr(size, subsampling));
        for denominator in [2, 4, 8] {
            let whole = decoded(&still, denominator);
            let part =
                Decoder::new().decode(&still, Want::Planes { rows: 100..180, scale: denominator }, None).unwrap();
            assert!(
                part.first_row <= 100 && part.end_row >= 180 && part.end_row < 333,
                "{}..{}",
                part.first_row,
                part.end_row
            );
            for (part_of, whole_of) in part.planes.iter().zip(&whole.planes) {
                for y in 0..part_of.height {
                    let row = part_of.siting.origin_y + f64::from(y) * part_of.siting.step_y;
                    let half = part_of.siting.step_y / 2.0;
                    if row - half >= f64::from(part.first_row) && row + half <= f64::from(part.end_row) {
                        for x in 0..part_of.width as usize {
                            assert_eq!(
                                sample(part_of, x, y as usize),
                                sample(whole_of, x, y as usize),
                                "{subsampling:?}, {y}"
                            );
                        }
                    }
                }
            }
        }
    }
}

/// Everything that a picture is made of, to be compared.
fn told(picture: &Picture) -> String {
    let plane = |plane: &Plane| {
        let rows = (0..plane.height as usize)
            .map(|y| (0..plane.width as usize).map(|x| sample(plane, x, y)).collect::<Vec<_>>());
        format!("{}x{} {:?} {:?}", plane.width, plane.height, plane.siting, rows.collect::<Vec<_>>())
    };
    let planes: Vec<String> = picture.planes.iter().map(plane).collect();
    let Picture { size, model, profile, first_row, end_row, .. } = picture;
    format!("{size:?} {model:?} {profile:?} {first_row} {end_row} {planes:?}")
}

fn store(folder: &Folder) -> SmallStills {
    SmallStills::new(Store::lasting(&folder.path().join("small"), SMALL_STILLS).unwrap())
}

/// The files of the store.
fn entries(folder: &Folder) -> Vec<std::path::PathBuf> {
    let shelves = fs::read_dir(folder.path().join("small")).unwrap().map(|shelf| shelf.unwrap().path());
    shelves.flat_map(|shelf| fs::read_dir(shelf).unwrap().map(|entry| entry.unwrap().path())).collect()
}

#[test]
fn what_the_store_gives_is_what_decoding_gives_to_the_last_bit() {
    let size = Size::new(171, 133);
    let folder = Folder::new();
    let jpegs = SUBSAMPLINGS.map(|subsampling| ("still.jpg", Format::Jpeg, ycbcr(size, subsampling)));
    let mut deep = Vec::new();
    let mut encoder = png::Encoder::new(&mut deep, size.width, size.height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Sixteen);
    let profile = moxcms::ColorProfile::new_display_p3().encode().unwrap();
    let words: Vec<u8> = scene(size, 3).iter().flat_map(|code| (u16::from(*code) * 250 + 3).to_be_bytes()).collect();
    let mut info = png::Info::with_size(size.width, size.height);
    (info.color_type, info.bit_depth) = (png::ColorType::Rgb, png::BitDepth::Sixteen);
    info.icc_profile = Some(profile.into());
    deep.clear();
    png::Encoder::with_info(&mut deep, info).unwrap().write_header().unwrap().write_image_data(&words).unwrap();
    let mut decoder = Decoder::new();
    for (name, format, bytes) in jpegs.into_iter().chain([("deep.png", Format::Png, deep)]) {
        let still = turned(folder.still(name, format, size, &bytes), Orientation::QuarterClockwise);
        for denominator in [2, 8] {
            let mut plain = Decoder::new();
            let due = plain.decode(&still, Want::Planes { rows: 0..171, scale: denominator }, None).unwrap();
            assert_eq!(matches!(due.profile, Profile::Icc(_)), name == "deep.png");
            for from_store in [false, true] {
                let (picture, kept) = decoder.decode_kept(&still, denominator, &store(&folder), None).unwrap();
                assert_eq!(kept, from_store, "{name}");
                assert_eq!(told(&picture), told(&due), "{name}");
                assert_eq!(decoder.remarks(), plain.remarks(), "{name}");
            }
        }
    }
}

#[test]
fn damaged_entries_are_made_again_and_only_the_very_file_is_known() {
    let size = Size::new(171, 133);
    let folder = Folder::new();
    let still = folder.jpeg(size, &ycbcr(size, (2, 2)));
    let mut decoder = Decoder::new();
    let mut known = |still: &Still| decoder.decode_kept(still, 4, &store(&folder), None).map(|(_, kept)| kept);
    assert_eq!([known(&still), known(&still)], [Ok(false), Ok(true)]);
    let [entry] = &entries(&folder)[..] else { panic!("one entry") };
    let whole = fs::read(entry).unwrap();
    for at in [0, 20, whole.len() / 2, whole.len() - 1] {
        let mut spoilt = whole.clone();
        spoilt[at] ^= 1;
        fs::write(entry, spoilt).unwrap();
        assert_eq!([known(&still), known(&still)], [Ok(false), Ok(true)], "byte {at}");
    }
    // Touched, and copied elsewhere: all of its bytes are the same.
    let copy = folder.still("copy.jpg", Format::Jpeg, size, &fs::read(&still.path).unwrap());
    let old = fs::File::options().append(true).open(&copy.path).unwrap();
    old.set_modified(std::time::UNIX_EPOCH + std::time::Duration::from_secs(1_000_000_000)).unwrap();
    let copy = Still { modified: 1_000_000_000_000_000_000, ..copy };
    assert_eq!(known(&copy), Ok(true));
    // Another file of the same length and time is another still.
    let mut other = fs::read(&still.path).unwrap();
    let middle = other.len() / 2;
    other[middle] ^= 0x01;
    let other = Still { modified: still.modified, ..folder.still("other.jpg", Format::Jpeg, size, &other) };
    fs::File::options()
        .append(true)
        .open(&other.path)
        .unwrap()
        .set_modified(fs::metadata(&still.path).unwrap().modified().unwrap())
        .unwrap();
    assert_ne!(known(&other), Ok(true));
    // One that has changed since the survey is said to have.
    fs::write(&still.path, b"something else").unwrap();
    assert_eq!(known(&still), Err(Damage::Changed));
}
