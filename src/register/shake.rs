//! Shaking: a camera that moves from still to still, as the wind moves a mast.
//!
//! What places do from still to still is noise of measuring where the camera stands, and the shaking itself where it
//! does not. The two are told apart by triangles: of three stills of which each was laid over the two others, the third
//! way has to be the sum of the first two, whatever the camera did; what is missing is noise.

use std::collections::BTreeMap;
use std::ops::Range;

use super::Pose;
use super::adjustment::Tie;
use super::steps::{self, Place};
use crate::geom::turned;

/// Stills on each side over which shaking is judged.
const AROUND: usize = 12;
/// Minimum standard deviation of shaking: in pixels, and in multiples of the noise. Our choice, no source.
const LEAST: f64 = 0.15;
const SURE: f64 = 3.0;
/// Minimum number of stills that shake one after the other.
const FEWEST: usize = 8;
/// Minimum number of triangles that tell the noise.
const ENOUGH: usize = 8;

/// Standard deviation of the noise of one link: right and down in pixels, and the turn as pixels at the still's corner,
/// `lever` of them for a degree. None where too few triangles tell.
pub(super) fn noise_of_links(ties: &[Tie], lever: f64) -> Option<Place> {
    let known: BTreeMap<(usize, usize), Pose> = ties.iter().map(|tie| ((tie.earlier, tie.later), tie.stand)).collect();
    let mut by_later: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    ties.iter().for_each(|tie| by_later.entry(tie.later).or_default().push(tie.earlier));
    let mut missing: [Vec<f64>; 3] = Default::default();
    for (later, earlier) in &by_later {
        for first in earlier {
            for second in earlier.iter().filter(|second| *second > first) {
                let Some(before) = known.get(&(*first, *second)) else { continue };
                let (whole, after) = (known[&(*first, *later)], known[&(*second, *later)]);
                let carried = turned(kurbo::Vec2::new(before.x, before.y), after.turn);
                let closes = [
                    carried.x + after.x - whole.x,
                    carried.y + after.y - whole.y,
                    before.turn + after.turn - whole.turn,
                ];
                for ((missing, closes), unit) in missing.iter_mut().zip(closes).zip([1.0, 1.0, lever]) {
                    missing.push((closes * unit).abs());
                }
            }
        }
    }
    // 1.4826: from the median of a normal distribution's absolute values to its standard deviation; of three links.
    (missing[0].len() >= ENOUGH).then(|| missing.map(|mut axis| 1.4826 * steps::median(&mut axis) / 3.0_f64.sqrt()))
}

/// By axis, the runs of places in which the camera shakes.
pub(super) fn runs(places: &[Place], noise: Place) -> [Vec<Range<usize>>; 3] {
    std::array::from_fn(|axis| {
        let shakes = |at: usize| {
            let near = at.saturating_sub(AROUND)..(at + AROUND + 1).min(places.len());
            steps::noise(&places[near])[axis] > LEAST.max(SURE * noise[axis])
        };
        let mut runs: Vec<Range<usize>> = Vec::new();
        for at in (0..places.len()).filter(|at| shakes(*at)) {
            match runs.last_mut().filter(|run| run.end == at) {
                Some(run) => run.end = at + 1,
                None => runs.push(at..at + 1),
            }
        }
        runs.retain(|run| run.len() >= FEWEST);
        runs
    })
}
