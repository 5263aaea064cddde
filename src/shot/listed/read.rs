//! A table of windows read from comma-separated values (RFC 4180).

use std::sync::Arc;

use super::columns::{Column, Columns};
use super::wrong::Wrong;
use super::{At, Line, Width, Written};
use crate::curve::ease::Ease;
use crate::shot::{Closeness, Moment};
use crate::units::ScreenTime;

/// Bytes of the largest table that is read.
pub const MOST_BYTES: u64 = 256 << 20;

/// The farthest from the still's corner, and the longest side, in pixels.
const FARTHEST: f64 = 1e6;
/// As in a `key { … }`.
const MOST_ZOOM: f64 = 1000.0;
const MOST_ROLL: f64 = 360.0;
/// Frames of the longest shot.
const MOST_FRAME: f64 = 1e9;

/// A table of windows.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// Whether it has a window for every frame; else it has keys.
    pub by_frame: bool,
    pub(super) has_weights: bool,
    pub(super) lines: Vec<Line>,
}

impl Table {
    /// Reads a table: a line of column names, and then a line a frame or a key. Blank lines are passed over.
    ///
    /// # Errors
    /// The first line that cannot be understood.
    pub fn from_csv(bytes: &[u8]) -> Result<Self, Wrong> {
        let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
        let mut reader =
            csv::ReaderBuilder::new().has_headers(false).flexible(true).trim(csv::Trim::All).from_reader(bytes);
        let mut record = csv::StringRecord::new();
        let mut counter = Counter { bytes, at: 0, line: 1 };
        let mut columns: Option<Columns> = None;
        let (mut lines, mut names): (Vec<Line>, Vec<Arc<str>>) = (Vec::new(), Vec::new());
        loop {
            match reader.read_record(&mut record) {
                Ok(true) => {}
                Ok(false) => break,
                Err(error) => {
                    let at = counter.line_of(error.position());
                    return Err(Wrong::new(at, "this is no line of UTF-8 text".into())
                        .help("save the table as comma-separated values in UTF-8"));
                }
            }
            let at = counter.line_of(record.position());
            if record.iter().all(str::is_empty) {
                continue;
            }
            let Some(columns) = &columns else {
                let named: Vec<String> = record.iter().map(str::to_lowercase).collect();
                let named: Vec<&str> = named.iter().map(String::as_str).collect();
                columns = Some(Columns::of(&named).map_err(|wrong| Wrong { line: at, ..wrong })?);
                continue;
            };
            lines.push(Fields { line: at, record: &record, columns }.line(&mut names)?);
        }
        let Some(columns) = columns else {
            return Err(Wrong::new(1, "it is empty".into())
                .help("`stillpath plan SCRIPT --csv > path.csv` writes such a table"));
        };
        if lines.is_empty() {
            return Err(Wrong::new(1, "it has column names, and no line after them".into())
                .help("a line for each key, or for each frame, comes after that"));
        }
        Ok(Self { by_frame: columns.has(Column::Frame), has_weights: columns.has(Column::Weight), lines })
    }

    /// How many lines it has after the first.
    #[must_use]
    pub fn len(&self) -> usize {
        self.lines.len()
    }

    /// Whether it has none; one that was read has.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.lines.is_empty()
    }
}

/// Counts lines. The reader's own count is one behind where lines end as RFC 4180 ends them, and at blank lines.
struct Counter<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u32,
}

impl Counter<'_> {
    /// The line that a record begins in, from 1; records are asked for in order.
    fn line_of(&mut self, position: Option<&csv::Position>) -> u32 {
        let from = position.and_then(|position| usize::try_from(position.byte()).ok()).unwrap_or(self.at);
        let from = from.min(self.bytes.len());
        let ends = self.bytes[from..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
        let until = (from + ends).max(self.at);
        let passed = self.bytes[self.at..until].iter().filter(|byte| **byte == b'\n').count();
        self.line = self.line.saturating_add(u32::try_from(passed).unwrap_or(u32::MAX));
        self.at = until;
        self.line
    }
}

/// A line's fields.
struct Fields<'a> {
    line: u32,
    record: &'a csv::StringRecord,
    columns: &'a Columns,
}

impl Fields<'_> {
    fn line(&self, names: &mut Vec<Arc<str>>) -> Result<Line, Wrong> {
        if self.record.len() != self.columns.count {
            let (seen, due) = (self.record.len(), self.columns.count);
            return Err(self
                .wrong(format!("this line has {seen} fields, and the first line names {due} columns"))
                .help("decimals take a point, not a comma: 12.5"));
        }
        let delivery = self.text(Column::Delivery).map(|name| self.named(name, names)).transpose()?;
        let ease = match self.text(Column::Ease) {
            None | Some("") => Ease::Linear,
            Some(name) => Ease::keyword(name).ok_or_else(|| {
                self.wrong(format!("there is no ease '{name}'"))
                    .help(format!("an ease of a table is one of {}", Ease::KEYWORDS.join(", ")))
            })?,
        };
        let hold = match self.text(Column::Hold) {
            None | Some("") => 0.0,
            Some(_) => self.number(Column::Hold, "hold", (0.0, ScreenTime::LONGEST.0))?,
        };
        let roll = match self.text(Column::Roll) {
            None | Some("") => 0.0,
            Some(_) => self.number(Column::Roll, "roll", (-MOST_ROLL, MOST_ROLL))?,
        };
        Ok(Line { line: self.line, delivery, at: self.at()?, window: self.window()?, roll, ease, hold })
    }

    fn named(&self, name: &str, names: &mut Vec<Arc<str>>) -> Result<Arc<str>, Wrong> {
        if name.is_empty() {
            return Err(self.wrong("this line has no delivery".into()).help("or leave the column delivery out"));
        }
        // A table names few: each line of a delivery shares its name.
        Ok(match names.iter().rev().find(|known| known.as_ref() == name) {
            Some(known) => Arc::clone(known),
            None => {
                names.push(name.into());
                name.into()
            }
        })
    }

    fn at(&self) -> Result<At, Wrong> {
        let second = || self.number(Column::Seconds, "seconds", (0.0, ScreenTime::LONGEST.0));
        if self.columns.has(Column::Frame) {
            let frame = self.number(Column::Frame, "frame", (0.0, MOST_FRAME))?;
            if frame.fract() != 0.0 {
                return Err(self
                    .wrong(format!("frame is a whole number, from 0; seen {frame}"))
                    .help("moments that are no frames go in a column seconds, in place of frame"));
            }
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, and from 0 to 1e9")]
            let frame = frame as u64;
            let second = self.columns.has(Column::Seconds).then(second).transpose()?;
            return Ok(At::Frame(frame, second));
        }
        if self.columns.has(Column::Seconds) {
            return Ok(At::Key(Moment::Screen(second()?)));
        }
        let still = self.text(Column::Still).unwrap_or_default();
        Ok(At::Key(match still.parse::<i64>() {
            Ok(0) => {
                return Err(self.wrong("stills are counted from 1; seen 0".into()).help("1 is the first, -1 the last"));
            }
            Ok(number) => Moment::Still(number),
            Err(_) if still.is_empty() => {
                return Err(self.wrong("this line has no still".into()).help("a number from 1, or a file's name"));
            }
            Err(_) => Moment::StillNamed(still.to_owned()),
        }))
    }

    fn window(&self) -> Result<Written, Wrong> {
        let side = |column, name| self.number(column, name, (0.0, FARTHEST)).and_then(|side| self.above(side, name));
        let place = |column, name| self.number(column, name, (-FARTHEST, FARTHEST));
        if self.columns.has(Column::Left) {
            return Ok(Written::Corner([
                place(Column::Left, "x")?,
                place(Column::Top, "y")?,
                side(Column::Width, "width")?,
                side(Column::Height, "height")?,
            ]));
        }
        let width = if self.columns.has(Column::Zoom) {
            Width::Close(Closeness::Zoom(self.number(Column::Zoom, "zoom", (1.0, MOST_ZOOM))?))
        } else if self.columns.has(Column::Span) {
            let span = self.number(Column::Span, "span", (0.0, 1.0))?;
            Width::Close(Closeness::Span(self.above(span, "span")?))
        } else {
            Width::Pixels(side(Column::Width, "width")?)
        };
        Ok(Written::Centre {
            centre: (place(Column::CentreX, "centre_x")?, place(Column::CentreY, "centre_y")?),
            width,
            height: self.columns.has(Column::Height).then(|| side(Column::Height, "height")).transpose()?,
        })
    }

    /// A field's text; none where there is no such column.
    fn text(&self, column: Column) -> Option<&str> {
        self.record.get(self.columns.place(column)?)
    }

    /// A field's number, in a range with both ends.
    fn number(&self, column: Column, name: &str, (low, high): (f64, f64)) -> Result<f64, Wrong> {
        let text = self.text(column).unwrap_or_default();
        let allowed = || format!("{name} must be a number from {low} to {high}");
        let number: f64 = text.parse().map_err(|_no_number| {
            let seen = if text.is_empty() { "nothing".to_owned() } else { format!("'{text}'") };
            self.wrong(format!("{}; seen {seen}", allowed()))
        })?;
        // NaN lies in no range.
        if (low..=high).contains(&number) { Ok(number) } else { Err(self.wrong(format!("{}; seen {text}", allowed()))) }
    }

    fn above(&self, number: f64, name: &str) -> Result<f64, Wrong> {
        if number > 0.0 { Ok(number) } else { Err(self.wrong(format!("{name} must be above 0; seen {number}"))) }
    }

    fn wrong(&self, what: String) -> Wrong {
        Wrong::new(self.line, what)
    }
}
