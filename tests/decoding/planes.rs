//! Whole JPEGs: every layout against an independent decoder.

use stillpath::decode::{Decoder, Want};
use stillpath::ffi::jpeg::{Coding, Colour, Encoding, encode};
use stillpath::picture::{Model, Picture, Profile, Samples, Siting};
use stillpath::shoot::{Damage, Format, Orientation};
use stillpath::units::Size;

use super::{Folder, SUBSAMPLINGS, decoded, encoding, oracle, patched, rows, scene, ycbcr};

/// Inverse transforms may differ by one code (IEEE 1180 allows as much), and a rounding on top.
const TRANSFORMS_DIFFER: u8 = 2;

fn assert_like_the_oracle(picture: &Picture, jpeg: &[u8], what: &str) {
    let sizes: Vec<(u32, u32)> = picture.planes.iter().map(|plane| (plane.width, plane.height)).collect();
    for (index, expected) in oracle::planes(jpeg, &sizes).iter().enumerate() {
        for (y, (row, expected)) in rows(picture, index).iter().zip(expected).enumerate() {
            let most = row.iter().zip(expected).map(|(a, b)| a.abs_diff(*b)).max().unwrap();
            assert!(most <= TRANSFORMS_DIFFER, "{what}: plane {index}, row {y} is off by {most}");
        }
    }
}

/// Fault 35: JPEGs of rare kinds (12 bits by a header alone).
#[test]
fn every_subsampling_and_coding_gives_the_planes_an_independent_decoder_gives() {
    for subsampling in SUBSAMPLINGS {
        for coding in [Coding::Baseline, Coding::Progressive, Coding::Separate] {
            for restart_rows in [0, 1] {
                for size in [Size::new(128, 96), Size::new(97, 53), Size::new(15, 17)] {
                    let how = Encoding { coding, restart_rows, ..encoding(Colour::YCbCr, subsampling) };
                    let jpeg = encode(&scene(size, 3), size, &how);
                    let what = format!("{size}, {subsampling:?}, {coding:?}, {restart_rows}");
                    assert_like_the_oracle(&decoded(&jpeg, size), &jpeg, &what);
                }
            }
        }
    }
}

#[test]
fn planes_have_their_own_sizes_and_centred_sitings() {
    for (across, down) in SUBSAMPLINGS {
        for size in [Size::new(96, 64), Size::new(97, 53), Size::new(1, 1), Size::new(15, 17)] {
            let picture = decoded(&ycbcr(size, (across, down)), size);
            assert_eq!((picture.size, picture.model, &picture.profile), (size, Model::YCbCr601, &Profile::Srgb));
            assert_eq!((picture.first_row, picture.end_row), (0, size.height));
            assert_eq!((picture.planes[0].width, picture.planes[0].height), (size.width, size.height));
            assert_eq!(picture.planes[0].siting, Siting::FULL);
            for plane in &picture.planes[1..] {
                let expected = (size.width.div_ceil(across.into()), size.height.div_ceil(down.into()));
                assert_eq!((plane.width, plane.height), expected, "{across}x{down}, {size}");
                let (step_x, step_y) = (f64::from(across), f64::from(down));
                let centred = Siting { step_x, step_y, origin_x: step_x / 2.0, origin_y: step_y / 2.0 };
                assert_eq!(plane.siting, centred);
            }
        }
    }
}

#[test]
fn a_grey_jpeg_is_one_plane() {
    let size = Size::new(61, 45);
    for subsampling in [(1, 1), (2, 2)] {
        let jpeg = encode(&scene(size, 1), size, &encoding(Colour::Grey, subsampling));
        let picture = decoded(&jpeg, size);
        assert_eq!((picture.model, picture.planes.len()), (Model::Grey, 1));
        assert_eq!(picture.planes[0].siting, Siting::FULL);
        assert_like_the_oracle(&picture, &jpeg, "grey");
    }
}

#[test]
fn rgb_coded_jpegs_come_out_as_they_went_in_with_and_without_subsampling() {
    let size = Size::new(48, 40);
    // Flat colours survive any subsampling.
    let flat: Vec<u8> = [200, 90, 30].into_iter().cycle().take(48 * 40 * 3).collect();
    for subsampling in [(1, 1), (2, 2)] {
        let jpeg = encode(&flat, size, &encoding(Colour::Rgb, subsampling));
        let picture = decoded(&jpeg, size);
        assert_eq!(picture.model, Model::Rgb);
        for (plane, expected) in [200_u8, 90, 30].into_iter().enumerate() {
            assert_eq!(picture.planes[plane].siting, Siting::FULL);
            assert!(rows(&picture, plane).iter().flatten().all(|seen| seen.abs_diff(expected) <= 1), "{subsampling:?}");
        }
    }
}

/// What an Adobe marker's CMYK holds: 255 is no ink. Solid inks have colours everybody agrees on.
///
/// Fault 35: JPEGs of rare kinds (12 bits by a header alone).
#[test]
fn inks_become_the_colours_they_print() {
    let size = Size::new(16, 16);
    let solids = [
        ([255, 255, 255, 255], [255, 255, 255]),
        ([0, 255, 255, 255], [0, 255, 255]),
        ([255, 0, 255, 255], [255, 0, 255]),
        ([255, 255, 0, 255], [255, 255, 0]),
        ([255, 255, 255, 0], [0, 0, 0]),
        ([255, 255, 255, 128], [128, 128, 128]),
        ([128, 255, 255, 128], [64, 128, 128]),
    ];
    for colour in [Colour::Cmyk, Colour::Ycck] {
        for (inks, expected) in solids {
            let pixels: Vec<u8> = inks.into_iter().cycle().take(16 * 16 * 4).collect();
            let folder = Folder::new();
            let still = folder.jpeg(size, &encode(&pixels, size, &encoding(colour, (1, 1))));
            let mut decoder = Decoder::new();
            let picture = decoder.decode(&still, Want::rows(0..16), None).unwrap();
            assert_eq!(picture.model, Model::Rgb);
            assert!(decoder.remarks().iter().any(|remark| remark.contains("inks")), "{:?}", decoder.remarks());
            for (plane, expected) in expected.into_iter().enumerate() {
                let row = &rows(&picture, plane)[7];
                assert!(row.iter().all(|seen| seen.abs_diff(expected) <= 2), "{colour:?} {inks:?}: {row:?}");
            }
        }
    }
}

/// 40 × 24 pixels of (6x, 10y, xy mod 200), quality 60, 4:2:2, written by libjpeg-turbo's own `cjpeg -arithmetic`.
const ARITHMETIC: &str = "\
    ffd8ffe000104a46494600010100000100010000ffdb0043000d090a0b0a080d0b0a0b0e0e0d0f13201513121213271c1e17\
    202e2931302e292d2c333a4a3e333646372c2d405741464c4e525352323e5a615a50604a51524fffdb0043010e0e0e131113\
    261515264f352d354f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f4f\
    4f4f4f4f4f4f4f4fffc90011080018002803012100021101031101ffcc000a0010100501101105ffda000c03010002110311\
    003f00ff00931c2e98d8f1e92743701c63f17648f6791b5f9d1cddd4c21ab12ceb6518aeaef00acebf5f373b23c8bc22375c\
    6d4bf3a726aa6292f708d1df88b62fda3c66b96a92f7cf3153a07d5693379337fb0a5eb8e348f078e39c8cef044bc71bb908\
    075a16e2386f86905f844735d12299ef1b2bb03d158ebf762022491a60b76f0797c4bf675197d97b42effcdfa7121cef32b3\
    a1e31e726fe697965ce04afd7256cedc65e364481230de7319671ec9ba00084ca9fc2d866f4dc64a7888ffd9";

fn from_hex(text: &str) -> Vec<u8> {
    (0..text.len()).step_by(2).map(|at| u8::from_str_radix(&text[at..at + 2], 16).unwrap()).collect()
}

#[test]
fn arithmetic_coding_gives_the_planes_that_huffman_coding_gives() {
    let size = Size::new(40, 24);
    let pixels: Vec<u8> = (0..24_u32)
        .flat_map(|y| (0..40_u32).flat_map(move |x| [x * 6, y * 10, (x * y) % 200]))
        .map(|sample| u8::try_from(sample).unwrap())
        .collect();
    let huffman = encode(&pixels, size, &Encoding { quality: 60, ..encoding(Colour::YCbCr, (2, 1)) });
    let (expected, seen) = (decoded(&huffman, size), decoded(&from_hex(ARITHMETIC), size));
    for plane in 0..3 {
        assert_eq!(rows(&expected, plane), rows(&seen, plane), "plane {plane}");
    }
}

#[test]
fn an_arithmetic_jpeg_cut_short_is_never_taken_for_whole() {
    let (size, whole) = (Size::new(40, 24), from_hex(ARITHMETIC));
    let folder = Folder::new();
    for end in 3..whole.len() - 2 {
        let damage = Decoder::new().decode(&folder.jpeg(size, &whole[..end]), Want::rows(0..24), None).unwrap_err();
        assert!(matches!(damage, Damage::CutShort { decoded: 0..24, due: 24 }), "{end}: {damage}");
    }
}

/// Fault 35: JPEGs of rare kinds (12 bits by a header alone).
#[test]
fn jpegs_of_kinds_that_are_not_read_are_named() {
    let size = Size::new(32, 32);
    let whole = ycbcr(size, (2, 2));
    // SOF0's precision is its first byte after the length (ITU-T T.81, B.2.2); SOF3 is lossless.
    let frame = whole.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    for (at, byte, expected) in [(frame + 4, 12, "more than 8 bits"), (frame + 1, 0xC3, "lossless")] {
        let damage = super::damage_of(&patched(&whole, at, &[byte]), size);
        assert!(matches!(&damage, Damage::Unsupported(what) if what.contains(expected)), "{damage}");
    }
}

#[test]
fn orientations_turn_every_plane_of_a_jpeg() {
    let size = Size::new(45, 22);
    let folder = Folder::new();
    let mut still = folder.jpeg(size, &ycbcr(size, (2, 2)));
    let mut decoder = Decoder::new();
    let upright = decoder.decode(&still, Want::rows(0..22), None).unwrap();
    for tag in 2..=8 {
        still.orientation = Orientation::from_tag(tag);
        // Rows are those of the upright picture; a turned one is decoded whole.
        let picture = decoder.decode(&still, Want::rows(3..5), None).unwrap();
        assert_eq!(picture.size, still.orientation.upright(size));
        assert_eq!((picture.first_row, picture.end_row), (0, picture.size.height));
        for plane in 0..3 {
            let (seen, stored) = (rows(&picture, plane), rows(&upright, plane));
            let (height, width) = (stored.len(), stored[0].len());
            for (y, row) in seen.iter().enumerate() {
                for (x, sample) in row.iter().enumerate() {
                    // Which stored sample is seen there, by the tag's table of visual edges (Exif 2.32, 4.6.4 A).
                    let (from_x, from_y) = match tag {
                        2 => (width - 1 - x, y),
                        3 => (width - 1 - x, height - 1 - y),
                        4 => (x, height - 1 - y),
                        5 => (y, x),
                        6 => (y, height - 1 - x),
                        7 => (width - 1 - y, height - 1 - x),
                        _ => (width - 1 - y, x),
                    };
                    assert_eq!(*sample, stored[from_y][from_x], "tag {tag}, plane {plane}, ({x}, {y})");
                }
            }
        }
    }
}

#[test]
fn a_spare_pictures_room_is_used_again() {
    let size = Size::new(96, 64);
    let folder = Folder::new();
    let mut still = folder.jpeg(size, &ycbcr(size, (2, 2)));
    let mut decoder = Decoder::new();
    let room = |picture: &Picture| -> Vec<*const u8> {
        picture
            .planes
            .iter()
            .map(|plane| if let Samples::Eight(samples) = &plane.samples { samples.as_ptr() } else { panic!() })
            .collect()
    };
    for tag in [1, 6] {
        still.orientation = Orientation::from_tag(tag);
        let first = decoder.decode(&still, Want::rows(0..96), None).unwrap();
        let expected = room(&first);
        let second = decoder.decode(&still, Want::rows(0..96), Some(first)).unwrap();
        assert_eq!(room(&second), expected, "tag {tag}");
    }
}

#[test]
fn the_content_counts_and_not_the_extension() {
    let size = Size::new(32, 32);
    let folder = Folder::new();
    let still = folder.still("still.png", Format::Jpeg, size, &ycbcr(size, (2, 2)));
    assert_eq!(Decoder::new().decode(&still, Want::rows(0..32), None).unwrap().model, Model::YCbCr601);
}

#[test]
fn a_decoder_can_be_handed_to_another_thread() {
    let size = Size::new(32, 32);
    let (folder, mut decoder) = (Folder::new(), Decoder::new());
    let still = folder.jpeg(size, &ycbcr(size, (2, 2)));
    let here = decoder.decode(&still, Want::rows(0..32), None).unwrap();
    let there = std::thread::scope(|scope| {
        scope.spawn(|| decoder.decode(&still, Want::rows(0..32), None).unwrap()).join().unwrap()
    });
    assert_eq!(rows(&here, 0), rows(&there, 0));
}
