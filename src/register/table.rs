//! Stands as a table that people may read, edit and feed back.

use super::Pose;
use crate::table::{self, TableError, printable};

/// Where the stills of a shoot stand, or where somebody says that they do.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// In the shoot's order, or in any where somebody wrote it.
    pub lines: Vec<StillPose>,
}

/// One still's line.
#[derive(Debug, Clone, PartialEq)]
pub struct StillPose {
    /// Its slot, from 0.
    pub slot: usize,
    /// Where it stands.
    pub stand: Pose,
    /// Its name.
    pub name: String,
}

const HEAD: [&str; 5] = ["still", "x", "y", "turn", "name"];

/// The most a still may be shifted either way, in pixels: no still is longer.
const FARTHEST: f64 = 100_000.0;

/// The most a still may be turned either way, in degrees. A camera turned farther was set up anew.
pub const MOST_TURNED: f64 = 20.0;

impl Table {
    /// As comma-separated values: stills counted from 1, pixels to a ten-thousandth, degrees to a millionth, the name
    /// last.
    #[must_use]
    pub fn to_csv(&self) -> String {
        table::write(
            HEAD,
            self.lines.iter().map(|StillPose { slot, stand: Pose { x, y, turn }, name }| {
                [(slot + 1).to_string(), fixed(*x, 4), fixed(*y, 4), fixed(*turn, 6), printable(name)]
            }),
        )
    }

    /// From such a table. Blank lines are passed over, and a line may end after the shift or after the turn.
    ///
    /// # Errors
    /// The first line that cannot be understood, or names a still again.
    pub fn from_csv(text: &str) -> Result<Self, TableError> {
        let lines = table::read(text, 5, |slot, fields, name| {
            let number = |field: usize, what: &str, most: f64| {
                let seen = fields.get(field).copied().unwrap_or("");
                let number = seen.parse::<f64>().ok().filter(|number| number.abs() <= most);
                number.ok_or_else(|| format!("{what} from -{most} to {most}; seen '{seen}'"))
            };
            let pixels = |field: usize| number(field, "a shift is pixels", FARTHEST);
            let turn = match fields.get(3) {
                Some(_) => number(3, "a turn is degrees", MOST_TURNED)?,
                None => 0.0,
            };
            Ok(StillPose { slot, stand: Pose { x: pixels(1)?, y: pixels(2)?, turn }, name })
        })?;
        Ok(Self { lines })
    }
}

/// A number with this many decimals; zero has no sign.
fn fixed(number: f64, decimals: usize) -> String {
    let text = format!("{number:.decimals$}");
    if text.trim_matches(['-', '0', '.']).is_empty() { text.trim_start_matches('-').to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_comes_back_as_it_was_printed_whatever_the_names() {
        let names = ["TIDE9941", "a, \"b\"", "line\nbreak", "ü"];
        let line = |(slot, name): (usize, &&str)| StillPose {
            slot,
            stand: Pose { x: 1.234_567_8, y: -0.000_04, turn: -0.123_456_78 },
            name: (*name).to_owned(),
        };
        let table = Table { lines: names.iter().enumerate().map(line).collect() };
        let text = table.to_csv();
        assert_eq!(text.lines().count(), 5);
        assert_eq!(text.lines().nth(3), Some("3,1.2346,0.0000,-0.123457,line\u{fffd}break"));
        assert!(text.contains("\"a, \"\"b\"\"\""), "{text}");
        let back = Table::from_csv(&text).unwrap();
        for ((line, back), name) in table.lines.iter().zip(&back.lines).zip(names) {
            assert_eq!(line.slot, back.slot);
            let Pose { x, y, turn } = back.stand;
            assert!((line.stand.x - x).abs() <= 5e-5 && (line.stand.y - y).abs() <= 5e-5, "{back:?}");
            assert!((line.stand.turn - turn).abs() <= 5e-7, "{back:?}");
            assert!(table::is_of(&back.name, name) && !table::is_of(&back.name, "TIDE1"));
        }
        assert_eq!(back.to_csv(), text);
    }

    #[test]
    fn a_line_may_end_after_the_shift() {
        let table = Table::from_csv("\u{feff}still,x,y\r\n3, 1.5,-2\r\n\r\n4,0,0,0.25\r\n").unwrap();
        let stands: Vec<(usize, Pose)> = table.lines.iter().map(|line| (line.slot, line.stand)).collect();
        assert_eq!(stands, [(2, Pose { x: 1.5, y: -2.0, turn: 0.0 }), (3, Pose { x: 0.0, y: 0.0, turn: 0.25 })]);
    }

    #[test]
    fn what_is_no_stand_is_said_with_its_line() {
        let said = |text: &str| Table::from_csv(text).unwrap_err().to_string();
        assert_eq!(said("0,1,1"), "line 1: a line begins with a still's number, counted from 1; seen '0'");
        assert_eq!(said("still,x,y\n1,NaN,0"), "line 2: a shift is pixels from -100000 to 100000; seen 'NaN'");
        assert_eq!(said("1,1,1\n2,1\n"), "line 2: a shift is pixels from -100000 to 100000; seen ''");
        assert_eq!(said("1,0,0\n1,0,0\n"), "line 2: still 1 is listed twice");
        assert_eq!(said("1,0,0,21"), "line 1: a turn is degrees from -20 to 20; seen '21'");
    }
}
