//! What most tiles agree with.
//!
//! A camera that moves a little shifts, turns and, with another focal length or focus, enlarges its picture: three
//! motions that are one linear map of a tile's place, `shift = s + m · place` in complex numbers. Any two tiles tell
//! such a map; the one that most others agree with (Fischler and Bolles, 1981, their cost cut off as in Torr and
//! Zisserman's of 2000) is fitted to those by weighted least squares (Tukey's biweight). Tiles that see things move lie
//! anywhere and are outvoted even where they are more. Where things move together, as a foreground does, they agree
//! too: then there are two motions, and it is not for this file to say which is the camera's.

#![expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "tiles")]

use rustfft::num_complex::Complex64;

/// A tile agrees with a map that is at most this far off, in samples.
const AGREES: f64 = 0.35;
/// Two motions are told apart from this on, in samples.
const APART: f64 = 0.7;
/// However well the tiles agree, one this close counts.
const CLOSEST: f64 = 0.12;
/// Quorum: the number of tiles, their share of those that say anything, and their share of all.
const FEWEST: usize = 5;
const LEAST_SHARE: f64 = 0.3;
const LEAST_OF_ALL: f64 = 0.15;
/// Maximum turn or enlargement of a map.
const FARTHEST: f64 = 0.06;
/// Pairs of tiles that are tried.
const PAIRS: usize = 400;
/// Minimum spread of the tiles that tell turning and enlarging, as a share of all tiles' spread.
const SPREAD: f64 = 0.35;

/// What a tile says.
#[derive(Debug, Clone, Copy)]
pub(super) struct Voice {
    /// Where it lies from the still's centre, in samples.
    pub(super) place: Complex64,
    /// How far its content went.
    pub(super) shift: Complex64,
    /// How much it counts.
    pub(super) weight: f64,
}

/// What the tiles agree on: what lay at `place` went by `shift + map · place`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Agreed {
    /// How far the centre went, in samples.
    pub(super) shift: Complex64,
    /// The real part enlarges, the imaginary one turns clockwise.
    pub(super) map: Complex64,
    /// Standard error of the shift, in samples.
    pub(super) error: f64,
}

impl Agreed {
    pub(super) fn at(&self, place: Complex64) -> Complex64 {
        self.shift + self.map * place
    }

    /// Whether a tile agrees with it to `limit` samples.
    pub(super) fn is_near(&self, voice: &Voice, limit: f64) -> bool {
        (voice.shift - self.at(voice.place)).norm() < limit
    }
}

/// The motions that enough tiles agree with, two at most and the commonest first. `all` is how many tiles there are,
/// `reach` how far they lie from the centre at most.
pub(super) fn motions(voices: &[Voice], all: usize, reach: f64) -> Vec<Agreed> {
    let share = LEAST_SHARE * voices.len() as f64;
    let fewest = FEWEST.max((LEAST_OF_ALL * all as f64).ceil() as usize).max(share.ceil() as usize);
    let Some(first) = commonest(voices, fewest, reach) else { return Vec::new() };
    let others: Vec<Voice> = voices.iter().filter(|voice| !first.is_near(voice, APART)).copied().collect();
    // A second one has to differ where its own tiles are.
    let second = commonest(&others, fewest, reach).filter(|second| {
        let with = others.iter().filter(|voice| second.is_near(voice, AGREES));
        with.filter(|voice| (first.at(voice.place) - second.at(voice.place)).norm() > APART).count() >= fewest
    });
    std::iter::once(first).chain(second).collect()
}

/// The map that most agree with; none where fewer than `fewest` do.
fn commonest(voices: &[Voice], fewest: usize, reach: f64) -> Option<Agreed> {
    let count = voices.len();
    if count < fewest {
        return None;
    }
    let cost = |shift: Complex64, map: Complex64| -> f64 {
        let one = |voice: &Voice| {
            let apart = (voice.shift - shift - map * voice.place).norm_sqr() / (AGREES * AGREES);
            voice.weight * apart.min(1.0)
        };
        voices.iter().map(one).sum()
    };
    let still = voices.iter().map(|voice| (voice.shift, Complex64::ZERO));
    // Pairs spread evenly over all there are, the same for the same tiles.
    let all = count * (count - 1) / 2;
    let pairs = (0..PAIRS.min(all)).filter_map(|at| {
        let pair = at * all / PAIRS.min(all);
        let (first, second) = (pair % count, (pair % count + 1 + pair / count) % count);
        let (one, other) = (&voices[first], &voices[second]);
        let apart = other.place - one.place;
        (apart.norm() > SPREAD * reach).then_some(())?;
        let map = (other.shift - one.shift) / apart;
        (map.norm() < FARTHEST).then(|| (one.shift - map * one.place, map))
    });
    // Of equals the first wins: a map without a turn.
    let (shift, map, _) = still
        .chain(pairs)
        .map(|(shift, map)| (shift, map, cost(shift, map)))
        .min_by(|one, other| one.2.total_cmp(&other.2))?;
    refined(voices, Agreed { shift, map, error: 0.0 }, fewest, reach)
}

/// Least squares over those that agree, again and again.
fn refined(voices: &[Voice], mut agreed: Agreed, fewest: usize, reach: f64) -> Option<Agreed> {
    let mut limit = AGREES;
    for round in 0..6 {
        let inside: Vec<(&Voice, f64)> = voices
            .iter()
            .filter_map(|voice| {
                let apart = (voice.shift - agreed.at(voice.place)).norm() / limit;
                (apart < 1.0).then(|| (voice, voice.weight * (1.0 - apart * apart).powi(2)))
            })
            .collect();
        let total: f64 = inside.iter().map(|(_, weight)| weight).sum();
        // Whether enough agree is asked once: to be looked at more closely is no reason to fall silent.
        if inside.len() < fewest {
            return (round > 0).then_some(agreed);
        }
        let mean = |of: &dyn Fn(&Voice) -> Complex64| {
            inside.iter().map(|(voice, weight)| of(voice) * weight).sum::<Complex64>() / total
        };
        let (place, shift) = (mean(&|voice| voice.place), mean(&|voice| voice.shift));
        let (mut spread, mut product) = (0.0, Complex64::ZERO);
        for (voice, weight) in &inside {
            let from = voice.place - place;
            spread += weight * from.norm_sqr();
            product += from.conj() * (voice.shift - shift) * weight;
        }
        // Tiles in one corner tell nothing of a turn.
        let wide = (spread / total).sqrt() > SPREAD * 0.7 * reach;
        let map = if wide { product / spread } else { Complex64::ZERO };
        agreed = Agreed { shift: shift - map * place, map, error: 0.0 };
        let mut apart: Vec<f64> =
            inside.iter().map(|(voice, _)| (voice.shift - agreed.at(voice.place)).norm()).collect();
        let middle = apart.len() / 2;
        let middle = *apart.select_nth_unstable_by(middle, f64::total_cmp).1;
        // A Rayleigh distribution's median is 1.18 of the standard deviation along an axis.
        agreed.error = middle / 1.18 / (inside.len() as f64).sqrt();
        limit = (4.685 * middle / 1.18).clamp(CLOSEST, AGREES);
    }
    Some(agreed)
}
