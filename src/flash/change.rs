//! The changes of each cell: from a peak to the next valley, and back.

use std::ops::Range;

use super::means::Cells;

/// Rounding of means in single precision, relative to the scale they are on.
const ROUNDING: f32 = 1e-6;

/// Cells that are looked at together.
const BLOCK: usize = 64;

/// Follows the light of every cell along its peaks and valleys.
#[derive(Debug)]
pub(super) struct Ridges {
    least: f32,
    darker: f32,
    /// The lowest since the last change downwards, and the highest since the last one upwards.
    low: Vec<f32>,
    high: Vec<f32>,
    /// The last change: 1 up, -1 down, 0 none yet.
    way: Vec<i8>,
}

impl Ridges {
    /// Changes by `least` or more count where the darker state is below `darker`.
    pub(super) fn new(least: f32, darker: f32) -> Self {
        let rounding = ROUNDING * darker.max(1.0);
        let (least, darker) = (least - rounding, darker - rounding);
        Self { least, darker, low: Vec::new(), high: Vec::new(), way: Vec::new() }
    }

    /// Takes the next frame's light; the changes that it ends go into `changes`, 1 up and -1 down. Whether there is one.
    pub(super) fn step(&mut self, light: &[f32], changes: &mut [i8]) -> bool {
        if self.way.is_empty() {
            (self.low, self.high, self.way) = (light.to_vec(), light.to_vec(), vec![0; light.len()]);
            return false;
        }
        let (least, darker) = (self.least, self.darker);
        let turns = |light: f32, low: f32, high: f32, way: i8| {
            (
                u8::from(light - low >= least) & u8::from(low < darker) & u8::from(way != 1),
                u8::from(high - light >= least) & u8::from(light < darker) & u8::from(way != -1),
            )
        };
        let mut any = false;
        let state = self.low.chunks_mut(BLOCK).zip(self.high.chunks_mut(BLOCK)).zip(self.way.chunks_mut(BLOCK));
        for ((light, changes), ((lows, highs), ways)) in light.chunks(BLOCK).zip(changes.chunks_mut(BLOCK)).zip(state) {
            let all = light.iter().zip(&*lows).zip(&*highs).zip(&*ways);
            let turned = all.fold(0, |turned, (((light, low), high), way)| {
                let (up, down) = turns(*light, *low, *high, *way);
                turned | up | down
            });
            // Most cells of most frames go on as they went.
            if turned == 0 {
                changes.fill(0);
                lows.iter_mut().zip(light).for_each(|(low, light)| *low = low.min(*light));
                highs.iter_mut().zip(light).for_each(|(high, light)| *high = high.max(*light));
                continue;
            }
            any = true;
            let state = lows.iter_mut().zip(highs).zip(ways);
            for ((light, changed), ((low, high), way)) in light.iter().zip(changes).zip(state) {
                let (up, down) = turns(*light, *low, *high, *way);
                // Never both at once but for what follows no change yet: then the later of the two is the change.
                if up | down == 0 {
                    *changed = 0;
                    *low = low.min(*light);
                    *high = high.max(*light);
                    continue;
                }
                let to = if up == 1 { 1 } else { -1 };
                (*changed, *way, *low, *high) = (to, to, *light, *light);
            }
        }
        any
    }
}

/// Below this sum of R, G and B there is no colour to be told.
const BLACK: f32 = 0.01;
/// From this share of red in R + G + B on a colour is a saturated red (WCAG 2.2).
const RED: f32 = 0.8;
/// What two states have to be apart by more than, in u', v' (WCAG 2.2).
const APART: f32 = 0.2;

/// A colour in linear light, as red, green, and the sum of all three.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Hue {
    red: f32,
    green: f32,
    sum: f32,
}

impl Hue {
    /// Black is taken for grey.
    fn of(red: f32, green: f32, blue: f32) -> Self {
        let sum = red + green + blue;
        if sum < BLACK { Self { red: 1.0, green: 1.0, sum: 3.0 } } else { Self { red, green, sum } }
    }

    fn is_red(self) -> bool {
        self.red >= (RED - ROUNDING) * self.sum
    }

    /// Whether red has a larger share in it than in another.
    fn is_redder_than(self, other: Self) -> bool {
        self.red * other.sum > other.red * self.sum
    }

    /// CIE 1976 u', v'; matrix of IEC 61966-2-1.
    fn uv(self) -> (f32, f32) {
        let (red, green, blue) = (self.red, self.green, self.sum - self.red - self.green);
        let x = 0.412_456_4 * red + 0.357_576_1 * green + 0.180_437_5 * blue;
        let y = 0.212_672_9 * red + 0.715_152_2 * green + 0.072_175 * blue;
        let z = 0.019_333_9 * red + 0.119_192 * green + 0.950_304_1 * blue;
        let all = x + 15.0 * y + 3.0 * z;
        (4.0 * x / all, 9.0 * y / all)
    }

    fn is_far_from(self, other: Self) -> bool {
        let (one, other) = (self.uv(), other.uv());
        let (u, v) = (one.0 - other.0, one.1 - other.1);
        u * u + v * v > APART * APART
    }
}

/// Follows the colour of every cell to red and back.
#[derive(Debug, Default)]
pub(super) struct Hues {
    /// By cell, since its last change: away from red the least red state, towards red the reddest. Red, green, the sum.
    red: Vec<f32>,
    green: Vec<f32>,
    sum: Vec<f32>,
    /// 1 where the last change was towards red, or the first state is red.
    way: Vec<i8>,
    /// The changes of the last frame.
    last: Vec<i8>,
    any: bool,
}

impl Hues {
    /// Takes the next frame's colours; as [`Ridges::step`], 1 towards red and -1 away.
    pub(super) fn step(&mut self, cells: &Cells, changes: &mut [i8]) -> bool {
        if self.way.is_empty() {
            let hues = cells.red.iter().zip(&cells.green).zip(&cells.blue);
            for ((red, green), blue) in hues {
                let hue = Hue::of(*red, *green, *blue);
                self.red.push(hue.red);
                self.green.push(hue.green);
                self.sum.push(hue.sum);
                self.way.push(if hue.is_red() { 1 } else { -1 });
            }
            self.last = vec![0; self.way.len()];
            return false;
        }
        if self.any {
            self.last.fill(0);
        }
        self.any = false;
        for from in (0..self.way.len()).step_by(BLOCK) {
            let until = (from + BLOCK).min(self.way.len());
            if self.is_calm(cells, from..until) {
                self.go_on(cells, from..until);
            } else {
                (from..until).for_each(|cell| self.cell(cells, cell));
            }
        }
        self.again(changes)
    }

    /// Whether none of these cells is a saturated red, nor was: then none changes.
    fn is_calm(&self, cells: &Cells, range: Range<usize>) -> bool {
        let now = cells.red[range.clone()].iter().zip(&cells.green[range.clone()]).zip(&cells.blue[range.clone()]);
        let before = self.red[range.clone()].iter().zip(&self.sum[range]);
        let red = now.zip(before).fold(0_u8, |any, (((red, green), blue), (was_red, was_sum))| {
            let hue = Hue::of(*red, *green, *blue);
            any | u8::from(hue.is_red()) | u8::from(*was_red >= (RED - ROUNDING) * was_sum)
        });
        red == 0
    }

    /// Takes note of calm cells that go on the way they went.
    fn go_on(&mut self, cells: &Cells, range: Range<usize>) {
        let now = cells.red[range.clone()].iter().zip(&cells.green[range.clone()]).zip(&cells.blue[range.clone()]);
        let state = self.red[range.clone()].iter_mut().zip(&mut self.green[range.clone()]);
        let state = state.zip(&mut self.sum[range.clone()]).zip(&self.way[range]);
        for (((red, green), blue), (((was_red, was_green), was_sum), way)) in now.zip(state) {
            let hue = Hue::of(*red, *green, *blue);
            let (one, other) = (hue.red * *was_sum, *was_red * hue.sum);
            let onwards = if *way > 0 { one > other } else { other > one };
            *was_red = if onwards { hue.red } else { *was_red };
            *was_green = if onwards { hue.green } else { *was_green };
            *was_sum = if onwards { hue.sum } else { *was_sum };
        }
    }

    fn cell(&mut self, cells: &Cells, cell: usize) {
        let hue = Hue::of(cells.red[cell], cells.green[cell], cells.blue[cell]);
        let extreme = Hue { red: self.red[cell], green: self.green[cell], sum: self.sum[cell] };
        let way = self.way[cell];
        let onwards = if way > 0 { hue.is_redder_than(extreme) } else { extreme.is_redder_than(hue) };
        if !onwards {
            if !((hue.is_red() || extreme.is_red()) && hue.is_far_from(extreme)) {
                return;
            }
            (self.way[cell], self.last[cell]) = (-way, -way);
            self.any = true;
        }
        (self.red[cell], self.green[cell], self.sum[cell]) = (hue.red, hue.green, hue.sum);
    }

    /// The last frame's changes once more.
    pub(super) fn again(&self, changes: &mut [i8]) -> bool {
        if self.any {
            changes.copy_from_slice(&self.last);
        }
        self.any
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // CIE 1976 u' = 4X / (X + 15Y + 3Z), v' = 9Y / (X + 15Y + 3Z), with the sRGB primaries of IEC 61966-2-1, worked out
    // by hand from the matrix.
    #[test]
    fn colours_lie_where_the_cie_says() {
        let near = |hue: Hue, u: f32, v: f32| {
            let seen = hue.uv();
            assert!((seen.0 - u).abs() < 2e-5 && (seen.1 - v).abs() < 2e-5, "{seen:?}, expected {u}, {v}");
        };
        near(Hue::of(1.0, 1.0, 1.0), 0.197_830, 0.468_320);
        near(Hue::of(1.0, 0.0, 0.0), 0.450_704, 0.522_887);
        near(Hue::of(0.0, 1.0, 0.0), 0.125, 0.5625);
        near(Hue::of(0.0, 0.0, 1.0), 0.175_439, 0.157_895);
        near(Hue::of(0.0, 0.0, 0.0), 0.197_830, 0.468_320);
    }
}
