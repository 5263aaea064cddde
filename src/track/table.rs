//! Where a subject is, as a table that people may read, edit and feed back.

use kurbo::Rect;

use super::{Spot, SpotState};
use crate::table::{self, TableError, printable};

/// Where a subject is in the stills of a shoot, or where somebody says that it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// In the shoot's order, or in any where somebody wrote it.
    pub lines: Vec<StillSpot>,
}

/// One still's line.
#[derive(Debug, Clone, PartialEq)]
pub struct StillSpot {
    /// Its slot, from 0.
    pub slot: usize,
    /// Where it is.
    pub spot: Spot,
    /// The still's name.
    pub name: String,
}

const HEAD: [&str; 8] = ["still", "x", "y", "width", "height", "confidence", "state", "name"];

/// How far outside the still, in its sides, an edge may be.
const FARTHEST: f64 = 2.0;

impl Table {
    /// As comma-separated values: stills counted from 1; left and top edge, width and height in fractions of the
    /// still, to a millionth; confidence from 0 to 1; `keyed`, `seen`, `doubted` or `lost`; the
    /// name last.
    #[must_use]
    pub fn to_csv(&self) -> String {
        table::write(
            HEAD,
            self.lines.iter().map(|StillSpot { slot, spot, name }| {
                let Rect { x0, y0, .. } = spot.area;
                let [x, y, width, height] =
                    [x0, y0, spot.area.width(), spot.area.height()].map(|side| format!("{:.6}", side + 0.0));
                let confidence = format!("{:.3}", spot.confidence);
                [(slot + 1).to_string(), x, y, width, height, confidence, spot.state.word().to_owned(), printable(name)]
            }),
        )
    }

    /// From such a table. Blank lines are passed over, and a line may end after its box: then it counts as keyed.
    ///
    /// # Errors
    /// The first line that cannot be understood, or names a still again.
    pub fn from_csv(text: &str) -> Result<Self, TableError> {
        let lines = table::read(text, HEAD.len(), |slot, fields, name| {
            let seen = |field: usize| fields.get(field).copied().unwrap_or("");
            let number = |field: usize, what: &str, low: f64, high: f64| {
                let number = seen(field).parse::<f64>().ok().filter(|number| (low..=high).contains(number));
                number.ok_or_else(|| format!("{what} from {low} to {high}; seen '{}'", seen(field)))
            };
            let edge = |field: usize| number(field, "an edge is a fraction of the still", -FARTHEST, FARTHEST);
            let side = |field: usize| {
                let side = number(field, "a side is a fraction of the still", 0.0, FARTHEST)?;
                if side > 0.0 { Ok(side) } else { Err("a side must be above 0; seen 0".to_owned()) }
            };
            let (x, y, width, height) = (edge(1)?, edge(2)?, side(3)?, side(4)?);
            let confidence = if seen(5).is_empty() { 1.0 } else { number(5, "a confidence is", 0.0, 1.0)? };
            let state = match seen(6) {
                "" => SpotState::Keyed,
                word => SpotState::from_word(word)
                    .ok_or_else(|| format!("a state is keyed, seen, doubted or lost; seen '{word}'"))?,
            };
            Ok(StillSpot { slot, spot: Spot { area: Rect::new(x, y, x + width, y + height), confidence, state }, name })
        })?;
        Ok(Self { lines })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_comes_back_as_it_was_printed() {
        let spot = |x: f64, state| Spot { area: Rect::new(x, 0.1, x + 0.2, 0.4), confidence: 0.75, state }.rounded();
        let lines = vec![
            StillSpot { slot: 0, spot: spot(0.123_456_78, SpotState::Keyed), name: "TIDE1, a".into() },
            StillSpot { slot: 2, spot: spot(-0.05, SpotState::Seen), name: "TIDE3".into() },
            StillSpot { slot: 3, spot: spot(0.9, SpotState::Lost), name: "TIDE4".into() },
        ];
        let table = Table { lines };
        let text = table.to_csv();
        assert_eq!(text.lines().nth(2), Some("3,-0.050000,0.100000,0.200000,0.300000,0.750,seen,TIDE3"));
        let back = Table::from_csv(&text).unwrap();
        assert_eq!(back.to_csv(), text);
        for (line, back) in table.lines.iter().zip(&back.lines) {
            assert!((line.spot.area.x1 - back.spot.area.x1).abs() < 1e-9 && line.spot.state == back.spot.state);
            assert_eq!(line.name, back.name);
        }
    }

    #[test]
    fn what_is_no_box_is_said_with_its_line() {
        let said = |text: &str| Table::from_csv(text).unwrap_err().to_string();
        assert_eq!(said("1,0.1,0.1,0,0.1"), "line 1: a side must be above 0; seen 0");
        assert_eq!(said("1,0.1,x,0.1,0.1"), "line 1: an edge is a fraction of the still from -2 to 2; seen 'x'");
        assert_eq!(said("1,0,0,1,1,2"), "line 1: a confidence is from 0 to 1; seen '2'");
        assert_eq!(said("1,0,0,1,1,1,gone"), "line 1: a state is keyed, seen, doubted or lost; seen 'gone'");
        assert_eq!(said("1,0,0,1,1\n1,0,0,1,1"), "line 2: still 1 is listed twice");
        let line = &Table::from_csv("4,0.2,0.2,0.1,0.1\n").unwrap().lines[0];
        assert_eq!((line.slot, line.spot.state, line.spot.confidence), (3, SpotState::Keyed, 1.0));
    }
}
