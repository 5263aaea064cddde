//! Where a pace runs at a given rate: on a stretch of its own, and on the ends of ramps that come down to it.

use super::law::Law;
use super::{PaceMap, TOGETHER};

/// How many places of a ramp are looked at: what is near the rate for less than so small a part of a ramp may be
/// missed.
const LOOKS: u32 = 512;

impl PaceMap {
    /// The stretches of the clip, from second to second, in which the pace runs forwards at `rate` stills a second to
    /// within `tolerance` of it (0.001: a thousandth); in order, each as long as it can be, and without a rest inside.
    /// Of a pace through a time map the rate is in even time. What lies before 0 is a lead.
    #[must_use]
    pub fn stretches_near(&self, rate: f64, tolerance: f64) -> Vec<(f64, f64)> {
        let (low, high) = (rate * (1.0 - tolerance), rate * (1.0 + tolerance));
        let mut near: Vec<(f64, f64)> = Vec::new();
        for (index, piece) in self.pieces.iter().enumerate().filter(|(_, piece)| !piece.backwards) {
            let end = self.pieces.get(index + 1).map_or(self.moving, |after| after.time.min(self.moving));
            for (from, to) in within(&piece.law, low, high, end - piece.time) {
                match near.last_mut() {
                    Some(last) if piece.time + from - last.1 <= TOGETHER => last.1 = piece.time + to,
                    _ => near.push((piece.time + from, piece.time + to)),
                }
            }
        }
        let mut stretches = Vec::new();
        for (from, to) in near {
            let inside = |rest: &&super::Resting| rest.at > from + TOGETHER && rest.at < to - TOGETHER;
            let mut begin = from;
            for end in self.rests.iter().filter(inside).map(|rest| rest.at).chain([to]) {
                stretches.push((self.screen_time(begin, true), self.screen_time(end, false)));
                begin = end;
            }
        }
        stretches.retain(|(from, to)| to > from);
        stretches
    }
}

/// From when to when, in seconds after its beginning, a law of `width` seconds keeps its rate between two.
fn within(law: &Law, low: f64, high: f64, width: f64) -> Vec<(f64, f64)> {
    let inside = |seconds: f64| (low..=high).contains(&law.rate(seconds));
    if width <= 0.0 {
        return Vec::new();
    }
    if let Law::Constant(_) = law {
        return if inside(0.0) { vec![(0.0, width)] } else { Vec::new() };
    }
    let place = |look: u32| width * f64::from(look) / f64::from(LOOKS);
    let mut runs = Vec::new();
    let mut begun = inside(0.0).then_some(0.0);
    for look in 0..LOOKS {
        let (from, to) = (place(look), place(look + 1));
        match (begun, inside(to)) {
            (None, true) => begun = Some(border(&inside, from, to)),
            (Some(begin), false) => {
                runs.push((begin, border(&inside, from, to)));
                begun = None;
            }
            _ => {}
        }
    }
    runs.extend(begun.map(|begin| (begin, width)));
    runs
}

/// The moment between two at which a law passes from inside to outside or back, on the side that is inside.
fn border(inside: &impl Fn(f64) -> bool, from: f64, to: f64) -> f64 {
    let (mut low, mut high, first) = (from, to, inside(from));
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if inside(middle) == first { low = middle } else { high = middle }
    }
    if first { low } else { high }
}

#[cfg(test)]
mod tests {
    use super::super::{Key, Rest, Timeline};
    use super::*;
    use crate::curve::ease::Ease;

    fn key(at: f64, rate: f64, ease: &str) -> Key {
        let ease = if ease == "linear" { Ease::Linear } else { Ease::keyword(ease).unwrap() };
        Key { at, rate, ease, keep: false, backwards: false }
    }

    fn close(seen: &[(f64, f64)], due: &[(f64, f64)]) {
        let near =
            |(one, other): (&(f64, f64), &(f64, f64))| (one.0 - other.0).abs() < 1e-9 && (one.1 - other.1).abs() < 1e-9;
        assert!(seen.len() == due.len() && seen.iter().zip(due).all(near), "{seen:?} where {due:?} is due");
    }

    #[test]
    fn a_constant_pace_is_near_its_rate_throughout_and_no_other() {
        let map = PaceMap::constant(300.0, 30.0, 1.0);
        close(&map.stretches_near(30.0, 0.001), &[(0.0, 10.0)]);
        close(&map.stretches_near(30.02, 0.001), &[(0.0, 10.0)]);
        close(&map.stretches_near(30.04, 0.001), &[]);
    }

    #[test]
    fn the_end_of_a_ramp_counts_as_far_as_it_is_near() {
        // From 40 a second down to 30 over 2 s, then 30: on the ramp the rate is 40 - 5 t, within a thousandth of 30
        // from
        // 1.994 s on.
        let keys =
            [key(0.0, 40.0, "linear"), key(2.0, 30.0, "linear"), key(4.0, 30.0, "linear"), key(5.0, 60.0, "linear")];
        let map = PaceMap::keyed(Timeline::Screen, &keys, &[], 1000.0, None).unwrap();
        close(&map.stretches_near(30.0, 0.001), &[(1.994, 4.001)]);
        // Passed in the middle of a ramp: 35 a second at 1 s, for 2 * 0.035 / 5 s.
        close(&map.stretches_near(35.0, 0.001), &[(0.993, 1.007), (4.0 + 4.965 / 30.0, 4.0 + 5.035 / 30.0)]);
    }

    #[test]
    fn an_eased_ramp_is_near_where_its_rate_is() {
        let keys = [key(0.0, 40.0, "linear"), key(2.0, 30.0, "ease-in-out"), key(4.0, 30.0, "linear")];
        let map = PaceMap::keyed(Timeline::Screen, &keys, &[], 1000.0, None).unwrap();
        let stretches = map.stretches_near(30.0, 0.001);
        assert_eq!(stretches.len(), 1);
        let (from, to) = stretches[0];
        assert!((map.rate(from) - 30.03).abs() < 1e-6 && map.rate(from - 1e-6) > 30.03, "{from}");
        assert!((to - map.length()).abs() < 1e-9, "the last rate holds to the end");
    }

    #[test]
    fn a_rest_parts_a_stretch_and_what_runs_backwards_is_none() {
        let rest = Rest { after: 1, at: 3.0, seconds: 2.0 };
        let map = PaceMap::keyed(Timeline::Screen, &[key(0.0, 30.0, "linear")], &[rest], 300.0, None).unwrap();
        close(&map.stretches_near(30.0, 0.001), &[(0.0, 3.0), (5.0, 12.0)]);
        let back = Key { backwards: true, ..key(60.0, 30.0, "linear") };
        let keys = [key(0.0, 30.0, "linear"), key(120.0, 30.0, "linear"), back, key(300.0, 30.0, "linear")];
        let map = PaceMap::keyed(Timeline::Shoot, &keys, &[], 300.0, None).unwrap();
        close(&map.stretches_near(30.0, 0.001), &[(0.0, 4.0), (6.0, 14.0)]);
        close(&map.led_in(1.0).stretches_near(30.0, 0.001), &[(-1.0, 3.0), (5.0, 13.0)]);
    }
}
