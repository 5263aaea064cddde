//! One subject from one picture to the next.

use std::sync::Arc;

use kurbo::{Point, Rect, Vec2};

use super::likeness::{Finder, Map, Patch, Pattern};
use super::picture::Small;
use super::{Sight, State, Unfit};

/// Places of the grid along the side of a square as large as the box.
const SIDE: f64 = 24.0;
/// The same where a whole picture is searched.
const COARSE: f64 = 12.0;
/// Sides of a box on the grid.
const SHORTEST: usize = 8;
const LONGEST: usize = 72;
/// A box of fewer samples along its shorter side shows too little to be known again.
const FEWEST: f64 = 6.0;
/// A box larger than this share of a side leaves nothing to be searched.
const LARGEST: f64 = 0.8;
/// Texture, in logarithms of light, below which there is nothing to be known again.
const PLAIN: f32 = 0.02;
/// The likeness beside the box from which it cannot be told apart.
const TWIN: f32 = 0.85;
/// It is tried so much larger, and so much smaller.
const SIZE_STEP: f64 = 1.06;
/// The least and most that it may become against the key.
const SHRUNK: f64 = 0.4;
const GROWN: f64 = 2.5;
/// Likeness below this, or below this share of what is usual for it, is none.
const LEAST: f32 = 0.40;
const SHARE: f32 = 0.62;
/// The same for what comes back.
const LEAST_BACK: f32 = 0.55;
const SHARE_BACK: f32 = 0.80;
/// It must be so much more like itself than anything near it; the same for what comes back.
const APART: f32 = 0.03;
const APART_BACK: f32 = 0.1;
/// Back in the picture before it must be found within this share of its sides.
const ASTRAY: f64 = 0.35;
/// The share of what was there before that is taken off.
const THERE: f32 = 0.5;
/// What likeness is worth less for each side that it is away from where it should be: always; where it moves evenly.
const FAR: f64 = 0.03;
const FAR_STEADY: f64 = 0.1;
/// It is thought to go on moving for this many pictures in which it is not seen.
const COASTING: usize = 6;
/// The share of the newest in means of how it moves.
const LATELY: f64 = 0.3;
/// Shares of the usual likeness at which a place is not trusted at all, and wholly.
const DIM: f64 = 0.65;
const CLEAR: f64 = 0.95;
/// Patterns remembered beside the key's.
const REMEMBERED: usize = 4;

/// Follows one thing from picture to picture.
#[derive(Debug)]
pub struct Tracker {
    finder: Finder,
    /// Of the key, in samples.
    sides: (f64, f64),
    /// Its size against the key's.
    size: f64,
    centre: Point,
    /// A mean of how far it goes, and of the square of what it goes beside that.
    speed: Vec2,
    unsteady: f64,
    columns: usize,
    rows: usize,
    /// What it looked like: at the key, lately, just now, and sometimes in between.
    key: Pattern,
    slow: Pattern,
    recent: Pattern,
    remembered: Vec<Pattern>,
    /// The key's pattern for a whole picture, and those remembered.
    coarse: Vec<Pattern>,
    usual: f32,
    before: Before,
    missed: usize,
    /// What a whole picture without it is like.
    empty: Option<Map>,
    /// How like it something beside it is, at the key.
    twin: f32,
}

#[derive(Debug)]
struct Before {
    patch: Patch,
    /// Where in it, in places of its grid, the subject's first place lies.
    at: (f64, f64),
    /// The whole picture, and where in it the subject was.
    picture: Option<Arc<Small>>,
    centre: Point,
}

struct Found {
    centre: Point,
    size: f64,
    likeness: f32,
    rival: f32,
}

impl Tracker {
    /// Of what lies in a box of a picture, in its samples.
    ///
    /// # Errors
    /// Why it cannot be known again.
    pub fn new(picture: &Arc<Small>, area: Rect) -> Result<Self, Unfit> {
        let (width, height) = (area.width(), area.height());
        let shares = [width / picture.width() as f64, height / picture.height() as f64];
        if shares.iter().any(|share| *share > LARGEST) {
            return Err(Unfit::Fills);
        }
        if width.min(height) < FEWEST {
            return Err(Unfit::Tiny);
        }
        let step = (width * height).sqrt() / SIDE;
        let (columns, rows) = (places(width / step), places(height / step));
        let centre = area.center();
        let patch = Patch::cut(picture, centre, step, columns, rows);
        let key = Pattern::of(&patch);
        if key.texture < PLAIN {
            return Err(Unfit::Plain);
        }
        let coarse =
            Pattern::of(&Patch::cut(picture, centre, step * SIDE / COARSE, columns.div_ceil(2), rows.div_ceil(2)));
        let mut made = Self {
            finder: Finder::new(),
            sides: (width, height),
            size: 1.0,
            centre,
            speed: Vec2::ZERO,
            unsteady: 0.0,
            columns,
            rows,
            slow: key.clone(),
            recent: key.clone(),
            key,
            remembered: Vec::new(),
            coarse: vec![coarse],
            usual: 0.8,
            before: Before { patch, at: (0.0, 0.0), picture: None, centre },
            missed: 0,
            empty: None,
            twin: 0.0,
        };
        made.remember_picture(picture);
        let map = made.finder.maps(&made.before.patch, &[&made.key]).remove(0);
        let at = (made.before.at.0.round() as usize, made.before.at.1.round() as usize);
        made.twin = rival(&map, at, (columns, rows));
        Ok(made)
    }

    /// How like it something else near it is, from 0 to 1, where it was keyed; from `TWIN` on they cannot be told
    /// apart.
    #[must_use]
    pub fn has_twin(&self) -> bool {
        self.twin >= TWIN
    }

    /// The box, in samples, as it was seen last.
    #[must_use]
    pub fn area(&self) -> Rect {
        Rect::from_center_size(self.centre, (self.sides.0 * self.size, self.sides.1 * self.size))
    }

    fn step_of(&self, size: f64) -> f64 {
        (self.sides.0 * self.sides.1).sqrt() * size / SIDE
    }

    fn reach(&self) -> usize {
        self.columns.max(self.rows).clamp(SIDE as usize, 2 * SIDE as usize)
    }

    /// Where it is in the next picture.
    pub fn next(&mut self, picture: &Arc<Small>) -> Sight {
        let found = self.search(picture);
        let wanted =
            if self.missed == 0 { LEAST.max(SHARE * self.usual) } else { LEAST_BACK.max(SHARE_BACK * self.usual) };
        let apart = if self.missed == 0 { APART } else { APART_BACK };
        // What has grown or shrunk beyond what is looked for is no longer all in the box.
        let found = found.filter(|found| found.size > SHRUNK && found.size < GROWN);
        let found = found.filter(|found| found.likeness >= wanted && found.likeness - found.rival >= apart);
        match found {
            Some(found) => self.take(picture, &found),
            None => {
                self.missed += 1;
                Sight { area: self.area(), confidence: 0.0, state: State::Lost }
            }
        }
    }

    /// Where it should be now, and how sure that is, from 0 to 1.
    fn predicted(&self) -> (Point, f64) {
        let speed = self.speed.hypot();
        let steady = if speed > 0.0 { (1.0 - self.unsteady.sqrt() / speed).max(0.0) } else { 0.0 };
        (self.centre + self.speed * steady * (1 + self.missed.min(COASTING)) as f64, steady)
    }

    fn search(&mut self, picture: &Small) -> Option<Found> {
        let near = self.search_near(picture);
        if self.missed == 0 {
            return near.filter(|found| self.goes_back(picture, found));
        }
        if near.as_ref().is_some_and(|found| found.likeness >= LEAST_BACK.max(SHARE_BACK * self.usual)) {
            return near;
        }
        self.search_all(picture)
    }

    fn search_near(&mut self, picture: &Small) -> Option<Found> {
        let reach = (self.reach() as f64 * (1.0 + 0.25 * self.missed.min(4) as f64)) as usize;
        let (middle, steady) = self.predicted();
        let prior = if self.missed <= COASTING { FAR + FAR_STEADY * steady } else { FAR };
        self.search_around(picture, middle, reach, prior as f32)
    }

    /// Around a place, as far as `reach` places of the grid.
    fn search_around(&mut self, picture: &Small, middle: Point, reach: usize, prior: f32) -> Option<Found> {
        let step = self.step_of(self.size);
        let patch = Patch::cut(picture, middle, step, self.columns + 2 * reach, self.rows + 2 * reach);
        let mut map = self.map(&patch);
        // Its middle must be inside the picture.
        let inside = Rect::new(0.0, 0.0, picture.width() as f64, picture.height() as f64);
        let place = |column: f64, row: f64| middle + Vec2::new(column - reach as f64, row - reach as f64) * step;
        for (at, value) in map.values.iter_mut().enumerate() {
            if !inside.contains(place((at % map.columns) as f64, (at / map.columns) as f64)) {
                *value = -1.0;
            }
        }
        let there = self.was_there(middle, step, reach, &patch);
        map.values.iter_mut().zip(&there).for_each(|(value, there)| *value -= there);
        let (at, _) = peak(&map, |column, row| {
            let (x, y) = (column as f64 - reach as f64, row as f64 - reach as f64);
            let far = (x / self.columns as f64).hypot(y / self.rows as f64);
            -prior * far as f32
        })?;
        let rival = rival(&map, at, (self.columns, self.rows));
        let (x, y) = finer(&map, at);
        let centre = place(x, y);
        let best = map.values[at.1 * map.columns + at.0] + there[at.1 * map.columns + at.0];
        let mut found = Found { centre, size: self.size, likeness: best, rival };
        let mut tried = [f32::NEG_INFINITY; 3];
        for (likeness, ratio) in tried.iter_mut().zip([1.0 / SIZE_STEP, 1.0, SIZE_STEP]) {
            let step = self.step_of(self.size * ratio);
            let patch = Patch::cut(picture, centre, step, self.columns + 6, self.rows + 6);
            let map = self.map_for_size(&patch);
            let Some((at, best)) = peak(&map, |_, _| 0.0) else { continue };
            *likeness = best;
            if ratio == 1.0 {
                let (x, y) = finer(&map, at);
                found.centre = centre + Vec2::new(x - 3.0, y - 3.0) * step;
            }
        }
        // The top of a parabola, in steps of size.
        let bend = tried[0] - 2.0 * tried[1] + tried[2];
        let steps = if bend < -1e-4 { ((tried[0] - tried[2]) / (2.0 * bend)).clamp(-1.0, 1.0) } else { 0.0 };
        found.size = (self.size * SIZE_STEP.powf(f64::from(steps))).clamp(SHRUNK, GROWN);
        Some(found)
    }

    /// By place: what is taken off its likeness because the picture in which the subject was seen last, elsewhere, was
    /// as like it there. The camera stands still: what was there before is something else.
    fn was_there(&mut self, middle: Point, step: f64, reach: usize, patch: &Patch) -> Vec<f32> {
        let Some(picture) = self.before.picture.clone() else { return vec![0.0; (2 * reach + 1).pow(2)] };
        let before = Patch::cut(&picture, middle, step, patch.columns, patch.rows);
        let map = self.map(&before);
        let own = (self.before.centre - middle) / step + Vec2::new(reach as f64, reach as f64);
        let (wide, high) = (self.columns as f64, self.rows as f64);
        let around = (self.columns.min(self.rows) / 6).max(1);
        let most = dilated(&map, around);
        let mut taken = Vec::with_capacity(most.len());
        for (at, value) in most.iter().enumerate() {
            let (x, y) = ((at % map.columns) as f64 - own.x, (at / map.columns) as f64 - own.y);
            // From itself, which was there, nothing is taken off; from half a box away on everything.
            let apart = ((x / wide).abs().max((y / high).abs()) / 0.5 - 0.5).clamp(0.0, 0.5) * 2.0;
            taken.push(THERE * (value - 0.35).max(0.0) * apart as f32);
        }
        taken
    }

    /// How alike it is, in a mean over what it has looked like, and at least as it was at its best.
    fn map(&mut self, patch: &Patch) -> Map {
        let mut patterns = vec![&self.recent, &self.slow, &self.key];
        patterns.extend(&self.remembered);
        let mut maps = self.finder.maps(patch, &patterns);
        let others = maps.split_off(2);
        let mut map = maps.swap_remove(0);
        let slow = &maps[0];
        for (at, value) in map.values.iter_mut().enumerate() {
            let known = others.iter().map(|other| other.values[at]).fold(f32::NEG_INFINITY, f32::max);
            *value = 0.4 * *value + 0.3 * slow.values[at] + 0.3 * known;
        }
        map
    }

    /// The same without what it looked like just now, which has grown along with it.
    fn map_for_size(&mut self, patch: &Patch) -> Map {
        let mut patterns = vec![&self.slow, &self.key];
        patterns.extend(&self.remembered);
        let mut maps = self.finder.maps(patch, &patterns);
        let others = maps.split_off(1);
        let mut map = maps.swap_remove(0);
        for (at, value) in map.values.iter_mut().enumerate() {
            let known = others.iter().map(|other| other.values[at]).fold(f32::NEG_INFINITY, f32::max);
            *value = 0.4 * *value + 0.6 * known;
        }
        map
    }

    /// Whether what was found is found, in the picture before, where the subject was.
    fn goes_back(&mut self, picture: &Small, found: &Found) -> bool {
        let patch = Patch::cut(picture, found.centre, self.step_of(found.size), self.columns, self.rows);
        let now = Pattern::of(&patch);
        let map = self.finder.maps(&self.before.patch, &[&now]).remove(0);
        let Some((at, _)) = peak(&map, |_, _| 0.0) else { return false };
        let (x, y) = (at.0 as f64 - self.before.at.0, at.1 as f64 - self.before.at.1);
        x.abs() <= ASTRAY * self.columns as f64 && y.abs() <= ASTRAY * self.rows as f64
    }

    /// In the whole picture: what is like it, and was not there while it was away.
    fn search_all(&mut self, picture: &Small) -> Option<Found> {
        let step = self.step_of(self.size) * SIDE / COARSE;
        let columns = (picture.width() as f64 / step).ceil() as usize;
        let rows = (picture.height() as f64 / step).ceil() as usize;
        let middle = Point::new(picture.width() as f64 / 2.0, picture.height() as f64 / 2.0);
        let (wide, high) = (self.coarse[0].columns, self.coarse[0].rows);
        let patch = Patch::cut(picture, middle, step, columns + wide, rows + high);
        let patterns: Vec<&Pattern> = self.coarse.iter().collect();
        let maps = self.finder.maps(&patch, &patterns);
        let mut map = maps[0].clone();
        for other in &maps[1..] {
            map.values.iter_mut().zip(&other.values).for_each(|(value, other)| *value = value.max(*other));
        }
        let Some(empty) = &mut self.empty else {
            self.empty = Some(map);
            return None;
        };
        let same = empty.values.len() == map.values.len();
        let found =
            peak(&map, |column, row| if same { -empty.values[row * map.columns + column].max(0.0) * 0.5 } else { 0.0 });
        let (at, likeness) = found?;
        let index = at.1 * map.columns + at.0;
        let new = !same || likeness - empty.values[index] > 0.12;
        if same {
            empty.values.iter_mut().zip(&map.values).for_each(|(old, now)| *old += 0.3 * (now - *old));
        }
        if !new {
            return None;
        }
        let (x, y) = (at.0 as f64 - columns as f64 / 2.0, at.1 as f64 - rows as f64 / 2.0);
        let centre = middle + Vec2::new(x, y) * step;
        let reach = self.reach() / 2;
        self.search_around(picture, centre, reach, FAR as f32)
    }

    fn take(&mut self, picture: &Arc<Small>, found: &Found) -> Sight {
        let (due, steady) = self.predicted();
        // What moved evenly and is half hidden is where it should be rather than where it seems.
        let trust = (f64::from(found.likeness / self.usual) - DIM).clamp(0.0, CLEAR - DIM) / (CLEAR - DIM);
        let centre = found.centre + (due - found.centre) * steady * (1.0 - trust);
        let moved = (centre - self.centre) / (self.missed + 1) as f64;
        self.unsteady += LATELY * ((moved - self.speed).hypot2() - self.unsteady);
        self.speed += (moved - self.speed) * LATELY;
        self.missed = 0;
        self.empty = None;
        self.centre = centre;
        self.size += 0.5 * (found.size - self.size);
        let step = self.step_of(self.size);
        let now = Pattern::of(&Patch::cut(picture, self.centre, step, self.columns, self.rows));
        if found.likeness >= 0.8 * self.usual {
            self.recent.learn(&now, 0.6);
            self.slow.learn(&now, 0.1);
            let known =
                self.remembered.iter().chain([&self.key]).map(|known| known.like(&now)).fold(f32::MIN, f32::max);
            if (0.45..0.7).contains(&known) {
                if self.remembered.len() == REMEMBERED {
                    self.remembered.remove(0);
                    self.coarse.remove(1);
                }
                self.coarse.push(Pattern::of(&Patch::cut(
                    picture,
                    self.centre,
                    step * SIDE / COARSE,
                    self.columns.div_ceil(2),
                    self.rows.div_ceil(2),
                )));
                self.remembered.push(now);
            }
        }
        self.usual += 0.1 * (found.likeness - self.usual);
        self.remember_picture(picture);
        let apart = ((found.likeness - found.rival) / 0.2).clamp(0.2, 1.0);
        let alike = ((found.likeness - 0.3) / 0.5).clamp(0.0, 1.0);
        let confidence = f64::from(alike * apart);
        Sight { area: self.area(), confidence, state: State::Seen }
    }

    fn remember_picture(&mut self, picture: &Arc<Small>) {
        let reach = self.reach();
        let step = self.step_of(self.size);
        let patch = Patch::cut(picture, self.centre, step, self.columns + 2 * reach, self.rows + 2 * reach);
        self.before =
            Before { patch, at: (reach as f64, reach as f64), picture: Some(Arc::clone(picture)), centre: self.centre };
    }
}

/// By place, the highest value at most so many places away each way.
fn dilated(map: &Map, around: usize) -> Vec<f32> {
    let mut across = Vec::with_capacity(map.values.len());
    for line in map.values.chunks(map.columns) {
        across.extend((0..map.columns).map(|at| {
            let window = &line[at.saturating_sub(around)..(at + around + 1).min(map.columns)];
            window.iter().copied().fold(f32::NEG_INFINITY, f32::max)
        }));
    }
    let mut most = Vec::with_capacity(across.len());
    for row in 0..map.rows {
        let rows = row.saturating_sub(around)..(row + around + 1).min(map.rows);
        most.extend((0..map.columns).map(|column| {
            rows.clone().map(|row| across[row * map.columns + column]).fold(f32::NEG_INFINITY, f32::max)
        }));
    }
    most
}

fn places(count: f64) -> usize {
    (count.round() as usize).clamp(SHORTEST, LONGEST)
}

/// The highest value with what is added to it, and that value without.
fn peak(map: &Map, added: impl Fn(usize, usize) -> f32) -> Option<((usize, usize), f32)> {
    let mut best: Option<((usize, usize), f32, f32)> = None;
    for (row, line) in map.values.chunks(map.columns).enumerate() {
        for (column, value) in line.iter().enumerate() {
            let counted = value + added(column, row);
            if best.is_none_or(|(.., most)| counted > most) {
                best = Some(((column, row), *value, counted));
            }
        }
    }
    best.map(|(at, value, _)| (at, value))
}

/// The highest value farther than half a box away.
fn rival(map: &Map, at: (usize, usize), sides: (usize, usize)) -> f32 {
    let mut most = 0.0_f32;
    for (row, line) in map.values.chunks(map.columns).enumerate() {
        for (column, value) in line.iter().enumerate() {
            if 2 * row.abs_diff(at.1) > sides.1 || 2 * column.abs_diff(at.0) > sides.0 {
                most = most.max(*value);
            }
        }
    }
    most
}

/// The top of the parabolas through a peak and its neighbours.
fn finer(map: &Map, (column, row): (usize, usize)) -> (f64, f64) {
    let value = |column: usize, row: usize| f64::from(map.values[row * map.columns + column]);
    let top = |before: f64, at: f64, after: f64| {
        let bend = before - 2.0 * at + after;
        if bend < 0.0 { ((before - after) / (2.0 * bend)).clamp(-0.5, 0.5) } else { 0.0 }
    };
    let at = value(column, row);
    let x = if column > 0 && column + 1 < map.columns {
        top(value(column - 1, row), at, value(column + 1, row))
    } else {
        0.0
    };
    let y = if row > 0 && row + 1 < map.rows { top(value(column, row - 1), at, value(column, row + 1)) } else { 0.0 };
    (column as f64 + x, row as f64 + y)
}
