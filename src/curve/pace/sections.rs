//! From keys to sections: stretches of the keys' axis over which the rate follows one formula.

use super::super::bezier::Bezier;
use super::super::ease::Part;
use super::law::{Curved, Law, Way};
use super::{Fault, Key, SLOWEST, TOGETHER, Timeline};

/// A piece before it has a place: how wide it is on the keys' axis and how the rate goes.
pub(super) struct Section {
    pub(super) width: f64,
    from: f64,
    to: f64,
    curve: Option<Bezier>,
    pub(super) keep: bool,
    /// Whether the shoot runs backwards over it.
    pub(super) backwards: bool,
    /// How many keys lie at its beginning or before.
    pub(super) way: usize,
}

impl Section {
    fn held(width: f64, key: &Key, way: usize) -> Self {
        Self { width, from: key.rate, to: key.rate, curve: None, keep: false, backwards: key.backwards, way }
    }

    pub(super) fn law(&self, axis: Timeline, scale: f64) -> Law {
        let scale = if self.keep { 1.0 } else { scale };
        let (from, change) = (self.from * scale, (self.to - self.from) * scale);
        // Below this change the straight formula is the more exact one.
        if change.abs() <= from * 1e-14 {
            return Law::Constant(from);
        }
        match self.curve {
            Some(curve) => {
                Law::Curved(Box::new(Curved::new(Way { axis, curve, width: self.width, rate: from, change })))
            }
            None => Law::Even { axis, rate: from, slope: change / self.width },
        }
    }
}

/// The sections between keys, with the held rates before the first and after the last (endless on screen). A key's rate
/// holds in the direction of the way to it; before the first key the way begins at the end of the shoot that it leaves.
///
/// # Errors
/// [`Fault::Stops`].
pub(super) fn sections(axis: Timeline, keys: &[Key], stills: f64) -> Result<Vec<Section>, Fault> {
    let mut sections = Vec::with_capacity(keys.len() + 1);
    let (first, last) = (&keys[0], &keys[keys.len() - 1]);
    let before_first = if axis == Timeline::Shoot && first.backwards { stills - first.at } else { first.at };
    if before_first > 0.0 {
        sections.push(Section::held(before_first, first, 0));
    }
    for (index, pair) in keys.windows(2).enumerate() {
        let (before, key) = (&pair[0], &pair[1]);
        let (span, change) = ((key.at - before.at).abs(), key.rate - before.rate);
        // On screen, a key at the very end of a rest and the one that began it: the rate jumps.
        if span <= TOGETHER {
            continue;
        }
        let mut lowest = before.rate.min(key.rate);
        for part in key.ease.parts() {
            let level = |y: f64| before.rate + change * y;
            let (width, from, to, curve, low) = match part {
                Part::Straight { x0, y0, x1, y1 } => {
                    (span * (x1 - x0), level(y0), level(y1), None, level(y0).min(level(y1)))
                }
                Part::Curve(curve) => {
                    let (least, most) = curve.extremes();
                    (span, before.rate, key.rate, Some(curve), level(least).min(level(most)))
                }
            };
            lowest = lowest.min(low);
            sections.push(Section { width, from, to, curve, keep: key.keep, backwards: key.backwards, way: index + 1 });
        }
        if lowest.is_nan() || lowest <= SLOWEST {
            return Err(Fault::Stops { key: index + 1, lowest });
        }
    }
    let after_last = match axis {
        Timeline::Screen => f64::INFINITY,
        Timeline::Shoot if last.backwards => last.at,
        Timeline::Shoot => stills - last.at,
    };
    if after_last > 0.0 {
        sections.push(Section::held(after_last, last, keys.len()));
    }
    Ok(sections)
}
