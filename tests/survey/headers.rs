//! Headers of every kind of picture, read from files that another library wrote.
//!
//! Source of the constants: written once with Pillow 13.0.0. Those with tags say DateTime 2026:06:01 00:00:00 and, in
//! the Exif directory, DateTimeOriginal 2026:05:01 14:32:09, SubSecTimeOriginal "91", OffsetTimeOriginal "-04:30".

use image::ImageFormat;
use stillpath::decode::header::{Ending, Header, read};
use stillpath::shoot::{Captured, Damage, Format, Orientation};

use crate::camera::{Card, Tags, encoded};

/// 24 × 10 grey, orientation 6.
const JPEG: &str = "\
    ffd8ffe000104a46494600010100000100010000ffe100944578696600004d4d002a0000000800030112000300000001000600000132000200000014\
    0000003287690004000000010000004600000000323032363a30363a30312030303a30303a3030000003900300020000001400000070901100020000\
    00070000008492910002000000033931000000000000323032363a30353a30312031343a33323a3039002d30343a33300000ffdb0043001b12141714\
    111b1716171e1c1b2028422b28252528513a3d3042605565645f555d5b6a7899816a7190735b5d85b586909ea3abadab6780bcc9baa6c799a8aba4ff\
    c0000b08000a001801011100ffc4001f0000010501010101010100000000000000000102030405060708090a0bffc400b51000020103030204030505\
    04040000017d01020300041105122131410613516107227114328191a1082342b1c11552d1f02433627282090a161718191a25262728292a34353637\
    38393a434445464748494a535455565758595a636465666768696a737475767778797a838485868788898a92939495969798999aa2a3a4a5a6a7a8a9\
    aab2b3b4b5b6b7b8b9bac2c3c4c5c6c7c8c9cad2d3d4d5d6d7d8d9dae1e2e3e4e5e6e7e8e9eaf1f2f3f4f5f6f7f8f9faffda0008010100003f00af45\
    1451457fffd9\
";
/// 24 × 10 grey, orientation 8.
const PNG: &str = "\
    89504e470d0a1a0a0000000d49484452000000180000000a08000000008b02c1b40000008c655849664d4d002a000000080003011200030000000100\
    08000001320002000000140000003287690004000000010000004600000000323032363a30363a30312030303a30303a303000000390030002000000\
    140000007090110002000000070000008492910002000000033931000000000000323032363a30353a30312031343a33323a3039002d30343a333000\
    0049bff8b50000001249444154789c634c61c00e9870880f1b09006c020078ae9ae3f90000000049454e44ae426082\
";
/// 24 × 10, orientation 3, extended container.
const LOSSY_WEBP: &str = "\
    52494646dc00000057454250565038580a00000008000000170000090000565038202a000000d002009d012a18000a003f99b6d15db92f2a24b00803\
    20330940185005a48000febbb6868d3eccac0000455849468c0000004d4d002a00000008000301120003000000010003000001320002000000140000\
    003287690004000000010000004600000000323032363a30363a30312030303a30303a30300000039003000200000014000000709011000200000007\
    0000008492910002000000033931000000000000323032363a30353a30312031343a33323a3039002d30343a33300000\
";
/// 24 × 10, lossless, no tags.
const LOSSLESS_WEBP: &str = "\
    524946461e000000574542505650384c110000002f174002000750bc6a15a5ff8188e87f0000\
";
/// 24 × 10, lossy, no tags.
const PLAIN_WEBP: &str = "\
    524946463600000057454250565038202a000000d002009d012a18000a003f99b6d15db92f2a24b0080320330940185005a48000febbb6868d3eccac\
    0000\
";

fn bytes(hex: &str) -> Vec<u8> {
    hex.as_bytes().chunks(2).map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap()).collect()
}

fn header(bytes: &[u8]) -> Header {
    let card = Card::new();
    read(&card.put("still", bytes)).unwrap()
}

fn damage(bytes: &[u8]) -> Damage {
    let card = Card::new();
    read(&card.put("still", bytes)).unwrap_err().damage
}

fn original() -> Option<Captured> {
    let local = jiff::civil::datetime(2026, 5, 1, 14, 32, 9, 910_000_000);
    Some(Captured { local, offset: Some(-(4 * 3600 + 30 * 60)) })
}

#[test]
fn size_orientation_and_time_are_read_from_every_kind_of_picture() {
    for (hex, format, orientation, captured) in [
        (JPEG, Format::Jpeg, Orientation::QuarterClockwise, original()),
        (PNG, Format::Png, Orientation::QuarterAnticlockwise, original()),
        (LOSSY_WEBP, Format::Webp, Orientation::HalfTurn, original()),
        (LOSSLESS_WEBP, Format::Webp, Orientation::Upright, None),
        (PLAIN_WEBP, Format::Webp, Orientation::Upright, None),
    ] {
        let header = header(&bytes(hex));
        assert_eq!((header.format, header.orientation, header.captured), (format, orientation, captured));
        assert_eq!((header.stored.to_string().as_str(), header.ending), ("24x10", Ending::Whole), "{format:?}");
    }
}

#[test]
fn a_tiff_gives_its_tags_and_promises_its_strips() {
    let tags = Tags {
        taken: Some("2026:05:01 14:32:09"),
        fraction: Some("91"),
        offset: Some("-04:30"),
        orientation: Some(5),
        ..Tags::default()
    };
    let whole = tags.tiff(24, 10);
    assert_eq!(image::load_from_memory_with_format(&whole, ImageFormat::Tiff).unwrap().width(), 24);
    let read = header(&whole);
    assert_eq!((read.format, read.orientation, read.captured), (Format::Tiff, Orientation::Transposed, original()));
    assert_eq!((read.stored.to_string().as_str(), read.ending), ("24x10", Ending::Whole));
    assert_eq!(header(&whole[..whole.len() - 1]).ending, Ending::Open);
}

#[test]
fn a_file_that_breaks_off_has_no_end() {
    for format in [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP] {
        let whole = encoded(48, 32, 1, format);
        assert_eq!(header(&whole).ending, Ending::Whole, "{format:?}");
        assert_eq!(header(&whole[..whole.len() - 8]).ending, Ending::Open, "{format:?}");
        assert_eq!(header(&[&whole[..], &[0; 77]].concat()).ending, Ending::Trailing(77), "{format:?}");
    }
}

#[test]
fn no_prefix_of_a_picture_is_taken_for_the_whole_and_none_upsets_the_reader() {
    for whole in [bytes(JPEG), bytes(PNG), bytes(LOSSY_WEBP), bytes(LOSSLESS_WEBP), Tags::default().tiff(24, 10)] {
        let card = Card::new();
        for length in 0..whole.len() {
            let found = read(&card.put(format!("still{length}"), &whole[..length]));
            assert!(
                found.is_err() || found.is_ok_and(|header| header.ending == Ending::Open),
                "{length} of {}",
                whole.len()
            );
        }
    }
}

#[test]
fn a_picture_with_any_one_byte_changed_never_upsets_the_reader() {
    for whole in [bytes(JPEG), bytes(PNG), bytes(LOSSY_WEBP), Tags::default().tiff(24, 10)] {
        let card = Card::new();
        for at in 0..whole.len().min(300) {
            for value in [0, 0x7f, 0xff] {
                let mut changed = whole.clone();
                changed[at] = value;
                // Whatever it says, it says it: no panic, no endless loop, no size beyond the limit.
                if let Ok(header) = read(&card.put(format!("still{at}-{value}"), &changed)) {
                    assert!(header.stored.pixels() <= stillpath::shoot::MOST_PIXELS);
                }
            }
        }
    }
}

// ORACLES 10: tags 0 and 9 and more count as 1; 5 to 8 change width and height.
#[test]
fn all_eight_orientations_are_read() {
    let turned = [
        (0, false),
        (1, false),
        (2, false),
        (3, false),
        (4, false),
        (5, true),
        (6, true),
        (7, true),
        (8, true),
        (9, false),
    ];
    for (tag, swaps) in turned {
        let header = header(&Tags { orientation: Some(tag), ..Tags::default() }.jpeg(48, 32, 1));
        let upright = header.orientation.upright(header.stored).to_string();
        assert_eq!(upright, if swaps { "32x48" } else { "48x32" }, "tag {tag}");
        assert_eq!(header.orientation, Orientation::from_tag(tag.into()));
    }
}

#[test]
fn a_thumbnail_in_the_header_does_not_pass_for_the_end_of_the_picture() {
    let thumbnail = encoded(16, 16, 1, ImageFormat::Jpeg);
    let picture = encoded(48, 32, 1, ImageFormat::Jpeg);
    let mut bytes = picture[..2].to_vec();
    bytes.extend(b"\xff\xe2");
    bytes.extend(u16::try_from(thumbnail.len() + 2).unwrap().to_be_bytes());
    bytes.extend(&thumbnail);
    bytes.extend(&picture[2..picture.len() - 100]);
    assert_eq!(header(&bytes).ending, Ending::Open);
}

#[test]
fn tags_that_make_no_sense_are_passed_over() {
    for taken in ["    :  :     :  :  ", "0000:00:00 00:00:00", "2026:13:01 00:00:00", "soon", "2026:05:01 14:32"] {
        let header = header(&Tags { taken: Some(taken), ..Tags::default() }.jpeg(48, 32, 1));
        assert_eq!(header.captured, None, "{taken}");
    }
    assert_eq!(damage(b"\xff\xd8\xff"), Damage::Corrupt("the file ends inside its header".to_owned()));
}
