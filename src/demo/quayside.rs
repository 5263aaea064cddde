//! The near quay, on which the camera stands: coping, setts, bollards, pots, a lamp.

use tiny_skia::PathBuilder;

use super::layer::{Layer, Surface, finished, hanging, lines, polygon, rectangle};
use super::noise::{layered, step};
use super::pier::lantern;
use super::stone::setts;
use super::world::{Camera, HORIZON};

/// Where the near lamp burns.
pub(super) const LAMP: (f32, f32) = (236.0, 1010.0);
/// Where the fishing boat's ropes are made fast.
pub(super) const BOLLARDS: [(f32, f32); 2] = [(905.0, 2690.0), (2120.0, 2752.0)];
/// The evenly lit, evenly painted face of a board on the quay, left, top, right, bottom: only the sky lights it.
pub(super) const BOARD: [f64; 4] = [3440.0, 2668.0, 3560.0, 2738.0];
/// Square root of what the board gives back of the light, and how far its grain goes up and down: the grain lets a
/// still's rounding to whole codes average out over the face.
const BOARD_ROOT: (f32, f32) = (0.72, 0.07);

/// Middle of the coil of rope.
const COIL: (f32, f32) = (1390.0, 2896.0);

fn edge(x: f32) -> f32 {
    2700.0 + x * 0.035
}

/// Draws it for one camera position: the ground with all that lies on it, and the tall lamp.
pub(super) fn draw(camera: Camera) -> [Layer; 2] {
    let mut layer = Layer::new(camera, -60.0, 2580.0, 4060.0, 3060.0);
    ground(&mut layer);
    for bollard in BOLLARDS {
        draw_bollard(&mut layer, bollard);
    }
    pots(&mut layer);
    board(&mut layer);
    let (x, y) = (f64::from(LAMP.0), f64::from(LAMP.1));
    let mut post = Layer::new(camera, x - 90.0, y - 110.0, x + 90.0, 2850.0);
    lamp(&mut post);
    [layer, post]
}

fn lamplight(x: f32, y: f32) -> f32 {
    // The second lamp stands beside the picture.
    let pools = [LAMP.0, 4150.0].map(|at| {
        let (dx, dy) = ((x - at) / 620.0, (y - 2840.0) / 190.0);
        0.85 / (1.0 + dx * dx + dy * dy)
    });
    pools[0] + 0.8 * pools[1]
}

/// What is left of the light where bollards, pots and rope stand in its way.
fn shadow(x: f32, y: f32) -> f32 {
    let fall = |cx: f32, cy: f32, rx: f32, ry: f32| {
        let (dx, dy) = ((x - cx) / rx, (y - cy) / ry);
        1.0 - 0.62 * (1.0 - step(0.25, 1.0, (dx * dx + dy * dy).sqrt()))
    };
    let bollards: f32 = BOLLARDS.iter().map(|&(bx, by)| fall(bx + 46.0, by + 98.0, 150.0, 30.0)).product();
    bollards
        * fall(2800.0, 2920.0, 330.0, 40.0)
        * fall(COIL.0 + 20.0, COIL.1 + 20.0, 190.0, 60.0)
        * fall(LAMP.0 + 30.0, 2836.0, 110.0, 26.0)
}

fn ground(layer: &mut Layer) {
    let grain = layer.grain();
    let outline = [(-60.0, edge(-60.0)), (4060.0, edge(4060.0)), (4060.0, 3060.0), (-60.0, 3060.0)];
    layer.fill(&polygon(&outline), |x, y| {
        let near = (y - HORIZON as f32) / 1500.0;
        let (across, away) = ((x - 1500.0) / near / 88.0, 88.0 / near);
        let puddle = step(0.60, 0.66, layered(x / 520.0, y / 130.0, 4, 111));
        let stone = setts(across, away, grain / 90.0).lamp(lamplight(x, y)).shade(shadow(x, y));
        Surface { sun: stone.sun * (1.0 - 0.4 * puddle), ..stone.shade(1.0 - 0.35 * puddle) }
    });
    let coping =
        [(-60.0, edge(-60.0)), (4060.0, edge(4060.0)), (4060.0, edge(4060.0) + 66.0), (-60.0, edge(-60.0) + 66.0)];
    layer.fill(&polygon(&coping), |x, y| {
        let down = y - edge(x);
        let slab = (x - (down - 66.0) * 0.2) / 330.0;
        let joint = 1.0 - step(2.0, 4.5, (0.5 - (slab.fract().abs() - 0.5).abs()) * 330.0);
        let lip = 1.0 - step(2.0, 10.0, down);
        let tone = 0.82 + 0.75 * (layered(x / 42.0, y / 17.0, 6, 112) - 0.5) + 0.2 * lip
            - 0.45 * joint
            - 0.5 * step(62.0, 66.0, down);
        let worn = 0.12 * super::noise::cell(slab.floor() as i32, 0, 113);
        Surface::paint(0x9C9484).sun(0.45 + 0.35 * lip).lamp(lamplight(x, y)).shade((tone + worn) * shadow(x, y))
    });
    for ring in [1480.0_f32, 3020.0] {
        let mut circle = PathBuilder::new();
        if let Some(oval) = tiny_skia::Rect::from_ltrb(ring - 30.0, edge(ring) + 26.0, ring + 30.0, edge(ring) + 48.0) {
            circle.push_oval(oval);
        }
        layer.stroke(&finished(circle), 7.0, |_, y| {
            Surface::paint(0x4A3528).sun(0.4).shade(if y < edge(ring) + 30.0 { 1.2 } else { 0.7 })
        });
    }
}

fn draw_bollard(layer: &mut Layer, (x, y): (f32, f32)) {
    let foot = y + 96.0;
    let mut body = PathBuilder::new();
    body.move_to(x - 52.0, foot);
    body.quad_to(x - 40.0, foot - 46.0, x - 36.0, y - 12.0);
    body.quad_to(x - 72.0, y - 28.0, x - 56.0, y - 58.0);
    body.quad_to(x, y - 92.0, x + 56.0, y - 58.0);
    body.quad_to(x + 72.0, y - 28.0, x + 36.0, y - 12.0);
    body.quad_to(x + 40.0, foot - 46.0, x + 52.0, foot);
    body.quad_to(x, foot + 22.0, x - 52.0, foot);
    body.close();
    layer.fill(&finished(body), |px, py| {
        let round = (1.0 - ((px - x + 16.0) / 66.0).powi(2)).max(0.0);
        let rust = layered(px / 22.0, py / 18.0, 5, 114);
        let iron = Surface::paint(if rust > 0.54 { 0x6A4630 } else { 0x3F4244 });
        iron.sun(0.25 + 0.6 * round).lamp(0.6 * lamplight(px, py)).shade(0.35 + 0.75 * round + 0.5 * (rust - 0.5))
    });
    for turn in 0..4 {
        let at = y + 2.0 + turn as f32 * 15.0;
        layer.stroke(&hanging((x - 42.0, at), (x + 42.0, at), 7.0), 14.0, |px, py| {
            let lay = ((px * 0.9 + py) / 9.0).fract();
            Surface::paint(0xB19C74).sun(0.4).lamp(0.5 * lamplight(px, py)).shade(0.55 + 0.6 * lay)
        });
    }
}

fn lamp(layer: &mut Layer) {
    let (x, y) = LAMP;
    let iron = move |px: f32, _: f32| {
        let round = 1.0 - ((px - x + 4.0) / 26.0).powi(2);
        Surface::paint(0x2C3433).sun(0.55).lamp(0.3).shade(0.45 + 0.8 * round.max(0.0))
    };
    layer.fill(&polygon(&[(x - 13.0, y + 60.0), (x + 13.0, y + 60.0), (x + 19.0, 2800.0), (x - 19.0, 2800.0)]), iron);
    layer.fill(&polygon(&[(x - 26.0, 2560.0), (x + 26.0, 2560.0), (x + 40.0, 2836.0), (x - 40.0, 2836.0)]), iron);
    for (at, half) in [(2556.0_f32, 34.0_f32), (2700.0, 37.0), (y + 96.0, 24.0), (y + 240.0, 22.0)] {
        layer.fill(&rectangle(x - half, at - 9.0, x + half, at + 9.0), move |px, py| iron(px, py).shade(1.25));
    }
    layer.stroke(&lines(&[(x - 78.0, y + 150.0), (x + 78.0, y + 150.0)]), 9.0, iron);
    lantern(layer, x, y, 2.4);
}

/// Stacked pots with netting, and a coil of rope.
fn pots(layer: &mut Layer) {
    for (k, (x, y)) in [(2680.0_f32, 2850.0_f32), (2905.0, 2862.0), (2795.0, 2742.0)].into_iter().enumerate() {
        let frame = move |_: f32, _: f32| Surface::paint([0x4E5A50, 0x5A4638, 0x3E4C5C][k]).sun(0.5).lamp(0.15);
        let mut hoop = PathBuilder::new();
        hoop.move_to(x - 104.0, y + 60.0);
        hoop.line_to(x - 104.0, y - 10.0);
        hoop.quad_to(x - 96.0, y - 62.0, x, y - 64.0);
        hoop.quad_to(x + 96.0, y - 62.0, x + 104.0, y - 10.0);
        hoop.line_to(x + 104.0, y + 60.0);
        hoop.close();
        let hoop = finished(hoop);
        layer
            .fill(&hoop, |px, py| Surface::paint(0x1E1D1A).sun(0.1).shade(0.6 + layered(px / 30.0, py / 30.0, 3, 115)));
        for strand in -14..=14 {
            let at = x + strand as f32 * 15.0;
            let (a, b) = ((at - 60.0).clamp(x - 100.0, x + 100.0), (at + 60.0).clamp(x - 100.0, x + 100.0));
            let fall = |v: f32| 58.0 - 114.0 * ((v - at + 60.0) / 120.0);
            let net = |_: f32, _: f32| Surface::paint([0x3F6A66, 0x7A6A3A, 0x466A50][k]).sun(0.35).lamp(0.1);
            layer.stroke(&lines(&[(a, y + fall(a)), (b, y + fall(b))]), 3.0, net);
            layer.stroke(&lines(&[(2.0 * x - a, y + fall(a)), (2.0 * x - b, y + fall(b))]), 3.0, net);
        }
        layer.stroke(&hoop, 11.0, frame);
        layer.stroke(&lines(&[(x, y - 62.0), (x, y + 60.0)]), 9.0, frame);
    }
    coil(layer);
}

/// Rope laid down in rings, seen from above at a slant.
fn coil(layer: &mut Layer) {
    for lift in 0..3 {
        for ring in 0..5 {
            let (width, height) =
                (158.0 - ring as f32 * 23.0 - lift as f32 * 9.0, 50.0 - ring as f32 * 7.4 - lift as f32 * 3.0);
            let y = COIL.1 - lift as f32 * 15.0;
            let Some(oval) = tiny_skia::Rect::from_ltrb(COIL.0 - width, y - height, COIL.0 + width, y + height) else {
                continue;
            };
            let mut turn = PathBuilder::new();
            turn.push_oval(oval);
            let turn = finished(turn);
            layer.stroke(&turn, 20.0, |_, _| Surface::paint(0x2A2318).sun(0.05));
            layer.stroke(&turn, 15.0, |x, y| {
                let angle = ((y - oval.top() - height) / height).atan2((x - COIL.0) / width);
                let lay = (angle * width / 7.0 + layered(x / 30.0, y / 30.0, 2, 117)).rem_euclid(1.0);
                Surface::paint(0xA8946C)
                    .sun(0.4)
                    .lamp(lamplight(x, y))
                    .shade(0.50 + 0.65 * (1.0 - (2.0 * lay - 1.0).powi(2)))
            });
        }
    }
}

/// Linear share of the light that the board gives back, in the mean.
pub(super) fn board_albedo() -> f32 {
    let (root, grain) = BOARD_ROOT;
    root * root + grain * grain / 2.0
}

/// A plain board on two posts: one evenly painted face for whoever wants to measure the light.
fn board(layer: &mut Layer) {
    let [left, top, right, bottom] = BOARD.map(|v| v as f32);
    let wood = |x: f32, y: f32| Surface::paint(0x5A4A3A).sun(0.3).shade(0.6 + layered(x / 4.0, y / 50.0, 3, 116));
    for post in [left + 24.0, right - 24.0] {
        layer.stroke(&lines(&[(post, bottom - 10.0), (post, bottom + 170.0)]), 16.0, wood);
    }
    layer.fill(&rectangle(left - 14.0, top - 14.0, right + 14.0, bottom + 14.0), wood);
    layer.fill(&rectangle(left, top, right, bottom), |x, y| {
        let grain = (x * std::f32::consts::TAU / 24.0 + y * std::f32::consts::TAU / 17.0).sin();
        let root = BOARD_ROOT.0 + BOARD_ROOT.1 * grain;
        Surface { albedo: [root * root; 3], ..Surface::paint(0).sun(0.0) }
    });
}
