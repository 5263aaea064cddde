//! The places where damage may begin in a still, by what of it differs from its neighbours.

#![expect(clippy::cast_precision_loss, reason = "counts of blocks")]

use super::breaks::Break;
use super::case::{Case, FEWEST, SMALLEST, SURE, Within, allowed, known, middle, share};
use super::view::View;

/// Rows of units that the wrong bytes themselves may fill, after the first.
pub(super) const GARBAGE: std::ops::RangeInclusive<usize> = 1..=3;
/// The share of them that may look right by chance.
const STRAY: f32 = 0.25;
/// Units on either side of a corner.
const CORNER: usize = 1;
/// Jumps count for no more than this, in codes, where a beginning is looked for.
const CAP: f32 = 40.0;

/// Every beginning in a row of units that stands the tests.
pub(super) fn begun_in(view: &View, row: usize) -> Vec<Break> {
    let (across, down) = (view.across, view.down);
    let first = row * across;
    let intervals: Vec<[usize; 2]> = match view.restart {
        0 => vec![[0, across * down]],
        restart => (first / restart..=(first + across - 1) / restart)
            .map(|at| [at * restart, ((at + 1) * restart).min(across * down)])
            .collect(),
    };
    let top = (row > 0).then(|| view.jump(view.last(row - 1), view.first(row)));
    let bottom = (row + 1 < down).then(|| view.jump(view.last(row), view.first(row + 1)));
    let mut found = Vec::new();
    if let Some(case) = whole_interval(view, row) {
        found.extend(case.verdict());
    }
    for [from, to] in intervals {
        let begin = from.saturating_sub(first) * view.blocks[0];
        if to > first + across {
            let end = (to / across, to % across * view.blocks[0]);
            if let Some(case) = goes_on(view, row, begin, end, top.as_deref(), bottom.as_deref()) {
                found.extend(case.verdict());
            }
            if let Some(top) = &top {
                found.extend(after_garbage(view, row, begin, end, top).iter().filter_map(Case::verdict));
            }
        } else if let Some(case) =
            in_a_row(view, row, [begin, (to - first) * view.blocks[0]], top.as_deref(), bottom.as_deref())
        {
            found.extend(case.verdict());
        }
    }
    found
}

/// Intervals between restart markers that are wrong from some unit on to their end, by whatever amounts, with
/// everything around them unchanged: no thing in a scene has the shape of an interval.
pub(super) fn garbled(view: &View) -> Vec<Break> {
    if view.restart == 0 {
        return Vec::new();
    }
    let (across, all) = (view.across, view.across * view.down);
    let least = (SMALLEST * all as f32).max(SURE as f32);
    let state: Vec<Option<bool>> = (0..all).map(|unit| view.has_changed(unit)).collect();
    let changed = |units: &mut dyn Iterator<Item = usize>| -> (f32, usize) {
        let (mut known, mut count) = (0, 0);
        for state in units.filter_map(|unit| state.get(unit).copied().flatten()) {
            known += 1;
            count += usize::from(state);
        }
        (count as f32 / known.max(1) as f32, known)
    };
    let mut found = Vec::new();
    for from in (0..all).step_by(view.restart) {
        let to = (from + view.restart).min(all);
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
        let off: Vec<f32> = (begin..to).flat_map(|unit| view.of_unit(unit)).filter(|off| !off.is_nan()).collect();
        let sizes: Vec<f32> = off.iter().map(|off| off.abs()).collect();
        if middle(&sizes).unwrap_or(0.0) < 2.0 * view.least {
            continue;
        }
        let by = middle(&off).unwrap_or(0.0);
        found.push(Break {
            row: begin / across,
            column: begin % across,
            component: 0,
            by,
            fit: inside + 2.0,
            down: view.down,
        });
    }
    found
}

/// A whole interval between restart markers, whole rows of units, is off.
fn whole_interval(view: &View, row: usize) -> Option<Case<'_>> {
    let rows = (view.restart > 0 && view.restart.is_multiple_of(view.across)).then(|| view.restart / view.across)?;
    let end = (row + rows).min(view.down);
    if !row.is_multiple_of(rows) || row == 0 || end >= view.down {
        return None;
    }
    let mut over = view.jump(view.last(row - 1), view.first(row));
    over.extend(view.jump(view.last(end - 1), view.first(end)).iter().map(|jump| -jump));
    let within = Within::Rows { from: row, to: end, rest: 0 };
    let strict = Case { over, none: Vec::new(), row, column: 0, within, has_corner: true, view };
    let by = middle(&known(&strict.over))?;
    (share(&known(&strict.over), by, allowed(by)) >= 0.85 && by.abs() >= 2.0 * view.least).then_some(strict)
}

/// It begins in this row and goes on below: over the top edge right of the corner, over the bottom edge left of it.
fn goes_on<'a>(
    view: &'a View,
    row: usize,
    begin: usize,
    (rows, rest): (usize, usize),
    top: Option<&[f32]>,
    bottom: Option<&[f32]>,
) -> Option<Case<'a>> {
    let below = if rows > row + 1 { view.width } else { rest };
    if below < 8 * view.blocks[0] {
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
    let (mut right, mut left) = (sum(top, 0..view.width), (0.0, 0.0));
    let mut best = (-1.0, 0);
    for column in 0..=view.width {
        let (jumps, count) = (right.0 + left.0, right.1 + left.1);
        let explained = if count > 0.0 { jumps * jumps / count } else { 0.0 };
        if column >= begin && explained > best.0 {
            best = (explained, column);
        }
        if column < view.width {
            let (out, into) = (sum(top, column..column + 1), sum(bottom, column..column + 1));
            right = (right.0 - out.0, right.1 - out.1);
            left = (left.0 + into.0, left.1 + into.1);
        }
    }
    let corner = best.1 - best.1 % view.blocks[0];
    let part = |line: &[f32], from: usize, to: usize| line.get(from..to.min(line.len())).unwrap_or_default().to_vec();
    let mut over = part(top, corner, view.width);
    over.extend(part(bottom, 0, corner.min(below)));
    let mut none = part(top, begin, corner);
    none.extend(part(bottom, corner, below));
    let column = corner / view.blocks[0];
    let has_corner = column >= begin / view.blocks[0] + CORNER && column + CORNER <= view.across;
    let within = Within::Rows { from: row + 1, to: rows, rest };
    Some(Case { over, none, row, column, within, has_corner, view })
}

/// The wrong bytes themselves fill the rest of this row and some of those below; what comes after them is off.
fn after_garbage<'a>(
    view: &'a View,
    row: usize,
    begin: usize,
    (rows, rest): (usize, usize),
    top: &[f32],
) -> Vec<Case<'a>> {
    let (step, least) = (view.blocks[0], 1.5_f32.max(view.least / 2.0));
    let quiet = |jump: &f32| jump.abs() < least;
    let count = |part: &[f32]| part.iter().filter(|jump| !jump.is_nan()).count();
    // The corner between what is quiet and what is not.
    let mut best = (0, begin);
    let mut score = count(top) - top.iter().filter(|jump| quiet(jump)).count();
    for column in 0..=view.width {
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
    if column < begin / step + 2 || column + 3 > view.across {
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
        if from >= view.down || from > rows || (from == rows && rest < 8 * step) {
            break;
        }
        let columns = if from < rows { view.width } else { rest };
        let over = view.jump(view.last(row - 1), view.first(from))[..columns].to_vec();
        let by = middle(&known(&over)).unwrap_or(0.0);
        // From here on nothing is as it was, whatever it is: something that comes into the picture leaves room beside
        // it.
        let of_row = |row: usize| &view.off[view.first(row) * view.width..view.first(row + 1) * view.width];
        if (row + 1..from).any(|row| share(&known(of_row(row)), 0.0, least) > STRAY) {
            continue;
        }
        // An edge of the scene within a row of blocks gives all of them the same share of what changes.
        if scatter < 2.0_f32.max(0.3 * by.abs()) {
            continue;
        }
        let within = Within::Rows { from, to: rows, rest };
        cases.push(Case { over, none: left.clone(), row, column, within, has_corner: true, view });
    }
    cases
}

/// It begins in this row and ends at a restart marker in the same.
fn in_a_row<'a>(
    view: &'a View,
    row: usize,
    [begin, end]: [usize; 2],
    top: Option<&[f32]>,
    bottom: Option<&[f32]>,
) -> Option<Case<'a>> {
    let step = view.blocks[0];
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
    let has_corner = (column >= begin / step + CORNER && column + CORNER <= view.across) || begin > 0;
    let within = Within::Part { row, from: corner, to: end };
    Some(Case { over, none, row, column, within, has_corner, view })
}
