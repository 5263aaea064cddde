//! The crane's turning part and the crates it moves.

use tiny_skia::PathBuilder;

use super::canvas::Canvas;
use super::layer::{finished, lines, polygon, rectangle};
use super::noise::cell;
use super::world::{CRATE, Moment, PIVOT, SLING, pier_crate};

/// Radii of the hook's white disc and of the black ring around it.
const HOOK: (f32, f32) = (15.0, 28.0);
/// A crate, given the middle of its top.
pub(super) fn crate_at(canvas: &mut Canvas<'_>, index: u32, x: f32, top: f32) {
    let (width, height) = (CRATE.0 as f32, CRATE.1 as f32);
    let (left, right, bottom) = (x - width / 2.0, x + width / 2.0, top + height);
    let woods = [0xA9824F, 0x9A7648, 0xB48F5C, 0x8D6B42, 0xA27A4A, 0xB08A50];
    let wood = woods[index as usize % woods.len()];
    canvas.fill(&rectangle(left, top, right, bottom), wood, 0.30);
    let planks = 6;
    for plank in 0..planks {
        let from = left + 8.0 + plank as f32 * (width - 16.0) / planks as f32;
        let tone = 0.72 + 0.5 * cell(index.cast_signed(), plank, 121);
        canvas.fill(
            &rectangle(from + 1.2, top + 8.0, from + (width - 16.0) / planks as f32 - 1.2, bottom - 8.0),
            wood,
            tone,
        );
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
pub(super) fn stack(canvas: &mut Canvas<'_>, moment: &Moment) {
    for index in 0..moment.landed {
        let top = pier_crate(index);
        crate_at(canvas, index, top.x as f32, top.y as f32);
    }
}

/// House, boom, ropes and hook.
pub(super) fn crane(canvas: &mut Canvas<'_>, moment: &Moment) {
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

/// The crate on the hook, and its slings.
pub(super) fn load(canvas: &mut Canvas<'_>, moment: &Moment) {
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
