//! Hot and stuck pixels: points of one pixel, alone on even ground, in the same place in every still.

#![expect(clippy::cast_possible_truncation, reason = "places in a picture")]

use super::Luma;

/// Minimum contrast of a point with its ground where it is first seen, in codes, …
const FIRST: f64 = 24.0;
/// … and where it is seen again, if it is bright enough.
const AGAIN: f64 = 12.0;
/// Beside it no more is left of it than this share (the mean that fills in a mosaic's colours leaves a half), …
const BESIDE: f64 = 0.6;
/// … and two pixels off no more than this: the skirt of a point that a lens draws is wider.
const AROUND: f64 = 0.25;
/// Pixels on each side that have to be even, and how far they may lie from the middle one in the mean, as a share of
/// the point.
const GROUND: usize = 7;
const EVEN: f64 = 0.125;
/// Ground from this code on leaves no room to stand out.
const BRIGHT: u8 = 190;
/// A point is hot if at least this many stills show it, and at most this share of those that could show it do not.
const SHOWN: u32 = 3;
const MISSED: f64 = 0.15;
/// Maximum number of first sightings; more are a texture.
const FOLLOWED: usize = 50_000;

/// What one still says of a place.
#[derive(Clone, Copy, PartialEq)]
enum Says {
    /// A point stands out: its ground's code, and how many codes more it has.
    Point(u8, f64),
    /// There would be room for one to be seen.
    None,
    /// Nothing can be told.
    Nothing,
}

struct Point {
    x: usize,
    y: usize,
    /// What it adds to light.
    light: f64,
    shown: u32,
    missed: u32,
}

/// Takes stills one after the other, the darkest first.
#[derive(Default)]
pub(super) struct Points {
    size: Option<[usize; 2]>,
    points: Vec<Point>,
}

impl Points {
    pub(super) fn take(&mut self, luma: &Luma) {
        let size = [luma.width, luma.height];
        match self.size {
            None => {
                self.size = Some(size);
                self.points = first(luma);
            }
            Some(known) if known == size => {
                for point in &mut self.points {
                    let says = says(luma, point.x, point.y, &|ground| expected(ground, point.light));
                    point.shown += u32::from(matches!(says, Says::Point(..)));
                    point.missed += u32::from(says == Says::None);
                }
            }
            Some(_) => {}
        }
    }

    /// Where hot pixels are, x and y, row by row.
    pub(super) fn finish(self) -> Vec<[u32; 2]> {
        let hot = |point: &&Point| point.shown >= SHOWN && f64::from(point.missed) <= MISSED * f64::from(point.shown);
        self.points.iter().filter(hot).map(|point| [point.x as u32, point.y as u32]).collect()
    }
}

fn first(luma: &Luma) -> Vec<Point> {
    let Luma { width, height, codes } = luma;
    let mut points = Vec::new();
    for y in 2..height.saturating_sub(2) {
        let row = |y: usize| &codes[y * width..(y + 1) * width];
        let (above, this, below) = (row(y - 2), row(y), row(y + 2));
        for x in 2..width.saturating_sub(2) {
            let stands_out = |other: u8| this[x] >= other.saturating_add(FIRST as u8 / 2);
            if !(stands_out(this[x - 2]) && stands_out(this[x + 2]) && stands_out(above[x]) && stands_out(below[x])) {
                continue;
            }
            if let Says::Point(ground, more) = says(luma, x, y, &|_| FIRST) {
                points.push(Point {
                    x,
                    y,
                    light: light(f64::from(ground) + more) - light(f64::from(ground)),
                    shown: 1,
                    missed: 0,
                });
                if points.len() > FOLLOWED {
                    return Vec::new();
                }
            }
        }
    }
    points
}

/// What a still says of a place, where a point of `due` codes over its ground is expected.
fn says(luma: &Luma, x: usize, y: usize, due: &dyn Fn(u8) -> f64) -> Says {
    let Luma { width, height, codes } = luma;
    if x < 2 || y < 2 || x + 2 >= *width || y + 2 >= *height {
        return Says::Nothing;
    }
    let code = |x: usize, y: usize| codes[y * width + x];
    let square = |side: usize| (y - side..=y + side).flat_map(move |y| (x - side..=x + side).map(move |x| (x, y)));
    let far = |(to_x, to_y): &(usize, usize)| to_x.abs_diff(x).max(to_y.abs_diff(y));
    let mut ring: Vec<u8> = square(2).filter(|at| far(at) == 2).map(|(x, y)| code(x, y)).collect();
    ring.sort_unstable();
    let (ground, brightest) = (ring[ring.len() / 2], ring[ring.len() - 1]);
    let due = due(ground);
    let (mut apart, mut count) = (0.0, 0.0);
    for to_y in y.saturating_sub(GROUND)..(y + GROUND + 1).min(*height) {
        for to_x in x.saturating_sub(GROUND)..(x + GROUND + 1).min(*width) {
            if far(&(to_x, to_y)) >= 2 {
                apart += f64::from(code(to_x, to_y).abs_diff(ground));
                count += 1.0;
            }
        }
    }
    let uneven = apart / count;
    if ground >= BRIGHT || due < AGAIN || uneven > EVEN * due {
        return Says::Nothing;
    }
    let over = |code: u8| f64::from(code) - f64::from(ground);
    let more = over(code(x, y));
    let beside = square(1).filter(|at| far(at) == 1).map(|(x, y)| over(code(x, y))).fold(0.0, f64::max);
    let is_point = more >= due / 2.0 && more >= AGAIN && beside <= BESIDE * more && over(brightest) <= AROUND * more;
    if is_point && (due > FIRST || more >= due) { Says::Point(ground, more) } else { Says::None }
}

/// How many codes a ground rises by where some light is added.
fn expected(ground: u8, added: f64) -> f64 {
    let ground = f64::from(ground);
    255.0 * (light(ground) + added).min(1.0).powf(1.0 / 2.2) - ground
}

/// Light of a code by the power that sRGB's curve comes near.
fn light(code: f64) -> f64 {
    (code / 255.0).powf(2.2)
}
