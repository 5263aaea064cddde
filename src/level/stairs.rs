//! Steps of exposure joined: a slope in the place of the stairs, and the white that both sides of a step share.

/// A first or last tread is part of the flight, so that the slope runs on over it, up to this many times its
/// neighbour's length.
const OF_THE_FLIGHT: f64 = 1.5;
/// Where the slope crosses a step by itself, from the darker side (0) to the brighter (1): the darker side's highlights
/// have farther to go.
const CROSSING: f64 = 0.8;
/// How white fades on the darker side of a step by itself: `1 − (1 − u)^p`, slower towards the step, where highlights
/// that roll off change fastest. With these two no value below white changes by more than a hundredth of white a still
/// when exposure doubles amid sixty stills.
const EASING: f64 = 1.3;

/// The stairs that a run of stills climbs by steps of exposure.
///
/// Each tread lies as high as the steps before it add up to. What takes their place goes through every tread's middle
/// in straight lines, but follows a tread that is longer than its neighbours for as long as it can. A regular flight of
/// two steps or more becomes one even slope from end to end, where all its steps lead one way; a step by itself is made
/// up for over the shorter side's length, on each side. No still is changed by more than the step next to it.
///
/// The brighter side of a step clips what the darker one still shows. At the step both show white from there on. Away
/// from it, on the darker side, white rises to the stills' own over the length of the shorter tread; on the brightest
/// tread of an even slope it falls on, so that the look does not change there.
#[derive(Debug)]
pub(super) struct Stairs {
    /// By tread: where it begins, and its height.
    treads: Vec<[f64; 2]>,
    /// The slope's corners: places and heights, in order.
    corners: Vec<[f64; 2]>,
    /// By step between two treads: over how many stills the darker side fades to the white of the brighter one.
    fades: Vec<f64>,
    /// How white fades there.
    easing: f64,
    /// Whether the slope runs on over the first and the last tread.
    runs_on: [bool; 2],
}

impl Stairs {
    /// Of stills at `at`, with the first still after every step, in order, and how far the level rises there.
    pub(super) fn new(at: &[f64], steps: impl Iterator<Item = (usize, f64)>) -> Self {
        let (mut begins, mut heights) = (vec![at[0] - 0.5], vec![0.0]);
        for (first, step) in steps {
            begins.push(f64::midpoint(at[first - 1], at[first]));
            heights.push(heights[heights.len() - 1] + step);
        }
        let last = begins.len() - 1;
        let end = |tread: usize| begins.get(tread + 1).copied().unwrap_or(at[at.len() - 1] + 0.5);
        let length = |tread: usize| end(tread) - begins[tread];
        let fades: Vec<f64> = (1..=last).map(|tread| length(tread).min(length(tread - 1))).collect();
        let mut corners: Vec<[f64; 2]> = Vec::new();
        for tread in 0..=last {
            if tread > 0 {
                corners.push([begins[tread] + 0.5 * fades[tread - 1], heights[tread]]);
            }
            if tread < last {
                corners.push([end(tread) - 0.5 * fades[tread], heights[tread]]);
            }
        }
        if let ([fade], [from, to]) = (fades.as_slice(), heights.as_slice()) {
            let crossing = if to > from { CROSSING } else { 1.0 - CROSSING };
            corners =
                vec![[begins[1] - fade, *from], [begins[1], from + crossing * (to - from)], [begins[1] + fade, *to]];
        }
        let rise = |tread: usize| heights[tread + 1] - heights[tread];
        let goes_on = |tread: usize, other: usize| length(tread) <= OF_THE_FLIGHT * length(other);
        let runs_on = [
            last >= 2 && goes_on(0, 1) && rise(0) * rise(1) > 0.0,
            last >= 2 && goes_on(last, last - 1) && rise(last - 1) * rise(last - 2) > 0.0,
        ];
        if runs_on[0] {
            let ([x0, y0], [x1, y1]) = (corners[0], corners[1]);
            corners.insert(0, [2.0 * x0 - x1, 2.0 * y0 - y1]);
        }
        if runs_on[1] {
            let ([x0, y0], [x1, y1]) = (corners[corners.len() - 2], corners[corners.len() - 1]);
            corners.push([2.0 * x1 - x0, 2.0 * y1 - y0]);
        }
        let easing = if last == 1 { EASING } else { 1.0 };
        let treads = begins.into_iter().zip(heights).map(|(begins, height)| [begins, height]).collect();
        Self { treads, corners, fades, easing, runs_on }
    }

    /// The light of the still that becomes white, as a logarithm: 0 where that is its own white, else less.
    pub(super) fn white(&self, at: f64) -> f64 {
        let tread = self.tread(at);
        let [begins, height] = self.treads[tread];
        let faded = |step: usize, beyond: f64| {
            let near = (1.0 - (at - self.treads[step + 1][0]).abs() / self.fades[step]).max(0.0);
            (beyond - height) * (1.0 - (1.0 - near).powf(self.easing))
        };
        let mut above = 0.0_f64;
        // The step that begins the tread, and the one that ends it.
        if let Some(before) = tread.checked_sub(1) {
            above = above.max(faded(before, self.treads[before][1]));
        }
        if let Some([_, after]) = self.treads.get(tread + 1) {
            above = above.max(faded(tread, *after));
        }
        // The brightest tread at an end of a slope that runs on.
        let [first, last] = [0, self.fades.len()];
        if tread == last && self.runs_on[1] {
            above = above.max((height - self.treads[last - 1][1]) * (at - begins) / self.fades[last - 1]);
        }
        if tread == first && self.runs_on[0] {
            let [end, next] = self.treads[1];
            above = above.max((height - next) * (end - at) / self.fades[0]);
        }
        -above
    }

    fn tread(&self, at: f64) -> usize {
        self.treads.partition_point(|[begins, _]| *begins <= at).saturating_sub(1)
    }

    /// What leads from the stairs to the slope, at a place.
    pub(super) fn joining(&self, at: f64) -> f64 {
        let stair = self.treads[self.tread(at)][1];
        let after = self.corners.partition_point(|[place, _]| *place <= at);
        let slope = match (after.checked_sub(1).and_then(|before| self.corners.get(before)), self.corners.get(after)) {
            (Some([x0, y0]), Some([x1, y1])) => y0 + (y1 - y0) * (at - x0) / (x1 - x0),
            (Some([_, level]), None) | (None, Some([_, level])) => *level,
            (None, None) => stair,
        };
        slope - stair
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn joined(stills: u32, steps: &[(usize, f64)]) -> Vec<f64> {
        let at: Vec<f64> = (0..stills).map(f64::from).collect();
        let stairs = Stairs::new(&at, steps.iter().copied());
        let stair = |still: usize| steps.iter().filter(|(first, _)| *first <= still).map(|(_, step)| step).sum::<f64>();
        at.iter().enumerate().map(|(still, at)| stair(still) + stairs.joining(*at)).collect()
    }

    #[test]
    fn a_regular_flight_of_steps_becomes_one_even_slope_from_end_to_end() {
        let levels = joined(50, &[(10, 0.25), (20, 0.25), (30, 0.25), (40, 0.25)]);
        for (still, level) in levels.iter().enumerate() {
            let even = 0.25 * (still as f64 - 4.5) / 10.0;
            assert!((level - even).abs() < 1e-12, "still {still}: {level}");
        }
    }

    #[test]
    fn a_long_day_before_the_steps_of_dusk_stays_as_it_is() {
        let levels = joined(240, &[(200, 0.3), (210, 0.3), (220, 0.3), (230, 0.3)]);
        assert!(levels[..195].iter().all(|level| *level == 0.0));
        let steps: Vec<f64> = levels.windows(2).map(|two| two[1] - two[0]).collect();
        assert!(steps[196..].iter().all(|step| (step - 0.03).abs() < 1e-12), "{:?}", &steps[190..]);
    }

    #[test]
    fn the_white_that_two_treads_share_is_that_of_the_brighter_and_fades_on_the_darker() {
        let at: Vec<f64> = (0..60).map(f64::from).collect();
        let stairs = Stairs::new(&at, [(20, 0.6), (30, 0.6), (50, -0.4)].into_iter());
        let stair = |at: f64| [0.0, 0.6, 1.2, 0.8][[19.5, 29.5, 49.5].iter().filter(|step| **step <= at).count()];
        let white = |at: f64| stair(at) - stairs.white(at);
        for (step, shared) in [(19.5, 0.6), (29.5, 1.2), (49.5, 1.2)] {
            assert!((white(step - 1e-9) - shared).abs() < 1e-8 && (white(step + 1e-9) - shared).abs() < 1e-8);
        }
        // Own white: far from any step, and all over a tread that is brighter than both beside it, whose slope ends there.
        assert!([0.0, 5.0, 9.5, 30.0, 40.0, 49.0, 59.5].iter().all(|at| stairs.white(*at).abs() < 1e-12));
        let whites: Vec<f64> = (0..600).map(|tenth| white(f64::from(tenth) / 10.0)).collect();
        let most = whites.windows(2).map(|two| (two[1] - two[0]).abs()).fold(0.0, f64::max);
        assert!(most < 0.06 / 10.0 + 1e-9, "{most}");
    }

    #[test]
    fn no_still_is_changed_by_more_than_a_step() {
        let steps = [(20, 0.7), (23, 0.7), (40, -0.2)];
        let at: Vec<f64> = (0..60).map(f64::from).collect();
        let stairs = Stairs::new(&at, steps.into_iter());
        assert!(at.iter().all(|at| stairs.joining(*at).abs() < 0.7));
        assert_eq!((stairs.joining(0.0), stairs.joining(59.0)), (0.0, 0.0));
    }
}
