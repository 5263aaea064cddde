//! Steps of exposure joined: a slope in the place of the stairs.

/// A first or last tread is part of the flight, so that the slope runs on over it, up to this many times its
/// neighbour's length.
const OF_THE_FLIGHT: f64 = 1.5;

/// The stairs that a run of stills climbs by steps of exposure.
///
/// Each tread lies as high as the steps before it add up to. What takes their place goes through every tread's middle
/// in straight lines, but follows a tread that is longer than its neighbours for as long as it can. A regular flight of
/// two steps or more becomes one even slope from end to end, where all its steps lead one way; a step by itself is made
/// up for over the half of the shorter side, on each side. No still is changed by more than the step next to it.
#[derive(Debug)]
pub(super) struct Stairs {
    /// By tread: where it begins, and its height.
    treads: Vec<[f64; 2]>,
    /// The slope's corners: places and heights, in order.
    corners: Vec<[f64; 2]>,
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
        let mut corners: Vec<[f64; 2]> = Vec::new();
        for tread in 0..=last {
            let half = |other: usize| 0.5 * length(tread).min(length(other));
            if tread > 0 {
                corners.push([begins[tread] + half(tread - 1), heights[tread]]);
            }
            if tread < last {
                corners.push([end(tread) - half(tread + 1), heights[tread]]);
            }
        }
        let rise = |tread: usize| heights[tread + 1] - heights[tread];
        let runs_on = |tread: usize, other: usize| length(tread) <= OF_THE_FLIGHT * length(other);
        if last >= 2 && runs_on(0, 1) && rise(0) * rise(1) > 0.0 {
            let ([x0, y0], [x1, y1]) = (corners[0], corners[1]);
            corners.insert(0, [2.0 * x0 - x1, 2.0 * y0 - y1]);
        }
        if last >= 2 && runs_on(last, last - 1) && rise(last - 1) * rise(last - 2) > 0.0 {
            let ([x0, y0], [x1, y1]) = (corners[corners.len() - 2], corners[corners.len() - 1]);
            corners.push([2.0 * x1 - x0, 2.0 * y1 - y0]);
        }
        Self { treads: begins.into_iter().zip(heights).map(|(begins, height)| [begins, height]).collect(), corners }
    }

    /// What leads from the stairs to the slope, at a place.
    pub(super) fn joining(&self, at: f64) -> f64 {
        let tread = self.treads.partition_point(|[begins, _]| *begins <= at).saturating_sub(1);
        let stair = self.treads[tread][1];
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
    fn no_still_is_changed_by_more_than_a_step() {
        let steps = [(20, 0.7), (23, 0.7), (40, -0.2)];
        let at: Vec<f64> = (0..60).map(f64::from).collect();
        let stairs = Stairs::new(&at, steps.into_iter());
        assert!(at.iter().all(|at| stairs.joining(*at).abs() < 0.7));
        assert_eq!((stairs.joining(0.0), stairs.joining(59.0)), (0.0, 0.0));
    }
}
