//! A keyed track: values pinned to moments of screen time, with an ease on each way between two of them.

use super::ease::Ease;

/// How close to a key's moment counts as at it, in seconds: a frame due at a key shows its value and not the last of
/// the way.
pub const SLACK: f64 = 1e-9;

/// A value pinned to a moment, with the way to it from the key before.
#[derive(Debug, Clone, PartialEq)]
pub struct Key<V> {
    /// Screen time in seconds.
    pub at: f64,
    /// The value there.
    pub value: V,
    /// The way to it.
    pub ease: Ease,
}

/// Keys in order of time, no two at one moment, at least one.
#[derive(Debug, Clone, PartialEq)]
pub struct Track<V>(Vec<Key<V>>);

/// Where a moment lies on a track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spot {
    /// At a key, or outside the keys, where the nearest key's value holds.
    Key(usize),
    /// On the way from the key before `to`, at this eased progress.
    Way {
        /// The key it leads to.
        to: usize,
        /// Eased progress; 0 at the key before, 1 at `to`, and beyond either where the ease overshoots.
        progress: f64,
    },
}

impl<V: Copy> Track<V> {
    /// A track, or nothing where there is no key or the moments do not grow by more than [`SLACK`].
    #[must_use]
    pub fn new(keys: Vec<Key<V>>) -> Option<Self> {
        let grows = keys.windows(2).all(|pair| pair[0].at + SLACK < pair[1].at);
        (grows && !keys.is_empty()).then_some(Self(keys))
    }

    /// The keys in order.
    #[must_use]
    pub fn keys(&self) -> &[Key<V>] {
        &self.0
    }

    /// Where `time` lies. At a key the way that leaves it has begun, as a step ease that jumps at its start shows.
    #[must_use]
    pub fn spot(&self, time: f64) -> Spot {
        let to = self.0.partition_point(|key| key.at <= time + SLACK);
        if to == 0 {
            return Spot::Key(0);
        }
        let Some(key) = self.0.get(to) else { return Spot::Key(to - 1) };
        let from = &self.0[to - 1];
        Spot::Way { to, progress: key.ease.at(((time - from.at) / (key.at - from.at)).max(0.0)) }
    }

    /// The value at `time`, `between` giving what lies between two values at a progress.
    pub fn at(&self, time: f64, between: impl Fn(V, V, f64) -> V) -> V {
        match self.spot(time) {
            Spot::Key(index) => self.0[index].value,
            Spot::Way { to, progress } => between(self.0[to - 1].value, self.0[to].value, progress),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn track(keys: &[(f64, f64)]) -> Option<Track<f64>> {
        Track::new(keys.iter().map(|(at, value)| Key { at: *at, value: *value, ease: Ease::Linear }).collect())
    }

    #[test]
    fn outside_its_keys_a_tracks_values_hold() {
        let track = track(&[(1.0, 10.0), (3.0, 20.0)]).unwrap();
        let mix = |a: f64, b: f64, e: f64| a + (b - a) * e;
        for (time, value) in [(0.0, 10.0), (1.0, 10.0), (1.5, 12.5), (3.0, 20.0), (9.0, 20.0)] {
            assert_eq!(track.at(time, mix), value);
        }
    }

    #[test]
    fn a_frame_a_rounding_error_before_a_key_shows_the_key() {
        let step = Ease::Steps { count: 1, jump: super::super::ease::Jump::End };
        let keys = [(0.0, 1.0), (0.5, 2.0), (0.8, 3.0)];
        let track = Track::new(keys.map(|(at, value)| Key { at, value, ease: step.clone() }).to_vec()).unwrap();
        let mix = |a: f64, b: f64, e: f64| a + (b - a) * e;
        assert_eq!(
            [0.0, 0.499, 0.5 - 1e-12, 0.5, 0.799, 0.8 - 1e-12].map(|time| track.at(time, mix)),
            [1.0, 1.0, 2.0, 2.0, 2.0, 3.0]
        );
    }

    #[test]
    fn a_track_without_keys_or_with_two_at_one_moment_is_none() {
        assert!(track(&[]).is_none());
        assert!(track(&[(1.0, 0.0), (1.0, 1.0)]).is_none());
    }
}
