//! Scenes drawn for tests: a thing that moves over a ground, the light that changes, others that pass in front of it.
//! Everything comes from a seed.

use std::cell::RefCell;
use std::rc::Rc;

use kurbo::{Point, Rect, Vec2};

use super::{Sight, Small, State};

/// What things and grounds are drawn with.
#[derive(Debug, Clone, Copy)]
pub(super) enum Skin {
    /// Soft clouds of this many octaves.
    Clouds(u32),
    /// Squares of random shades.
    Squares,
    /// Slanted stripes.
    Stripes,
    /// Dots on one shade.
    Dots,
    /// A coat, a head and legs: plain areas.
    Figure,
}

/// How the thing moves; speeds are shares of its own shorter side a still.
#[derive(Debug, Clone, Copy)]
pub(super) enum Motion {
    /// Straight, turned back at the edges.
    Straight(f64),
    /// Anywhere, each still anew, up to so much.
    Restless(f64),
    /// Round and round.
    Round(f64),
    /// Runs, and rests for a while.
    Halting(f64),
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Scene {
    pub(super) seed: u64,
    pub(super) size: (usize, usize),
    pub(super) stills: usize,
    pub(super) ground: Skin,
    pub(super) thing: Skin,
    /// Its width as a share of the picture's, and its height over its width.
    pub(super) wide: f64,
    pub(super) tall: f64,
    pub(super) motion: Motion,
    /// Stops that the light goes up and down by, slowly; and from still to still.
    pub(super) stops: f64,
    pub(super) flicker: f64,
    /// How much of its look is another at the end.
    pub(super) ageing: f64,
    /// How much larger it is at the end.
    pub(super) growth: f64,
    /// In how many places something passes in front of it, and for how many stills.
    pub(super) passed: usize,
    pub(super) passing: usize,
    /// Others that go about.
    pub(super) others: usize,
    /// Stills in which it is out of the picture.
    pub(super) away: Option<(usize, usize)>,
    /// Codes of noise.
    pub(super) noise: f64,
}

impl Scene {
    pub(super) const PLAIN: Self = Self {
        seed: 1,
        size: (640, 400),
        stills: 80,
        ground: Skin::Clouds(5),
        thing: Skin::Squares,
        wide: 0.06,
        tall: 1.0,
        motion: Motion::Straight(0.3),
        stops: 0.0,
        flicker: 0.0,
        ageing: 0.0,
        growth: 0.0,
        passed: 0,
        passing: 0,
        others: 0,
        away: None,
        noise: 2.0,
    };
}

/// A scene's still, and where its thing is in it.
pub(super) struct Truth {
    pub(super) area: Rect,
    /// How much of it is seen, from 0 to 1.
    pub(super) seen: f64,
}

fn hash(seed: u64, x: i64, y: i64) -> f64 {
    let mut value =
        seed ^ (x as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (y as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f);
    value ^= value >> 31;
    value = value.wrapping_mul(0xbf58_476d_1ce4_e5b9);
    value ^= value >> 27;
    value = value.wrapping_mul(0x94d0_49bb_1331_11eb);
    value ^= value >> 31;
    (value >> 11) as f64 / (1_u64 << 53) as f64
}

fn soft(seed: u64, x: f64, y: f64) -> f64 {
    let (left, top) = (x.floor(), y.floor());
    let ease = |u: f64| u * u * (3.0 - 2.0 * u);
    let (u, v) = (ease(x - left), ease(y - top));
    let at = |dx: i64, dy: i64| hash(seed, left as i64 + dx, top as i64 + dy);
    let above = at(0, 0) + (at(1, 0) - at(0, 0)) * u;
    let below = at(0, 1) + (at(1, 1) - at(0, 1)) * u;
    above + (below - above) * v
}

impl Skin {
    /// Linear light, 0 to 1, at a place of a box (`x` and `y` in units of its width).
    fn light(self, seed: u64, x: f64, y: f64, tall: f64) -> f64 {
        let tint = hash(seed, 77, 3);
        match self {
            Self::Clouds(octaves) => {
                let (mut sum, mut most, mut weight, mut fine) = (0.0, 0.0, 1.0, 3.0);
                for octave in 0..octaves {
                    sum += weight * soft(seed + u64::from(octave), x * fine, y * fine);
                    most += weight;
                    weight *= 0.65;
                    fine *= 2.0;
                }
                0.08 + 0.5 * (sum / most - 0.2).max(0.0)
            }
            Self::Squares => 0.05 + 0.55 * hash(seed, (x * 5.0).floor() as i64, (y * 5.0).floor() as i64),
            Self::Stripes => {
                let along = x * (3.0 + 3.0 * tint) + y * (2.0 + tint);
                0.12 + 0.3 * (along.fract().abs() * 2.0 - 1.0).abs() + 0.1 * soft(seed, x * 2.0, y * 2.0)
            }
            Self::Dots => {
                let (column, row) = ((x * 4.0).floor(), (y * 4.0).floor());
                let at = Point::new(column + 0.3 + 0.4 * hash(seed, column as i64, row as i64), row + 0.5);
                let near =
                    at.distance(Point::new(x * 4.0, y * 4.0)) < 0.15 + 0.3 * hash(seed ^ 5, column as i64, row as i64);
                if near { 0.5 } else { 0.1 + 0.1 * tint }
            }
            Self::Figure => {
                let down = y / tall;
                if down < 0.2 {
                    0.3 + 0.1 * tint
                } else if down < 0.6 {
                    0.05 + 0.45 * hash(seed, 1, 1) + 0.08 * soft(seed, x * 5.0, y * 5.0)
                } else {
                    0.04 + 0.3 * hash(seed, 2, 2) + 0.05 * soft(seed, x * 6.0, y * 6.0)
                }
            }
        }
    }

    /// Whether a place of the box, from 0 to 1 each way, is the thing's.
    fn is_in(self, u: f64, v: f64) -> bool {
        match self {
            Self::Figure => {
                let wide = if v < 0.2 {
                    0.22
                } else if v < 0.6 {
                    0.5
                } else {
                    0.38
                };
                (u - 0.5).abs() <= wide
            }
            Self::Clouds(_) | Self::Dots => (u - 0.5).hypot(v - 0.5) <= 0.52,
            Self::Squares | Self::Stripes => true,
        }
    }
}

struct Random(u64, i64);

impl Random {
    fn next(&mut self) -> f64 {
        self.1 += 1;
        hash(self.0, self.1, 99)
    }
}

impl Scene {
    /// Where the thing is, still by still.
    pub(super) fn path(&self) -> Vec<Rect> {
        let mut random = Random(self.seed ^ 0xabcd, 0);
        let (width, height) = (self.size.0 as f64, self.size.1 as f64);
        let (wide, high) = (self.wide * width, self.wide * width * self.tall);
        let mut at = Point::new(width * (0.3 + 0.4 * random.next()), height * (0.3 + 0.4 * random.next()));
        let mut angle = random.next() * std::f64::consts::TAU;
        let side = wide.min(high);
        let mut boxes = Vec::new();
        for still in 0..self.stills {
            let part = still as f64 / self.stills as f64;
            let grown = 1.0 + self.growth * part;
            let (own_wide, own_high) = (wide * grown, high * grown);
            if still > 0 {
                match self.motion {
                    Motion::Straight(speed) => at += Vec2::from_angle(angle) * side * speed,
                    Motion::Restless(speed) => {
                        angle = random.next() * std::f64::consts::TAU;
                        at += Vec2::from_angle(angle) * side * speed * random.next();
                    }
                    Motion::Round(speed) => {
                        angle += 0.12;
                        at += Vec2::from_angle(angle) * side * speed;
                    }
                    Motion::Halting(speed) => {
                        if (still / 9) % 2 == 0 {
                            at += Vec2::from_angle(angle) * side * speed;
                        } else if still % 9 == 0 {
                            angle = random.next() * std::f64::consts::TAU;
                        }
                    }
                }
                let (low_x, low_y) = (own_wide / 2.0, own_high / 2.0);
                if at.x < low_x || at.x > width - low_x {
                    angle = std::f64::consts::PI - angle;
                    at.x = at.x.clamp(low_x, width - low_x);
                }
                if at.y < low_y || at.y > height - low_y {
                    angle = -angle;
                    at.y = at.y.clamp(low_y, height - low_y);
                }
            }
            boxes.push(Rect::from_center_size(at, (own_wide, own_high)));
        }
        if let Some((from, to)) = self.away {
            // It leaves at the nearer side, half a box a still, and comes back so.
            let outside = |area: Rect, left: bool, steps: f64| {
                let far = steps * 0.5 * wide;
                let x = if left { -far - area.width() / 2.0 + wide / 2.0 } else { width + far - wide / 2.0 };
                Rect::from_center_size((x, area.center().y), area.size())
            };
            let left = boxes[from].center().x < width / 2.0;
            let gate = boxes[from];
            for (still, area) in boxes.iter_mut().enumerate() {
                let before = (from as f64 - still as f64).max(0.0);
                let after = (still as f64 - to as f64).max(0.0);
                let edge = |steps: f64| {
                    if left { wide / 2.0 + 0.45 * wide * steps } else { width - wide / 2.0 - 0.45 * wide * steps }
                };
                let walk = ((width / 2.0) / (0.45 * wide)).floor();
                if still < from && before < walk {
                    *area = Rect::from_center_size((edge(before), gate.center().y), area.size());
                } else if still >= from && still < to {
                    let depth = ((still - from + 1).min(to - still)) as f64;
                    *area = outside(gate, left, depth.min(6.0));
                } else if still >= to {
                    let steps = after % (2.0 * walk);
                    let steps = if steps > walk { 2.0 * walk - steps } else { steps };
                    *area = Rect::from_center_size((edge(steps), gate.center().y), area.size());
                } else if still < from {
                    *area = Rect::from_center_size((edge(walk), gate.center().y), area.size());
                }
            }
        }
        boxes
    }

    /// What covers it in a still: boxes with the seeds of what they show.
    fn in_front(&self, path: &[Rect], still: usize) -> Vec<(Rect, u64)> {
        let mut found = Vec::new();
        for pass in 0..self.passed {
            let begin = (pass + 1) * self.stills / (self.passed + 1);
            let steps = self.passing + 4;
            if still < begin || still >= begin + steps {
                continue;
            }
            let middle = path[(begin + steps / 2).min(path.len() - 1)];
            let (wide, high) = (middle.width() * 2.2, middle.height() * 1.6);
            let along = (still - begin) as f64 - (steps as f64 - 1.0) / 2.0;
            let pace = (wide + middle.width()) / self.passing.max(1) as f64 * 0.8;
            let centre = middle.center() + Vec2::new(along * pace, 0.0);
            found.push((Rect::from_center_size(centre, (wide, high)), self.seed ^ (0x77 + pass as u64)));
        }
        found
    }

    fn others(&self, path: &[Rect], still: usize) -> Vec<(Rect, u64)> {
        (0..self.others)
            .map(|other| {
                let twin = Self { seed: self.seed ^ (0x1000 + other as u64), away: None, others: 0, ..*self };
                let size = path[still].size();
                (Rect::from_center_size(twin.path()[still].center(), size), twin.seed)
            })
            .collect()
    }

    /// A still, and the truth of it.
    pub(super) fn still(&self, path: &[Rect], still: usize) -> (Small, Truth) {
        let (codes, truth) = self.codes(path, still);
        (Small::grey(&codes, self.size.0, self.size.0, self.size.1), truth)
    }

    /// The ground, drawn once.
    fn ground_light(&self) -> Rc<Vec<f64>> {
        thread_local!(static KNOWN: RefCell<Option<(u64, Rc<Vec<f64>>)>> = const { RefCell::new(None) });
        KNOWN.with_borrow_mut(|known| match known {
            Some((seed, ground)) if *seed == self.seed => Rc::clone(ground),
            _ => {
                let place = |at: usize| ((at % self.size.0) as f64 + 0.5, (at / self.size.0) as f64 + 0.5);
                let light = |at: usize| {
                    let (x, y) = place(at);
                    self.ground.light(self.seed ^ 0x33, x / 200.0, y / 200.0, 1.0)
                };
                let ground = Rc::new((0..self.size.0 * self.size.1).map(light).collect::<Vec<f64>>());
                *known = Some((self.seed, Rc::clone(&ground)));
                ground
            }
        })
    }

    pub(super) fn codes(&self, path: &[Rect], still: usize) -> (Vec<u8>, Truth) {
        let (width, height) = self.size;
        let area = path[still];
        let part = still as f64 / self.stills as f64;
        let mut random = Random(self.seed ^ 0x5151, still as i64 * 16);
        let stops = self.stops * 0.5 * (part * 9.0).sin() + self.flicker * (random.next() - 0.5);
        let gain = stops.exp2();
        let (fronts, others) = (self.in_front(path, still), self.others(path, still));
        let mut codes = Vec::with_capacity(width * height);
        let ground = self.ground_light();
        let (mut of_it, mut shown) = (0_u32, 0_u32);
        let inside = |area: &Rect, x: f64, y: f64| area.contains((x, y));
        let mut scan = |x: f64, y: f64| {
            let mut light = ground[y as usize * width + x as usize];
            for (other, seed) in &others {
                if inside(other, x, y) {
                    let (u, v) = ((x - other.x0) / other.width(), (y - other.y0) / other.height());
                    if self.thing.is_in(u, v) {
                        light = self.thing.light(*seed, u, v * self.tall, self.tall);
                    }
                }
            }
            let (u, v) = ((x - area.x0) / area.width(), (y - area.y0) / area.height());
            let is_it = inside(&area, x, y) && self.thing.is_in(u, v);
            if is_it {
                let young = self.thing.light(self.seed, u, v * self.tall, self.tall);
                let old = self.thing.light(self.seed ^ 0x99, u, v * self.tall, self.tall);
                light = young + (old - young) * self.ageing * part;
            }
            let mut is_covered = false;
            for (front, seed) in &fronts {
                if inside(front, x, y) {
                    light = Skin::Clouds(4).light(*seed, (x - front.x0) / 60.0, (y - front.y0) / 60.0, 1.0);
                    is_covered = true;
                }
            }
            if is_it {
                of_it += 1;
                shown += u32::from(!is_covered);
            }
            light
        };
        for row in 0..height {
            for column in 0..width {
                let light = scan(column as f64 + 0.5, row as f64 + 0.5);
                let code = 255.0 * (light * gain).clamp(0.0, 1.0).powf(1.0 / 2.2);
                let noise = (hash(self.seed ^ still as u64, column as i64, row as i64)
                    + hash(self.seed ^ still as u64, -(column as i64) - 9, row as i64)
                    - 1.0)
                    * 2.45
                    * self.noise;
                codes.push((code + noise).clamp(0.0, 255.0) as u8);
            }
        }
        let whole = area.area();
        let in_picture = area.intersect(Rect::new(0.0, 0.0, width as f64, height as f64)).area().max(0.0) / whole;
        let uncovered = if of_it == 0 { 0.0 } else { f64::from(shown) / f64::from(of_it) };
        (codes, Truth { area, seen: in_picture * uncovered })
    }
}

/// What came of a scene.
#[derive(Debug, Clone, Default)]
pub(super) struct Score {
    /// Mean overlap where it is visible.
    pub(super) overlap: f64,
    pub(super) visible: usize,
    /// Visible, and said to be seen somewhere else.
    pub(super) astray: Vec<usize>,
    /// The longest run of stills in which it is said to be seen but is hidden.
    pub(super) late: usize,
    /// Visible, and said to be lost.
    pub(super) lost: Vec<usize>,
}

/// A box over another: their common part over what either has.
pub(super) fn overlap(one: Rect, two: Rect) -> f64 {
    let common = one.intersect(two);
    let common = if common.x1 > common.x0 && common.y1 > common.y0 { common.area() } else { 0.0 };
    common / (one.area() + two.area() - common)
}

pub(super) fn score<'a>(truths: impl Iterator<Item = &'a Truth>, sights: &[Sight]) -> Score {
    let mut score = Score::default();
    let mut hidden = 0;
    for (still, (truth, sight)) in truths.zip(sights).enumerate() {
        let covers = overlap(truth.area, sight.area);
        if truth.seen >= 0.6 {
            score.visible += 1;
            score.overlap += covers;
            if sight.state == State::Lost {
                score.lost.push(still);
            } else if covers < 0.1 {
                score.astray.push(still);
            }
        }
        hidden = if truth.seen < 0.2 && sight.state == State::Seen { hidden + 1 } else { 0 };
        score.late = score.late.max(hidden);
    }
    score.overlap /= score.visible.max(1) as f64;
    score
}

/// Scenes to tune on.
pub(super) fn tuning() -> Vec<(&'static str, Scene)> {
    let of = Scene::PLAIN;
    vec![
        ("plain", of),
        ("small", Scene { seed: 2, wide: 0.03, motion: Motion::Straight(0.5), ..of }),
        ("large", Scene { seed: 3, wide: 0.12, motion: Motion::Straight(0.5), thing: Skin::Clouds(4), ..of }),
        ("restless", Scene { seed: 4, motion: Motion::Restless(0.5), thing: Skin::Dots, ..of }),
        ("round", Scene { seed: 5, motion: Motion::Round(0.5), stops: 1.0, flicker: 0.1, ..of }),
        ("figure", Scene { seed: 6, wide: 0.04, tall: 2.5, thing: Skin::Figure, motion: Motion::Straight(0.5), ..of }),
        (
            "figure, light",
            Scene {
                seed: 7,
                wide: 0.035,
                tall: 2.5,
                thing: Skin::Figure,
                motion: Motion::Halting(0.4),
                stops: 1.0,
                flicker: 0.2,
                ..of
            },
        ),
        ("passed", Scene { seed: 8, passed: 3, passing: 4, motion: Motion::Straight(0.3), ..of }),
        (
            "passed, figure",
            Scene {
                seed: 9,
                passed: 3,
                passing: 4,
                wide: 0.04,
                tall: 2.2,
                thing: Skin::Figure,
                motion: Motion::Straight(0.4),
                others: 3,
                ..of
            },
        ),
        ("away", Scene { seed: 10, away: Some((30, 50)), ..of }),
        ("away, dots", Scene { seed: 11, away: Some((30, 45)), thing: Skin::Dots, wide: 0.05, stops: 0.6, ..of }),
        ("ageing", Scene { seed: 12, stills: 200, ageing: 1.0, motion: Motion::Round(0.3), ..of }),
        (
            "growing",
            Scene { seed: 13, stills: 120, growth: 0.8, motion: Motion::Straight(0.4), thing: Skin::Clouds(4), ..of },
        ),
        (
            "crowd",
            Scene {
                seed: 14,
                others: 8,
                motion: Motion::Straight(0.4),
                thing: Skin::Figure,
                wide: 0.035,
                tall: 2.2,
                ..of
            },
        ),
        ("stripes", Scene { seed: 15, thing: Skin::Stripes, motion: Motion::Halting(0.5), ground: Skin::Dots, ..of }),
        (
            "busy ground",
            Scene {
                seed: 16,
                thing: Skin::Clouds(4),
                ground: Skin::Squares,
                motion: Motion::Straight(0.5),
                wide: 0.05,
                ..of
            },
        ),
    ]
}

/// Scenes to judge by: other grounds, things, sizes and motions, none of which anything was tuned on.
pub(super) fn judging() -> Vec<(&'static str, Scene)> {
    let of = Scene { size: (600, 420), noise: 3.0, ..Scene::PLAIN };
    vec![
        (
            "dots over squares",
            Scene { seed: 101, thing: Skin::Dots, ground: Skin::Squares, wide: 0.08, motion: Motion::Round(0.4), ..of },
        ),
        (
            "small clouds",
            Scene {
                seed: 102,
                thing: Skin::Clouds(3),
                ground: Skin::Dots,
                wide: 0.035,
                motion: Motion::Halting(0.5),
                stops: 0.8,
                ..of
            },
        ),
        (
            "large stripes",
            Scene {
                seed: 103,
                thing: Skin::Stripes,
                wide: 0.11,
                tall: 0.7,
                motion: Motion::Restless(0.5),
                stops: 1.0,
                flicker: 0.15,
                ..of
            },
        ),
        (
            "tall figure",
            Scene {
                seed: 104,
                thing: Skin::Figure,
                ground: Skin::Clouds(3),
                wide: 0.03,
                tall: 2.8,
                motion: Motion::Restless(0.4),
                ..of
            },
        ),
        (
            "long",
            Scene {
                seed: 105,
                stills: 200,
                ageing: 0.8,
                growth: 0.3,
                thing: Skin::Clouds(4),
                wide: 0.07,
                motion: Motion::Round(0.25),
                stops: 1.0,
                ..of
            },
        ),
        (
            "passed twice",
            Scene {
                seed: 106,
                passed: 2,
                passing: 5,
                thing: Skin::Dots,
                wide: 0.06,
                motion: Motion::Straight(0.35),
                ..of
            },
        ),
        (
            "passed in a crowd",
            Scene {
                seed: 107,
                passed: 2,
                passing: 3,
                others: 4,
                thing: Skin::Clouds(4),
                wide: 0.05,
                tall: 1.3,
                motion: Motion::Halting(0.4),
                ..of
            },
        ),
        (
            "away and back",
            Scene {
                seed: 108,
                stills: 90,
                away: Some((40, 55)),
                thing: Skin::Stripes,
                ground: Skin::Squares,
                wide: 0.07,
                ..of
            },
        ),
        (
            "figure away",
            Scene {
                seed: 109,
                stills: 70,
                away: Some((25, 50)),
                thing: Skin::Figure,
                wide: 0.045,
                tall: 2.0,
                flicker: 0.2,
                ..of
            },
        ),
        (
            "short",
            Scene {
                seed: 110,
                stills: 40,
                thing: Skin::Squares,
                ground: Skin::Dots,
                wide: 0.04,
                motion: Motion::Straight(0.5),
                flicker: 0.5,
                ..of
            },
        ),
    ]
}
