//! What EXIF says of a still (Exif 2.31): its orientation, when it was taken and with what settings, and what its
//! values mean.

use std::path::Path;

use exif::{Context, Exif, In, Reader, Tag, Value};
use jiff::civil::{Date, DateTime, Time};

use super::body::Body;
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

/// What EXIF says of a still's values. The default is what holds without EXIF.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Meaning {
    /// `YCbCrPositioning` is 2: chroma samples sit on luma samples.
    pub(super) co_sited: bool,
    /// The values are Adobe RGB (1998).
    pub(super) adobe_rgb: bool,
    /// The values are sRGB in so many words.
    pub(super) srgb: bool,
}

/// An EXIF block. Its broken parts are passed over.
pub(super) struct Block(Exif);

impl Block {
    /// Reads a block that starts with its TIFF header, without the `Exif` head of a JPEG segment; none where nothing
    /// can be read.
    pub(super) fn read(bytes: &[u8]) -> Option<Self> {
        let read = Reader::new().continue_on_error(true).read_raw(bytes.to_vec());
        read.or_else(|error| error.distill_partial_result(|_errors| {})).ok().map(Self)
    }

    fn value(&self, tag: Tag) -> Option<&Value> {
        self.0.get_field(tag, In::PRIMARY).map(|field| &field.value)
    }

    fn number(&self, tag: Tag) -> Option<u32> {
        self.value(tag)?.get_uint(0)
    }

    fn text(&self, tag: Tag) -> Option<&[u8]> {
        match self.value(tag)? {
            Value::Ascii(texts) => texts.first().map(Vec::as_slice),
            _ => None,
        }
    }

    /// Which way up the still is, where it says so.
    pub(super) fn orientation(&self) -> Option<Orientation> {
        self.number(Tag::Orientation).map(Orientation::from_tag)
    }

    /// When the still was taken.
    pub(super) fn captured(&self) -> Option<Captured> {
        let context = |number| if number == DATE_TIME { Context::Tiff } else { Context::Exif };
        captured(|number| self.text(Tag(context(number), number)).map(<[u8]>::to_vec))
    }

    /// Which camera took it: make, model and body serial number (Exif 2.31: 0x010F, 0x0110, 0xA431).
    pub(super) fn body(&self) -> Option<Body> {
        let text = |tag| self.text(tag).map(<[u8]>::to_vec);
        Body::of(text(Tag::Make), text(Tag::Model), text(Tag::BodySerialNumber))
    }

    /// How the camera was set (Exif 2.31, table 4 and the tags' own sections).
    pub(super) fn settings(&self) -> Settings {
        let ratio = |tag| match self.value(tag)? {
            Value::Rational(ratios) => ratios.first().map(|ratio| (ratio.num, ratio.denom)),
            _ => None,
        };
        let positive = |tag| {
            ratio(tag)
                .filter(|(above, below)| *above > 0 && *below > 0)
                .map(|(above, below)| f64::from(above) / f64::from(below))
        };
        // Of the distance, a numerator of all ones is infinity and 0 is unknown.
        let focus = match ratio(Tag::SubjectDistance) {
            Some((u32::MAX, _)) => Some(f64::INFINITY),
            _ => positive(Tag::SubjectDistance),
        };
        let profile = match self.number(Tag::ColorSpace) {
            Some(1) => Some("sRGB".into()),
            Some(2) => Some("Adobe RGB".into()),
            Some(0xFFFF) => Some("uncalibrated".into()),
            _ => None,
        };
        Settings {
            exposure: positive(Tag::ExposureTime),
            aperture: positive(Tag::FNumber),
            sensitivity: self.number(Tag::PhotographicSensitivity).filter(|speed| *speed > 0),
            auto_exposure: self.number(Tag::ExposureMode).map(|mode| mode != 1),
            auto_white_balance: self.number(Tag::WhiteBalance).map(|mode| mode == 0),
            focus,
            focal_length: positive(Tag::FocalLength),
            profile,
        }
    }

    /// What the values of the still at `path` mean.
    ///
    /// Adobe RGB shows in one of three ways: interoperability index `R03` (DCF 2.0, optional file), colour space 2
    /// (written by some cameras; from memory), or an uncalibrated colour space and a file name that starts with `_`
    /// (DCF 2.0).
    pub(super) fn meaning(&self, path: &Path) -> Meaning {
        let space = self.number(Tag::ColorSpace);
        let marked_by_name = || path.file_name().is_some_and(|name| name.as_encoded_bytes().starts_with(b"_"));
        let index_is_r03 = self.text(Tag::InteroperabilityIndex).is_some_and(|index| index.starts_with(b"R03"));
        let adobe_rgb = index_is_r03 || space == Some(2) || (space == Some(0xFFFF) && marked_by_name());
        let co_sited = self.number(Tag::YCbCrPositioning) == Some(2);
        Meaning { co_sited, adobe_rgb, srgb: !adobe_rgb && space == Some(1) }
    }
}

/// What a block says of the values of the still at `path`.
pub(super) fn meaning(block: &[u8], path: &Path) -> Meaning {
    Block::read(block).map(|block| block.meaning(path)).unwrap_or_default()
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
