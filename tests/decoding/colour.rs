//! What the values mean: embedded profiles, EXIF's word, chroma's place.

use std::io::Cursor;

use exif::experimental::Writer;
use exif::{Field, In, Tag, Value};
use moxcms::ColorProfile;
use stillpath::decode::{Decoder, Want};
use stillpath::ffi::jpeg::{Colour, Encoding, encode, encode_rgb};
use stillpath::picture::{Profile, Siting};
use stillpath::shoot::Format;
use stillpath::units::Size;

use super::{Folder, encoding, scene};

const SIZE: Size = Size { width: 32, height: 24 };

/// The profile and remarks of a JPEG with these markers.
fn judged(name: &str, colour: Colour, markers: &[(u8, &[u8])]) -> (Profile, Vec<String>) {
    let channels = match colour {
        Colour::Grey => 1,
        Colour::Cmyk | Colour::Ycck => 4,
        _ => 3,
    };
    let jpeg = encode(&scene(SIZE, channels), SIZE, &Encoding { markers, ..encoding(colour, (1, 1)) });
    let folder = Folder::new();
    let mut decoder = Decoder::new();
    let picture = decoder.decode(&folder.still(name, Format::Jpeg, SIZE, &jpeg), Want::rows(0..24), None).unwrap();
    (picture.profile, decoder.remarks().to_vec())
}

/// A profile's segments of at most `most` bytes each.
fn segments(icc: &[u8], most: usize) -> Vec<Vec<u8>> {
    let count = u8::try_from(icc.len().div_ceil(most)).unwrap();
    let numbered = (1_u8..).zip(icc.chunks(most));
    numbered.map(|(number, part)| [b"ICC_PROFILE\0", &[number, count][..], part].concat()).collect()
}

fn with_icc(colour: Colour, icc: &[u8]) -> (Profile, Vec<String>) {
    let parts = segments(icc, 60_000);
    let markers: Vec<(u8, &[u8])> = parts.iter().map(|part| (0xE2, part.as_slice())).collect();
    judged("still.jpg", colour, &markers)
}

fn exif_block(fields: &[Field]) -> Vec<u8> {
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut block = Cursor::new(b"Exif\0\0".to_vec());
    block.set_position(6);
    let mut tiff = Cursor::new(Vec::new());
    writer.write(&mut tiff, false).unwrap();
    [b"Exif\0\0".to_vec(), tiff.into_inner()].concat()
}

fn field(tag: Tag, value: Value) -> Field {
    Field { tag, ifd_num: In::PRIMARY, value }
}

#[test]
fn without_a_word_values_are_srgb_and_that_is_said() {
    let said = "the file does not say its colour space; sRGB is assumed".to_owned();
    assert_eq!(judged("still.jpg", Colour::YCbCr, &[]), (Profile::Srgb, vec![said]));
    let block = exif_block(&[field(Tag::ColorSpace, Value::Short(vec![1]))]);
    assert_eq!(judged("still.jpg", Colour::YCbCr, &[(0xE1, &block)]), (Profile::Srgb, vec![]));
}

#[test]
fn a_profile_that_is_srgb_under_whatever_name_is_srgb() {
    let mut profile = ColorProfile::new_srgb();
    profile.description = None;
    assert_eq!(with_icc(Colour::YCbCr, &profile.encode().unwrap()), (Profile::Srgb, vec![]));
}

#[test]
fn other_profiles_are_handed_on_byte_for_byte_however_many_segments_they_come_in() {
    for profile in [ColorProfile::new_adobe_rgb(), ColorProfile::new_display_p3(), ColorProfile::new_pro_photo_rgb()] {
        let icc = profile.encode().unwrap();
        assert_eq!(with_icc(Colour::YCbCr, &icc), (Profile::Icc(icc.as_slice().into()), vec![]));
        let mut parts = segments(&icc, 200);
        assert!(parts.len() > 1);
        parts.reverse();
        let markers: Vec<(u8, &[u8])> = parts.iter().map(|part| (0xE2, part.as_slice())).collect();
        assert_eq!(judged("still.jpg", Colour::YCbCr, &markers).0, Profile::Icc(icc.as_slice().into()));
        // One of them missing.
        let (seen, remarks) = judged("still.jpg", Colour::YCbCr, &markers[1..]);
        assert_eq!(seen, Profile::Srgb);
        assert_eq!(remarks, ["the embedded colour profile is incomplete; sRGB is assumed"]);
    }
}

#[test]
fn a_broken_or_unfitting_profile_is_left_out_with_a_remark() {
    let whole = ColorProfile::new_adobe_rgb().encode().unwrap();
    let grey = ColorProfile::new_gray_with_gamma(1.8).encode().unwrap();
    for (what, colour, icc) in [
        (
            "noise",
            Colour::YCbCr,
            &b"this is no profile, and long enough to hold a header of one, had it been written right"[..],
        ),
        ("cut", Colour::YCbCr, &whole[..whole.len() / 2]),
        ("grey for colour", Colour::YCbCr, &grey),
        ("colour for grey", Colour::Grey, &whole),
    ] {
        let (profile, remarks) = with_icc(colour, icc);
        assert_eq!(profile, Profile::Srgb, "{what}");
        assert_eq!(remarks.len(), 1, "{what}: {remarks:?}");
        assert!(remarks[0].starts_with("the embedded colour profile cannot be used ("), "{what}: {remarks:?}");
    }
}

#[test]
fn a_grey_still_keeps_a_grey_profile() {
    let icc = ColorProfile::new_gray_with_gamma(1.8).encode().unwrap();
    assert_eq!(with_icc(Colour::Grey, &icc), (Profile::Icc(icc.as_slice().into()), vec![]));
}

#[test]
fn a_profile_of_inks_is_not_used() {
    let icc = ColorProfile::new_adobe_rgb().encode().unwrap();
    let (profile, remarks) = with_icc(Colour::Cmyk, &icc);
    assert_eq!(profile, Profile::Srgb);
    assert!(remarks.iter().any(|remark| remark.contains("profile of the printing inks is not used")), "{remarks:?}");
}

#[test]
fn adobe_rgb_marked_by_exif_or_name_alone_is_believed() {
    let index = field(Tag::InteroperabilityIndex, Value::Ascii(vec![b"R03".to_vec()]));
    let other_index = field(Tag::InteroperabilityIndex, Value::Ascii(vec![b"R98".to_vec()]));
    let space = |value| field(Tag::ColorSpace, Value::Short(vec![value]));
    for (name, fields, expected) in [
        ("TIDE0001.JPG", vec![space(0xFFFF), index.clone()], Profile::AdobeRgb),
        ("TIDE0001.JPG", vec![space(2)], Profile::AdobeRgb),
        ("_IDE0001.JPG", vec![space(0xFFFF)], Profile::AdobeRgb),
        ("TIDE0001.JPG", vec![space(0xFFFF)], Profile::Srgb),
        ("_IDE0001.JPG", vec![space(1)], Profile::Srgb),
        ("TIDE0001.JPG", vec![space(1), other_index], Profile::Srgb),
    ] {
        let block = exif_block(&fields);
        assert_eq!(judged(name, Colour::YCbCr, &[(0xE1, &block)]).0, expected, "{name}, {fields:?}");
    }
    // A profile has the last word.
    let (block, icc) = (exif_block(&[space(0xFFFF), index]), ColorProfile::new_display_p3().encode().unwrap());
    let part = &segments(&icc, 60_000)[0];
    let (profile, _) = judged("_IDE0001.JPG", Colour::YCbCr, &[(0xE1, &block), (0xE2, part)]);
    assert_eq!(profile, Profile::Icc(icc.as_slice().into()));
}

#[test]
fn chroma_sits_where_exif_says() {
    let folder = Folder::new();
    for (positioning, origin) in [(None, [1.0, 1.0]), (Some(1), [1.0, 1.0]), (Some(2), [0.5, 0.5])] {
        let block = positioning.map(|value| exif_block(&[field(Tag::YCbCrPositioning, Value::Short(vec![value]))]));
        let markers: Vec<(u8, &[u8])> = block.iter().map(|block| (0xE1, block.as_slice())).collect();
        let jpeg = encode_rgb(&scene(SIZE, 3), SIZE, 90, (2, 2), &markers);
        let picture = Decoder::new().decode(&folder.jpeg(SIZE, &jpeg), Want::rows(0..24), None).unwrap();
        assert_eq!(picture.planes[0].siting, Siting::FULL);
        let expected = Siting { step_x: 2.0, step_y: 2.0, origin_x: origin[0], origin_y: origin[1] };
        assert_eq!(picture.planes[1].siting, expected, "{positioning:?}");
        assert_eq!(picture.planes[2].siting, expected, "{positioning:?}");
    }
}

#[test]
fn a_broken_exif_block_is_passed_over() {
    let folder = Folder::new();
    let jpeg = encode_rgb(&scene(SIZE, 3), SIZE, 90, (2, 2), &[(0xE1, b"Exif\0\0MM\0*\xFF\xFF\xFF\xFF")]);
    let picture = Decoder::new().decode(&folder.jpeg(SIZE, &jpeg), Want::rows(0..24), None).unwrap();
    assert_eq!((picture.profile, picture.planes[1].siting.origin_x), (Profile::Srgb, 1.0));
}
