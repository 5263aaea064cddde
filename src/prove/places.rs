//! Where the frames due are found in a clip, and what that means: frames missing, doubled, swapped, or of something
//! else.
//!
//! ## Decisions
//!
//! - Where a row is found says what happened: a lasting shift is a dropped or doubled frame, two rows in each other's
//!   places are a swap.
//! - A frame that fits nowhere is tried with the 60 stills on each side of its own.

use serde::Serialize;

/// What is known of a clip's frames. Rows are the frames due, places those decoded, both from 0.
pub trait Evidence {
    /// Where a row is found: at `expected` where it fits there about as well as anywhere, else where it clearly fits
    /// best.
    fn place(&self, row: u64, expected: u64) -> Option<u64>;
    /// The row that a place clearly shows, where it is another than `expected`.
    fn shows(&self, place: u64, expected: u64) -> Option<u64>;
}

/// A way in which frames are not where they should be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "fault")]
pub enum Misplaced {
    /// This many rows at the start are missing: the clip begins with a later one.
    BeginsLate {
        /// How many.
        by: u64,
    },
    /// This many extra frames stand before the first row.
    BeginsEarly {
        /// How many.
        by: u64,
    },
    /// This many rows among these are missing.
    Dropped {
        /// How many.
        count: u64,
        /// The first that may be.
        first: u64,
        /// The last that may be.
        last: u64,
    },
    /// This many extra frames stand before this row; they repeat the row before it, where that is known.
    Doubled {
        /// How many.
        count: u64,
        /// The row that comes after them.
        before: u64,
        /// The last row found before them.
        after: u64,
        /// Whether they show a row beside them.
        same: bool,
    },
    /// The last rows are missing.
    EndsEarly {
        /// How many.
        by: u64,
    },
    /// This many extra frames come after the last row.
    EndsLate {
        /// How many.
        by: u64,
    },
    /// Two rows stand in each other's place.
    Swapped {
        /// One.
        one: u64,
        /// The other.
        other: u64,
    },
    /// A row's place shows another row.
    Instead {
        /// The row.
        row: u64,
        /// What its place shows.
        shown: u64,
    },
    /// Places show none of the rows.
    Strange {
        /// The first.
        first: u64,
        /// The last.
        last: u64,
        /// How many of them were looked at.
        looked_at: u64,
    },
}

/// Rows after a stray one that are asked whether they went along.
const AHEAD: usize = 4;

/// Goes through the rows that were made anew (in order), of `due`, with a clip of `held` frames.
#[must_use]
pub fn misplaced(evidence: &dyn Evidence, rows: &[u64], due: u64, held: u64) -> Vec<Misplaced> {
    let mut walk = Walk { found: Vec::new(), lost: Vec::new(), strayed: Vec::new(), row: -1, place: -1 };
    for (index, row) in rows.iter().copied().enumerate() {
        let expected = walk.expected(row);
        match evidence.place(row, expected) {
            Some(place) if place == expected => {
                if let Some(shown) = evidence.shows(place, row) {
                    walk.found.push(Misplaced::Instead { row, shown });
                }
                walk.went(row, place);
            }
            Some(place) => {
                let moved = |other: &u64| {
                    let (old, new) = (walk.expected(*other), other.wrapping_add(place).wrapping_sub(row));
                    evidence.place(*other, old) == Some(new)
                };
                let ahead = &rows[index + 1..];
                if ahead.iter().take(AHEAD).any(moved) || ahead.is_empty() && due != held && walk.lost.is_empty() {
                    walk.shift(evidence, row, place);
                } else {
                    walk.strayed.push((row, expected, place));
                    walk.went(row, expected);
                }
            }
            None => walk.lost.push((row, expected)),
        }
    }
    walk.end(due, held);
    walk.swaps();
    walk.strange(evidence, rows);
    walk.found
}

struct Walk {
    found: Vec<Misplaced>,
    /// Rows found nowhere, each with the place where it should be.
    lost: Vec<(u64, u64)>,
    /// Rows found elsewhere: row, where it should be, where it is.
    strayed: Vec<(u64, u64, u64)>,
    /// The last row that was in its place, and that place.
    row: i64,
    place: i64,
}

fn signed(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

impl Walk {
    fn expected(&self, row: u64) -> u64 {
        u64::try_from(signed(row) - self.row + self.place).unwrap_or(0)
    }

    fn went(&mut self, row: u64, place: u64) {
        (self.row, self.place) = (signed(row), signed(place));
    }

    /// From a row on, all stand elsewhere.
    fn shift(&mut self, evidence: &dyn Evidence, row: u64, place: u64) {
        let (rows, places) = (signed(row) - self.row, signed(place) - self.place);
        let between = u64::try_from(rows - 1).unwrap_or(0);
        let after = u64::try_from(self.row).ok();
        if rows > places {
            let count = rows.abs_diff(places);
            let lost: Vec<u64> =
                self.lost.iter().map(|(row, _)| *row).filter(|lost| signed(*lost) > self.row).collect();
            let (first, last) = match (&lost[..], between) {
                ([first, .., last], _) if lost.len() as u64 == count => (*first, *last),
                ([one], _) if count == 1 => (*one, *one),
                // Two rows at one place: the one before is the one whose own picture is not there.
                (_, 0) => (row - 1, row - 1),
                _ => (after.map_or(0, |after| after + 1), row - 1),
            };
            self.lost.retain(|(lost, _)| !(first..=last).contains(lost));
            let gone_first = after.is_none();
            self.found.push(if gone_first {
                Misplaced::BeginsLate { by: count }
            } else {
                Misplaced::Dropped { count, first, last }
            });
        } else {
            let count = places.abs_diff(rows);
            // Rows in between are a little further on as well.
            self.lost.retain(|(lost, _)| *lost > row || signed(*lost) <= self.row);
            self.found.push(match after {
                None => Misplaced::BeginsEarly { by: count },
                Some(after) => {
                    let same = (1..=count).all(|back| {
                        let extra = place.saturating_sub(back);
                        evidence.shows(extra, u64::MAX).is_some_and(|shown| shown + 1 >= after && shown <= row)
                    });
                    Misplaced::Doubled { count, before: row, after, same }
                }
            });
        }
        self.went(row, place);
    }

    /// What comes after the last row that was found.
    fn end(&mut self, due: u64, held: u64) {
        if self.row < 0 {
            return;
        }
        let (rows, places) = (signed(due) - 1 - self.row, signed(held) - 1 - self.place);
        if rows > places {
            let by = rows.abs_diff(places);
            self.lost.retain(|(row, _)| *row < due - by.min(due));
            self.found.push(Misplaced::EndsEarly { by });
        } else if places > rows && due != held {
            self.found.push(Misplaced::EndsLate { by: places.abs_diff(rows) });
        }
    }

    /// Rows in each other's place; others that are elsewhere are as good as lost.
    fn swaps(&mut self) {
        let mut strayed = std::mem::take(&mut self.strayed);
        while let Some((row, expected, place)) = strayed.pop() {
            let partner = strayed.iter().position(|(_, its, stands)| (*its, *stands) == (place, expected));
            match partner {
                Some(partner) => {
                    let (other, ..) = strayed.remove(partner);
                    self.found.push(Misplaced::Swapped { one: row.min(other), other: row.max(other) });
                }
                None => self.lost.push((row, expected)),
            }
        }
        self.lost.sort_unstable();
    }

    /// Rows that are nowhere: what their places show instead, and runs of places that show nothing known.
    fn strange(&mut self, evidence: &dyn Evidence, rows: &[u64]) {
        let next_to = |one: u64, other: u64| {
            let at = |row: u64| rows.binary_search(&row).unwrap_or(0);
            at(other) == at(one) + 1
        };
        let mut strange: Vec<(u64, u64, u64)> = Vec::new();
        for (row, place) in std::mem::take(&mut self.lost) {
            if let Some(shown) = evidence.shows(place, row).filter(|shown| *shown != row) {
                self.found.push(Misplaced::Instead { row, shown });
                continue;
            }
            match strange.last_mut() {
                Some((_, last, count)) if next_to(*last, row) => (*last, *count) = (row, *count + 1),
                _ => strange.push((row, row, 1)),
            }
        }
        self.found.extend(strange.into_iter().map(|(first, last, looked_at)| Misplaced::Strange {
            first,
            last,
            looked_at,
        }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A clip whose every place shows a row, or something else.
    struct Shown(Vec<Option<u64>>);

    impl Evidence for Shown {
        fn place(&self, row: u64, expected: u64) -> Option<u64> {
            let is_it = |place: &u64| self.0.get(usize::try_from(*place).unwrap()) == Some(&Some(row));
            Some(expected).filter(is_it).or_else(|| (0..self.0.len() as u64).find(is_it))
        }

        fn shows(&self, place: u64, expected: u64) -> Option<u64> {
            (*self.0.get(usize::try_from(place).unwrap_or(usize::MAX))?).filter(|shown| *shown != expected)
        }
    }

    fn told(change: impl FnOnce(&mut Vec<Option<u64>>)) -> Vec<Misplaced> {
        let mut shown: Vec<Option<u64>> = (0..20).map(Some).collect();
        change(&mut shown);
        let held = shown.len() as u64;
        misplaced(&Shown(shown), &(0..20).collect::<Vec<_>>(), 20, held)
    }

    #[test]
    fn each_way_of_being_misplaced_has_its_name() {
        use Misplaced::{BeginsEarly, BeginsLate, Doubled, Dropped, EndsEarly, EndsLate, Instead, Strange, Swapped};
        assert_eq!(told(|_| ()), []);
        assert_eq!(told(|shown| _ = shown.remove(7)), [Dropped { count: 1, first: 7, last: 7 }]);
        assert_eq!(told(|shown| drop(shown.drain(7..9))), [Dropped { count: 2, first: 7, last: 8 }]);
        assert_eq!(told(|shown| shown.insert(7, Some(6))), [Doubled { count: 1, before: 7, after: 6, same: true }]);
        assert_eq!(told(|shown| shown.insert(7, None)), [Doubled { count: 1, before: 7, after: 6, same: false }]);
        assert_eq!(told(|shown| shown.swap(7, 8)), [Swapped { one: 7, other: 8 }]);
        assert_eq!(told(|shown| shown.swap(3, 15)), [Swapped { one: 3, other: 15 }]);
        assert_eq!(told(|shown| shown[7] = Some(6)), [Instead { row: 7, shown: 6 }]);
        assert_eq!(told(|shown| shown[7] = None), [Strange { first: 7, last: 7, looked_at: 1 }]);
        assert_eq!(told(|shown| shown[5..9].fill(None)), [Strange { first: 5, last: 8, looked_at: 4 }]);
        assert_eq!(told(|shown| _ = shown.remove(0)), [BeginsLate { by: 1 }]);
        assert_eq!(told(|shown| shown.insert(0, None)), [BeginsEarly { by: 1 }]);
        assert_eq!(told(|shown| shown.insert(0, Some(0))), [Doubled { count: 1, before: 1, after: 0, same: true }]);
        assert_eq!(told(|shown| _ = shown.pop()), [EndsEarly { by: 1 }]);
        assert_eq!(told(|shown| shown.truncate(11)), [EndsEarly { by: 9 }]);
        assert_eq!(told(|shown| shown.push(None)), [EndsLate { by: 1 }]);
        assert_eq!(told(|shown| shown.fill(None)), [Strange { first: 0, last: 19, looked_at: 20 }]);
        let shifted = |shown: &mut Vec<Option<u64>>| {
            shown.remove(0);
            shown.push(Some(19));
        };
        assert_eq!(told(shifted), [BeginsLate { by: 1 }]);
    }

    #[test]
    fn of_some_rows_only_the_stretch_between_them_is_told() {
        let mut shown: Vec<Option<u64>> = (0..100).map(Some).collect();
        shown.remove(41);
        let rows = [0, 13, 30, 50, 77, 99];
        let told = misplaced(&Shown(shown), &rows, 100, 99);
        assert_eq!(told, [Misplaced::Dropped { count: 1, first: 31, last: 49 }]);
    }
}
