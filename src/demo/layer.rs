//! What stands still in the picture, drawn once per camera position: what it is made of, not yet how it is lit.

use tiny_skia::{FillRule, Mask, Path, PathBuilder, Stroke, Transform};

use super::noise::{channels, srgb};
use super::world::{Camera, Light};

/// The surface at one point.
#[derive(Debug, Clone, Copy)]
pub(super) struct Surface {
    /// Linear share of the light given back.
    pub(super) albedo: [f32; 3],
    /// Shares, from 0 to 1, of the sun's and of the lamps' light that arrive.
    pub(super) sun: f32,
    pub(super) lamp: f32,
    /// Share of the air before it.
    pub(super) haze: f32,
    /// Light of its own, as a share of the lamps'.
    pub(super) glow: f32,
}

impl Surface {
    /// Plain paint of an sRGB colour.
    pub(super) fn paint(code: u32) -> Self {
        Self { albedo: srgb(code), sun: 0.35, lamp: 0.0, haze: 0.0, glow: 0.0 }
    }

    pub(super) fn sun(self, sun: f32) -> Self {
        Self { sun, ..self }
    }

    pub(super) fn lamp(self, lamp: f32) -> Self {
        Self { lamp, ..self }
    }

    pub(super) fn haze(self, haze: f32) -> Self {
        Self { haze, ..self }
    }

    pub(super) fn glow(self, glow: f32) -> Self {
        Self { glow, ..self }
    }

    /// The same, `gain` times as bright.
    pub(super) fn shade(self, gain: f32) -> Self {
        Self { albedo: self.albedo.map(|v| (v * gain).clamp(0.0, 1.0)), ..self }
    }
}

/// A rectangle of the still filled with surfaces. Albedo is stored as its square root in 8 bits: even steps to the eye,
/// and one product to decode.
#[derive(Debug)]
pub(super) struct Layer {
    camera: Camera,
    pub(super) left: i32,
    pub(super) top: i32,
    pub(super) width: usize,
    pub(super) height: usize,
    /// Square roots of albedo, and coverage; not premultiplied.
    colour: Vec<[u8; 4]>,
    /// Sun, lamp, haze, glow.
    material: Vec<[u8; 4]>,
}

fn byte(share: f32) -> u8 {
    (share * 255.0 + 0.5) as u8
}

impl Layer {
    /// An empty layer over a rectangle of the scene, cut at the still's edges.
    pub(super) fn new(camera: Camera, left: f64, top: f64, right: f64, bottom: f64) -> Self {
        let (from, to) = (camera.pixel((left, top).into()), camera.pixel((right, bottom).into()));
        let cut = |v: f64, limit: u32| v.clamp(0.0, f64::from(limit)) as i32;
        let (left, top) = (cut(from.x.floor(), camera.size.width), cut(from.y.floor(), camera.size.height));
        let (right, bottom) = (cut(to.x.ceil(), camera.size.width), cut(to.y.ceil(), camera.size.height));
        let (width, height) = ((right - left).unsigned_abs() as usize, (bottom - top).unsigned_abs() as usize);
        Self {
            camera,
            left,
            top,
            width,
            height,
            colour: vec![[0; 4]; width * height],
            material: vec![[0; 4]; width * height],
        }
    }

    /// Scene units a pixel.
    pub(super) fn grain(&self) -> f32 {
        (1.0 / self.camera.scale) as f32
    }

    /// Fills a path given in scene units with what `surface` says stands at each point of the scene.
    pub(super) fn fill(&mut self, path: &Path, surface: impl Fn(f32, f32) -> Surface) {
        let to_still = self.camera.transform();
        let Some(bounds) = path.bounds().transform(to_still) else { return };
        let (width, height) = (self.width as i32, self.height as i32);
        let left = ((bounds.left().floor() as i32) - self.left).clamp(0, width);
        let top = ((bounds.top().floor() as i32) - self.top).clamp(0, height);
        let right = ((bounds.right().ceil() as i32) - self.left).clamp(0, width);
        let bottom = ((bounds.bottom().ceil() as i32) - self.top).clamp(0, height);
        if right <= left || bottom <= top {
            return;
        }
        let Some(mut mask) = Mask::new((right - left).unsigned_abs(), (bottom - top).unsigned_abs()) else { return };
        let to_mask = to_still.post_translate(-(left + self.left) as f32, -(top + self.top) as f32);
        mask.fill_path(path, FillRule::Winding, true, to_mask);
        let across = (right - left).unsigned_abs() as usize;
        for (row, coverage) in (top..bottom).zip(mask.data().chunks_exact(across)) {
            for (column, &covered) in (left..right).zip(coverage) {
                if covered == 0 {
                    continue;
                }
                let at = self.camera.scene(f64::from(column + self.left) + 0.5, f64::from(row + self.top) + 0.5);
                self.put(row as usize * self.width + column as usize, covered, surface(at.x as f32, at.y as f32));
            }
        }
    }

    /// Fills the outline of a path, `width` scene units wide.
    pub(super) fn stroke(&mut self, path: &Path, width: f32, surface: impl Fn(f32, f32) -> Surface) {
        let stroke = Stroke { width, line_cap: tiny_skia::LineCap::Round, ..Stroke::default() };
        if let Some(outline) = path.stroke(&stroke, self.camera.scale as f32) {
            self.fill(&outline, surface);
        }
    }

    fn put(&mut self, index: usize, covered: u8, surface: Surface) {
        let new = surface.albedo.map(|v| byte(v.max(0.0).sqrt()));
        let material = [surface.sun, surface.lamp, surface.haze, surface.glow].map(byte);
        let over = f32::from(covered) / 255.0;
        let old_colour = &mut self.colour[index];
        let below = f32::from(old_colour[3]) / 255.0;
        let whole = over + below * (1.0 - over);
        let share = over / whole;
        let merge = |old: u8, new: u8| byte((f32::from(old) + (f32::from(new) - f32::from(old)) * share) / 255.0);
        *old_colour =
            [merge(old_colour[0], new[0]), merge(old_colour[1], new[1]), merge(old_colour[2], new[2]), byte(whole)];
        let old_material = &mut self.material[index];
        *old_material = std::array::from_fn(|i| merge(old_material[i], material[i]));
    }

    /// Lays row `y` of the still over linear light.
    pub(super) fn over(&self, y: i32, light: &Light, row: &mut [[f32; 3]]) {
        let Some(line) =
            y.checked_sub(self.top).and_then(|line| usize::try_from(line).ok()).filter(|l| *l < self.height)
        else {
            return;
        };
        let from = line * self.width;
        let (colour, material) = (&self.colour[from..from + self.width], &self.material[from..from + self.width]);
        let left = self.left.unsigned_abs() as usize;
        for ((pixel, colour), material) in row[left..left + self.width].iter_mut().zip(colour).zip(material) {
            if colour[3] != 0 {
                let (lit, coverage) = lit(*colour, *material, light);
                for (pixel, lit) in pixel.iter_mut().zip(lit) {
                    *pixel += (lit - *pixel) * coverage;
                }
            }
        }
    }

    /// Lit surface and coverage at a pixel of the still; nothing outside.
    pub(super) fn sample(&self, x: i32, y: i32, light: &Light) -> Option<([f32; 3], f32)> {
        let (column, line) = (usize::try_from(x - self.left).ok()?, usize::try_from(y - self.top).ok()?);
        let index = (column < self.width && line < self.height).then_some(line * self.width + column)?;
        (self.colour[index][3] != 0).then(|| lit(self.colour[index], self.material[index], light))
    }
}

#[inline]
fn lit(colour: [u8; 4], material: [u8; 4], light: &Light) -> ([f32; 3], f32) {
    const UNIT: f32 = 1.0 / 255.0;
    let share = |k: usize| f32::from(material[k]) * UNIT;
    let (sun, lamp, haze, glow) = (share(0), share(1), share(2), share(3));
    let lit = channels(|i| {
        let root = f32::from(colour[i]) * UNIT;
        let shone = root * root * (light.sky[i] + sun * light.sun[i] + lamp * light.lamp[i]) + glow * light.lamp[i];
        shone + (light.haze[i] - shone) * haze
    });
    (lit, f32::from(colour[3]) * UNIT)
}

/// A closed outline through points.
pub(super) fn polygon(points: &[(f32, f32)]) -> Path {
    let mut outline = PathBuilder::new();
    for (k, &(x, y)) in points.iter().enumerate() {
        if k == 0 { outline.move_to(x, y) } else { outline.line_to(x, y) }
    }
    outline.close();
    finished(outline)
}

/// An upright rectangle.
pub(super) fn rectangle(left: f32, top: f32, right: f32, bottom: f32) -> Path {
    polygon(&[(left, top), (right, top), (right, bottom), (left, bottom)])
}

/// An open run of lines.
pub(super) fn lines(points: &[(f32, f32)]) -> Path {
    let mut run = PathBuilder::new();
    for (k, &(x, y)) in points.iter().enumerate() {
        if k == 0 { run.move_to(x, y) } else { run.line_to(x, y) }
    }
    finished(run)
}

/// A rope or wire hung between two points, `sag` below the middle of the straight line.
pub(super) fn hanging(from: (f32, f32), to: (f32, f32), sag: f32) -> Path {
    let mut rope = PathBuilder::new();
    rope.move_to(from.0, from.1);
    rope.quad_to((from.0 + to.0) / 2.0, (from.1 + to.1) / 2.0 + sag * 2.0, to.0, to.1);
    finished(rope)
}

/// A path that has points enough to be one.
pub(super) fn finished(path: PathBuilder) -> Path {
    path.finish().unwrap_or_else(|| PathBuilder::from_rect(unit()))
}

fn unit() -> tiny_skia::Rect {
    tiny_skia::Rect::from_xywh(0.0, 0.0, 1.0, 1.0).unwrap_or_else(|| unreachable!("a unit square is a rectangle"))
}

/// Mirrors upright things at a height of the picture.
pub(super) fn mirrored(camera: &Transform, height: f32) -> Transform {
    camera.pre_concat(Transform::from_row(1.0, 0.0, 0.0, -1.0, 0.0, 2.0 * height))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Size;

    #[test]
    fn an_edge_half_way_across_a_pixel_covers_half_of_it() {
        let camera = Camera::new(Size::new(40, 30), (0.0, 0.0));
        let mut layer = Layer::new(camera, 0.0, 0.0, 4000.0, 3000.0);
        // At this size a pixel is 100 scene units.
        layer.fill(&rectangle(1050.0, 1000.0, 2000.0, 2000.0), |_, _| Surface::paint(0xFFFFFF).sun(0.0));
        let light = Light { sky: [0.5; 3], sun: [0.0; 3], lamp: [0.0; 3], haze: [0.0; 3] };
        let mut row = vec![[0.0; 3]; 40];
        layer.over(15, &light, &mut row);
        assert_eq!(row[9], [0.0; 3]);
        assert!((row[10][1] - 0.25).abs() < 0.01, "{:?}", row[10]);
        assert!((row[11][1] - 0.5).abs() < 1e-6, "{:?}", row[11]);
        assert_eq!(row[20], [0.0; 3]);
        assert!(layer.sample(9, 15, &light).is_none() && layer.sample(11, 15, &light).is_some());
    }
}
