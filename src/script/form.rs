//! What a constructor takes, in words, in ranges and in the editor's types: the vocabulary that `fields` is written in.

use super::made::Kind;
use super::moments::{LONGEST, LONGEST_STEP};
use crate::curve::ease::Ease;
use crate::shot::{Av1, Codec, Gathering, H264};
use crate::units::FrameRate;

/// The paths that have a name.
pub(super) const PATHS: [&str; 3] = ["straight", "smooth", "flight"];

/// Numbers between two ends.
#[derive(Debug, Clone, Copy)]
pub(super) struct Range {
    pub(super) low: f64,
    pub(super) high: f64,
    /// Whether `low` itself is out.
    pub(super) above: bool,
    /// Whether `high` itself is out.
    pub(super) below: bool,
}

pub(super) const fn from_to(low: f64, high: f64) -> Range {
    Range { low, high, above: false, below: false }
}

pub(super) const fn above_to(low: f64, high: f64) -> Range {
    Range { low, high, above: true, below: false }
}

impl Range {
    /// Whether a number lies in it; NaN never does.
    pub(super) fn holds(self, number: f64) -> bool {
        let low = if self.above { number > self.low } else { number >= self.low };
        let high = if self.below { number < self.high } else { number <= self.high };
        low && high
    }

    /// `from 0 to 1`, `above 0 and up to 1`, `from 0 to below 0.5`.
    pub(super) fn words(self) -> String {
        let Self { low, high, above, below } = self;
        if low == f64::NEG_INFINITY && high == f64::INFINITY {
            return "that is finite".into();
        }
        match (above, below) {
            (false, false) => format!("from {low} to {high}"),
            (true, false) => format!("above {low} and up to {high}"),
            (false, true) => format!("from {low} to below {high}"),
            (true, true) => format!("above {low} and below {high}"),
        }
    }
}

/// What a field takes.
#[derive(Debug, Clone, Copy)]
pub(super) enum Wants {
    Number(Range),
    Whole {
        low: i64,
        high: i64,
    },
    Text,
    /// A text as long as a drawing's line may be.
    Line,
    Name,
    Choice(&'static [&'static str]),
    Truth,
    Seconds,
    Loop,
    FrameRate,
    Hours,
    Days,
    /// A length of time of the clock that steps go by.
    Step,
    Moment,
    Poster,
    ShootMoment,
    StillName,
    Clock,
    Ease,
    Pace,
    Path,
    Frame,
    Codec(&'static Form),
    Quality(&'static Form),
    /// An encoder's preset: a name of x264's and x265's, or a number of SVT-AV1's.
    Preset,
    /// Bits a second.
    Bits,
    /// Bytes of a file.
    Bytes,
    Safe(&'static Form),
    /// What is taken of several stills.
    Gather(&'static Form),
    Colour,
    Outline(&'static Form),
    Level(&'static Form),
    Steady(&'static Form),
    Tracked,
    Value(Kind),
    Boxes,
    List(Kind),
    Texts,
    Stop,
    DialDefault,
    Options(&'static Form),
    Table,
}

impl Wants {
    /// What is allowed, in words that follow "must be".
    pub(super) fn words(self) -> String {
        match self {
            Self::Number(range) => format!("a number {}", range.words()),
            Self::Whole { low, high } => format!("a whole number from {low} to {high}"),
            Self::Text | Self::Line => "a text that is not empty".into(),
            Self::Name => "1 to 64 of the letters A-Z a-z, digits, '_' and '-'".into(),
            Self::Choice(choices) => names(choices),
            Self::Truth => "true or false".into(),
            Self::Seconds => format!("seconds above 0 and up to {LONGEST}: a number or \"20s\""),
            Self::Hours => "two times of day: { \"07:00\", \"18:00\" }".into(),
            Self::Days => {
                "\"weekdays\", \"weekends\", or a list of dates and of their ranges: { \"2026-03-02\", { \"2026-03-09\", \"2026-03-13\" } }"
                    .into()
            }
            Self::Step => {
                format!("a time above 0 and up to {LONGEST_STEP} s: a number of seconds, or \"30s\", \"10min\" or \"1h\"")
            }
            Self::Loop => format!("true, or the seconds of the mix, above 0 and up to {LONGEST}: a number or \"1s\""),
            Self::FrameRate => {
                format!("frames a second, above 0 and up to {}: a whole number or \"30000/1001\"", FrameRate::HIGHEST)
            }
            Self::Moment => {
                format!(
                    "a moment: seconds from 0 to {LONGEST}, \"3.5s\", \"00:00:03:12\", still(n), clock \"14:32\", part(x), \"start\" or \"end\""
                )
            }
            Self::Poster => format!("{}; or {{ moment, \"jpeg\" }}", Self::Moment.words()),
            Self::ShootMoment => {
                "a moment of the shoot: still(n), still \"NAME\", clock \"14:32\", part(x), \"start\" or \"end\"".into()
            }
            Self::StillName => "a whole number other than 0, or a file name without its extension".into(),
            Self::Clock => "a time: \"hh:mm\", \"hh:mm:ss\", \"day 2 hh:mm\" or \"2026-05-01 hh:mm\"".into(),
            Self::Ease => "an ease: a name such as \"ease-in-out\", cubic_bezier(…), steps(…) or linear { … }".into(),
            Self::Pace => "a rate such as stills_per_frame(1), over \"20s\", or pace { … }".into(),
            Self::Path => format!("{} or drawing(\"M …\")", PATHS.map(|name| format!("{name:?}")).join(", ")),
            Self::Frame => "{ width, height } in whole pixels from 16 to 16384, or \"full\" in a master".into(),
            Self::Codec(_) => format!("{}, or a table such as {{ \"hevc\", crf = 18 }}", names(&Codec::NAMES)),
            Self::Quality(_) => "a number from 0 to 100, or the codec's own { crf = 18, preset = \"medium\" }".into(),
            Self::Preset => {
                format!("{}, or of av1 a whole number from 0 to {}", names(&H264::PRESETS), Av1::LAST_PRESET)
            }
            Self::Bits => "bits a second: a number, or a text such as \"12M\" or \"800k\"".into(),
            Self::Bytes => "a size above 0 and up to 1 TB, such as \"95MB\": a number with kB, MB, GB or TB (powers of 1000), or KiB, MiB, GiB or TiB (powers of 1024)".into(),
            Self::Safe(_) => {
                "\"action\", \"title\" or margins in fractions of the frame: { left = 0.05, bottom = 0.2 }".into()
            }
            Self::Gather(_) => {
                format!("{}, or a table such as {{ \"brightest\", stills = 120 }}", names(&Gathering::KEYWORDS))
            }
            Self::Colour => "a colour: \"#rrggbb\"".into(),
            Self::Outline(_) => "true, false, a width from 0 to 0.25, or { width = 0.06, colour = \"#000000\" }".into(),
            Self::Level(_) => "true, false, or { strength = 1, radius = 20, region = box(…), steps = \"join\" }".into(),
            Self::Steady(_) => "true, false, or { region = box(…), undo = \"all\", room = 0.9 }".into(),
            Self::Tracked => "true, false, or the path of a table of boxes: \"evening-track.csv\"".into(),
            Self::Value(kind) => kind.words().into(),
            Self::Boxes => "a box, or keys with a box each".into(),
            Self::List(kind) => format!("a list, each of it {}", kind.words()),
            Self::Texts => "texts: folders, patterns or files".into(),
            Self::Stop => "a number (output) or { output, input }".into(),
            Self::DialDefault => "a finite number, a text, true or false".into(),
            Self::Options(form) => format!("a table with {}", form.names().join(", ")),
            Self::Table => "a table".into(),
        }
    }

    /// The type for the Lua language server.
    pub(super) fn lua_type(self) -> String {
        let moment = "number|string|stillpath.Moment";
        match self {
            Self::Number(_) => "number".into(),
            Self::Whole { .. } => "integer".into(),
            Self::Text | Self::Line | Self::Name | Self::Clock | Self::Texts | Self::Colour => "string".into(),
            Self::Choice(names) => names.iter().map(|name| format!("{name:?}")).collect::<Vec<_>>().join("|"),
            Self::Truth => "boolean".into(),
            Self::Seconds | Self::FrameRate | Self::Step => "number|string".into(),
            Self::Hours => "[string, string]".into(),
            Self::Days => "\"weekdays\"|\"weekends\"|(string|[string, string])[]".into(),
            Self::Loop => "boolean|number|string".into(),
            Self::Moment => moment.into(),
            Self::Poster => format!("{moment}|[{moment}, \"png\"|\"jpeg\"]"),
            Self::ShootMoment => "\"start\"|\"end\"|stillpath.Moment".into(),
            Self::StillName => "integer|string".into(),
            Self::Ease => {
                Ease::KEYWORDS.iter().map(|name| format!("{name:?}|")).collect::<String>() + Kind::Ease.class()
            }
            Self::Pace => "stillpath.Rate|stillpath.Length|stillpath.Pace".into(),
            Self::Path => PATHS.map(|name| format!("{name:?}|")).concat() + Kind::Drawing.class(),
            Self::Frame => "[integer, integer]|\"full\"".into(),
            Self::Codec(own) => Codec::NAMES.map(|name| format!("{name:?}|")).concat() + &own.class(),
            Self::Quality(own) => format!("number|{}", own.class()),
            Self::Preset => H264::PRESETS.map(|name| format!("{name:?}|")).concat() + "integer",
            Self::Bits => "number|string".into(),
            Self::Bytes => "string".into(),
            Self::Safe(own) => format!("\"action\"|\"title\"|{}", own.class()),
            Self::Gather(own) => Gathering::KEYWORDS.map(|name| format!("{name:?}|")).concat() + &own.class(),
            Self::Outline(own) => format!("boolean|number|{}", own.class()),
            Self::Level(own) | Self::Steady(own) => format!("boolean|{}", own.class()),
            Self::Tracked => "boolean|string".into(),
            Self::Value(kind) => kind.class().into(),
            Self::Boxes => format!("{}|{}", Kind::Box.class(), Kind::Key.class()),
            Self::List(kind) => format!("{}[]", kind.class()),
            Self::Stop => "number|number[]".into(),
            Self::DialDefault => "number|string|boolean".into(),
            Self::Options(form) => form.class(),
            Self::Table => "table".into(),
        }
    }
}

/// Words of which one is to be written.
fn names(choices: &[&str]) -> String {
    choices.iter().map(|name| format!("{name:?}")).collect::<Vec<_>>().join(" or ")
}

/// One field of a table, or one value of a call.
#[derive(Debug)]
pub(super) struct Field {
    pub(super) name: &'static str,
    pub(super) wants: Wants,
    /// What holds without it, in words; none where it must be given.
    pub(super) default: Option<&'static str>,
    pub(super) help: &'static str,
}

pub(super) const fn must(name: &'static str, wants: Wants, help: &'static str) -> Field {
    Field { name, wants, default: None, help }
}

pub(super) const fn may(name: &'static str, wants: Wants, default: &'static str, help: &'static str) -> Field {
    Field { name, wants, default: Some(default), help }
}

/// How a constructor is called.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Style {
    /// `name { field = … }`.
    Table,
    /// The same, or `name "text"` where there is nothing but its first value.
    TableOrText,
    /// `name(value, …)`.
    Call,
    /// A table within a field: no constructor of its own.
    Inner,
}

/// The values without a name in a constructor's table.
#[derive(Debug)]
pub(super) struct Items {
    pub(super) wants: Wants,
    pub(super) least: usize,
    pub(super) most: usize,
    /// What they are, in words.
    pub(super) what: &'static str,
}

/// A constructor.
#[derive(Debug)]
pub(super) struct Form {
    pub(super) name: &'static str,
    pub(super) style: Style,
    pub(super) fields: &'static [Field],
    pub(super) items: Option<Items>,
    pub(super) gives: Option<Kind>,
    pub(super) help: &'static str,
}

impl Form {
    /// The names of its fields.
    pub(super) fn names(&self) -> Vec<&'static str> {
        self.fields.iter().map(|field| field.name).collect()
    }

    /// A field by its name.
    pub(super) fn field(&self, name: &str) -> Option<&'static Field> {
        self.fields.iter().find(|field| field.name == name)
    }

    /// The class of its table in the editor types.
    pub(super) fn class(&self) -> String {
        format!("stillpath.{}Fields", self.name.split(['_', '.']).map(capitalised).collect::<String>())
    }

    /// How it is called, in short: `key { … }` or `point(x, y)`.
    pub(super) fn call(&self) -> String {
        match self.style {
            Style::Table | Style::TableOrText | Style::Inner => format!("{} {{ … }}", self.name),
            Style::Call => format!("{}({})", self.name, self.names().join(", ")),
        }
    }
}

fn capitalised(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_says_what_it_holds() {
        let margin = Range { low: 0.0, high: 0.5, above: false, below: true };
        assert_eq!(margin.words(), "from 0 to below 0.5");
        assert!(margin.holds(0.0) && !margin.holds(0.5));
        assert!(!above_to(0.0, 1.0).holds(0.0) && above_to(0.0, 1.0).holds(1.0));
        assert!(!from_to(0.0, 1.0).holds(f64::NAN) && !from_to(f64::NEG_INFINITY, f64::INFINITY).holds(f64::NAN));
    }
}
