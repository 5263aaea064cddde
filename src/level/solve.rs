//! From levels to gains.

use std::ops::Range;

use super::fit::{self, Smoother, suitable_radius};
use super::meter::Measured;
use super::stairs::Stairs;
use super::steps::{self, Levels, Step, Steps};
use super::{Cause, Gain};

/// Colours that flicker by much less than this (0.2 %) are left alone: a still's measured colours are less sure than
/// its level, and a drifting colour is seen sooner than a flickering one.
const COLOUR_LEFT: f64 = 0.002;

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wishes {
    /// How much of the flicker is taken out: 1 is all of it.
    pub strength: f64,
    /// How many stills on each side the light is smoothed over; chosen by the shoot where none.
    pub radius: Option<f64>,
    /// What is done about steps of exposure.
    pub steps: Steps,
    /// Whether colours are held as they are in the middle of each run, or only calmed where they flicker.
    pub colour: bool,
}

/// A still that is not levelled as the others are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Flaw {
    /// Its level stands out from its neighbours' by this much (a natural logarithm).
    StandsOut(f64),
    /// It cannot be compared with its neighbours.
    Unlike,
}

/// What levelling comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Solved {
    /// By still.
    pub gains: Vec<Gain>,
    /// By still, where it was measured: the logarithm of the level it had, and of the one it is brought to.
    pub levels: Vec<Option<[f64; 2]>>,
    /// The radius smoothed over, in stills: the largest where sides of a break have several.
    pub radius: f64,
    /// Steps found, by place among the stills.
    pub steps: Vec<Step>,
    /// Stills left as they are, by place among the stills.
    pub flaws: Vec<(usize, Flaw)>,
}

/// Stills that take part in each other's smoothing, in order.
#[derive(Debug, Default)]
struct Kept {
    /// Their places among all.
    stills: Vec<usize>,
    at: Vec<f64>,
    levels: Vec<f64>,
    channels: Vec<[f64; 3]>,
    exposures: Vec<Option<f64>>,
    /// The first of each other view, and of each other side of a break, by place among these.
    views: Vec<usize>,
    /// Those that begin a side.
    sides: Vec<usize>,
}

impl Kept {
    fn line(&self) -> Levels<'_> {
        Levels { at: &self.at, levels: &self.levels, exposures: &self.exposures }
    }
}

/// Solves for the gains of stills at `at` (in rising order), measured one after the other, with the logarithms of the
/// light that their settings let in.
///
/// Stills that stand out, or compare with none, keep their level but for what joins steps; they have no say in their
/// neighbours'. With [`Steps::Join`], a line through the middles of the treads takes the place of the stairs.
#[must_use]
pub fn solve(at: &[f64], measured: &[Option<Measured>], exposures: &[Option<f64>], wishes: &Wishes) -> Solved {
    let all = keep(at, measured, exposures, &[]);
    let odd = steps::odd(all.line(), &all.views);
    let left_out: Vec<usize> = odd.iter().map(|(place, _)| all.stills[*place]).collect();
    let kept = keep(at, measured, exposures, &left_out);
    let mut steps = steps::find(kept.line(), &kept.views);
    steps.iter_mut().filter(|step| kept.sides.contains(&step.at)).for_each(|step| step.cause = Cause::Apart);

    let is_joined = |step: &Step| step.cause == Cause::Exposure && wishes.steps == Steps::Join;
    let mut edges: Vec<usize> = steps.iter().filter(|step| !is_joined(step)).map(|step| step.at).collect();
    edges.insert(0, 0);
    edges.push(kept.levels.len());
    let runs: Vec<Range<usize>> = edges.windows(2).map(|two| two[0]..two[1]).filter(|run| !run.is_empty()).collect();
    let stairs = |run: &Range<usize>| {
        let within = steps.iter().filter(|step| is_joined(step) && step.at > run.start && step.at < run.end);
        Stairs::new(&kept.at[run.clone()], within.map(|step| (step.at - run.start, step.height)))
    };
    let stairs: Vec<Stairs> = runs.iter().map(stairs).collect();
    let mut joined = kept.levels.clone();
    for (run, stairs) in runs.iter().zip(&stairs) {
        for place in run.clone() {
            joined[place] += stairs.joining(kept.at[place]);
        }
    }
    // Each side of a break has radii of its own.
    let side_of = |run: &Range<usize>| kept.sides.partition_point(|first| *first <= run.start);
    let suitable = |radii: &[f64], values: &[&[f64]]| -> Vec<f64> {
        let of_side = |side: usize| {
            let own = || runs.iter().filter(move |run| side_of(run) == side);
            let mut parts: Vec<(&[f64], &[f64])> = Vec::new();
            for values in values {
                parts.extend(own().map(|run| (&kept.at[run.clone()], &values[run.clone()])));
            }
            suitable_radius(radii, &parts)
        };
        (0..=kept.sides.len()).map(of_side).collect()
    };
    let lights_radii = match wishes.radius {
        Some(radius) => vec![radius; kept.sides.len() + 1],
        None => suitable(fit::OF_LIGHT, &[&joined]),
    };
    let radius = lights_radii.iter().copied().fold(0.0, f64::max);
    let colours = [0, 1, 2].map(|channel| -> Vec<f64> {
        kept.channels.iter().zip(&kept.levels).map(|(channels, level)| channels[channel] - level).collect()
    });
    let colours_radii = suitable(fit::OF_COLOURS, &colours.each_ref().map(Vec::as_slice));

    // What joins the stairs holds for every still, the odd ones too.
    let stairs_at = |at: f64| stairs.get(runs.iter().rposition(|run| kept.at[run.start] <= at).unwrap_or(0));
    let joining = |at: &f64| stairs_at(*at).map_or(0.0, |stairs| stairs.joining(*at));
    let mut gains: Vec<[f64; 3]> = at.iter().map(|at| [joining(at); 3]).collect();
    let whites: Vec<f64> = at.iter().map(|at| stairs_at(*at).map_or(0.0, |stairs| stairs.white(*at)).exp()).collect();
    let mut levels: Vec<Option<[f64; 2]>> =
        measured.iter().zip(&gains).map(|(one, gain)| one.map(|one| [one.level, one.level + gain[0]])).collect();
    for run in &runs {
        let change = |radius: f64, values: &[f64]| -> Vec<f64> {
            let smooth = Smoother::new(&kept.at[run.clone()], radius).smooth(values);
            smooth.iter().zip(values).map(|(smooth, value)| wishes.strength * (smooth - value)).collect()
        };
        let side = side_of(run);
        let lights = change(lights_radii[side], &joined[run.clone()]);
        let colours = [0, 1, 2].map(|channel: usize| {
            let colours = &colours[channel][run.clone()];
            if wishes.colour {
                let held = steps::median_of(&mut colours.to_vec());
                return colours.iter().map(|colour| wishes.strength * (held - colour)).collect();
            }
            change(colours_radii[side], colours).into_iter().map(softened).collect::<Vec<f64>>()
        });
        for (place, still) in kept.stills[run.clone()].iter().enumerate() {
            for (gain, colour) in gains[*still].iter_mut().zip(&colours) {
                *gain += lights[place] + colour[place];
            }
            if let Some([_, target]) = &mut levels[*still] {
                *target += lights[place];
            }
        }
    }
    let unlike = measured.iter().enumerate().filter(|(_, one)| one.is_none()).map(|(still, _)| (still, Flaw::Unlike));
    let mut flaws: Vec<(usize, Flaw)> = unlike.collect();
    flaws.extend(odd.iter().map(|(place, by)| (all.stills[*place], Flaw::StandsOut(*by))));
    flaws.sort_by_key(|(still, _)| *still);
    let steps = steps.into_iter().map(|step| Step { at: kept.stills[step.at], ..step }).collect();
    let gains = gains.into_iter().zip(whites).map(|(logs, white)| Gain { light: logs.map(f64::exp), white }).collect();
    Solved { gains, levels, radius, steps, flaws }
}

/// The stills that were measured, without those left out (in rising order).
fn keep(at: &[f64], measured: &[Option<Measured>], exposures: &[Option<f64>], left_out: &[usize]) -> Kept {
    let mut kept = Kept::default();
    let (mut another_view, mut another_side) = (false, false);
    for (still, one) in measured.iter().enumerate() {
        let Some(one) = one else { continue };
        another_view |= one.another_view;
        another_side |= one.another_side;
        if left_out.binary_search(&still).is_ok() {
            continue;
        }
        let (view, side) = (std::mem::take(&mut another_view), std::mem::take(&mut another_side));
        if view || side {
            kept.views.push(kept.stills.len());
        }
        if side {
            kept.sides.push(kept.stills.len());
        }
        kept.stills.push(still);
        kept.at.push(at[still]);
        kept.levels.push(one.level);
        kept.channels.push(one.channels);
        kept.exposures.push(exposures[still]);
    }
    kept
}

/// A change of colour, gently: what is small beside [`COLOUR_LEFT`] vanishes, what is large stays, and of the same size
/// half is left.
fn softened(change: f64) -> f64 {
    change.powi(3) / (change.powi(2) + COLOUR_LEFT.powi(2))
}
