//! Where levels step: by the camera's settings, or of a sudden; and stills that stand out.
//!
//! ## Decisions
//!
//! - A step of exposure lasts for five stills and agrees with the pixels to 0.12 + 0.3 of itself, in logarithms. It is
//!   joined by straight lines through the middles of the treads before anything is smoothed.
//! - A sudden step without a header is a cut from 12 % and six times the flicker on. A still stands out from 15 % and
//!   six times the usual on, up to three in a row and at the ends too; it keeps its level.

/// What is done about steps of exposure that the headers tell of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Steps {
    /// They are joined into one even change.
    #[default]
    Join,
    /// They stay, and nothing is smoothed across them.
    Cut,
}

/// A place where levels step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The first still after it, by its place among the stills given.
    pub at: usize,
    /// How far the level rises, as a natural logarithm, the slope around it apart.
    pub height: f64,
    /// What is known of it.
    pub cause: Cause,
}

/// What is known of a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// Headers tell of another exposure, and the pixels agree.
    Exposure,
    /// The pixels alone step: a lamp, a ring on the lens.
    Sudden,
    /// Nothing before compares with what comes after.
    View,
    /// What comes after was not taken right after what was before.
    Apart,
}

/// Smaller changes of exposure are ignored: a hundredth of a stop is 0.007, a third of one 0.23.
const LEAST_EXPOSURE: f64 = 0.05;
/// Minimum step that no header tells of: its height (12 %), and in multiples of the flicker.
const LEAST_SUDDEN: f64 = 0.12;
const TIMES_FLICKER: f64 = 6.0;
/// Minimum distance of a still that stands out: 15 %, and in multiples of the usual distance from its neighbours.
const LEAST_ODD: f64 = 0.15;
const TIMES_USUAL: f64 = 6.0;
/// A step is judged over this many stills on each side, and has to last for at least this many.
const AROUND: usize = 8;
const LASTING: usize = 4;

/// Levels of stills that can be compared, in order.
#[derive(Debug, Clone, Copy)]
pub(super) struct Levels<'a> {
    /// Where each stands.
    pub(super) at: &'a [f64],
    pub(super) levels: &'a [f64],
    /// Logarithm of the light that the camera's settings let in, where headers tell.
    pub(super) exposures: &'a [Option<f64>],
}

/// Stills that stand out from the eight around them: black ones, ones lit by a flash. What lasts for five stills does
/// not, nor what the camera's settings account for. `views` are the first stills of other views. The place of each, and
/// how far it stands out.
pub(super) fn odd(line: Levels<'_>, views: &[usize]) -> Vec<(usize, f64)> {
    let Levels { at, levels, exposures } = line;
    let within = |still: usize| {
        let view = views.partition_point(|first| *first <= still);
        let first = view.checked_sub(1).map_or(0, |before| views[before]);
        first..views.get(view).copied().unwrap_or(levels.len())
    };
    let apart: Vec<f64> = (0..levels.len())
        .map(|still| {
            let view = within(still);
            let apart = |level: &dyn Fn(usize) -> Option<f64>| apart(at, level, still, &view);
            let plain = apart(&|still| Some(levels[still])).unwrap_or(0.0);
            let by_settings = apart(&|still| Some(levels[still] - exposures[still]?)).unwrap_or(plain);
            if by_settings.abs() < plain.abs() { by_settings } else { plain }
        })
        .collect();
    let usual = 1.4826 * median_of(&mut apart.iter().map(|apart| apart.abs()).collect::<Vec<f64>>());
    let most = LEAST_ODD.max(TIMES_USUAL * usual);
    apart.into_iter().enumerate().filter(|(_, apart)| apart.abs() > most).collect()
}

/// How far a still stands out from the nine of its view that lie nearest: from their median, which a step leaves alone,
/// or from what that is with the slope taken into account, whichever is less. The slope is that of repeated medians
/// (Siegel, Biometrika 69, 242–244, 1982) over the nearest seventeen. Three odd ones on one side bend neither.
fn apart(at: &[f64], level: &dyn Fn(usize) -> Option<f64>, still: usize, view: &std::ops::Range<usize>) -> Option<f64> {
    let own = level(still)?;
    let nearest = |each_side: usize| -> Vec<[f64; 2]> {
        let end = (still.saturating_sub(each_side).max(view.start) + 2 * each_side + 1).min(view.end);
        let near = end.saturating_sub(2 * each_side + 1).max(view.start)..end;
        near.filter_map(|near| Some([at[near], level(near)?])).collect()
    };
    let near = nearest(LASTING);
    let from = |slope: f64| {
        own - median_of(&mut near.iter().map(|[x, level]| level + slope * (at[still] - x)).collect::<Vec<f64>>())
    };
    let (flat, sloping) = (from(0.0), from(repeated_medians(&nearest(2 * LASTING))));
    Some(if flat.abs() < sloping.abs() { flat } else { sloping })
}

/// The median of every point's median slope to the others.
fn repeated_medians(points: &[[f64; 2]]) -> f64 {
    let to_others = |one: usize| -> f64 {
        let [x, y] = points[one];
        let others = points.iter().enumerate().filter(|(other, _)| *other != one);
        median_of(&mut others.map(|(_, [other, level])| (level - y) / (other - x)).collect::<Vec<f64>>())
    };
    median_of(&mut (0..points.len()).map(to_others).collect::<Vec<f64>>())
}

/// The steps of a line that is `views` apart, in order.
pub(super) fn find(line: Levels<'_>, views: &[usize]) -> Vec<Step> {
    let Levels { at, levels, exposures } = line;
    let count = levels.len();
    let changed = |j: usize| Some(exposures[j]? - exposures[j - 1]?).filter(|change| change.abs() >= LEAST_EXPOSURE);
    let changes: Vec<usize> = (1..count).filter(|j| changed(*j).is_some()).collect();
    let mut edges: Vec<usize> =
        [0, count].into_iter().chain(views.iter().copied()).chain(changes.iter().copied()).collect();
    edges.sort_unstable();
    edges.dedup();

    let mut told = Vec::new();
    let mut steps: Vec<Step> = views.iter().map(|&at| Step { at, height: 0.0, cause: Cause::View }).collect();
    for &j in changes.iter().filter(|j| !views.contains(j)) {
        let Some(change) = changed(j) else { continue };
        if !lasts(exposures, j, change) {
            continue;
        }
        let height = jump(at, levels, around(&edges, j), j);
        // Cameras bend what they record at both ends, and their nominal settings are rounded.
        if (height - change).abs() <= 0.12 + 0.3 * change.abs() {
            steps.push(Step { at: j, height, cause: Cause::Exposure });
            told.push(change);
        }
    }
    settle(&mut steps[views.len()..], &told, flicker(levels));
    edges.retain(|edge| [0, count].contains(edge) || steps.iter().any(|step| step.at == *edge));
    steps.extend(sudden(line, &edges));
    steps.sort_by_key(|step| step.at);
    steps
}

/// Makes heights surer by what the headers told: one camera makes about the same of every change. The less the heights
/// differ from that by more than flicker explains, the less they are their own.
#[expect(clippy::cast_precision_loss, reason = "steps of a shoot")]
fn settle(steps: &mut [Step], told: &[f64], flicker: f64) {
    let products = steps.iter().zip(told).map(|(step, told)| step.height * told).sum::<f64>();
    let response = products / told.iter().map(|told| told * told).sum::<f64>();
    let apart = steps.iter().zip(told).map(|(step, told)| (step.height - response * told).powi(2)).sum::<f64>();
    let own = (apart / steps.len().saturating_sub(1).max(1) as f64 - flicker * flicker).max(0.0);
    let share = if own > 0.0 { own / (own + flicker * flicker) } else { 0.0 };
    for (step, told) in steps.iter_mut().zip(told) {
        step.height = response * told + share * (step.height - response * told);
    }
}

/// Whether settings stay changed: they lie on one side of the middle for all of the stills before, and on the other
/// after.
fn lasts(exposures: &[Option<f64>], j: usize, change: f64) -> bool {
    let Some(after) = exposures[j] else { return false };
    let above = |still: &Option<f64>| still.is_none_or(|light| (light - after + change / 2.0) * change > 0.0);
    let below = |still: &Option<f64>| still.is_none_or(|light| (light - after + change / 2.0) * change < 0.0);
    exposures[j.saturating_sub(LASTING + 1)..j].iter().all(below)
        && exposures[j..(j + LASTING + 1).min(exposures.len())].iter().all(above)
}

/// The stills to look at a step from: some on each side, no edge among them.
fn around(edges: &[usize], j: usize) -> std::ops::Range<usize> {
    let below = edges.iter().rev().find(|edge| **edge < j).copied().unwrap_or(0);
    let above = edges.iter().find(|edge| **edge > j).copied().unwrap_or(j + 1);
    below.max(j.saturating_sub(AROUND))..above.min(j + AROUND)
}

/// Steps that no header tells of: the highest around, well above the flicker, made for the most part from one still to
/// the next.
fn sudden(line: Levels<'_>, edges: &[usize]) -> Vec<Step> {
    let Levels { at, levels, .. } = line;
    let least = LEAST_SUDDEN.max(TIMES_FLICKER * flicker(levels));
    let heights: Vec<f64> = (0..levels.len())
        .map(|j| {
            let near = around(edges, j);
            let known = j < LASTING || edges.contains(&j) || j - near.start < LASTING || near.end - j < LASTING;
            if known { 0.0 } else { jump(at, levels, near, j) }
        })
        .collect();
    let highest = |j: usize| {
        let near = j.saturating_sub(LASTING)..(j + LASTING + 1).min(heights.len());
        near.into_iter().all(|other| heights[other].abs() < heights[j].abs() || other == j)
    };
    let made_at_once = |j: usize| (levels[j] - levels[j - 1]) / heights[j] > 0.6;
    (1..heights.len())
        .filter(|j| heights[*j].abs() > least && made_at_once(*j) && highest(*j))
        .map(|at| Step { at, height: heights[at], cause: Cause::Sudden })
        .collect()
}

/// Standard deviation of what the levels do from still to still, by the median of their second differences (of white
/// noise six times the variance), which a step here and there leaves alone.
fn flicker(levels: &[f64]) -> f64 {
    let mut bends: Vec<f64> = levels.windows(3).map(|three| (three[0] - 2.0 * three[1] + three[2]).abs()).collect();
    1.4826 * median_of(&mut bends) / 6.0_f64.sqrt()
}

/// Height of a step before `j`: of the line with one slope on both sides that lies nearest to the levels.
#[expect(clippy::cast_precision_loss, reason = "sixteen stills")]
fn jump(at: &[f64], levels: &[f64], near: std::ops::Range<usize>, j: usize) -> f64 {
    let mean = |of: &dyn Fn(usize) -> f64, stills: std::ops::Range<usize>| {
        let count = stills.len() as f64;
        stills.map(of).sum::<f64>() / count
    };
    let (before, after) = (near.start..j, j..near.end);
    let place = |at_: usize| at[at_];
    let level = |at_: usize| levels[at_];
    let (x0, x1) = (mean(&place, before.clone()), mean(&place, after.clone()));
    let (y0, y1) = (mean(&level, before.clone()), mean(&level, after));
    let (mut along, mut up) = (0.0, 0.0);
    for still in near {
        let (x, y) = if still < j { (x0, y0) } else { (x1, y1) };
        along += (at[still] - x).powi(2);
        up += (at[still] - x) * (levels[still] - y);
    }
    let slope = if along > 0.0 { up / along } else { 0.0 };
    (y1 - y0) - slope * (x1 - x0)
}

/// The middle value, or the upper of the two; 0 of none.
pub(super) fn median_of(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f64::total_cmp).1 }
}
