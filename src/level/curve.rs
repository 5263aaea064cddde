//! The outcome as a table that people may read, edit and feed back.

use super::Gain;
use crate::table::{self, TableError, printable};

/// What levelling does to every still, or what somebody wants done instead.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// In the shoot's order.
    pub lines: Vec<StillGain>,
}

/// One still's line.
#[derive(Debug, Clone, PartialEq)]
pub struct StillGain {
    /// Its slot, from 0.
    pub slot: usize,
    /// What is done to its linear light.
    pub gain: Gain,
    /// The level it had, and the one it is brought to, over the first still's; for reading only.
    pub levels: Option<[f64; 2]>,
    /// Its name.
    pub name: String,
}

const HEAD: [&str; 8] = ["still", "red", "green", "blue", "white", "level", "target", "name"];

/// The least and the most that light may be multiplied by: six stops.
const GAINS: std::ops::RangeInclusive<f64> = 1.0 / 64.0..=64.0;
/// The least and the most that may be white.
const WHITES: std::ops::RangeInclusive<f64> = 1.0 / 64.0..=1.0;

impl Curve {
    /// As comma-separated values: stills counted from 1, gains to a millionth, levels where known, the name last.
    #[must_use]
    pub fn to_csv(&self) -> String {
        table::write(
            HEAD,
            self.lines.iter().map(|StillGain { slot, gain, levels, name }| {
                let [red, green, blue] = gain.light.map(|gain| format!("{gain:.6}"));
                let white = if gain.white < 1.0 { format!("{:.6}", gain.white) } else { String::new() };
                let [level, target] =
                    levels.map_or_else(Default::default, |levels| levels.map(|level| format!("{level:.6}")));
                [(slot + 1).to_string(), red, green, blue, white, level, target, printable(name)]
            }),
        )
    }

    /// From such a table. Levels and blank lines are passed over, and a line may end after its gains or have one gain
    /// only. Where the headings do not name `white`, the table has no such column.
    ///
    /// # Errors
    /// The first line that cannot be understood, or names a still again.
    pub fn from_csv(text: &str) -> Result<Self, TableError> {
        let has_white = text.lines().next().is_some_and(|head| head.split(',').any(|column| column.trim() == "white"));
        let lines = table::read(text, HEAD.len() - usize::from(!has_white), |slot, fields, name| {
            let gain = |field: usize| {
                let seen = fields.get(field).copied().unwrap_or("");
                let gain = seen.parse::<f64>().ok().filter(|gain| GAINS.contains(gain));
                gain.ok_or_else(|| format!("a gain is a number from 1/64 to 64; seen '{seen}'"))
            };
            let light = if fields.len() == 2 { [gain(1)?; 3] } else { [gain(1)?, gain(2)?, gain(3)?] };
            let white = match fields.get(4) {
                Some(seen) if has_white && !seen.is_empty() => {
                    let white = seen.parse::<f64>().ok().filter(|white| WHITES.contains(white));
                    white.ok_or_else(|| format!("what becomes white is a number from 1/64 to 1; seen '{seen}'"))?
                }
                _ => 1.0,
            };
            Ok(StillGain { slot, gain: Gain { light, white }, levels: None, name })
        })?;
        Ok(Self { lines })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_comes_back_to_a_millionth_whatever_the_names() {
        let names = ["TIDE9941", "a, \"b\"", "line\nbreak", "ü"];
        let line = |(slot, name): (usize, &&str)| StillGain {
            slot,
            gain: Gain { light: [1.012_345_678, 0.97, 1.0], white: if slot == 2 { 0.765_432_1 } else { 1.0 } },
            levels: (slot > 1).then_some([1.5, 1.25]),
            name: (*name).to_owned(),
        };
        let curve = Curve { lines: names.iter().enumerate().map(line).collect() };
        let text = curve.to_csv();
        assert_eq!(text.lines().count(), 5);
        assert_eq!(
            text.lines().nth(3),
            Some("3,1.012346,0.970000,1.000000,0.765432,1.500000,1.250000,line\u{fffd}break")
        );
        assert!(text.contains("\"a, \"\"b\"\"\""), "{text}");
        let back = Curve::from_csv(&text).unwrap();
        for ((line, back), name) in curve.lines.iter().zip(&back.lines).zip(names) {
            assert_eq!(line.slot, back.slot);
            assert!(line.gain.light.iter().zip(back.gain.light).all(|(gain, back)| (gain - back).abs() <= 5e-7));
            assert!((line.gain.white - back.gain.white).abs() <= 5e-7);
            assert!(table::is_of(&back.name, name) && !table::is_of(&back.name, "TIDE1"));
        }
    }

    #[test]
    fn one_gain_may_stand_for_all_three() {
        let curve = Curve::from_csv("\u{feff}still,red\r\n3, 1.02\r\n\r\n4,1,1,0.9\r\n").unwrap();
        let gains: Vec<(usize, Gain)> = curve.lines.iter().map(|line| (line.slot, line.gain)).collect();
        assert_eq!(gains, [(2, Gain::of([1.02; 3])), (3, Gain::of([1.0, 1.0, 0.9]))]);
    }

    #[test]
    fn a_table_without_whites_is_read_with_its_levels_passed_over() {
        let curve = Curve::from_csv("still,red,green,blue,level,target,name\n2,1.1,1,1,0.5,0.55,TIDE2\n").unwrap();
        assert_eq!((curve.lines[0].gain, curve.lines[0].name.as_str()), (Gain::of([1.1, 1.0, 1.0]), "TIDE2"));
    }

    #[test]
    fn what_is_no_gain_is_said_with_its_line() {
        let said = |text: &str| Curve::from_csv(text).unwrap_err().to_string();
        assert_eq!(said("0,1,1,1"), "line 1: a line begins with a still's number, counted from 1; seen '0'");
        assert_eq!(said("still,red\n1,NaN"), "line 2: a gain is a number from 1/64 to 64; seen 'NaN'");
        assert_eq!(said("1,1\n2,1,1\n"), "line 2: a gain is a number from 1/64 to 64; seen ''");
        assert_eq!(said("1,1\n1,2\n"), "line 2: still 1 is listed twice");
        let white = "still,red,green,blue,white\n1,1,1,1,1.5\n";
        assert_eq!(said(white), "line 2: what becomes white is a number from 1/64 to 1; seen '1.5'");
        assert_eq!(said("1,65"), "line 1: a gain is a number from 1/64 to 64; seen '65'");
    }
}
