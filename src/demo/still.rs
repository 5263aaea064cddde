//! Puts one still together, a row at a time in linear light: sky, far shore, pier, water, what moves, near quay, lamps'
//! glow.

use tiny_skia::{IntSize, Pixmap};

use super::craft;
use super::lamps::{Lamp, Pane, glow, lamps, panes};
use super::layer::Layer;
use super::noise::{channels, mix, step};
use super::sky::{Clouds, Sky};
use super::water::{self, Ripples};
use super::world::{CORNER, Camera, DECK, HORIZON, Light, Moment, SHORE, VANISHING, World, waterline};
use super::{pier, quayside, shore};
use crate::units::Size;

/// The water's mirror is kept at this share of the still's grid: ripples blur it further.
const SHRINK: usize = 2;

/// What one camera position sees that never moves.
#[derive(Debug)]
pub(super) struct Scenery {
    pub(super) camera: Camera,
    shore: Layer,
    pier: Layer,
    quay: [Layer; 2],
}

impl Scenery {
    pub(super) fn new(size: Size, offset: (f64, f64)) -> Self {
        let camera = Camera::new(size, offset);
        Self { camera, shore: shore::draw(camera), pier: pier::draw(camera), quay: quayside::draw(camera) }
    }
}

/// What all stills of a shoot share.
#[derive(Debug)]
pub(super) struct Setting {
    pub(super) world: World,
    before: Scenery,
    after: Scenery,
    ripples: Ripples,
    clouds: Clouds,
    codes: Vec<u16>,
}

/// Steps of the table from the root of linear light to sRGB.
const CODES: usize = 4096;

impl Setting {
    /// Draws everything that stands still, on two threads where there are two.
    pub(super) fn new(world: World, size: Size, threads: usize) -> Self {
        let (before, after) = if threads > 1 {
            std::thread::scope(|scope| {
                let before = scope.spawn(|| Scenery::new(size, (0.0, 0.0)));
                let after = Scenery::new(size, world.bump);
                (before.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)), after)
            })
        } else {
            (Scenery::new(size, (0.0, 0.0)), Scenery::new(size, world.bump))
        };
        let mut chance = super::noise::Chance::new(world.seed, 4);
        let salt = chance.between(0.0, 1e6) as u32;
        let clouds = Clouds { salt, shift: chance.between(0.30, 0.42) as f32 };
        // IEC 61966-2-1, in 256ths of a code.
        let codes = (0..=CODES)
            .map(|k| {
                let v = (k as f64 / CODES as f64).powi(2);
                let code = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
                (code * 255.0 * 256.0).round() as u16
            })
            .collect();
        Self { ripples: Ripples::new(world.seed), world, before, after, clouds, codes }
    }

    fn scenery(&self, slot: u32) -> &Scenery {
        if slot >= self.world.bumped_from { &self.after } else { &self.before }
    }
}

/// What one thread draws with, kept from still to still.
#[derive(Debug)]
pub(super) struct Brush {
    size: Size,
    sky: Sky,
    surface: water::Surface,
    moving: Pixmap,
    mirror: Pixmap,
    mirrored: Vec<[f32; 3]>,
    row: Vec<[f32; 3]>,
    pub(super) rgb: Vec<u8>,
}

impl Brush {
    pub(super) fn new(size: Size) -> Self {
        let pixmap = |width: u32, height: u32| {
            let size =
                IntSize::from_wh(width.max(1), height.max(1)).unwrap_or_else(|| unreachable!("at least one pixel"));
            Pixmap::new(size.width(), size.height()).unwrap_or_else(|| unreachable!("a still's size is drawable"))
        };
        let (width, height) = (size.width as usize, size.height as usize);
        Self {
            size,
            sky: Sky::new((1.0 / Camera::new(size, (0.0, 0.0)).scale) as f32),
            surface: water::Surface::new(),
            moving: pixmap(size.width, size.height),
            mirror: pixmap(size.width.div_ceil(SHRINK as u32), size.height.div_ceil(SHRINK as u32)),
            mirrored: Vec::new(),
            row: vec![[0.0; 3]; width],
            rgb: vec![0; width * height * 3],
        }
    }

    /// Draws a slot into [`Self::rgb`].
    pub(super) fn draw(&mut self, setting: &Setting, slot: u32) {
        let scenery = setting.scenery(slot);
        let camera = scenery.camera;
        let moment = setting.world.moment(slot);
        let light = moment.light();
        let lamps = lamps(&moment);
        let panes = panes(&moment);
        // What moves hides the lamps of shore and pier.
        let (behind, before): (Vec<Lamp>, Vec<Lamp>) = lamps.iter().partition(|lamp| lamp.1 <= 1.0);
        self.sky.draw(&moment, setting.clouds);
        self.moving.fill(tiny_skia::Color::TRANSPARENT);
        craft::draw(&mut self.moving, &camera, &moment);
        let first =
            (camera.pixel((0.0, waterline(SHORE, 0.0)).into()).y.floor() as i32 - 2).clamp(0, self.size.height as i32);
        self.mirror(scenery, (&moment, &light), &lamps, &panes, first);
        let exposure = setting.world.exposure(slot) as f32;
        let width = self.size.width as usize;
        let moved = Moved::new(&light);
        let grain = (1.0 / camera.scale) as f32;
        for y in 0..self.size.height as i32 {
            let left = camera.scene(0.5, f64::from(y) + 0.5);
            let (left, height) = (left.x as f32, left.y as f32);
            self.sky.row(left, grain, height, &mut self.row);
            scenery.shore.over(y, &light, &mut self.row);
            // Above the deck's front edge water lies behind the pier, below it before the pier.
            let beyond = f64::from(height) < DECK;
            if !beyond {
                scenery.pier.over(y, &light, &mut self.row);
            }
            if y >= first {
                let edges = if beyond { Edges::beyond(moment.fall) } else { Edges::new(moment.fall) };
                self.water(setting, &light, &edges, (&moment, left, height, grain), y - first);
            }
            if beyond {
                scenery.pier.over(y, &light, &mut self.row);
            }
            let from = y as usize * width;
            for lamp in &behind {
                glow(*lamp, (left, height, grain), &light, &mut self.row);
            }
            moved.over(&self.moving.pixels()[from..from + width], &mut self.row);
            for pane in &panes {
                pane.over((left, height, grain), &light, &mut self.row);
            }
            for layer in &scenery.quay {
                layer.over(y, &light, &mut self.row);
            }
            for lamp in &before {
                glow(*lamp, (left, height, grain), &light, &mut self.row);
            }
            encode(&self.row, exposure, y, &setting.codes, &mut self.rgb[from * 3..(from + width) * 3]);
        }
    }

    /// What a still surface would mirror, from row `first` of the still on.
    fn mirror(
        &mut self,
        scenery: &Scenery,
        (moment, light): (&Moment, &Light),
        lamps: &[Lamp],
        panes: &[Pane],
        first: i32,
    ) {
        let camera = scenery.camera;
        self.mirror.fill(tiny_skia::Color::TRANSPARENT);
        craft::draw_mirrored(&mut self.mirror, &camera, first as f32, SHRINK as f32, moment);
        let across = self.mirror.width() as usize;
        let down = (self.size.height as usize - first as usize).div_ceil(SHRINK) + 1;
        self.mirrored.resize(across * down, [0.0; 3]);
        let moved = Moved::new(light);
        let stride = (SHRINK as f64 / camera.scale) as f32;
        let shore = waterline(SHORE, moment.fall);
        for line in 0..down {
            let row = &mut self.mirrored[line * across..(line + 1) * across];
            let at = camera.scene(SHRINK as f64 / 2.0, f64::from(first) + (line as f64 + 0.5) * SHRINK as f64);
            self.sky.row(at.x as f32, stride, (2.0 * HORIZON - at.y) as f32, row);
            let far = camera.pixel((0.0, 2.0 * shore - at.y).into()).y.floor() as i32;
            for (k, pixel) in row.iter_mut().enumerate() {
                let x = (k * SHRINK) as i32;
                if let Some((lit, coverage)) = scenery.shore.sample(x, far, light) {
                    *pixel = channels(|i| mix(pixel[i], lit[i], coverage));
                }
                let edge = edge(at.x + k as f64 * f64::from(stride), moment.fall);
                // A little above its own edge the wall goes on, so that ripples there find stone and not sky.
                let source = camera.pixel((0.0, (2.0 * edge - at.y).min(edge - 3.0)).into()).y.floor() as i32;
                if at.y > edge - 150.0
                    && let Some((lit, coverage)) = scenery.pier.sample(x, source, light)
                {
                    *pixel = channels(|i| mix(pixel[i], lit[i], coverage));
                }
            }
            if let Some(pixels) = self.mirror.pixels().get(line * across..(line + 1) * across) {
                moved.over(pixels, row);
            }
            for pane in panes {
                pane.mirrored().over((at.x as f32, at.y as f32, stride), light, row);
            }
            for &((x, y), nearness, size, strength) in lamps {
                let lamp = ((x, 2.0 * waterline(nearness, moment.fall) as f32 - y), nearness, size, strength * 2.0);
                glow(lamp, (at.x as f32, at.y as f32, stride), light, row);
            }
        }
    }

    /// Lays water over a row, `line` rows below the mirror's first.
    fn water(
        &mut self,
        setting: &Setting,
        light: &Light,
        edges: &Edges,
        (moment, left, height, grain): (&Moment, f32, f32, f32),
        line: i32,
    ) {
        let fall = moment.fall as f32;
        let time = moment.part as f32 * setting.world.stills as f32;
        let count = self.row.len();
        let slopes = self.surface.slopes(&setting.ripples, (fall, time), (left, height, grain), count);
        let across = self.mirror.width() as usize;
        let down = self.mirrored.len() / across;
        let reach = water::reach(height) / (grain * SHRINK as f32);
        let middle = (line as f32 + 0.5) / SHRINK as f32 - 0.5;
        for (k, (pixel, slope)) in self.row.iter_mut().zip(slopes).enumerate() {
            let below = height - edges.at(left + k as f32 * grain) - slope[1] * 2.5;
            let coverage = (below / grain + 0.5).clamp(0.0, 1.0);
            if coverage <= 0.0 {
                continue;
            }
            let u = ((k as f32 + 0.5) / SHRINK as f32 - 0.5 + slope[0] * reach * 0.35).clamp(0.0, (across - 2) as f32);
            let v = (middle + slope[1] * reach).clamp(0.0, (down - 2) as f32);
            let (i, j) = (u as usize, v as usize);
            let (a, b) = (u - i as f32, v - j as f32);
            let (upper, lower) = (&self.mirrored[j * across + i..], &self.mirrored[(j + 1) * across + i..]);
            let seen = channels(|c| mix(mix(upper[0][c], upper[1][c], a), mix(lower[0][c], lower[1][c], a), b));
            let contact = 1.0 - 0.45 * (1.0 - step(0.0, 16.0, below));
            let colour = water::colour(seen, *slope, height, light);
            *pixel = channels(|c| mix(pixel[c], colour[c] * contact, coverage));
        }
    }
}

/// Where the water begins, column by column: at the far shore, along the pier's side, at its front.
struct Edges {
    shore: f32,
    front: f32,
}

impl Edges {
    fn new(fall: f64) -> Self {
        Self { shore: waterline(SHORE, fall) as f32, front: waterline(1.0, fall) as f32 }
    }

    /// As if the pier were not there.
    fn beyond(fall: f64) -> Self {
        let shore = waterline(SHORE, fall) as f32;
        Self { shore, front: f32::NEG_INFINITY }
    }

    #[inline]
    fn at(&self, x: f32) -> f32 {
        let near = (x - VANISHING as f32) / (CORNER - VANISHING) as f32;
        if near < 0.5 || self.front == f32::NEG_INFINITY {
            self.shore
        } else {
            HORIZON as f32 + (self.front - HORIZON as f32) * near.min(1.0)
        }
    }
}

fn edge(x: f64, fall: f64) -> f64 {
    f64::from(Edges::new(fall).at(x as f32))
}

/// Moving things under one light.
struct Moved {
    lit: [[f32; 3]; 256],
    gain: [f32; 3],
}

impl Moved {
    fn new(light: &Light) -> Self {
        let gain: [f32; 3] = channels(|i| light.sky[i] + 0.42 * light.sun[i] + 0.10 * light.lamp[i]);
        let lit = std::array::from_fn(|code| gain.map(|gain| (code as f32 / 255.0).powi(2) * gain));
        Self { lit, gain }
    }

    fn over(&self, pixels: &[tiny_skia::PremultipliedColorU8], row: &mut [[f32; 3]]) {
        for (pixel, moving) in row.iter_mut().zip(pixels) {
            let alpha = moving.alpha();
            let codes = [moving.red(), moving.green(), moving.blue()];
            if alpha == 255 {
                *pixel = channels(|i| self.lit[codes[i] as usize][i]);
            } else if alpha > 0 {
                let coverage = f32::from(alpha) / 255.0;
                *pixel = channels(|i| {
                    let root = f32::from(codes[i]) / f32::from(alpha);
                    mix(pixel[i], root * root * self.gain[i], coverage)
                });
            }
        }
    }
}

/// From linear light to sRGB, dithered by a pattern that stays with the sensor.
fn encode(row: &[[f32; 3]], exposure: f32, y: i32, codes: &[u16], rgb: &mut [u8]) {
    for (k, (pixel, out)) in row.iter().zip(rgb.chunks_exact_mut(3)).enumerate() {
        let mut h = (k as u32).wrapping_mul(0x9E37_79B1) ^ y.cast_unsigned().wrapping_mul(0x85EB_CA77);
        h = (h ^ (h >> 15)).wrapping_mul(0x2C1B_3C6D);
        h ^= h >> 13;
        for (c, out) in out.iter_mut().enumerate() {
            let root = (pixel[c] * exposure).clamp(0.0, 1.0).sqrt();
            let code = codes[(root * CODES as f32 + 0.5) as usize];
            let dither = (h >> (8 * c)) & 255;
            *out = ((u32::from(code) + dither) >> 8).min(255) as u8;
        }
    }
}
