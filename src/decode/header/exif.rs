//! Orientation and capture time from an EXIF block (Exif 2.31: tags 0x0112, 0x9003 and their companions).

use exif::{Context, Exif, In, Reader, Tag, Value};
use jiff::civil::{Date, DateTime, Time};

use super::Tags;
use crate::shoot::{Captured, Orientation, Settings};

/// DateTime, the last change of the file: the last resort.
pub(super) const DATE_TIME: u16 = 0x0132;

/// The tags that together give one moment.
pub(super) struct Moment {
    date: u16,
    fraction: u16,
    offset: u16,
}

impl Moment {
    /// Its three tags.
    pub(super) fn tags(&self) -> [u16; 3] {
        [self.date, self.fraction, self.offset]
    }
}

/// Original, digitised, changed: the first that holds a real date is when the still was taken.
pub(super) const MOMENTS: [Moment; 3] = [
    Moment { date: 0x9003, fraction: 0x9291, offset: 0x9011 },
    Moment { date: 0x9004, fraction: 0x9292, offset: 0x9012 },
    Moment { date: DATE_TIME, fraction: 0x9290, offset: 0x9010 },
];

/// Takes orientation and capture time from a block that starts with its TIFF header. A broken block gives what can be read.
pub(super) fn read(block: &[u8], tags: &mut Tags) {
    let read = Reader::new().continue_on_error(true).read_raw(block.to_vec());
    let Ok(block) = read.or_else(|error| error.distill_partial_result(|_errors| {})) else { return };
    if let Some(tag) = block.get_field(Tag::Orientation, In::PRIMARY).and_then(|field| field.value.get_uint(0)) {
        tags.orientation = Orientation::from_tag(tag);
    }
    tags.captured = captured(|tag| text(&block, tag)).or(tags.captured);
    let profile = tags.settings.profile.take();
    tags.settings = settings(&block);
    // An embedded profile says more than a tag.
    tags.settings.profile = profile.or(tags.settings.profile.take());
}

/// How the camera was set (Exif 2.31, table 4 and the tags' own sections).
fn settings(block: &Exif) -> Settings {
    let value = |tag| block.get_field(tag, In::PRIMARY).map(|field| &field.value);
    let number = |tag| value(tag).and_then(|value| value.get_uint(0));
    let ratio = |tag| match value(tag)? {
        Value::Rational(ratios) => ratios.first().map(|ratio| (ratio.num, ratio.denom)),
        _ => None,
    };
    let positive = |tag| {
        ratio(tag).filter(|(above, below)| *above > 0 && *below > 0).map(|(above, below)| f64::from(above) / f64::from(below))
    };
    // Of the distance, a numerator of all ones is infinity and 0 is unknown.
    let focus = match ratio(Tag::SubjectDistance) {
        Some((u32::MAX, _)) => Some(f64::INFINITY),
        _ => positive(Tag::SubjectDistance),
    };
    let profile = match number(Tag::ColorSpace) {
        Some(1) => Some("sRGB".into()),
        Some(2) => Some("Adobe RGB".into()),
        Some(0xFFFF) => Some("uncalibrated".into()),
        _ => None,
    };
    Settings {
        exposure: positive(Tag::ExposureTime),
        aperture: positive(Tag::FNumber),
        sensitivity: number(Tag::PhotographicSensitivity).filter(|speed| *speed > 0),
        auto_exposure: number(Tag::ExposureMode).map(|mode| mode != 1),
        auto_white_balance: number(Tag::WhiteBalance).map(|mode| mode == 0),
        focus,
        focal_length: positive(Tag::FocalLength),
        profile,
    }
}

fn text(block: &Exif, number: u16) -> Option<Vec<u8>> {
    let context = if number == DATE_TIME { Context::Tiff } else { Context::Exif };
    match &block.get_field(Tag(context, number), In::PRIMARY)?.value {
        Value::Ascii(texts) => texts.first().cloned(),
        _ => None,
    }
}

/// When a still was taken, by the texts of its tags.
pub(super) fn captured(text: impl Fn(u16) -> Option<Vec<u8>>) -> Option<Captured> {
    MOMENTS.iter().find_map(|moment| {
        let (date, time) = date(&text(moment.date)?)?;
        let fraction = text(moment.fraction).map_or(0, |text| nanoseconds(&text));
        let time = Time::new(time[0], time[1], time[2], fraction).ok()?;
        let offset = text(moment.offset).and_then(|text| offset(&text));
        Some(Captured { local: DateTime::from_parts(date, time), offset })
    })
}

/// `YYYY:MM:DD HH:MM:SS`, whatever the separators; blanks and zeros are no date.
fn date(text: &[u8]) -> Option<(Date, [i8; 3])> {
    let text = std::str::from_utf8(text).ok()?.trim_end_matches('\0').trim();
    if text.len() < 19 || !text.is_ascii() {
        return None;
    }
    let number = |from: usize, to: usize| text[from..to].parse::<i16>().ok();
    let small = |from: usize| number(from, from + 2).and_then(|value| i8::try_from(value).ok());
    // A leap second, 60, is held at 59: no civil time has it.
    let time = [small(11)?, small(14)?, small(17)?.min(59)];
    let date = Date::new(number(0, 4)?, small(5)?, small(8)?).ok()?;
    (date.year() > 0).then_some((date, time))
}

/// A decimal fraction written as its digits: `"91"` is 0.91 s.
fn nanoseconds(text: &[u8]) -> i32 {
    let digits = text.iter().skip_while(|byte| byte.is_ascii_whitespace()).take_while(|byte| byte.is_ascii_digit());
    let mut place = 100_000_000;
    let mut sum = 0;
    for digit in digits {
        sum += i32::from(digit - b'0') * place;
        place /= 10;
    }
    sum
}

/// `±HH:MM` in seconds; blank is unknown.
fn offset(text: &[u8]) -> Option<i32> {
    let text = std::str::from_utf8(text).ok()?.trim_end_matches('\0').trim();
    let (sign, rest) = match text.as_bytes().first()? {
        b'+' => (1, &text[1..]),
        b'-' => (-1, &text[1..]),
        b'Z' => return Some(0),
        _ => return None,
    };
    let (hours, minutes) = rest.split_once(':')?;
    let (hours, minutes) = (hours.parse::<u8>().ok()?, minutes.parse::<u8>().ok()?);
    (hours <= 15 && minutes < 60).then(|| sign * (i32::from(hours) * 3600 + i32::from(minutes) * 60))
}

#[cfg(test)]
mod tests {
    use super::*;

    // ORACLES 10: SubSecTime is a decimal fraction ("91" is .91 s), OffsetTime is "±HH:MM", blank is unknown.
    #[test]
    fn sub_seconds_are_a_decimal_fraction() {
        assert_eq!(nanoseconds(b"91"), 910_000_000);
        assert_eq!(nanoseconds(b"052\0"), 52_000_000);
        assert_eq!(nanoseconds(b"1234567899"), 123_456_789);
        assert_eq!(nanoseconds(b"   "), 0);
    }

    #[test]
    fn an_offset_is_signed_hours_and_minutes() {
        assert_eq!(offset(b"-05:30\0"), Some(-19_800));
        assert_eq!(offset(b"+02:00"), Some(7_200));
        assert_eq!(offset(b"   :  "), None);
    }

    #[test]
    fn a_blank_or_zeroed_date_is_no_date() {
        assert!(date(b"    :  :     :  :  \0").is_none());
        assert!(date(b"0000:00:00 00:00:00\0").is_none());
        assert!(date(b"2026:02:30 12:00:00\0").is_none());
        assert_eq!(date(b"2026:05:01 14:32:60\0").unwrap().1, [14, 32, 59]);
    }
}
