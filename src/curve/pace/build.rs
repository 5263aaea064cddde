//! The pace that keys and rests make: sections laid end to end, until the shoot runs out.

use super::sections::{Section, sections};
use super::{Fault, Key, PaceMap, Piece, Rest, Resting, TOGETHER, Timeline};

impl PaceMap {
    /// The pace that keys and rests give, each in the order in which they come. There is at least one key.
    ///
    /// On screen, moments grow, are 0 or more, and count the rests; a key inside a rest lies at its end. On the shoot's
    /// axis positions are 0 to `stills`; they grow from key to key, and fall where a key's way runs backwards. A `fit`,
    /// heeded on the shoot's axis only, scales all rates but the kept ones so that the whole, rests included, lasts
    /// that long.
    ///
    /// # Errors
    /// Every variant of [`Fault`].
    pub fn keyed(axis: Timeline, keys: &[Key], rests: &[Rest], stills: f64, fit: Option<f64>) -> Result<Self, Fault> {
        let sections = match axis {
            Timeline::Screen if !rests.is_empty() => sections(axis, &moving_keys(keys, rests), stills)?,
            _ => sections(axis, keys, stills)?,
        };
        let fit = fit.filter(|_| axis == Timeline::Shoot);
        let scale = fit.map_or(Ok(1.0), |fit| scale(axis, &sections, rests, fit))?;
        let (mut pieces, mut time): (Vec<Piece>, f64) = (Vec::with_capacity(sections.len()), 0.0);
        let mut position = if sections[0].backwards { stills } else { 0.0 };
        for (index, section) in sections.iter().enumerate() {
            let law = section.law(axis, scale);
            let (seconds, gone) = match axis {
                Timeline::Screen => (section.width, law.stills(section.width)),
                Timeline::Shoot => (law.seconds(section.width), section.width),
            };
            let piece = Piece { time, position, law, backwards: section.backwards, way: section.way };
            let over = gone - piece.room(stills);
            pieces.push(piece);
            let turns = sections.get(index + 1).is_some_and(|next| next.backwards != section.backwards);
            let slack = TOGETHER * stills.max(1.0);
            if axis == Timeline::Screen && over > if turns { slack } else { 0.0 } {
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
        let mut map = Self {
            stills,
            length: moving,
            lead: 0.0,
            moving,
            pieces,
            reach: Vec::new(),
            rests: Vec::new(),
            fraction: None,
            time_map: None,
        };
        map.survey_reach();
        map.lay_rests(axis, rests);
        map.length = fit.unwrap_or_else(|| map.length + map.rests.iter().map(|rest| rest.to - rest.from).sum::<f64>());
        Ok(map)
    }

    fn survey_reach(&mut self) {
        let mut furthest = 0.0;
        for (index, piece) in self.pieces.iter().enumerate() {
            let end = self.pieces.get(index + 1).map_or(self.stills, |after| self.mirrored(after.position));
            if piece.backwards == self.begins_at_end() && end > furthest {
                furthest = end;
                self.reach.push((end, index));
            }
        }
    }

    /// Puts rests in their places; those after the clip's end are left out.
    fn lay_rests(&mut self, axis: Timeline, rests: &[Rest]) {
        let mut rested = 0.0;
        for rest in rests {
            let (at, position) = match axis {
                Timeline::Screen => (rest.at - rested, self.moving_stand(rest.at - rested).position),
                Timeline::Shoot => (self.passing(rest), rest.at),
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
            ahead >= -TOGETHER
        };
        let way = |after: usize| self.pieces.partition_point(|piece| piece.way < after);
        match self.pieces[way(rest.after)..way(rest.after + 1)].iter().rev().find(begun) {
            Some(piece) => piece.time + piece.law.seconds((rest.at - piece.position).abs()),
            None => self.moving,
        }
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
fn scale(axis: Timeline, sections: &[Section], rests: &[Rest], fit: f64) -> Result<f64, Fault> {
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
