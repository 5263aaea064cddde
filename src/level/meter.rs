//! Levels of stills, one after the other: each is compared with those just before it.

use std::collections::VecDeque;

use super::compare::{Logs, compare};
use super::{Cells, Region};

/// Comparable stills before it that a still's level is the mean from. Two bridge one still that cannot be compared, and
/// halve the noise of neighbours; more would see the light move on.
const COMPARED: usize = 2;
/// Stills to look back over for them.
const KEPT: usize = 8;

/// What one still measures against the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Natural logarithm of its light over the first still's: luminance.
    pub level: f64,
    /// The same of red, green and blue.
    pub channels: [f64; 3],
    /// Whether the view is another one from here on: nothing before compares with it, and its level is made up.
    pub another_view: bool,
    /// Whether another side of a break begins with it ([`Meter::begin_side`]).
    pub another_side: bool,
}

/// Measures stills given one after the other; memory does not grow with their number.
#[derive(Debug)]
pub struct Meter {
    region: Region,
    recent: VecDeque<(Logs, [f64; 4])>,
    /// The last stills, if they compared with none of the recent ones.
    strays: VecDeque<Logs>,
    last: [f64; 4],
    ratios: Vec<f32>,
    /// Whether the next still that can be compared begins another side.
    begins_side: bool,
}

impl Meter {
    /// A meter that looks at a region.
    #[must_use]
    pub fn new(region: Region) -> Self {
        Self {
            region,
            recent: VecDeque::new(),
            strays: VecDeque::new(),
            last: [0.0; 4],
            ratios: Vec::new(),
            begins_side: false,
        }
    }

    /// Says that the next still was not taken right after the one before: what comes is measured by itself, and compared
    /// with what was before only by its first still, so that all levels are of one light.
    pub fn begin_side(&mut self) {
        self.begins_side = !self.recent.is_empty();
    }

    /// The level of the next still; none where it cannot be compared with any just before it. A still that compares
    /// with none but with two strays before it begins another view.
    pub fn take(&mut self, cells: &Cells) -> Option<Measured> {
        let logs = Logs::of(cells, self.region);
        if self.recent.is_empty() {
            // A first still that is all black or white compares with nothing, not even with itself.
            compare(&logs, &logs, &mut self.ratios)?;
            return Some(self.keep(logs, [0.0; 4], false));
        }
        if self.begins_side {
            compare(&logs, &logs, &mut self.ratios)?;
        }
        let mut found = Vec::new();
        for (before, level) in &self.recent {
            let Some(ratio) = compare(before, &logs, &mut self.ratios) else { continue };
            found.push(std::array::from_fn::<f64, 4, _>(|channel| level[channel] + ratio[channel]));
            if found.len() == COMPARED {
                break;
            }
        }
        if std::mem::take(&mut self.begins_side) {
            let level = found.first().copied().unwrap_or(self.last);
            self.recent.clear();
            self.strays.clear();
            return Some(Measured { another_side: true, ..self.keep(logs, level, false) });
        }
        if let [first, rest @ ..] = found.as_slice() {
            let level =
                rest.first().map_or(*first, |other| std::array::from_fn(|at| f64::midpoint(first[at], other[at])));
            self.strays.clear();
            return Some(self.keep(logs, level, false));
        }
        let alike = self.strays.iter().filter(|stray| compare(stray, &logs, &mut self.ratios).is_some()).count();
        if alike >= 2 {
            self.recent.clear();
            self.strays.clear();
            let last = self.last;
            return Some(self.keep(logs, last, true));
        }
        self.strays.push_front(logs);
        self.strays.truncate(2);
        None
    }

    fn keep(&mut self, logs: Logs, level: [f64; 4], another_view: bool) -> Measured {
        self.recent.push_front((logs, level));
        self.recent.truncate(KEPT);
        self.last = level;
        Measured { level: level[0], channels: [level[1], level[2], level[3]], another_view, another_side: false }
    }
}
