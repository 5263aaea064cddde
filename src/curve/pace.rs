//! Pace: how fast the shoot position advances, its integral, and the inverse of that.
//!
//! Keyed on screen time, the position is the integral of the rate; keyed on the shoot's axis, the time is the integral
//! of `1 / rate`. Rates between two keys follow the ease in the parameter of the keys' axis; outside the keys they
//! hold. The way to a key may run backwards, and the shoot may rest at a moment; the position is continuous all the
//! same. Straight ways have closed forms; along a Bézier both integrals run over the curve's own parameter, where they
//! are smooth even at a vertical tangent, by Gauss–Legendre quadrature to about 1e-14.
//!
//! ## Decisions
//!
//! - Freezes are a layer over the pace. The pace is built in *moving time* and rests (a script's `freeze`) are inserted
//!   into that, so a freeze on a ramp leaves the ramp's shape alone. While it rests, the still that begins at the
//!   position is shown.
//! - Rates stay above zero; `reverse = true` says that the way *to* a key runs backwards. Beyond the last key the
//!   direction holds, like the rate.
//! - Backwards, still `k` fills `(k, k + 1]`, so that every still keeps its share at a turn.
//!
//! ## Surprises
//!
//! - Adaptive quadrature with a tolerance below rounding noise doubles the panels at every level.

mod build;
mod law;
mod near;
mod sections;

use crate::units::{FrameRate, ShootPosition};

use super::ease::Ease;
use super::time_map::TimeMap;
use law::Law;

/// The slowest rate taken, in stills a second: below it a clip of two stills lasts longer than a year.
pub const SLOWEST: f64 = 1e-8;

/// Moments nearer than this, in seconds, are one moment; ends of the shoot nearer than this, in stills, are reached.
const TOGETHER: f64 = 1e-9;

/// Which axis a pace is keyed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Timeline {
    /// Seconds of the clip.
    Screen,
    /// Stills.
    Shoot,
}

/// A rate pinned to a moment of an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Key {
    /// Seconds or stills, as the axis has it.
    pub at: f64,
    /// Stills a second, above 0.
    pub rate: f64,
    /// The way to this rate from the key before.
    pub ease: Ease,
    /// Whether a fit leaves the way to this key alone.
    pub keep: bool,
    /// Whether the way to this key runs backwards.
    pub backwards: bool,
}

/// A moment at which the shoot rests.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rest {
    /// How many keys are passed before it begins, one at its very moment among them.
    pub after: usize,
    /// Seconds of the clip, or on the shoot's axis a position on the way from key `after - 1` to key `after`.
    pub at: f64,
    /// How long, above 0.
    pub seconds: f64,
}

/// Why keys give no pace.
#[derive(Debug, Clone, PartialEq)]
pub enum Fault {
    /// The rate is not above [`SLOWEST`] somewhere on the way to a key: an ease overshoots.
    Stops {
        /// Which key.
        key: usize,
        /// The lowest rate on the way to it, in stills a second.
        lowest: f64,
    },
    /// The kept sections and the rests already take as long as the whole is to last, or longer.
    KeptTooLong {
        /// Seconds they take.
        kept: f64,
    },
    /// Everything is kept, and does not last as long as asked.
    NothingToFit {
        /// Seconds it lasts.
        kept: f64,
    },
}

/// A stretch of the clip at one rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ConstantRate {
    /// Where it begins, in seconds.
    pub from: f64,
    /// Where it ends, in seconds.
    pub to: f64,
    /// Stills a second.
    pub rate: f64,
}

/// Where the shoot stands at a moment of the clip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PacePoint {
    /// Stills along the axis.
    pub position: f64,
    /// Whether it runs backwards there.
    pub backwards: bool,
}

impl PacePoint {
    /// The whole still shown, counted from 0 along the axis: the one being passed, whichever way.
    #[must_use]
    pub fn whole(self) -> usize {
        let position = ShootPosition(self.position);
        if self.backwards { position.whole_backwards() } else { position.whole() }
    }
}

/// A pace over a shoot of a known number of stills: screen time to shoot position and back.
///
/// It begins at the shoot's beginning, or at its end where its first way runs backwards, and lasts until the shoot runs
/// out of stills in the direction it goes. Inside, *moving time* is screen time with the rests taken out.
#[derive(Debug, Clone, PartialEq)]
pub struct PaceMap {
    stills: f64,
    length: f64,
    /// How much of it is over when the clip begins, in seconds.
    lead: f64,
    /// The length in moving time.
    moving: f64,
    pieces: Vec<Piece>,
    /// For every piece that comes further from where the pace begins than all before it: how far, in stills, and its
    /// index.
    reach: Vec<(f64, usize)>,
    rests: Vec<Resting>,
    /// The exact rate as a fraction of two numbers, where it is the same throughout.
    fraction: Option<(f64, f64)>,
    /// Where stills do not last equally long and the rates count even time.
    time_map: Option<TimeMap>,
}

/// A section of the pace under one formula, where it begins on both axes. Times are moving time.
#[derive(Debug, Clone, PartialEq)]
struct Piece {
    time: f64,
    position: f64,
    law: Law,
    backwards: bool,
    /// How many keys lie at its beginning or before.
    way: usize,
}

impl Piece {
    /// Stills left in the direction it goes.
    fn room(&self, stills: f64) -> f64 {
        if self.backwards { self.position } else { stills - self.position }
    }
}

/// A rest in its place.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Resting {
    /// Moving time.
    at: f64,
    /// Screen time.
    from: f64,
    to: f64,
    position: f64,
}

impl PaceMap {
    /// `numerator / denominator` stills a second throughout. Both above 0, as is `stills`.
    #[must_use]
    pub fn constant(stills: f64, numerator: f64, denominator: f64) -> Self {
        let length = stills * denominator / numerator;
        let law = Law::Constant(numerator / denominator);
        Self {
            stills,
            length,
            lead: 0.0,
            moving: length,
            pieces: vec![Piece { time: 0.0, position: 0.0, law, backwards: false, way: 0 }],
            reach: vec![(stills, 0)],
            rests: Vec::new(),
            fraction: Some((numerator, denominator)),
            time_map: None,
        }
    }

    /// The whole shoot in `seconds`, at one rate.
    #[must_use]
    pub fn over(stills: f64, seconds: f64) -> Self {
        Self { length: seconds, moving: seconds, ..Self::constant(stills, stills, seconds) }
    }

    /// The same pace in a clip that begins `seconds` later: before its time 0 the pace has been running for so long.
    #[must_use]
    pub fn led_in(self, seconds: f64) -> Self {
        Self { lead: seconds, ..self }
    }

    /// How long the pace has been running when the clip begins, in seconds.
    #[must_use]
    pub fn lead(&self) -> f64 {
        self.lead
    }

    /// The same pace in even time, over stills that do not last equally long: its positions, and the stills it was made
    /// for, are even ones.
    #[must_use]
    pub fn through(self, time_map: TimeMap) -> Self {
        Self { time_map: Some(time_map), ..self }
    }

    /// Whether its rates count even time, and not stills.
    #[must_use]
    pub fn has_time_map(&self) -> bool {
        self.time_map.is_some()
    }

    /// The position in even time of a position, which is the same where all stills last equally long.
    #[must_use]
    pub fn even(&self, position: f64) -> f64 {
        self.time_map.as_ref().map_or(position, |time_map| time_map.even(position))
    }

    fn mapped(&self, even: f64) -> f64 {
        self.time_map.as_ref().map_or(even, |time_map| time_map.position(even))
    }

    /// Whether the first way runs backwards, from the end of the shoot.
    #[must_use]
    pub fn begins_at_end(&self) -> bool {
        self.pieces[0].backwards
    }

    /// How far a position is from where the pace begins, in stills; and the position of such a distance.
    fn mirrored(&self, position: f64) -> f64 {
        if self.begins_at_end() { self.stills - position } else { position }
    }

    /// Seconds of the clip until the shoot runs out, the last still's share and all rests included.
    #[must_use]
    pub fn length(&self) -> f64 {
        self.length - self.lead
    }

    /// Stills in the shoot.
    #[must_use]
    pub fn stills(&self) -> f64 {
        self.mapped(self.stills)
    }

    /// The shoot position at `time` seconds, 0 to the number of stills.
    #[must_use]
    pub fn position(&self, time: f64) -> f64 {
        self.stand(time).position
    }

    /// Where the shoot stands at `time` seconds. In a rest it counts as running forwards: the still that begins at the
    /// position is shown.
    #[must_use]
    pub fn stand(&self, time: f64) -> PacePoint {
        let even = match self.moving_time(time) {
            (_, Some(rest)) => PacePoint { position: rest.position, backwards: false },
            (moving, None) => self.moving_stand(moving),
        };
        PacePoint { position: self.mapped(even.position), ..even }
    }

    /// Where the shoot stands in frame `index`, exact to one rounding where the rate is the same throughout. Frames
    /// before 0 lie before the clip, while the pace is led in.
    #[must_use]
    pub fn stand_of_frame(&self, index: i64, fps: FrameRate) -> PacePoint {
        let Some((numerator, denominator)) = self.fraction else { return self.stand(fps.time_around(index)) };
        #[expect(clippy::cast_precision_loss, reason = "a clip of 2^53 frames does not exist")]
        let frames = index as f64 * f64::from(fps.denominator());
        let led_in = if self.lead > 0.0 { self.lead * numerator / denominator } else { 0.0 };
        let position =
            ((frames * numerator) / (f64::from(fps.numerator()) * denominator) + led_in).clamp(0.0, self.stills);
        PacePoint { position: self.mapped(position), backwards: false }
    }

    /// Moving time at a screen time, and the rest it lies in.
    fn moving_time(&self, time: f64) -> (f64, Option<&Resting>) {
        let time = time + self.lead;
        let begun = self.rests.partition_point(|rest| rest.from <= time);
        match self.rests[..begun].last() {
            None => (time, None),
            Some(rest) if time < rest.to => (rest.at, Some(rest)),
            Some(rest) => (rest.at + (time - rest.to), None),
        }
    }

    /// The first screen time at a moving time; the last one with `after`, where the shoot rests then.
    fn screen_time(&self, moving: f64, after: bool) -> f64 {
        let limit = if after { moving + TOGETHER } else { moving - TOGETHER };
        let over = self.rests.partition_point(|rest| rest.at < limit);
        self.rests[..over].last().map_or(moving, |rest| rest.to + (moving - rest.at).max(0.0)) - self.lead
    }

    /// The number of the piece after the one that a moving time lies in.
    fn after(&self, moving: f64) -> usize {
        let next = self.pieces.partition_point(|piece| piece.time <= moving).max(1);
        // A rounding before a turn the old direction would show the still beyond it.
        let turned =
            |after: &Piece| after.backwards != self.pieces[next - 1].backwards && after.time <= moving + TOGETHER;
        if self.pieces.get(next).is_some_and(turned) { next + 1 } else { next }
    }

    /// How many keys the pace has passed at `time` seconds.
    #[must_use]
    pub fn keys_passed(&self, time: f64) -> usize {
        self.pieces[self.after(self.moving_time(time).0) - 1].way
    }

    /// When it passes a key, counted from 0, in seconds; none where it runs out before. Of a pace without keys it is
    /// the beginning.
    #[must_use]
    pub fn key_time(&self, key: usize) -> Option<f64> {
        let piece = self.pieces.iter().find(|piece| piece.way > key)?;
        Some(self.screen_time(piece.time, false))
    }

    fn moving_stand(&self, moving: f64) -> PacePoint {
        let next = self.after(moving);
        let piece = &self.pieces[next - 1];
        let gone = piece.law.stills((moving - piece.time).max(0.0));
        let after = self.pieces.get(next).map(|after| after.position);
        let position = if piece.backwards {
            (piece.position - gone).clamp(after.unwrap_or(0.0).max(0.0), self.stills)
        } else {
            (piece.position + gone).clamp(0.0, after.unwrap_or(self.stills).min(self.stills))
        };
        PacePoint { position, backwards: piece.backwards }
    }

    /// The way the shoot goes between two moments, in seconds: from position to position, a leg between any two turns.
    /// There is at least one.
    #[must_use]
    pub fn legs(&self, from: f64, to: f64) -> Vec<(f64, f64)> {
        let ((begin, _), (end, _)) = (self.moving_time(from), self.moving_time(to));
        let inside = self.pieces.partition_point(|piece| piece.time <= begin)
            ..self.pieces.partition_point(|piece| piece.time < end);
        let mut legs = vec![(self.position(from), self.position(to))];
        for index in inside {
            if index > 0 && self.pieces[index].backwards != self.pieces[index - 1].backwards {
                let (at, last) = (self.mapped(self.pieces[index].position.clamp(0.0, self.stills)), legs.len() - 1);
                let leg = legs[last];
                legs[last].1 = at;
                legs.push((at, leg.1));
            }
        }
        legs
    }

    /// Whether it turns back anywhere.
    #[must_use]
    pub fn turns(&self) -> bool {
        self.pieces.windows(2).any(|pair| pair[0].backwards != pair[1].backwards)
    }

    /// The first moment, in seconds, at which the shoot stands at `position`, 0 to the number of stills: where it rests
    /// there, the beginning of the rest. Endless where the pace turns back before.
    #[must_use]
    pub fn time(&self, position: f64) -> f64 {
        let position = self.even(position);
        if let Some((numerator, denominator)) = self.fraction {
            return position * denominator / numerator - self.lead;
        }
        let due = self.mirrored(position);
        // A turn is met on the way to it even where rounding puts it a last bit beyond.
        let rounding = 1e-12 * self.stills.max(1.0);
        let first = self.reach.partition_point(|(reached, _)| *reached < due - rounding);
        let Some(&(reached, index)) = self.reach.get(first).or_else(|| self.reach.last()) else { return f64::INFINITY };
        if due > reached + TOGETHER * self.stills.max(1.0) {
            return f64::INFINITY;
        }
        let piece = &self.pieces[index];
        let end = self.pieces.get(index + 1).map_or(f64::INFINITY, |after| after.time);
        let moving = if due >= reached && end.is_finite() {
            end
        } else {
            let seconds = piece.law.seconds((due - self.mirrored(piece.position)).max(0.0));
            (piece.time + seconds).min(end)
        };
        self.screen_time(moving, false)
    }

    /// The position furthest from where the pace begins that it comes to until `time`.
    #[must_use]
    pub fn furthest(&self, time: f64) -> f64 {
        let (moving, _) = self.moving_time(time);
        let begun = self.reach.iter().filter(|(_, index)| self.pieces[*index].time <= moving);
        let reached = begun.map(|(reached, index)| match self.pieces.get(index + 1) {
            Some(after) if after.time <= moving => *reached,
            _ => {
                let piece = &self.pieces[*index];
                (self.mirrored(piece.position) + piece.law.stills(moving - piece.time)).min(*reached)
            }
        });
        self.mapped(self.mirrored(reached.fold(0.0, f64::max).min(self.stills)))
    }

    /// Stills a second at `time`: below 0 where the shoot runs backwards, 0 where it rests.
    #[must_use]
    pub fn rate(&self, time: f64) -> f64 {
        let (moving, _) = self.moving_time(time);
        self.even_rate(time)
            * self.time_map.as_ref().map_or(1.0, |time_map| time_map.slope(self.moving_stand(moving).position))
    }

    /// The same in even time, where stills do not last equally long.
    #[must_use]
    pub fn even_rate(&self, time: f64) -> f64 {
        let (moving, None) = self.moving_time(time) else { return 0.0 };
        let next = self.pieces.partition_point(|piece| piece.time <= moving).max(1);
        let piece = &self.pieces[next - 1];
        let rate = piece.law.rate((moving - piece.time).max(0.0));
        if piece.backwards { -rate } else { rate }
    }

    /// The screen times at which rests begin and end.
    pub fn rests(&self) -> impl Iterator<Item = (f64, f64)> {
        self.rests.iter().map(|rest| (rest.from - self.lead, rest.to - self.lead))
    }

    /// The stretches of the clip that run at one rate in one direction, in order; neighbours of the same rate are one.
    /// None where stills do not last equally long.
    #[must_use]
    pub fn constant_stretches(&self) -> Vec<ConstantRate> {
        let mut stretches: Vec<(ConstantRate, bool)> = Vec::new();
        if self.time_map.is_some() {
            return Vec::new();
        }
        for (index, piece) in self.pieces.iter().enumerate() {
            let Law::Constant(rate) = piece.law else { continue };
            let end = self.pieces.get(index + 1).map_or(self.moving, |after| after.time.min(self.moving));
            let inside = self.rests.partition_point(|rest| rest.at <= piece.time)
                ..self.rests.partition_point(|rest| rest.at < end);
            let mut from = piece.time;
            for to in self.rests.get(inside).unwrap_or_default().iter().map(|rest| rest.at).chain([end]) {
                let (begin, finish) = (self.screen_time(from, true), self.screen_time(to, false));
                from = to;
                if finish <= begin {
                    continue;
                }
                match stretches.last_mut() {
                    Some((last, backwards))
                        if last.to == begin
                            && (last.rate - rate).abs() <= 1e-12 * rate
                            && *backwards == piece.backwards =>
                    {
                        last.to = finish;
                    }
                    _ => stretches.push((ConstantRate { from: begin, to: finish, rate }, piece.backwards)),
                }
            }
        }
        stretches.into_iter().map(|(stretch, _)| stretch).collect()
    }
}

#[cfg(test)]
mod tests;
