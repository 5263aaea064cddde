//! What moves: the crane's work, the barge and the fishing boat with its ropes, above the water and as the water
//! mirrors them.

use tiny_skia::{PathBuilder, Pixmap};

use super::canvas::Canvas;
use super::crane::{crane, crate_at, load, stack};
use super::layer::{finished, hanging, lines, mirrored, polygon, rectangle};
use super::quayside::BOLLARDS;
use super::world::{BARGE, BOAT, CRATES, Camera, Moment, barge_crate, waterline};

/// Lanterns that sail along: barge and boat, by their place over the waterline.
pub(super) const BARGE_LAMP: (f32, f32) = (1918.0, -292.0);
pub(super) const BOAT_LAMP: (f32, f32) = (640.0, -420.0);

/// Panes that light up with their lamp: corners over the waterline of the barge, then of the boat.
pub(super) const BARGE_PANES: [[f32; 4]; 3] =
    [[1816.0, -212.0, 1854.0, -168.0], [1872.0, -212.0, 1910.0, -168.0], [1928.0, -212.0, 1966.0, -168.0]];
pub(super) const BOAT_PANES: [[f32; 4]; 3] =
    [[826.0, -291.0, 878.0, -231.0], [892.0, -291.0, 944.0, -231.0], [958.0, -291.0, 1010.0, -231.0]];

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

fn barge(canvas: &mut Canvas<'_>, moment: &Moment) {
    let water = waterline(BARGE, moment.fall) as f32;
    let (left, right) = (1090.0_f32, 2080.0_f32);
    // Deckhouse, mast and lantern stand at the right.
    canvas.graded(
        &rectangle(1800.0, water - 240.0, 1990.0, water - 66.0),
        (water - 240.0, 0xD8D2C2),
        (water - 66.0, 0x9C968A),
    );
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
    for index in (moment.landed + u32::from(moment.carrying)..CRATES).rev() {
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
    for (top, feet) in
        [(at(640.0, 720.0), [560.0_f32, 592.0, 690.0, 722.0]), (at(640.0, 880.0), [536.0, 574.0, 708.0, 748.0])]
    {
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
