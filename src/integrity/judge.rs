//! One still against two neighbours: is there a place from which on its level or its colours are another's?
//!
//! What differs from both neighbours is laid out in the order of coding. Damage begins at one unit and lasts to the next restart
//! marker or to the end, always by the same amount; the blocks on either side of where it begins and ends lie along the edges of
//! two rows of units, with a corner where it begins within a row. That corner, and the evenness of the amount, tell it from
//! light, shadows and passers-by.

#![expect(clippy::cast_precision_loss, reason = "counts of blocks")]

use super::means::{Means, Plane, SCALE};

/// The smallest change of level that is told, in codes: of luma, and of a colour difference.
const LEAST: [f32; 2] = [3.2, 2.6];
/// Where the neighbours differ by more than this, in codes, a block says nothing: while it lies outside what they span …
const SPREAD_OUTSIDE: [f32; 2] = [6.0, 4.0];
/// … and beside their mean, which is asked where light changes.
const SPREAD_MEAN: [f32; 2] = [20.0, 12.0];
/// The share of blocks that must say something for their mean to be asked.
const KNOWN_FOR_MEAN: f32 = 0.7;
/// Rows of units that the wrong bytes themselves may fill, after the first.
const GARBAGE: std::ops::RangeInclusive<usize> = 1..=3;
/// The share of them that may look right by chance.
const STRAY: f32 = 0.25;
/// The smallest damage that is told: the share of the picture's blocks.
const SMALLEST: f32 = 0.0035;
/// Units that damage within one row fills at least; fewer than [`SURE`] have to fit better.
const FEWEST: usize = 3;
const SURE: usize = 6;
/// Jumps count for no more than this, in codes, where a beginning is looked for.
const CAP: f32 = 40.0;
/// Parts of a row that are looked at first.
const PARTS: usize = 8;

/// Where a still ceases to belong to the scene.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Break {
    /// The row of units it begins in, of [`Means::down`].
    pub row: usize,
    /// The unit in that row.
    pub column: usize,
    /// The component that shows it best.
    pub component: usize,
    /// By how much that is off, in codes of 8 bits.
    pub by: f32,
    /// How well it fits, 0 to 4.
    pub fit: f32,
    /// Rows of units there are.
    down: usize,
}

impl Break {
    /// The first row of pixels, of a picture that has `height` of them.
    #[must_use]
    pub fn first_row(&self, height: u32) -> u32 {
        let row = self.row as u64 * u64::from(height) / self.down.max(1) as u64;
        u32::try_from(row).unwrap_or(height)
    }
}

/// Which beginning a test is about, and what it is asked with.
struct Case<'a> {
    /// Jumps over the edge of what may be wrong: all by the same amount.
    over: Vec<f32>,
    /// Jumps where there should be none.
    none: Vec<f32>,
    row: usize,
    column: usize,
    /// What lies within, from the first row that holds nothing but it: rows of units, and columns of the last.
    within: Within,
    /// Whether there is a corner, or an end, that nothing in a scene has.
    has_corner: bool,
    view: &'a View<'a>,
}

#[derive(Clone, Copy)]
enum Within {
    /// Rows of units `from..to`, and `rest` columns of blocks of the row after.
    Rows { from: usize, to: usize, rest: usize },
    /// Columns of blocks of one row of units.
    Part { row: usize, from: usize, to: usize },
}

/// What differs from the neighbours, in one component and one way of asking.
struct View<'a> {
    /// In codes; not a number where nothing can be said.
    off: Vec<f32>,
    /// The neighbours' first components.
    levels: [&'a Plane; 2],
    width: usize,
    /// Units.
    across: usize,
    down: usize,
    restart: usize,
    blocks: [usize; 2],
    least: f32,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Ask {
    /// How far outside what the neighbours span.
    Outside,
    /// How far from their mean.
    Mean,
}

/// Finds where `this` ceases to belong to the scene that `before` and `after` show, if it does: two other stills of the same
/// camera, the nearest there are. None where all of it belongs, or where the three are not laid out alike.
#[must_use]
pub fn judge(this: &Means, before: &Means, after: &Means) -> Option<Break> {
    if !this.is_like(before) || !this.is_like(after) {
        return None;
    }
    let mut best: Option<Break> = None;
    for component in 0..this.planes.len() {
        for ask in [Ask::Outside, Ask::Mean] {
            let suspects = suspects(this, [before, after], component, ask);
            if suspects.is_none() && (this.restart == 0 || ask == Ask::Mean) {
                continue;
            }
            let view = View::new(this, [before, after], component, ask);
            if ask == Ask::Outside {
                for found in view.garbled() {
                    best = best.filter(|best| best.fit >= found.fit).or(Some(Break { component, ..found }));
                }
            }
            let rows = suspects.unwrap_or_default();
            if ask == Ask::Mean && view.known() < KNOWN_FOR_MEAN {
                continue;
            }
            for row in rows {
                for found in view.begun_in(row) {
                    if best.is_none_or(|best| found.fit > best.fit) {
                        best = Some(Break { component, ..found });
                    }
                }
            }
        }
    }
    best
}

fn kind(means: &Means, component: usize) -> usize {
    usize::from(means.has_luma && component > 0)
}

/// By how much a block is off, in [`SCALE`]ths of a code; 0 where nothing can be said.
#[inline]
fn off(ask: Ask, spread: i16, this: i16, before: i16, after: i16) -> i16 {
    let (low, high) = (before.min(after), before.max(after));
    let off = match ask {
        Ask::Outside => this.saturating_sub(this.clamp(low, high)),
        Ask::Mean => this.saturating_sub(low.saturating_add(high.saturating_sub(low) / 2)),
    };
    if high.saturating_sub(low) > spread { 0 } else { off }
}

#[expect(clippy::cast_possible_truncation, reason = "a few codes")]
fn spread(ask: Ask, kind: usize) -> i16 {
    let codes = if ask == Ask::Outside { SPREAD_OUTSIDE[kind] } else { SPREAD_MEAN[kind] };
    (codes * f32::from(SCALE)) as i16
}

/// Rows of units in which damage may begin, by the means of a few parts of each row: nearly always none, which costs little.
fn suspects(this: &Means, others: [&Means; 2], component: usize, ask: Ask) -> Option<Vec<usize>> {
    let kind = kind(this, component);
    let spread = spread(ask, kind);
    let [plane, before, after] = [this, others[0], others[1]].map(|means| &means.planes[component]);
    let width = this.across * plane.blocks_across;
    if width < PARTS {
        return None;
    }
    // Means of the first and the last row of blocks in each row of units, part by part.
    let level = |row: usize| -> [f32; PARTS] {
        std::array::from_fn(|part| {
            let columns = row * width + part * width / PARTS..row * width + (part + 1) * width / PARTS;
            let count = columns.len() as f32;
            let (this, before, after) = (&plane.values[columns.clone()], &before.values[columns.clone()], &after.values[columns]);
            let blocks = this.iter().zip(before).zip(after);
            let sum: i32 = blocks.map(|((this, before), after)| i32::from(off(ask, spread, *this, *before, *after))).sum();
            sum as f32 / count / f32::from(SCALE)
        })
    };
    let ends: Vec<[[f32; PARTS]; 2]> =
        (0..this.down).map(|row| [level(row * plane.blocks_down), level((row + 1) * plane.blocks_down - 1)]).collect();
    let least = 0.45 * LEAST[kind];
    let jumps = |from: usize, to: usize| -> usize {
        let (from, to) = (&ends[from][1], &ends[to][0]);
        let count = |sign: f32| from.iter().zip(to).filter(|(from, to)| sign * (**to - **from) > least).count();
        count(1.0).max(count(-1.0))
    };
    let suspect = |row: usize| {
        let long = (1..=2 + GARBAGE.end()).any(|reach| {
            let (from, to) = (row.saturating_sub(1), row + reach.saturating_sub(1));
            to < this.down && from < to && jumps(from, to) * 2 >= PARTS
        });
        long || (this.restart > 0 && ((row > 0 && jumps(row - 1, row) >= 1) || (row + 1 < this.down && jumps(row, row + 1) >= 1)))
    };
    let rows: Vec<usize> = (0..this.down).filter(|row| suspect(*row)).collect();
    (!rows.is_empty()).then_some(rows)
}

impl<'a> View<'a> {
    fn new(this: &Means, others: [&'a Means; 2], component: usize, ask: Ask) -> Self {
        let kind = kind(this, component);
        let spread = spread(ask, kind);
        let [before, after] = others.map(|means| &means.planes[component]);
        let plane = &this.planes[component];
        let blocks = plane.values.iter().zip(before.values.iter().zip(&after.values));
        let off = blocks.map(|(this, (before, after))| {
            if before.abs_diff(*after) > spread.unsigned_abs() {
                return f32::NAN;
            }
            f32::from(off(ask, i16::MAX, *this, *before, *after)) / f32::from(SCALE)
        });
        Self {
            off: off.collect(),
            levels: others.map(|means| &means.planes[0]),
            width: this.across * plane.blocks_across,
            across: this.across,
            down: this.down,
            restart: this.restart,
            blocks: [plane.blocks_across, plane.blocks_down],
            least: LEAST[kind],
        }
    }

    /// The share of blocks of which something can be said.
    fn known(&self) -> f32 {
        self.off.iter().filter(|off| !off.is_nan()).count() as f32 / self.off.len().max(1) as f32
    }

    /// One row of blocks.
    fn line(&self, row: usize) -> &[f32] {
        &self.off[row * self.width..(row + 1) * self.width]
    }

    /// From one row of blocks to another, column by column.
    fn jump(&self, from: usize, to: usize) -> Vec<f32> {
        self.line(from).iter().zip(self.line(to)).map(|(from, to)| to - from).collect()
    }

    /// The first and the last row of blocks in a row of units.
    fn first(&self, row: usize) -> usize {
        row * self.blocks[1]
    }

    fn last(&self, row: usize) -> usize {
        (row + 1) * self.blocks[1] - 1
    }

    /// Every beginning in a row of units that stands the tests.
    fn begun_in(&self, row: usize) -> Vec<Break> {
        let (across, down) = (self.across, self.down);
        let first = row * across;
        let intervals: Vec<[usize; 2]> = match self.restart {
            0 => vec![[0, across * down]],
            restart => (first / restart..=(first + across - 1) / restart)
                .map(|at| [at * restart, ((at + 1) * restart).min(across * down)])
                .collect(),
        };
        let top = (row > 0).then(|| self.jump(self.last(row - 1), self.first(row)));
        let bottom = (row + 1 < down).then(|| self.jump(self.last(row), self.first(row + 1)));
        let mut found = Vec::new();
        if let Some(case) = self.whole_interval(row) {
            found.extend(case.verdict());
        }
        for [from, to] in intervals {
            let begin = from.saturating_sub(first) * self.blocks[0];
            if to > first + across {
                let end = (to / across, to % across * self.blocks[0]);
                if let Some(case) = self.goes_on(row, begin, end, top.as_deref(), bottom.as_deref()) {
                    found.extend(case.verdict());
                }
                if let Some(top) = &top {
                    found.extend(self.after_garbage(row, begin, end, top).iter().filter_map(Case::verdict));
                }
            } else if let Some(case) =
                self.in_a_row(row, [begin, (to - first) * self.blocks[0]], top.as_deref(), bottom.as_deref())
            {
                found.extend(case.verdict());
            }
        }
        found
    }

    /// Intervals between restart markers that are wrong from some unit on to their end, by whatever amounts, with everything around
    /// them unchanged: no thing in a scene has the shape of an interval.
    fn garbled(&self) -> Vec<Break> {
        if self.restart == 0 {
            return Vec::new();
        }
        let (across, all) = (self.across, self.across * self.down);
        let least = (SMALLEST * all as f32).max(SURE as f32);
        let state: Vec<Option<bool>> = (0..all).map(|unit| self.has_changed(unit)).collect();
        let changed = |units: &mut dyn Iterator<Item = usize>| -> (f32, usize) {
            let (mut known, mut count) = (0, 0);
            for state in units.filter_map(|unit| state.get(unit).copied().flatten()) {
                known += 1;
                count += usize::from(state);
            }
            (count as f32 / known.max(1) as f32, known)
        };
        let mut found = Vec::new();
        for from in (0..all).step_by(self.restart) {
            let to = (from + self.restart).min(all);
            let (mut score, mut best) = (0_i32, (0, to));
            for unit in (from..to).rev() {
                score += match state[unit] {
                    Some(true) => 1,
                    Some(false) => -1,
                    None => 0,
                };
                if score > best.0 {
                    best = (score, unit);
                }
            }
            let begin = best.1;
            if ((to - begin) as f32) < least {
                continue;
            }
            let (inside, known) = changed(&mut (begin..to));
            if inside < 0.8 || (known as f32) < 0.6 * (to - begin) as f32 {
                continue;
            }
            let within = |unit: &usize| !(begin..to).contains(unit);
            let above = changed(&mut (begin..to).filter_map(|unit| unit.checked_sub(across)).filter(within));
            let below = changed(&mut (begin..to).map(|unit| unit + across).filter(within));
            let end_of_row = to.div_ceil(across) * across;
            let beside = [changed(&mut (from..begin)), changed(&mut (to..end_of_row.min(to + 8)))];
            let is_quiet = |(share, known): (f32, usize)| share <= 0.15 || known < 2;
            if (above.1 < 4 && below.1 < 4) || ![above, below, beside[0], beside[1]].into_iter().all(is_quiet) {
                continue;
            }
            let off: Vec<f32> = (begin..to).flat_map(|unit| self.of_unit(unit)).filter(|off| !off.is_nan()).collect();
            let sizes: Vec<f32> = off.iter().map(|off| off.abs()).collect();
            if middle(&sizes).unwrap_or(0.0) < 2.0 * self.least {
                continue;
            }
            let by = middle(&off).unwrap_or(0.0);
            found.push(Break {
                row: begin / across,
                column: begin % across,
                component: 0,
                by,
                fit: inside + 2.0,
                down: self.down,
            });
        }
        found
    }

    /// What differs in the blocks of a unit.
    fn of_unit(&self, unit: usize) -> impl Iterator<Item = f32> {
        let (row, column) = (unit / self.across, unit % self.across);
        let [wide, _] = self.blocks;
        (self.first(row)..=self.last(row))
            .flat_map(move |line| self.line(line)[column * wide..(column + 1) * wide].iter().copied())
    }

    /// Whether most of a unit's blocks show something else than the neighbours; none where most say nothing.
    fn has_changed(&self, unit: usize) -> Option<bool> {
        let (mut known, mut changed) = (0, 0);
        for off in self.of_unit(unit).filter(|off| !off.is_nan()) {
            known += 1;
            changed += usize::from(off.abs() > 0.6 * self.least);
        }
        (2 * known > self.blocks[0] * self.blocks[1]).then_some(2 * changed > known)
    }

    /// A whole interval between restart markers, whole rows of units, is off.
    fn whole_interval(&self, row: usize) -> Option<Case<'_>> {
        let rows = (self.restart > 0 && self.restart.is_multiple_of(self.across)).then(|| self.restart / self.across)?;
        let end = (row + rows).min(self.down);
        if !row.is_multiple_of(rows) || row == 0 || end >= self.down {
            return None;
        }
        let mut over = self.jump(self.last(row - 1), self.first(row));
        over.extend(self.jump(self.last(end - 1), self.first(end)).iter().map(|jump| -jump));
        let within = Within::Rows { from: row, to: end, rest: 0 };
        let strict = Case { over, none: Vec::new(), row, column: 0, within, has_corner: true, view: self };
        let by = middle(&known(&strict.over))?;
        (share(&known(&strict.over), by, allowed(by)) >= 0.85 && by.abs() >= 2.0 * self.least).then_some(strict)
    }

    /// It begins in this row and goes on below: over the top edge right of the corner, over the bottom edge left of it.
    fn goes_on(
        &self,
        row: usize,
        begin: usize,
        (rows, rest): (usize, usize),
        top: Option<&[f32]>,
        bottom: Option<&[f32]>,
    ) -> Option<Case<'_>> {
        let below = if rows > row + 1 { self.width } else { rest };
        if below < 8 * self.blocks[0] {
            return None;
        }
        let none: &[f32] = &[];
        let (top, bottom) = (top.unwrap_or(none), bottom.map_or(none, |bottom| &bottom[..below]));
        let at = |line: &[f32], at: usize| line.get(at).copied().filter(|jump| !jump.is_nan());
        let sum = |line: &[f32], columns: std::ops::Range<usize>| -> (f32, f32) {
            columns
                .filter_map(|column| at(line, column))
                .fold((0.0, 0.0), |(sum, count), jump| (sum + jump.clamp(-CAP, CAP), count + 1.0))
        };
        // Where a beginning explains most.
        let (mut right, mut left) = (sum(top, 0..self.width), (0.0, 0.0));
        let mut best = (-1.0, 0);
        for column in 0..=self.width {
            let (jumps, count) = (right.0 + left.0, right.1 + left.1);
            let explained = if count > 0.0 { jumps * jumps / count } else { 0.0 };
            if column >= begin && explained > best.0 {
                best = (explained, column);
            }
            if column < self.width {
                let (out, into) = (sum(top, column..column + 1), sum(bottom, column..column + 1));
                right = (right.0 - out.0, right.1 - out.1);
                left = (left.0 + into.0, left.1 + into.1);
            }
        }
        let corner = best.1 - best.1 % self.blocks[0];
        let part = |line: &[f32], from: usize, to: usize| line.get(from..to.min(line.len())).unwrap_or_default().to_vec();
        let mut over = part(top, corner, self.width);
        over.extend(part(bottom, 0, corner.min(below)));
        let mut none = part(top, begin, corner);
        none.extend(part(bottom, corner, below));
        let column = corner / self.blocks[0];
        let has_corner = column > begin / self.blocks[0] && column < self.across;
        let within = Within::Rows { from: row + 1, to: rows, rest };
        Some(Case { over, none, row, column, within, has_corner, view: self })
    }

    /// The wrong bytes themselves fill the rest of this row and some of those below; what comes after them is off.
    fn after_garbage(&self, row: usize, begin: usize, (rows, rest): (usize, usize), top: &[f32]) -> Vec<Case<'_>> {
        let (step, least) = (self.blocks[0], 1.5_f32.max(self.least / 2.0));
        let quiet = |jump: &f32| jump.abs() < least;
        let count = |part: &[f32]| part.iter().filter(|jump| !jump.is_nan()).count();
        // The corner between what is quiet and what is not.
        let mut best = (0, begin);
        let mut score = count(top) - top.iter().filter(|jump| quiet(jump)).count();
        for column in 0..=self.width {
            if column >= begin && score > best.0 {
                best = (score, column);
            }
            match top.get(column) {
                Some(jump) if quiet(jump) => score += 1,
                Some(jump) if !jump.is_nan() => score = score.saturating_sub(1),
                _ => {}
            }
        }
        let corner = best.1 - best.1 % step;
        let column = corner / step;
        if column < begin / step + 2 || column + 3 > self.across {
            return Vec::new();
        }
        let (left, right) = (known(&top[begin..corner]), known(&top[corner..]));
        let quiet_share = |part: &[f32]| part.iter().filter(|jump| quiet(jump)).count() as f32 / part.len().max(1) as f32;
        if left.len() < 2 || right.len() < 3 || quiet_share(&left) < 0.85 || quiet_share(&right) > STRAY {
            return Vec::new();
        }
        let Some(usual) = middle(&right) else { return Vec::new() };
        let apart: Vec<f32> = right.iter().map(|jump| (jump - usual).abs()).collect();
        let scatter = middle(&apart).unwrap_or(0.0);
        let mut cases = Vec::new();
        for garbage in GARBAGE {
            let from = row + 1 + garbage;
            if from >= self.down || from > rows || (from == rows && rest < 8 * step) {
                break;
            }
            let columns = if from < rows { self.width } else { rest };
            let over = self.jump(self.last(row - 1), self.first(from))[..columns].to_vec();
            let by = middle(&known(&over)).unwrap_or(0.0);
            // From here on nothing is as it was, whatever it is: something that comes into the picture leaves room beside it.
            let of_row = |row: usize| &self.off[self.first(row) * self.width..self.first(row + 1) * self.width];
            if (row + 1..from).any(|row| share(&known(of_row(row)), 0.0, least) > STRAY) {
                continue;
            }
            // An edge of the scene within a row of blocks gives all of them the same share of what changes.
            if scatter < 2.0_f32.max(0.3 * by.abs()) {
                continue;
            }
            let within = Within::Rows { from, to: rows, rest };
            cases.push(Case { over, none: left.clone(), row, column, within, has_corner: true, view: self });
        }
        cases
    }

    /// It begins in this row and ends at a restart marker in the same.
    fn in_a_row(&self, row: usize, [begin, end]: [usize; 2], top: Option<&[f32]>, bottom: Option<&[f32]>) -> Option<Case<'_>> {
        let step = self.blocks[0];
        if end < begin + FEWEST * step {
            return None;
        }
        let top = top.map(<[f32]>::to_vec);
        let bottom: Option<Vec<f32>> = bottom.map(|bottom| bottom.iter().map(|jump| -jump).collect());
        let edges: Vec<Vec<f32>> = top.into_iter().chain(bottom).collect();
        let of = |column: usize| -> f32 {
            let jumps = edges.iter().map(|edge| edge[column]).filter(|jump| !jump.is_nan());
            jumps.map(|jump| jump.clamp(-CAP, CAP)).sum::<f32>() / edges.len().max(1) as f32
        };
        let (mut sum, mut best) = (0.0, (-1.0, begin));
        for column in (begin..end).rev() {
            sum += of(column);
            let count = end - column;
            let explained = sum * sum / count as f32;
            if count >= FEWEST * step && explained > best.0 {
                best = (explained, column);
            }
        }
        let corner = best.1 - best.1 % step;
        let over = edges.iter().flat_map(|edge| edge[corner..end].iter().copied()).collect();
        let none = edges.iter().flat_map(|edge| edge[begin.min(corner)..corner].iter().copied()).collect();
        let column = corner / step;
        let has_corner = (column > begin / step && column < self.across) || begin > 0;
        let within = Within::Part { row, from: corner, to: end };
        Some(Case { over, none, row, column, within, has_corner, view: self })
    }
}

/// How far from the amount a block may be and still be off by it: what is added to all blocks is the same for all, however much it
/// is …
fn allowed(by: f32) -> f32 {
    2.0_f32.max(0.3 * by.abs()).min(0.45 * by.abs()).min(5.0)
}

/// … and how far from nothing, to be off by nothing.
fn quiet(by: f32) -> f32 {
    1.5_f32.max(0.3 * by.abs()).min(0.45 * by.abs()).min(4.0)
}

impl Case<'_> {
    /// The beginning, where everything fits.
    fn verdict(&self) -> Option<Break> {
        let view = self.view;
        let over = known(&self.over);
        if over.len() < FEWEST * view.blocks[0] || (over.len() as f32) < 0.4 * self.over.len() as f32 {
            return None;
        }
        let by = middle(&over)?;
        if by.abs() < view.least {
            return None;
        }
        let is_faint = by.abs() < 1.5 * view.least;
        // Part of a row that has no row beside it may be anything that comes into the picture there.
        let is_part = matches!(self.within, Within::Part { .. });
        let is_alone = is_part && (self.row == 0 || self.row + 1 == view.down);
        if is_part && is_faint {
            return None;
        }
        let is_small = is_faint || is_alone || over.len() < SURE * view.blocks[0];
        let bar = |small: f32, with_corner: f32, without: f32| {
            if is_small {
                small
            } else if self.has_corner {
                with_corner
            } else {
                without
            }
        };
        let all_by = share(&over, by, allowed(by));
        if all_by < bar(0.8, 0.6, 0.85) {
            return None;
        }
        let none = known(&self.none);
        let still = if none.len() >= 2 * view.blocks[0] { share(&none, 0.0, quiet(by)) } else { 1.0 };
        if still < 0.75 {
            return None;
        }
        let inside = self.inside();
        if (inside.len() as f32) < SMALLEST * view.off.len() as f32 {
            return None;
        }
        let (inside, above) = (known(&inside), known(&self.above()));
        if inside.len() < FEWEST || above.len() < SURE {
            return None;
        }
        let usual = middle(&above)?;
        let quiet_above = share(&above, usual, quiet(by));
        let lasting = share(&inside, by + usual, 3.0_f32.max(0.4 * by.abs()).min(8.0));
        if lasting < bar(0.8, 0.6, 0.6) || quiet_above < bar(0.8, 0.6, 0.85) {
            return None;
        }
        if is_alone && [all_by, still, lasting].into_iter().any(|share| share < 0.95) {
            return None;
        }
        if !self.has_corner
            && (by.abs() < 2.0 * view.least
                || [all_by, still, quiet_above, lasting].into_iter().any(|share| share < 0.85)
                || usual.abs() > quiet(by)
                || !self.is_added(by, &inside))
        {
            return None;
        }
        Some(Break {
            row: self.row,
            column: self.column,
            component: 0,
            by,
            fit: all_by + still + quiet_above + lasting,
            down: view.down,
        })
    }

    /// Everything within.
    fn inside(&self) -> Vec<f32> {
        let view = self.view;
        let part = |row: usize, from: usize, to: usize| -> Vec<f32> {
            (view.first(row)..=view.last(row)).flat_map(|line| view.line(line)[from..to].iter().copied()).collect()
        };
        match self.within {
            Within::Rows { from, to, rest } if from >= to => {
                if to < view.down {
                    part(to, 0, rest)
                } else {
                    Vec::new()
                }
            }
            Within::Rows { from, to, .. } => view.off[view.first(from) * view.width..view.first(to) * view.width].to_vec(),
            Within::Part { row, from, to } => part(row, from, to),
        }
    }

    /// The rows of blocks above; in the first row what lies left.
    fn above(&self) -> Vec<f32> {
        let view = self.view;
        if self.row > 0 {
            return view.off[view.first(self.row.saturating_sub(2)) * view.width..view.first(self.row) * view.width].to_vec();
        }
        if self.column > 2 { view.line(0)[..self.column * view.blocks[0]].to_vec() } else { Vec::new() }
    }

    /// Whether bright and dark blocks within are off by the same: light would multiply, and a band of it have no corner either.
    fn is_added(&self, by: f32, inside: &[f32]) -> bool {
        let view = self.view;
        let Within::Rows { from, to, .. } = self.within else { return false };
        if from >= to {
            return false;
        }
        let [before, after] = view.levels;
        let width = view.across * before.blocks_across;
        let range = from * before.blocks_down * width..to * before.blocks_down * width;
        let mean = |(before, after): (&i16, &i16)| f32::midpoint(f32::from(*before), f32::from(*after)) / f32::from(SCALE);
        let levels: Vec<f32> = before.values[range.clone()].iter().zip(&after.values[range]).map(mean).collect();
        let scatter = |values: &[f32], usual: f32| {
            let apart: Vec<f32> = values.iter().map(|value| (value - usual).abs()).collect();
            // Of a normal distribution the standard deviation.
            1.4826 * middle(&apart).unwrap_or(0.0)
        };
        let Some(usual) = middle(&levels) else { return false };
        let contrast = scatter(&levels, usual) / usual.max(20.0);
        let unevenness = scatter(inside, middle(inside).unwrap_or(by));
        contrast >= 0.12 && unevenness <= 0.35 * by.abs() * contrast
    }
}

fn known(values: &[f32]) -> Vec<f32> {
    values.iter().copied().filter(|value| !value.is_nan()).collect()
}

/// The median of numbers.
fn middle(values: &[f32]) -> Option<f32> {
    let mut values = values.to_vec();
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f32::total_cmp).1)
}

/// The share that lies within `allowed` of `by`.
fn share(values: &[f32], by: f32, allowed: f32) -> f32 {
    values.iter().filter(|value| (**value - by).abs() < allowed).count() as f32 / values.len().max(1) as f32
}
