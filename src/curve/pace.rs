//! Pace: how fast the shoot position advances, its integral, and the inverse of that.
//!
//! Keyed on screen time, the position is the integral of the rate; keyed on the shoot's axis, the time is the integral of
//! `1 / rate`. Rates between two keys follow the ease in the parameter of the keys' axis; outside the keys they hold. The way
//! to a key may run backwards, and the shoot may rest at a moment; the position is continuous all the same.
//! Straight ways have closed forms; along a Bézier both integrals run over the curve's own parameter, where they are smooth
//! even at a vertical tangent, by Gauss–Legendre quadrature to about 1e-14.

mod law;
mod sections;

use crate::units::{FrameRate, ShootPosition};

use super::ease::Ease;
use law::Law;

/// The slowest rate taken, in stills a second: below it a clip of two stills lasts longer than a year.
pub const SLOWEST: f64 = 1e-8;

/// Moments nearer than this, in seconds, are one moment; ends of the shoot nearer than this, in stills, are reached.
const TOGETHER: f64 = 1e-9;

/// Which axis a pace is keyed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axis {
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
pub struct Stretch {
    /// Where it begins, in seconds.
    pub from: f64,
    /// Where it ends, in seconds.
    pub to: f64,
    /// Stills a second.
    pub rate: f64,
}

/// Where the shoot stands at a moment of the clip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stand {
    /// Stills along the axis.
    pub position: f64,
    /// Whether it runs backwards there.
    pub backwards: bool,
}

impl Stand {
    /// The whole still shown, counted from 0 along the axis: the one being passed, whichever way.
    #[must_use]
    pub fn whole(self) -> usize {
        let position = ShootPosition(self.position);
        if self.backwards { position.whole_backwards() } else { position.whole() }
    }
}

/// A pace over a shoot of a known number of stills: screen time to shoot position and back.
///
/// It begins at the shoot's beginning, or at its end where its first way runs backwards, and lasts until the shoot runs out of
/// stills in the direction it goes. Inside, *moving time* is screen time with the rests taken out.
#[derive(Debug, Clone, PartialEq)]
pub struct PaceMap {
    stills: f64,
    length: f64,
    /// The length in moving time.
    moving: f64,
    pieces: Vec<Piece>,
    /// For every piece that comes further from where the pace begins than all before it: how far, in stills, and its index.
    reach: Vec<(f64, usize)>,
    rests: Vec<Resting>,
    /// The exact rate as a fraction of two numbers, where it is the same throughout.
    fraction: Option<(f64, f64)>,
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
            moving: length,
            pieces: vec![Piece { time: 0.0, position: 0.0, law, backwards: false, way: 0 }],
            reach: vec![(stills, 0)],
            rests: Vec::new(),
            fraction: Some((numerator, denominator)),
        }
    }

    /// The whole shoot in `seconds`, at one rate.
    #[must_use]
    pub fn over(stills: f64, seconds: f64) -> Self {
        Self { length: seconds, moving: seconds, ..Self::constant(stills, stills, seconds) }
    }

    /// The pace that keys and rests give, each in the order in which they come. There is at least one key.
    ///
    /// On screen, moments grow, are 0 or more, and count the rests; a key inside a rest lies at its end. On the shoot's axis
    /// positions are 0 to `stills`; they grow from key to key, and fall where a key's way runs backwards. A `fit`, heeded on
    /// the shoot's axis only, scales all rates but the kept ones so that the whole, rests included, lasts that long.
    ///
    /// # Errors
    /// Every variant of [`Fault`].
    pub fn keyed(axis: Axis, keys: &[Key], rests: &[Rest], stills: f64, fit: Option<f64>) -> Result<Self, Fault> {
        let sections = match axis {
            Axis::Screen if !rests.is_empty() => sections::sections(axis, &moving_keys(keys, rests), stills)?,
            _ => sections::sections(axis, keys, stills)?,
        };
        let fit = fit.filter(|_| axis == Axis::Shoot);
        let scale = fit.map_or(Ok(1.0), |fit| scale(axis, &sections, rests, fit))?;
        let (mut pieces, mut time): (Vec<Piece>, f64) = (Vec::with_capacity(sections.len()), 0.0);
        let mut position = if sections[0].backwards { stills } else { 0.0 };
        for (index, section) in sections.iter().enumerate() {
            let law = section.law(axis, scale);
            let (seconds, gone) = match axis {
                Axis::Screen => (section.width, law.stills(section.width)),
                Axis::Shoot => (law.seconds(section.width), section.width),
            };
            let piece = Piece { time, position, law, backwards: section.backwards, way: section.way };
            let over = gone - piece.room(stills);
            pieces.push(piece);
            let turns = sections.get(index + 1).is_some_and(|next| next.backwards != section.backwards);
            let slack = TOGETHER * stills.max(1.0);
            if axis == Axis::Screen && over > if turns { slack } else { 0.0 } {
                break;
            }
            time += seconds;
            position = match (section.backwards, turns && over.abs() <= slack) {
                (true, true) => 0.0,
                (true, false) => position - gone,
                (false, true) => stills,
                (false, false) => position + gone,
            };
        }
        let last = &pieces[pieces.len() - 1];
        let moving = last.time + last.law.seconds(last.room(stills).max(0.0));
        let mut map = Self { stills, length: moving, moving, pieces, reach: Vec::new(), rests: Vec::new(), fraction: None };
        map.survey_reach();
        map.lay_rests(axis, rests);
        map.length = fit.unwrap_or_else(|| map.length + map.rests.iter().map(|rest| rest.to - rest.from).sum::<f64>());
        Ok(map)
    }

    fn survey_reach(&mut self) {
        let mut furthest = 0.0;
        for (index, piece) in self.pieces.iter().enumerate() {
            let end = self.pieces.get(index + 1).map_or(self.stills, |after| self.from_beginning(after.position));
            if piece.backwards == self.begins_at_end() && end > furthest {
                furthest = end;
                self.reach.push((end, index));
            }
        }
    }

    /// Puts rests in their places; those after the clip's end are left out.
    fn lay_rests(&mut self, axis: Axis, rests: &[Rest]) {
        let mut rested = 0.0;
        for rest in rests {
            let (at, position) = match axis {
                Axis::Screen => (rest.at - rested, self.moving_stand(rest.at - rested).position),
                Axis::Shoot => (self.passing(rest), rest.at),
            };
            if at <= self.moving + TOGETHER {
                self.rests.push(Resting { at, from: at + rested, to: at + rested + rest.seconds, position });
                rested += rest.seconds;
            }
        }
    }

    /// The moving time at which the way that a rest lies on passes its position.
    fn passing(&self, rest: &Rest) -> f64 {
        let begun = |piece: &&Piece| {
            let ahead = if piece.backwards { piece.position - rest.at } else { rest.at - piece.position };
            piece.way == rest.after && ahead >= -TOGETHER
        };
        match self.pieces.iter().rev().find(begun) {
            Some(piece) => piece.time + piece.law.seconds((rest.at - piece.position).abs()),
            None => self.moving,
        }
    }

    /// Whether the first way runs backwards, from the end of the shoot.
    #[must_use]
    pub fn begins_at_end(&self) -> bool {
        self.pieces[0].backwards
    }

    /// How far a position is from where the pace begins, in stills; and back again.
    fn from_beginning(&self, position: f64) -> f64 {
        if self.begins_at_end() { self.stills - position } else { position }
    }

    /// Seconds until the shoot runs out, the last still's share and all rests included.
    #[must_use]
    pub fn length(&self) -> f64 {
        self.length
    }

    /// Stills in the shoot.
    #[must_use]
    pub fn stills(&self) -> f64 {
        self.stills
    }

    /// The shoot position at `time` seconds, 0 to the number of stills.
    #[must_use]
    pub fn position(&self, time: f64) -> f64 {
        self.stand(time).position
    }

    /// Where the shoot stands at `time` seconds. In a rest it counts as running forwards: the still that begins at the
    /// position is shown.
    #[must_use]
    pub fn stand(&self, time: f64) -> Stand {
        match self.moving_time(time) {
            (_, Some(rest)) => Stand { position: rest.position, backwards: false },
            (moving, None) => self.moving_stand(moving),
        }
    }

    /// Where the shoot stands in frame `index`, exact to one rounding where the rate is the same throughout.
    #[must_use]
    pub fn stand_of_frame(&self, index: u64, fps: FrameRate) -> Stand {
        let Some((numerator, denominator)) = self.fraction else { return self.stand(fps.time_of(index).0) };
        #[expect(clippy::cast_precision_loss, reason = "a clip of 2^53 frames does not exist")]
        let frames = index as f64 * f64::from(fps.denominator());
        let position = ((frames * numerator) / (f64::from(fps.numerator()) * denominator)).min(self.stills);
        Stand { position, backwards: false }
    }

    /// Moving time at a screen time, and the rest it lies in.
    fn moving_time(&self, time: f64) -> (f64, Option<&Resting>) {
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
        self.rests[..over].last().map_or(moving, |rest| rest.to + (moving - rest.at).max(0.0))
    }

    fn moving_stand(&self, moving: f64) -> Stand {
        let mut next = self.pieces.partition_point(|piece| piece.time <= moving).max(1);
        // A rounding before a turn the old direction would show the still beyond it.
        if self
            .pieces
            .get(next)
            .is_some_and(|after| after.backwards != self.pieces[next - 1].backwards && after.time <= moving + TOGETHER)
        {
            next += 1;
        }
        let piece = &self.pieces[next - 1];
        let gone = piece.law.stills((moving - piece.time).max(0.0));
        let after = self.pieces.get(next).map(|after| after.position);
        let position = if piece.backwards {
            (piece.position - gone).clamp(after.unwrap_or(0.0).max(0.0), self.stills)
        } else {
            (piece.position + gone).clamp(0.0, after.unwrap_or(self.stills).min(self.stills))
        };
        Stand { position, backwards: piece.backwards }
    }

    /// The first moment, in seconds, at which the shoot stands at `position`, 0 to the number of stills: where it rests
    /// there, the beginning of the rest. Endless where the pace turns back before.
    #[must_use]
    pub fn time(&self, position: f64) -> f64 {
        if let Some((numerator, denominator)) = self.fraction {
            return position * denominator / numerator;
        }
        let due = self.from_beginning(position);
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
            let seconds = piece.law.seconds((due - self.from_beginning(piece.position)).max(0.0));
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
                (self.from_beginning(piece.position) + piece.law.stills(moving - piece.time)).min(*reached)
            }
        });
        self.from_beginning(reached.fold(0.0, f64::max).min(self.stills))
    }

    /// Stills a second at `time`: below 0 where the shoot runs backwards, 0 where it rests.
    #[must_use]
    pub fn rate(&self, time: f64) -> f64 {
        let (moving, None) = self.moving_time(time) else { return 0.0 };
        let next = self.pieces.partition_point(|piece| piece.time <= moving).max(1);
        let piece = &self.pieces[next - 1];
        let rate = piece.law.rate((moving - piece.time).max(0.0));
        if piece.backwards { -rate } else { rate }
    }

    /// The screen times at which rests begin and end.
    pub fn rests(&self) -> impl Iterator<Item = (f64, f64)> {
        self.rests.iter().map(|rest| (rest.from, rest.to))
    }

    /// The stretches of the clip that run at one rate in one direction, in order; neighbours of the same rate are one.
    #[must_use]
    pub fn constant_stretches(&self) -> Vec<Stretch> {
        let mut stretches: Vec<(Stretch, bool)> = Vec::new();
        for (index, piece) in self.pieces.iter().enumerate() {
            let Law::Constant(rate) = piece.law else { continue };
            let end = self.pieces.get(index + 1).map_or(self.moving, |after| after.time.min(self.moving));
            let inside = self.rests.iter().map(|rest| rest.at).filter(|at| *at > piece.time && *at < end);
            let mut from = piece.time;
            for to in inside.chain([end]) {
                let (begin, finish) = (self.screen_time(from, true), self.screen_time(to, false));
                from = to;
                if finish <= begin {
                    continue;
                }
                match stretches.last_mut() {
                    Some((last, backwards))
                        if last.to == begin && (last.rate - rate).abs() <= 1e-12 * rate && *backwards == piece.backwards =>
                    {
                        last.to = finish;
                    }
                    _ => stretches.push((Stretch { from: begin, to: finish, rate }, piece.backwards)),
                }
            }
        }
        stretches.into_iter().map(|(stretch, _)| stretch).collect()
    }
}

/// Keys on screen in moving time.
fn moving_keys(keys: &[Key], rests: &[Rest]) -> Vec<Key> {
    let (mut over, mut rested, mut last) = (0, 0.0, 0.0_f64);
    let mut moved = keys.to_vec();
    for key in &mut moved {
        while let Some(rest) = rests.get(over).filter(|rest| rest.at < key.at - TOGETHER) {
            rested += rest.seconds;
            over += 1;
        }
        key.at = (key.at - rested).max(last);
        last = key.at;
    }
    moved
}

/// By how much the rates that are not kept must grow for the whole to last `fit` seconds.
fn scale(axis: Axis, sections: &[sections::Section], rests: &[Rest], fit: f64) -> Result<f64, Fault> {
    let (mut kept, mut free) = (rests.iter().map(|rest| rest.seconds).sum::<f64>(), 0.0);
    for section in sections {
        let seconds = section.law(axis, 1.0).seconds(section.width);
        if section.keep { kept += seconds } else { free += seconds }
    }
    if free > 0.0 {
        return if kept < fit { Ok(free / (fit - kept)) } else { Err(Fault::KeptTooLong { kept }) };
    }
    if (kept - fit).abs() > 1e-9 * fit { Err(Fault::NothingToFit { kept }) } else { Ok(1.0) }
}

#[cfg(test)]
mod tests;
