//! Where a window goes, taken from a table: `framing { table = "path.csv" }`.
//!
//! ## Decisions
//!
//! - A table with a column `frame` holds the window of every frame of a delivery; it belongs to one rate and one length,
//!   and is refused with any other. A table without one holds keys, by `seconds` or by `still`.
//! - The columns that `plan --csv` writes are read back as they are. A frame that shows several stills has a line for
//!   each of them there, all with one window: repeated frames are read where a column `weight` says that they are shares.
//! - A window has the shape of its delivery. A table's window of another shape keeps its centre and its width.

mod columns;
mod read;
mod wrong;

use std::collections::BTreeSet;
use std::sync::Arc;

use serde::Serialize;

use super::{Closeness, Moment, Path};
use crate::curve::ease::Ease;

pub use read::{MOST_BYTES, Table};
pub use wrong::Wrong;

/// The most keys of a table, as of a `framing { … }` that lists them.
const MOST_KEYS: usize = 10_000;

/// A framing whose windows a table says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Listed {
    /// Its file as written; a relative one starts at the script's folder.
    pub file: String,
    /// The delivery whose lines are taken, of a table with several; each delivery's own where none.
    pub of: Option<String>,
    /// The line from key to key, of a table of keys.
    pub along: Option<Box<Path>>,
    /// Its file as it is opened.
    #[serde(skip)]
    pub opened: Arc<std::path::Path>,
    /// The window of every frame, once a table of those is read.
    #[serde(skip)]
    pub frames: Arc<[Line]>,
}

/// A line of a table.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Its number in the file, from 1.
    pub line: u32,
    /// The delivery it is of, where the table says.
    pub delivery: Option<Arc<str>>,
    /// When.
    pub at: At,
    /// The window.
    pub window: Written,
    /// How far it is turned clockwise about its centre, in degrees.
    pub roll: f64,
    /// The way to it from the line before, in a table of keys.
    pub ease: Ease,
    /// Seconds of screen time it rests there, in a table of keys.
    pub hold: f64,
}

/// The moment of a line.
#[derive(Debug, Clone, PartialEq)]
pub enum At {
    /// A frame, with its second of screen time where the table has that too.
    Frame(u64, Option<f64>),
    /// A key's.
    Key(Moment),
}

/// A window as a table writes it, in continuous pixels of the upright still.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Written {
    /// Left, top, width and height, before the roll.
    Corner([f64; 4]),
    /// Its centre and how wide it is, with a height where the table has one.
    Centre {
        /// Across and down.
        centre: (f64, f64),
        /// How wide.
        width: Width,
        /// How high; none where the delivery's shape says so.
        height: Option<f64>,
    },
}

/// How wide a table's window is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Width {
    /// Pixels of the still.
    Pixels(f64),
    /// As a key says it.
    Close(Closeness),
}

impl Table {
    /// The lines that are a delivery's: those `of` the one that is named, or all of a table that names one at most. They
    /// come in order, a line a moment; lines that only repeat a frame for another share are left out.
    ///
    /// # Errors
    /// A table without lines of that delivery, keys of which there are too many, and frames that are missing, repeated or
    /// out of order.
    pub fn lines_of(&self, delivery: &str, of: Option<&str>) -> Result<Vec<&Line>, Wrong> {
        let named: BTreeSet<&str> = self.lines.iter().filter_map(|line| line.delivery.as_deref()).collect();
        let wanted = of.unwrap_or(delivery);
        let lines: Vec<&Line> = if named.is_empty() || (of.is_none() && named.len() == 1) {
            self.lines.iter().collect()
        } else {
            self.lines.iter().filter(|line| line.delivery.as_deref() == Some(wanted)).collect()
        };
        if lines.is_empty() {
            let some: Vec<String> = named.iter().take(8).map(|name| format!("'{name}'")).collect();
            let (first, some) = (named.first().unwrap_or(&"wide"), some.join(", "));
            return Err(Wrong::new(1, format!("it has windows of {some}, and none of '{wanted}'"))
                .help(format!("of = \"{first}\" beside table takes those of '{first}'")));
        }
        if !self.by_frame {
            return match lines.get(MOST_KEYS) {
                None => Ok(lines),
                Some(line) => {
                    Err(Wrong::new(line.line, format!("a table has at most {MOST_KEYS} keys for a delivery"))
                        .help("a column frame, with a window for every frame from 0, has no such limit"))
                }
            };
        }
        self.frames(lines)
    }

    /// A line for every frame, from 0.
    fn frames<'a>(&'a self, lines: Vec<&'a Line>) -> Result<Vec<&'a Line>, Wrong> {
        let mut frames: Vec<&Line> = Vec::with_capacity(lines.len());
        for line in lines {
            let At::Frame(frame, _) = line.at else { continue };
            let due = frames.len() as u64;
            if frame == due {
                frames.push(line);
                continue;
            }
            let before = frames.last();
            let repeats = before.is_some_and(|before| frame + 1 == due && before.window == line.window);
            if repeats && self.has_weights && before.is_some_and(|before| before.roll == line.roll) {
                continue;
            }
            let keys = "in a table of keys, whose moments are in a column seconds or still, frames may be left out";
            let wrong = |what: String| Wrong::new(line.line, what);
            return Err(match (frame.cmp(&due), before) {
                (_, None) => wrong(format!("the first frame is 0; seen {frame}")).help(keys),
                (std::cmp::Ordering::Greater, _) if frame == due + 1 => {
                    wrong(format!("frame {due} is missing before frame {frame}")).help(keys)
                }
                (std::cmp::Ordering::Greater, _) => {
                    wrong(format!("frames {due} to {} are missing before frame {frame}", frame - 1)).help(keys)
                }
                (std::cmp::Ordering::Less, Some(before)) if frame + 1 == due => {
                    wrong(format!("frame {frame} has a line already, line {}", before.line))
                        .help("leave one of the two lines out")
                }
                (_, Some(_)) => wrong(format!("frame {frame} comes after frame {}", due - 1))
                    .help("sort the lines by frame: 0, 1, 2 and so on"),
            });
        }
        Ok(frames)
    }
}

#[cfg(test)]
mod tests;
