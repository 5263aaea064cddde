//! What a camera writes beside the picture: names that wrap, and when it was taken.

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use jiff::SignedDuration;
use jiff::civil::DateTime;

/// Number of the first still of the shoot.
const FIRST: u32 = 9941;
/// DCF numbers run from 1 to 9999 in each folder, folders from 100 (JEITA CP-3461).
const NUMBERS: u32 = 9999;

/// Folder and file of a slot, such as `100HARBR/TIDE9941.JPG`.
pub(super) fn name(slot: u32) -> String {
    let count = FIRST - 1 + slot;
    format!("{:03}HARBR/TIDE{:04}.JPG", 100 + count / NUMBERS, count % NUMBERS + 1)
}

/// The number in that name.
pub(super) fn number(slot: u32) -> u32 {
    (FIRST - 1 + slot) % NUMBERS + 1
}

/// The camera's local time at a slot: 5 seconds apart, to the hundredth.
pub(super) fn captured(slot: u32) -> DateTime {
    let start = jiff::civil::date(2031, 9, 12).at(20, 31, 4, 370_000_000);
    start.saturating_add(SignedDuration::from_secs(i64::from(slot) * 5))
}

/// The camera's offset from UTC.
pub(super) const OFFSET: &str = "+01:00";

/// The APP1 block of a slot, `Exif\0\0` included.
///
/// # Errors
/// What the writer says of a field; none is known.
pub(super) fn block(slot: u32) -> Result<Vec<u8>, exif::Error> {
    let text = |tag, text: String| Field { tag, ifd_num: In::PRIMARY, value: Value::Ascii(vec![text.into_bytes()]) };
    let short = |tag, value: u16| Field { tag, ifd_num: In::PRIMARY, value: Value::Short(vec![value]) };
    let ratio = |tag, num: u32, denom: u32| Field {
        tag,
        ifd_num: In::PRIMARY,
        value: Value::Rational(vec![Rational { num, denom }]),
    };
    let moment = captured(slot);
    let date = moment.strftime("%Y:%m:%d %H:%M:%S").to_string();
    let hundredths = format!("{:02}", moment.subsec_nanosecond() / 10_000_000);
    let version = Field { tag: Tag::ExifVersion, ifd_num: In::PRIMARY, value: Value::Undefined(b"0232".to_vec(), 0) };
    let fields = [
        short(Tag::Orientation, 1),
        ratio(Tag::XResolution, 72, 1),
        ratio(Tag::YResolution, 72, 1),
        short(Tag::ResolutionUnit, 2),
        text(Tag::DateTime, date.clone()),
        short(Tag::YCbCrPositioning, 1),
        version,
        text(Tag::DateTimeOriginal, date.clone()),
        text(Tag::DateTimeDigitized, date),
        text(Tag::OffsetTime, OFFSET.to_owned()),
        text(Tag::OffsetTimeOriginal, OFFSET.to_owned()),
        text(Tag::OffsetTimeDigitized, OFFSET.to_owned()),
        text(Tag::SubSecTime, hundredths.clone()),
        text(Tag::SubSecTimeOriginal, hundredths.clone()),
        text(Tag::SubSecTimeDigitized, hundredths),
        ratio(Tag::ExposureTime, 1, 2),
        ratio(Tag::FNumber, 80, 10),
        short(Tag::PhotographicSensitivity, 200),
        ratio(Tag::FocalLength, 28, 1),
        short(Tag::ColorSpace, 1),
    ];
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut bytes = std::io::Cursor::new(Vec::new());
    writer.write(&mut bytes, false)?;
    let mut block = b"Exif\0\0".to_vec();
    block.extend(bytes.into_inner());
    Ok(block)
}
