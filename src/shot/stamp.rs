//! A stamp: a line of text, or a picture, over the frames of a delivery.

use std::fmt::{self, Write as _};

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Serialize, Serializer};

use crate::diag::Place;

/// `stamp { … }`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stamp {
    /// The call.
    pub place: Place,
    /// What is laid over the frame.
    pub what: StampWhat,
    /// The point of the frame at which it is pinned, in fractions of its width and height.
    pub at: (f64, f64),
    /// Which part of it lies at that point.
    pub pin: Pin,
    /// The height of the line or the picture, as a fraction of the frame's shorter side.
    pub size: f64,
}

impl Stamp {
    /// The size where a script says nothing.
    pub const SIZE: f64 = 0.03;
    /// The point where a script says nothing.
    pub const AT: (f64, f64) = (0.95, 0.95);
}

/// What a stamp shows.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum StampWhat {
    /// A line of text.
    Text(Wording),
    /// A picture file as written; a relative path starts at the script's folder.
    Picture(String),
}

/// A line of text, before it is known of which still.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Wording {
    /// As written.
    pub said: String,
    /// The same in pieces.
    pub pieces: Vec<Piece>,
    /// The font file as written; none for the letters that come with the program.
    pub font: Option<String>,
    /// The colour of the letters.
    pub colour: Colour,
    /// The line around them, where there is one.
    pub outline: Option<Outline>,
}

/// A piece of a stamp's text.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Piece {
    /// As it stands.
    Plain(String),
    /// The still's capture time, by `strftime` directives.
    Clock(String),
    /// The still's number, as `still(n)` counts, with zeros before it up to so many digits.
    Number(usize),
    /// The still's file name without extension.
    Name,
    /// The time since the first still shown, by directives of our own.
    Elapsed(String),
}

impl Piece {
    /// The words that may stand in braces.
    pub const WORDS: [&'static str; 4] = ["clock", "number", "name", "elapsed"];
    /// How capture times are written where a script says nothing.
    pub const CLOCK: &'static str = "%Y-%m-%d %H:%M";
    /// How elapsed time is written where a script says nothing.
    pub const ELAPSED: &'static str = "%D d %H:%M";
}

/// Seconds since the first still shown, by directives: `%D` all days, `%H`, `%M`, `%S` the hours of the day, minutes of
/// the hour and seconds of the minute in two digits, `%h`, `%m`, `%s` all hours, minutes and seconds, `%%` a percent
/// sign. Whole seconds are counted, and a minus stands before all of it where it is less than none.
///
/// # Errors
/// The first directive that is none.
pub fn elapsed(seconds: f64, format: &str) -> Result<String, String> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "seconds of a shoot")]
    let whole = seconds.abs().floor() as u64;
    let mut out = String::new();
    if seconds < 0.0 && whole > 0 {
        out.push('-');
    }
    let mut letters = format.chars();
    while let Some(letter) = letters.next() {
        if letter != '%' {
            out.push(letter);
            continue;
        }
        let _infallible = match letters.next() {
            Some('D') => write!(out, "{}", whole / 86_400),
            Some('H') => write!(out, "{:02}", whole / 3600 % 24),
            Some('M') => write!(out, "{:02}", whole / 60 % 60),
            Some('S') => write!(out, "{:02}", whole % 60),
            Some('h') => write!(out, "{}", whole / 3600),
            Some('m') => write!(out, "{}", whole / 60),
            Some('s') => write!(out, "{whole}"),
            Some('%') => write!(out, "%"),
            Some(other) => return Err(format!("%{other}")),
            None => return Err("a percent sign at its end".into()),
        };
    }
    Ok(out)
}

/// The line around letters.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Outline {
    /// How far it reaches out of the letters, as a fraction of the line's height.
    pub width: f64,
    /// Its colour.
    pub colour: Colour,
}

impl Outline {
    /// The line where a script says nothing of it.
    pub const USUAL: Self = Self { width: 0.06, colour: Colour([0, 0, 0]) };
    /// The widest line.
    pub const WIDEST: f64 = 0.25;
}

/// A colour, sRGB.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Colour(pub [u8; 3]);

impl Colour {
    /// White, which letters are where a script says nothing.
    pub const WHITE: Self = Self([255; 3]);

    /// From `#rrggbb`.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let digits = text.strip_prefix('#').filter(|digits| digits.len() == 6 && digits.is_ascii())?;
        if !digits.bytes().all(|digit| digit.is_ascii_hexdigit()) {
            return None;
        }
        let part = |at: usize| u8::from_str_radix(&digits[at..at + 2], 16).ok();
        Some(Self([part(0)?, part(2)?, part(4)?]))
    }
}

impl fmt::Display for Colour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [red, green, blue] = self.0;
        write!(f, "#{red:02x}{green:02x}{blue:02x}")
    }
}

impl Serialize for Colour {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl JsonSchema for Colour {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Colour".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        schemars::json_schema!({ "type": "string", "description": "A colour, sRGB: #rrggbb." })
    }
}

/// Which part of a stamp lies at its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Pin {
    /// Its upper left corner.
    TopLeft,
    /// The middle of its upper edge.
    Top,
    /// Its upper right corner.
    TopRight,
    /// The middle of its left edge.
    Left,
    /// Its middle.
    Middle,
    /// The middle of its right edge.
    Right,
    /// Its lower left corner.
    BottomLeft,
    /// The middle of its lower edge.
    Bottom,
    /// Its lower right corner.
    BottomRight,
}

impl Pin {
    /// What a script may say.
    pub const KEYWORDS: [&'static str; 9] =
        ["top-left", "top", "top-right", "left", "middle", "right", "bottom-left", "bottom", "bottom-right"];

    /// In the order of the words: by rows.
    const ALL: [Self; 9] = [
        Self::TopLeft,
        Self::Top,
        Self::TopRight,
        Self::Left,
        Self::Middle,
        Self::Right,
        Self::BottomLeft,
        Self::Bottom,
        Self::BottomRight,
    ];

    /// From one of the words.
    #[must_use]
    pub fn from_keyword(keyword: &str) -> Option<Self> {
        Self::KEYWORDS.iter().position(|known| *known == keyword).map(|at| Self::ALL[at])
    }

    /// The word for it.
    #[must_use]
    pub fn keyword(self) -> &'static str {
        Self::ALL.iter().position(|known| *known == self).map_or("middle", |at| Self::KEYWORDS[at])
    }

    /// The pin that lets a stamp grow inwards from a point of the frame: the frame's thirds decide.
    #[must_use]
    pub fn inwards(at: (f64, f64)) -> Self {
        let third = |fraction: f64| if fraction < 1.0 / 3.0 { 0 } else { 1 + usize::from(fraction > 2.0 / 3.0) };
        Self::ALL[3 * third(at.1) + third(at.0)]
    }

    /// How much of its width lies left of the point, and how much of its height above it.
    #[must_use]
    pub fn before(self) -> (f64, f64) {
        let at = Self::ALL.iter().position(|known| *known == self).unwrap_or(4);
        let half = |part: usize| [0.0, 0.5, 1.0][part];
        (half(at % 3), half(at / 3))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stamp_grows_inwards_from_its_point() {
        let near = |x, y| Pin::inwards((x, y)).keyword();
        assert_eq!([near(0.05, 0.05), near(0.5, 0.95), near(0.95, 0.95)], ["top-left", "bottom", "bottom-right"]);
        assert_eq!([near(0.5, 0.5), near(0.95, 0.4), near(0.1, 0.9)], ["middle", "right", "bottom-left"]);
        assert_eq!((Pin::TopRight.before(), Pin::Bottom.before()), ((1.0, 0.0), (0.5, 1.0)));
    }

    #[test]
    fn elapsed_time_is_written_by_its_directives() {
        let at = 3.0 * 86_400.0 + 4.0 * 3600.0 + 12.0 * 60.0 + 7.9;
        assert_eq!(elapsed(at, Piece::ELAPSED).unwrap(), "3 d 04:12");
        assert_eq!(elapsed(at, "%h h %M:%S, %m, %s, %%").unwrap(), "76 h 12:07, 4572, 274327, %");
        assert_eq!(elapsed(-61.0, "%M:%S").unwrap(), "-01:01");
        assert_eq!((elapsed(0.0, "%q"), elapsed(0.0, "5%").is_err()), (Err("%q".into()), true));
    }

    #[test]
    fn a_colour_is_six_digits_after_its_sign() {
        assert_eq!(Colour::parse("#0aF010"), Some(Colour([10, 240, 16])));
        assert_eq!(Colour([10, 240, 16]).to_string(), "#0af010");
        for wrong in ["0af010", "#0af01", "#0af01g", "#0af0100", "white", "#+af010"] {
            assert_eq!(Colour::parse(wrong), None, "{wrong}");
        }
    }
}
