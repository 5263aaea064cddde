//! Vector shapes in scene units, coloured by what they are made of: square roots of albedo, as layers store it.

use tiny_skia::{Color, FillRule, LinearGradient, Paint, Path, Pixmap, Point, Shader, SpreadMode, Stroke, Transform};

use super::layer::lines;
use super::noise::srgb;

fn coded(code: u32, gain: f32) -> Color {
    let [r, g, b] = srgb(code).map(|v| (v * gain).clamp(0.0, 1.0).sqrt());
    Color::from_rgba(r, g, b, 1.0).unwrap_or(Color::BLACK)
}

/// Where shapes are drawn, and how they get there.
pub(super) struct Canvas<'a> {
    /// Whether this is the water's picture: hulls then go on below their waterline, where ripples look for them.
    pub(super) mirrored: bool,
    pub(super) pixels: &'a mut Pixmap,
    pub(super) to_pixels: Transform,
}

impl Canvas<'_> {
    pub(super) fn fill(&mut self, path: &Path, code: u32, gain: f32) {
        self.shade(path, Shader::SolidColor(coded(code, gain)));
    }

    fn shade(&mut self, path: &Path, shader: Shader<'_>) {
        let paint = Paint { shader, anti_alias: true, ..Paint::default() };
        self.pixels.fill_path(path, &paint, FillRule::Winding, self.to_pixels, None);
    }

    /// From one colour at height `top` to another at `bottom`.
    pub(super) fn graded(&mut self, path: &Path, top: (f32, u32), bottom: (f32, u32)) {
        let stops = vec![
            tiny_skia::GradientStop::new(0.0, coded(top.1, 1.0)),
            tiny_skia::GradientStop::new(1.0, coded(bottom.1, 1.0)),
        ];
        let ends = (Point::from_xy(0.0, top.0), Point::from_xy(0.0, bottom.0));
        if let Some(shader) = LinearGradient::new(ends.0, ends.1, stops, SpreadMode::Pad, Transform::identity()) {
            self.shade(path, shader);
        }
    }

    pub(super) fn stroke(&mut self, path: &Path, width: f32, code: u32, gain: f32) {
        let paint = Paint { shader: Shader::SolidColor(coded(code, gain)), anti_alias: true, ..Paint::default() };
        let stroke = Stroke {
            width,
            line_cap: tiny_skia::LineCap::Round,
            line_join: tiny_skia::LineJoin::Round,
            ..Stroke::default()
        };
        self.pixels.stroke_path(path, &paint, &stroke, self.to_pixels, None);
    }

    pub(super) fn line(&mut self, points: &[(f32, f32)], width: f32, code: u32) {
        self.stroke(&lines(points), width, code, 1.0);
    }
}
