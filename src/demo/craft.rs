//! What moves: the crane's boom and rope, the barge and its crates, the fishing boat and its ropes. Vector shapes in scene
//! units, coloured by what they are made of (square roots of albedo, as layers store it); lit when the row is put together.

use tiny_skia::{
    Color, FillRule, LinearGradient, Paint, Path, PathBuilder, Pixmap, Point, Shader, SpreadMode, Stroke, Transform,
};

use super::layer::{finished, hanging, lines, mirrored, polygon, rectangle};
use super::noise::{cell, srgb};
use super::quayside::BOLLARDS;
use super::world::{BARGE, BOAT, CRATE, Camera, Moment, PIVOT, SLING, barge_crate, pier_crate, waterline};

/// Radii of the hook's white disc and of the black ring around it.
pub(super) const HOOK: (f32, f32) = (15.0, 28.0);
/// Lanterns that sail along: barge and boat, by their place over the waterline.
pub(super) const BARGE_LAMP: (f32, f32) = (1918.0, -292.0);
pub(super) const BOAT_LAMP: (f32, f32) = (640.0, -420.0);

/// Panes that light up with their lamp: corners over the waterline of the barge, then of the boat.
pub(super) const BARGE_PANES: [[f32; 4]; 3] =
    [[1816.0, -212.0, 1854.0, -168.0], [1872.0, -212.0, 1910.0, -168.0], [1928.0, -212.0, 1966.0, -168.0]];
pub(super) const BOAT_PANES: [[f32; 4]; 3] =
    [[826.0, -291.0, 878.0, -231.0], [892.0, -291.0, 944.0, -231.0], [958.0, -291.0, 1010.0, -231.0]];

fn coded(code: u32, gain: f32) -> Color {
    let [r, g, b] = srgb(code).map(|v| (v * gain).clamp(0.0, 1.0).sqrt());
    Color::from_rgba(r, g, b, 1.0).unwrap_or(Color::BLACK)
}

/// Where shapes are drawn, and how they get there.
struct Canvas<'a> {
    /// Whether this is the water's picture: hulls then go on below their waterline, where ripples look for them.
    mirrored: bool,
    pixels: &'a mut Pixmap,
    to_pixels: Transform,
}

impl Canvas<'_> {
    fn fill(&mut self, path: &Path, code: u32, gain: f32) {
        self.shade(path, Shader::SolidColor(coded(code, gain)));
    }

    fn shade(&mut self, path: &Path, shader: Shader<'_>) {
        let paint = Paint { shader, anti_alias: true, ..Paint::default() };
        self.pixels.fill_path(path, &paint, FillRule::Winding, self.to_pixels, None);
    }

    /// From one colour at height `top` to another at `bottom`.
    fn graded(&mut self, path: &Path, top: (f32, u32), bottom: (f32, u32)) {
        let stops =
            vec![tiny_skia::GradientStop::new(0.0, coded(top.1, 1.0)), tiny_skia::GradientStop::new(1.0, coded(bottom.1, 1.0))];
        let ends = (Point::from_xy(0.0, top.0), Point::from_xy(0.0, bottom.0));
        if let Some(shader) = LinearGradient::new(ends.0, ends.1, stops, SpreadMode::Pad, Transform::identity()) {
            self.shade(path, shader);
        }
    }

    fn stroke(&mut self, path: &Path, width: f32, code: u32, gain: f32) {
        let paint = Paint { shader: Shader::SolidColor(coded(code, gain)), anti_alias: true, ..Paint::default() };
        let stroke =
            Stroke { width, line_cap: tiny_skia::LineCap::Round, line_join: tiny_skia::LineJoin::Round, ..Stroke::default() };
        self.pixels.stroke_path(path, &paint, &stroke, self.to_pixels, None);
    }

    fn line(&mut self, points: &[(f32, f32)], width: f32, code: u32) {
        self.stroke(&lines(points), width, code, 1.0);
    }
}

/// Draws what stands above the water.
pub(super) fn draw(pixels: &mut Pixmap, camera: &Camera, moment: &Moment) {
    let mut canvas = Canvas { mirrored: false, pixels, to_pixels: camera.transform() };
    stack(&mut canvas, moment);
    crane(&mut canvas, moment);
    barge(&mut canvas, moment);
    load(&mut canvas, moment);
    boat(&mut canvas, moment);
    moorings(&mut canvas, moment);
}

/// Draws the same as the water mirrors it, each thing at its own waterline, into pixels `shrink` times as large.
pub(super) fn draw_mirrored(pixels: &mut Pixmap, camera: &Camera, top: f32, shrink: f32, moment: &Moment) {
    let still = camera.transform().post_translate(0.0, -top).post_scale(1.0 / shrink, 1.0 / shrink);
    let at = |nearness: f64| mirrored(&still, waterline(nearness, moment.fall) as f32);
    let mut canvas = Canvas { mirrored: true, pixels, to_pixels: at(1.0) };
    stack(&mut canvas, moment);
    crane(&mut canvas, moment);
    canvas.to_pixels = at(BARGE);
    barge(&mut canvas, moment);
    load(&mut canvas, moment);
    canvas.to_pixels = at(BOAT);
    boat(&mut canvas, moment);
}

fn crate_at(canvas: &mut Canvas<'_>, index: u32, x: f32, top: f32) {
    let (width, height) = (CRATE.0 as f32, CRATE.1 as f32);
    let (left, right, bottom) = (x - width / 2.0, x + width / 2.0, top + height);
    let woods = [0xA9824F, 0x9A7648, 0xB48F5C, 0x8D6B42, 0xA27A4A, 0xB08A50];
    let wood = woods[index as usize % woods.len()];
    canvas.fill(&rectangle(left, top, right, bottom), wood, 0.30);
    let planks = 6;
    for plank in 0..planks {
        let from = left + 8.0 + plank as f32 * (width - 16.0) / planks as f32;
        let tone = 0.72 + 0.5 * cell(index.cast_signed(), plank, 121);
        canvas.fill(&rectangle(from + 1.2, top + 8.0, from + (width - 16.0) / planks as f32 - 1.2, bottom - 8.0), wood, tone);
    }
    canvas.stroke(&lines(&[(left + 14.0, bottom - 14.0), (right - 14.0, top + 14.0)]), 13.0, wood, 0.55);
    canvas.stroke(&lines(&[(left + 14.0, bottom - 15.5), (right - 14.0, top + 12.5)]), 10.0, wood, 1.12);
    for (a, b, c, d) in [
        (left, top, right, top + 15.0),
        (left, bottom - 15.0, right, bottom),
        (left, top, left + 15.0, bottom),
        (right - 15.0, top, right, bottom),
    ] {
        canvas.fill(&rectangle(a, b, c, d), wood, 1.0);
    }
    canvas.fill(&rectangle(left, top, right, top + 3.0), wood, 1.35);
    canvas.fill(&rectangle(left, top + 15.0, right, top + 17.0), wood, 0.35);
    for nail in 0..7 {
        let at = left + 8.0 + nail as f32 * (width - 16.0) / 6.0;
        canvas.fill(&rectangle(at - 1.5, top + 6.0, at + 1.5, top + 9.0), 0x2A241C, 1.0);
        canvas.fill(&rectangle(at - 1.5, bottom - 9.0, at + 1.5, bottom - 6.0), 0x2A241C, 1.0);
    }
}

/// Crates already on the pier.
fn stack(canvas: &mut Canvas<'_>, moment: &Moment) {
    for index in 0..moment.landed {
        let top = pier_crate(index);
        crate_at(canvas, index, top.x as f32, top.y as f32);
    }
}

fn crane(canvas: &mut Canvas<'_>, moment: &Moment) {
    let (px, py) = (PIVOT.x as f32, PIVOT.y as f32);
    let tip = (moment.tip.x as f32, moment.tip.y as f32);
    let turned = ((px - tip.0) / 1600.0).clamp(0.2, 1.0);
    let tail = 300.0 * turned;
    // The house turns with the boom; its counterweight stands out at the back.
    canvas.graded(
        &polygon(&[(px + 40.0, 1010.0), (px + tail, 1030.0), (px + tail, 1165.0), (px + 40.0, 1180.0)]),
        (1010.0, 0x4A4E52),
        (1180.0, 0x2C2F32),
    );
    canvas.graded(&rectangle(px - 105.0, 985.0, px + 118.0, 1196.0), (985.0, 0xB4552E), (1196.0, 0x7C3A22));
    for rib in 0..9 {
        let x = px - 96.0 + rib as f32 * 26.0;
        canvas.fill(&rectangle(x, 992.0, x + 3.0, 1190.0), 0x6A301C, 1.0);
    }
    canvas.fill(&rectangle(px - 116.0, 974.0, px + 128.0, 990.0), 0x4A2A20, 1.0);
    canvas.fill(&rectangle(px - 178.0, 1056.0, px - 98.0, 1176.0), 0xB4552E, 0.8);
    canvas.graded(&rectangle(px - 170.0, 1066.0, px - 108.0, 1128.0), (1066.0, 0x9FB2BC), (1128.0, 0x566672));
    canvas.line(&[(px - 139.0, 1066.0), (px - 139.0, 1128.0)], 4.0, 0x7C3A22);
    // A-frame and the ropes that carry the boom.
    let head = (px + 66.0 * turned, 690.0);
    for foot in [px - 70.0, px + 110.0] {
        canvas.line(&[(foot, 985.0), head], 15.0, 0x5F7476);
    }
    canvas.line(&[(px - 34.0, 910.0), (px + 96.0, 910.0)], 8.0, 0x5F7476);
    for (share, lift) in [(1.0_f32, 0.0_f32), (0.62, -16.0)] {
        let at = (px + (tip.0 - px) * share, py + (tip.1 - py) * share + lift);
        canvas.line(&[head, at], 3.6, 0x26282A);
        canvas.line(&[(head.0, head.1 + 7.0), (at.0, at.1 + 7.0)], 3.0, 0x26282A);
    }
    canvas.line(&[head, (px + tail - 20.0, 1034.0)], 4.5, 0x26282A);
    boom(canvas, (px - 40.0, py), tip);
    // Hoist ropes, block, hook.
    let hook = (moment.hook.x as f32, moment.hook.y as f32);
    for side in [-1.0_f32, 1.0] {
        canvas.line(&[(tip.0 + side * 7.0, tip.1 + 10.0), (hook.0 + side * 13.0, hook.1 - 20.0)], 3.4, 0x1C1D1E);
    }
    canvas.fill(
        &polygon(&[
            (hook.0 - 20.0, hook.1 - 40.0),
            (hook.0 + 20.0, hook.1 - 40.0),
            (hook.0 + 27.0, hook.1),
            (hook.0 - 27.0, hook.1),
        ]),
        0xC89A2A,
        1.0,
    );
    let mut claw = PathBuilder::new();
    claw.move_to(hook.0, hook.1 + 24.0);
    claw.line_to(hook.0, hook.1 + 44.0);
    claw.quad_to(hook.0 + 22.0, hook.1 + 50.0, hook.0 + 15.0, hook.1 + 66.0);
    claw.quad_to(hook.0, hook.1 + 80.0, hook.0 - 16.0, hook.1 + 62.0);
    canvas.stroke(&finished(claw), 9.0, 0x2C2A28, 1.0);
    let disc = |radius: f32| {
        let mut circle = PathBuilder::new();
        circle.push_circle(hook.0, hook.1, radius);
        finished(circle)
    };
    canvas.fill(&disc(HOOK.1), 0x101010, 1.0);
    canvas.fill(&disc(HOOK.0), 0xF2F0EA, 1.0);
}

/// A lattice that tapers to both ends.
fn boom(canvas: &mut Canvas<'_>, from: (f32, f32), to: (f32, f32)) {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let length = (dx * dx + dy * dy).sqrt();
    let (nx, ny) = (-dy / length, dx / length);
    let half = |s: f32| 10.0 + 40.0 * (s / 0.16).min(1.0) * ((1.0 - s) / 0.30).min(1.0);
    let at = |s: f32, side: f32| (from.0 + dx * s + nx * half(s) * side, from.1 + dy * s + ny * half(s) * side);
    let bays = 24;
    for (shade, width, code) in [(0.25_f32, 4.0_f32, 0x3E4E50), (1.0, 5.0, 0x6C8486)] {
        for bay in 0..bays {
            let (a, b) = (bay as f32 / bays as f32, (bay + 1) as f32 / bays as f32);
            let middle = (a + b) / 2.0;
            canvas.line(&[at(a, -shade), at(middle, shade), at(b, -shade)], width, code);
        }
    }
    for side in [-0.25_f32, 0.25, -1.0, 1.0] {
        let bends: Vec<_> = [0.0_f32, 0.16, 0.70, 1.0].iter().map(|&s| at(s, side)).collect();
        let outer = side.abs() > 0.5;
        canvas.line(&bends, if outer { 10.0 } else { 6.0 }, if outer { 0x7E989A } else { 0x46585A });
    }
    let mut sheave = PathBuilder::new();
    sheave.push_circle(to.0, to.1, 19.0);
    canvas.fill(&finished(sheave), 0x2A2C2E, 1.0);
}

fn barge(canvas: &mut Canvas<'_>, moment: &Moment) {
    let water = waterline(BARGE, moment.fall) as f32;
    let (left, right) = (1090.0_f32, 2080.0_f32);
    // Deckhouse, mast and lantern stand at the right.
    canvas.graded(&rectangle(1800.0, water - 240.0, 1990.0, water - 66.0), (water - 240.0, 0xD8D2C2), (water - 66.0, 0x9C968A));
    canvas.fill(&rectangle(1786.0, water - 254.0, 2004.0, water - 238.0), 0x5C3A2C, 1.0);
    for window in 0..3 {
        let x = 1816.0 + window as f32 * 56.0;
        canvas.fill(&rectangle(x - 4.0, water - 216.0, x + 42.0, water - 164.0), 0x6A5A48, 1.0);
        canvas.graded(
            &rectangle(x, water - 212.0, x + 38.0, water - 168.0),
            (water - 212.0, 0xD8B878),
            (water - 168.0, 0x8A7448),
        );
    }
    canvas.line(&[(1918.0, water - 250.0), (1918.0, water - 420.0)], 8.0, 0x6A5A48);
    canvas.line(&[(1918.0, water - 410.0), (2060.0, water - 80.0)], 2.6, 0x26282A);
    canvas.line(&[(1918.0, water - 410.0), (1806.0, water - 250.0)], 2.6, 0x26282A);
    for index in (moment.landed + u32::from(moment.carrying)..6).rev() {
        let top = barge_crate(moment.fall, index);
        crate_at(canvas, index, top.x as f32, top.y as f32);
    }
    let mut hull = PathBuilder::new();
    hull.move_to(left - 26.0, water - 92.0);
    hull.line_to(left + 120.0, water - 66.0);
    hull.line_to(right - 60.0, water - 66.0);
    hull.line_to(right + 20.0, water - 88.0);
    hull.quad_to(right + 4.0, water - 20.0, right - 50.0, water + 14.0);
    hull.line_to(left + 70.0, water + 14.0);
    hull.quad_to(left + 6.0, water - 22.0, left - 26.0, water - 92.0);
    hull.close();
    canvas.graded(&finished(hull), (water - 92.0, 0x4C565A), (water + 10.0, 0x23282A));
    canvas.stroke(
        &lines(&[
            (left - 24.0, water - 90.0),
            (left + 120.0, water - 64.0),
            (right - 60.0, water - 64.0),
            (right + 18.0, water - 86.0),
        ]),
        9.0,
        0x8A3A2A,
        1.0,
    );
    canvas.fill(
        &polygon(&[
            (left + 46.0, water - 8.0),
            (right - 26.0, water - 8.0),
            (right - 50.0, water + 14.0),
            (left + 70.0, water + 14.0),
        ]),
        0x5A3226,
        0.8,
    );
    if canvas.mirrored {
        canvas.fill(&rectangle(left + 30.0, water - 10.0, right - 10.0, water + 130.0), 0x23282A, 0.8);
    }
    for rib in 0..15 {
        let x = left + 100.0 + rib as f32 * 58.0;
        canvas.fill(&rectangle(x, water - 58.0, x + 3.0, water - 10.0), 0x262C2E, 1.0);
    }
    for fender in [1180.0_f32, 1480.0, 1790.0] {
        canvas.line(&[(fender, water - 64.0), (fender, water - 40.0)], 4.0, 0x9C8A66);
        let mut tyre = PathBuilder::new();
        tyre.push_circle(fender, water - 22.0, 21.0);
        canvas.stroke(&finished(tyre), 12.0, 0x1A1A1A, 1.0);
    }
}

/// The crate on the hook, and its slings.
fn load(canvas: &mut Canvas<'_>, moment: &Moment) {
    if !moment.carrying {
        return;
    }
    let (x, y) = (moment.hook.x as f32, moment.hook.y as f32);
    let top = y + SLING as f32;
    let half = CRATE.0 as f32 / 2.0;
    crate_at(canvas, moment.landed, x, top);
    for side in [-1.0_f32, 1.0] {
        canvas.line(&[(x, y + 62.0), (x + side * (half - 8.0), top + 4.0)], 4.0, 0xB9A67E);
        canvas.line(&[(x + side * (half - 8.0), top), (x + side * (half - 8.0), top + CRATE.1 as f32)], 4.0, 0xB9A67E);
    }
}

fn boat(canvas: &mut Canvas<'_>, moment: &Moment) {
    let water = waterline(BOAT, moment.fall) as f32;
    let at = |x: f32, up: f32| (x, water - up);
    // Masts and rigging first: they stand behind the rail.
    let (fore, mizzen) = (at(640.0, 900.0), at(1150.0, 520.0));
    canvas.stroke(&lines(&[at(640.0, 90.0), fore]), 17.0, 0x8A6A44, 1.0);
    canvas.stroke(&lines(&[at(637.0, 90.0), (fore.0 - 2.0, fore.1)]), 6.0, 0xB08A5C, 1.0);
    canvas.stroke(&lines(&[at(1150.0, 90.0), mizzen]), 12.0, 0x8A6A44, 1.0);
    canvas.stroke(&lines(&[at(650.0, 250.0), at(1010.0, 420.0)]), 11.0, 0x7C5E3C, 1.0);
    for (a, b) in [
        (fore, at(330.0, 196.0)),
        (fore, at(1150.0, 510.0)),
        (at(640.0, 760.0), at(1010.0, 420.0)),
        (at(1010.0, 420.0), at(930.0, 120.0)),
        (mizzen, at(1318.0, 150.0)),
        (at(1150.0, 505.0), at(1040.0, 110.0)),
        (at(640.0, 640.0), at(362.0, 190.0)),
    ] {
        canvas.line(&[a, b], 3.2, 0x2A2724);
    }
    for (top, feet) in [(at(640.0, 720.0), [560.0_f32, 592.0, 690.0, 722.0]), (at(640.0, 880.0), [536.0, 574.0, 708.0, 748.0])] {
        for foot in feet {
            canvas.line(&[top, at(foot, 112.0)], 2.8, 0x2A2724);
        }
    }
    for rung in 0..17 {
        let up = 150.0 + rung as f32 * 32.0;
        let share = (up - 112.0) / 608.0;
        for (a, b) in [(560.0_f32, 592.0_f32), (690.0, 722.0)] {
            let lean = |x: f32| x + (640.0 - x) * share;
            canvas.line(&[at(lean(a), up), at(lean(b), up)], 2.4, 0x2A2724);
        }
    }
    canvas.stroke(&hanging(at(640.0, 860.0), at(1150.0, 500.0), 60.0), 2.6, 0x3A342E, 1.0);
    // A furled sail along the boom, tied.
    canvas.stroke(&hanging(at(664.0, 272.0), at(1000.0, 430.0), 12.0), 34.0, 0x8A4A34, 0.9);
    canvas.stroke(&hanging(at(664.0, 282.0), at(1000.0, 438.0), 12.0), 12.0, 0xA8603F, 1.0);
    for tie in 0..9 {
        let share = 0.06 + tie as f32 * 0.11;
        let (x, up) = (664.0 + 336.0 * share, 272.0 + 158.0 * share - 24.0 * share * (1.0 - share) * 2.0);
        canvas.line(&[at(x - 5.0, up + 20.0), at(x + 5.0, up - 20.0)], 4.0, 0xC9B88E);
    }
    wheelhouse(canvas, water);
    // Hull: sheer line rising to the bow at the left.
    let mut hull = PathBuilder::new();
    hull.move_to(300.0, water - 214.0);
    hull.quad_to(560.0, water - 116.0, 860.0, water - 108.0);
    hull.quad_to(1150.0, water - 108.0, 1340.0, water - 160.0);
    hull.quad_to(1334.0, water - 50.0, 1270.0, water + 18.0);
    hull.line_to(420.0, water + 18.0);
    hull.quad_to(340.0, water - 60.0, 300.0, water - 214.0);
    hull.close();
    canvas.graded(&finished(hull), (water - 200.0, 0x2F5A70), (water, 0x173442));
    for (drop, width, code) in
        [(0.0_f32, 13.0_f32, 0xE2DAC6), (20.0, 4.0, 0x1C3A48), (44.0, 3.0, 0x1F4252), (68.0, 3.0, 0x1B3B4A)]
    {
        let mut sheer = PathBuilder::new();
        sheer.move_to(302.0 + drop * 0.34, water - 210.0 + drop);
        sheer.quad_to(560.0, water - 112.0 + drop, 860.0, water - 104.0 + drop);
        sheer.quad_to(1150.0, water - 104.0 + drop, 1338.0 - drop * 0.12, water - 156.0 + drop);
        canvas.stroke(&finished(sheer), width, code, 1.0);
    }
    let mut foot = PathBuilder::new();
    foot.move_to(394.0, water - 12.0);
    foot.quad_to(860.0, water + 2.0, 1296.0, water - 14.0);
    foot.line_to(1270.0, water + 18.0);
    foot.line_to(420.0, water + 18.0);
    foot.close();
    canvas.fill(&finished(foot), 0x8A3628, 0.9);
    if canvas.mirrored {
        canvas.fill(&rectangle(400.0, water - 10.0, 1290.0, water + 140.0), 0x2C2222, 0.8);
    }
    for (x, code) in [(520.0_f32, 0xD97B3A), (980.0, 0xE2DAC6), (1180.0, 0xD97B3A)] {
        canvas.line(&[(x, water - 118.0), (x, water - 60.0)], 4.0, 0xB9A67E);
        let mut float = PathBuilder::new();
        if let Some(oval) = tiny_skia::Rect::from_ltrb(x - 19.0, water - 74.0, x + 19.0, water - 14.0) {
            float.push_oval(oval);
        }
        let float = finished(float);
        canvas.fill(&float, code, 0.75);
        canvas.stroke(&float, 3.0, 0x2A2622, 1.0);
    }
}

fn wheelhouse(canvas: &mut Canvas<'_>, water: f32) {
    let (left, right, top) = (800.0_f32, 1030.0_f32, water - 318.0);
    canvas.graded(
        &polygon(&[(left, water - 100.0), (left + 14.0, top), (right, top), (right, water - 100.0)]),
        (top, 0xE6DFCE),
        (water - 100.0, 0xA8A092),
    );
    canvas.fill(&rectangle(left - 16.0, top - 18.0, right + 18.0, top + 2.0), 0x2F5A70, 1.0);
    for plank in 0..10 {
        let x = left + 22.0 + plank as f32 * 21.0;
        canvas.line(&[(x, top + 100.0), (x, water - 104.0)], 2.0, 0x8F887A);
    }
    for pane in 0..3 {
        let x = left + 26.0 + pane as f32 * 66.0;
        canvas.fill(&rectangle(x - 5.0, top + 22.0, x + 57.0, top + 92.0), 0x7C5E3C, 1.0);
        canvas.graded(&rectangle(x, top + 27.0, x + 52.0, top + 87.0), (top + 27.0, 0xE8C888), (top + 87.0, 0x8C7C5C));
    }
    canvas.line(&[(left + 150.0, top - 18.0), (left + 150.0, top - 96.0)], 20.0, 0x3A3A3A);
    canvas.line(&[(left + 150.0, top - 40.0), (left + 150.0, top - 56.0)], 21.0, 0xB4552E);
}

/// From the boat to the near quay: slack at high water, tight at low.
fn moorings(canvas: &mut Canvas<'_>, moment: &Moment) {
    let water = waterline(BOAT, moment.fall) as f32;
    let slack = 46.0 * (1.0 - moment.fall as f32) + 8.0;
    let [left, right] = BOLLARDS;
    for (from, to, sag) in [
        ((430.0, water - 160.0), (left.0 - 30.0, left.1 + 24.0), slack),
        ((1300.0, water - 146.0), (right.0 - 34.0, right.1 + 22.0), slack * 1.5),
        ((1240.0, water - 130.0), (left.0 + 34.0, left.1 + 20.0), slack * 0.8),
    ] {
        let rope = hanging(from, to, sag);
        canvas.stroke(&rope, 11.0, 0x6E5E40, 1.0);
        canvas.stroke(&rope, 6.0, 0xBFAB7E, 1.0);
    }
    // The barge lies at the pier's corner.
    let barge = waterline(BARGE, moment.fall) as f32;
    canvas.stroke(&hanging((2084.0, barge - 90.0), (2330.0, 1644.0), slack * 0.6), 6.0, 0xA8946C, 1.0);
}
