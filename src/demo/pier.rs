//! The pier across the basin: its walls of stone, the deck, the crane's legs, a store, lamps and bollards.

use super::layer::{Layer, Surface, hanging, lines, polygon, rectangle};
use super::noise::{layered, smooth, step};
use super::stone::{tide_marks, wall};
use super::world::{CORNER, Camera, DECK, HIGH_WATER, HORIZON, VANISHING, waterline};

/// Where the pier's lamps burn.
pub(super) const LAMPS: [(f32, f32); 3] = [(2418.0, 1290.0), (3290.0, 1262.0), (3880.0, 1262.0)];
/// Nearness of the pier's far end.
const END: f32 = 0.5;

/// Draws it for one camera position.
pub(super) fn draw(camera: Camera) -> Layer {
    let mut layer = Layer::new(camera, 1840.0, 1140.0, 4060.0, waterline(1.0, 1.0) + 30.0);
    walls(&mut layer);
    deck(&mut layer);
    store(&mut layer);
    for (k, lamp) in LAMPS.into_iter().enumerate() {
        lamp_post(&mut layer, lamp, DECK as f32 - if k == 0 { 40.0 } else { 95.0 });
    }
    legs(&mut layer);
    fittings(&mut layer);
    layer
}

/// Light that the pier's lamps throw on a place near the deck.
fn lamplight(x: f32, y: f32) -> f32 {
    LAMPS
        .iter()
        .map(|&(lx, ly)| 1.0 / (1.0 + ((x - lx) / 190.0).powi(2) + ((y - ly - 170.0) / 210.0).powi(2)).powf(1.5))
        .sum::<f32>()
        .min(1.0)
}

fn walls(layer: &mut Layer) {
    let (corner, vanishing, horizon, grain) = (CORNER as f32, VANISHING as f32, HORIZON as f32, layer.grain());
    let (deck, foot) = (DECK as f32, waterline(1.0, 1.0) as f32 + 30.0);
    let far = |v: f32| horizon + (v - horizon) * END;
    let end = vanishing + (corner - vanishing) * END;
    layer.fill(&polygon(&[(end, far(deck)), (corner, deck), (corner, foot), (end, far(foot))]), |x, y| {
        let near = (x - vanishing) / (corner - vanishing);
        let (along, down) = ((1.0 / near - 1.0) * 1900.0, (y - horizon) / near);
        tide_marks(wall(along, down, grain / near), along, down, HIGH_WATER as f32)
            .sun(0.85)
            .haze(0.05 + 0.12 * (1.0 - near))
    });
    layer.fill(&rectangle(corner, deck, 4060.0, foot), |x, y| {
        let down = y - horizon;
        let shade = 0.5 + 0.5 * step(0.0, 34.0, y - deck - 20.0);
        tide_marks(wall(x, down, grain), x, down, HIGH_WATER as f32).lamp(0.75 * lamplight(x, y)).shade(shade)
    });
    for (k, x) in [2345.0_f32, 2790.0, 3230.0, 3670.0].into_iter().enumerate() {
        layer.fill(&rectangle(x, deck - 26.0, x + 44.0, foot), |px, y| {
            let round = 1.0 - ((px - x - 22.0) / 22.0).powi(2);
            let fibre = layered(px / 3.0, y / 90.0 + k as f32 * 9.0, 4, 92);
            let surface = Surface::paint(0x5B4A38)
                .sun(0.15)
                .lamp(0.5 * lamplight(px, y))
                .shade(0.35 + 0.7 * round * fibre + 0.25 * fibre);
            tide_marks(surface, px, y - horizon, HIGH_WATER as f32)
        });
    }
    ladder(layer, 2560.0, deck, foot);
}

fn ladder(layer: &mut Layer, x: f32, deck: f32, foot: f32) {
    let iron = |x: f32, y: f32| {
        let rust = layered(x / 6.0, y / 14.0, 3, 93);
        tide_marks(Surface::paint(0x5A3A28).sun(0.2).shade(0.5 + rust), x, y - HORIZON as f32, HIGH_WATER as f32 + 10.0)
    };
    for rail in [x, x + 58.0] {
        layer.stroke(&lines(&[(rail, deck - 46.0), (rail, foot)]), 9.0, iron);
    }
    let mut rung = deck + 14.0;
    while rung < foot {
        layer.stroke(&lines(&[(x, rung + 6.0), (x + 58.0, rung + 6.0)]), 7.0, |_, _| Surface::paint(0x1C1A18).sun(0.0));
        layer.stroke(&lines(&[(x, rung), (x + 58.0, rung)]), 7.0, iron);
        rung += 31.0;
    }
}

fn deck(layer: &mut Layer) {
    let (corner, vanishing, horizon) = (CORNER as f32, VANISHING as f32, HORIZON as f32);
    let (front, back) = (DECK as f32, horizon + (DECK as f32 - horizon) * END);
    let end = vanishing + (corner - vanishing) * END;
    layer.fill(&polygon(&[(end, back), (4060.0, back), (4060.0, front), (corner, front)]), |x, y| {
        let near = (y - horizon) / (front - horizon);
        let across = vanishing + (x - vanishing) / near;
        let away = (1.0 / near) * 1800.0;
        let slab = ((across / 210.0).fract() < 0.018) || ((away / 240.0).fract() < 0.03);
        let tone = 0.75 + 0.5 * layered(across / 90.0, away / 130.0, 5, 94) - if slab { 0.22 } else { 0.0 };
        Surface::paint(0x8A8478).sun(0.55).lamp(lamplight(x, y)).haze(0.06).shade(tone)
    });
    let coping = |x: f32, y: f32| {
        let joint = ((x / 168.0).fract() - 0.5).abs() > 0.49;
        let tone = 0.85 + 0.4 * (layered(x / 30.0, y / 9.0, 4, 95) - 0.5) - if joint { 0.4 } else { 0.0 };
        Surface::paint(0xB3A993).sun(0.5).lamp(0.9 * lamplight(x, y)).shade(tone)
    };
    layer.fill(&rectangle(corner - 3.0, front - 5.0, 4060.0, front + 24.0), coping);
    layer.fill(
        &polygon(&[(end, back - 2.0), (corner - 3.0, front - 5.0), (corner - 3.0, front + 24.0), (end, back + 9.0)]),
        |x, y| coping(x, y).sun(0.8),
    );
}

/// A brick store with a slate roof and lit windows.
fn store(layer: &mut Layer) {
    let (left, right, top, foot) = (3360.0_f32, 4060.0_f32, 1320.0_f32, 1556.0_f32);
    let grain = layer.grain();
    let fade = (11.0 / grain - 2.0).clamp(0.0, 1.0);
    layer.fill(&rectangle(left, top, right, foot), |x, y| {
        let course = ((y - top) / 11.0).floor();
        let along = (x - left) / 25.0 + if course as i32 % 2 == 0 { 0.5 } else { 0.0 };
        let mortar = ((y - top) / 11.0).fract() < 0.17 || along.fract() < 0.08;
        let tone = 0.8 + 0.4 * super::noise::cell(along.floor() as i32, course as i32, 96) - 0.2
            + 0.3 * (smooth(x / 60.0, y / 50.0, 97) - 0.5);
        let brick = Surface::paint(0x7E4C3B).sun(0.12).lamp(0.9 * lamplight(x, y)).haze(0.08).shade(tone);
        if mortar && fade > 0.5 {
            Surface { albedo: Surface::paint(0x8F8577).albedo, ..brick }.shade(0.8)
        } else {
            brick
        }
    });
    layer.fill(
        &polygon(&[(left - 26.0, top + 6.0), (left + 40.0, top - 150.0), (right, top - 150.0), (right, top + 6.0)]),
        |x, y| {
            let course = ((y - top) / 13.0).floor();
            let slate = (x / 17.0 + course * 0.5).floor() as i32;
            let lip = ((y - top) / 13.0).rem_euclid(1.0) < 0.2;
            let tone = 0.75 + 0.4 * super::noise::cell(slate, course as i32, 98) - if lip { 0.25 * fade } else { 0.0 };
            Surface::paint(0x545862).sun(0.45).haze(0.08).shade(tone)
        },
    );
    layer.fill(&rectangle(left - 26.0, top + 2.0, right, top + 12.0), |_, _| Surface::paint(0x35322F).sun(0.3));
    for k in 0..5 {
        let x = left + 50.0 + k as f32 * 138.0;
        if k == 2 {
            layer.fill(&rectangle(x - 8.0, top + 62.0, x + 84.0, foot), |px, _| {
                let plank = ((px - x + 8.0) / 13.0).fract() < 0.12;
                Surface::paint(0x2F5248).lamp(0.5).shade(if plank { 0.55 } else { 1.0 })
            });
            continue;
        }
        layer.fill(&rectangle(x - 7.0, top + 54.0, x + 71.0, top + 146.0), |_, _| {
            Surface::paint(0xC8C0AE).sun(0.2).lamp(0.5).haze(0.06)
        });
        let lit = if k == 3 { 0.12 } else { 0.95 };
        layer.fill(&rectangle(x, top + 60.0, x + 64.0, top + 138.0), |px, y| {
            let bar = (((px - x) / 21.4).fract() - 0.5).abs() > 0.45
                || (((y - top - 60.0) / 26.0).fract() - 0.5).abs() > 0.45;
            let warmth = 0.75 + 0.25 * smooth(px / 20.0, y / 20.0, 99);
            let pane = Surface::paint(if bar { 0xB8B0A0 } else { 0x2B3238 }).sun(if bar { 0.2 } else { 0.5 });
            pane.glow(if bar { 0.12 } else { lit * warmth })
        });
    }
}

fn lamp_post(layer: &mut Layer, (x, y): (f32, f32), foot: f32) {
    let iron = |_: f32, _: f32| Surface::paint(0x2B2E30).sun(0.5).lamp(0.25);
    layer.stroke(&lines(&[(x, foot), (x, y + 20.0)]), 9.0, iron);
    layer.fill(&rectangle(x - 9.0, foot - 46.0, x + 9.0, foot), iron);
    lantern(layer, x, y, 1.0);
}

/// A lantern whose light sits at `(x, y)`.
pub(super) fn lantern(layer: &mut Layer, x: f32, y: f32, size: f32) {
    let iron = |_: f32, _: f32| Surface::paint(0x2B2E30).sun(0.5).lamp(0.25);
    let at = |dx: f32, dy: f32| (x + dx * size, y + dy * size);
    layer.fill(&polygon(&[at(-15.0, -20.0), at(15.0, -20.0), at(10.0, 22.0), at(-10.0, 22.0)]), |_, _| {
        Surface::paint(0xB9B4A2).sun(0.6).glow(1.0)
    });
    layer.fill(&polygon(&[at(-21.0, -19.0), at(0.0, -42.0), at(21.0, -19.0)]), iron);
    layer.fill(&polygon(&[at(-12.0, 20.0), at(12.0, 20.0), at(7.0, 30.0), at(-7.0, 30.0)]), iron);
    for dx in [-12.0, 0.0, 12.0] {
        layer.stroke(&lines(&[at(dx * 1.2, -20.0), at(dx * 0.8, 22.0)]), 2.4 * size, iron);
    }
}

/// The crane's portal: four legs with bracing, a ring to turn on.
fn legs(layer: &mut Layer) {
    let steel = |x: f32, y: f32| {
        let worn = layered(x / 16.0, y / 22.0, 4, 101);
        Surface::paint(0x5F7476).sun(0.55).lamp(0.55 * lamplight(x, y)).shade(0.65 + 0.6 * worn)
    };
    let behind = |x: f32, y: f32| steel(x, y).shade(0.62).sun(0.2);
    for (legs, foot, width) in [([2888.0_f32, 3082.0], 1545.0_f32, 13.0), ([2842.0, 3128.0], 1622.0, 19.0)] {
        let [left, right] = legs;
        let head = 1218.0;
        let top = [2985.0 + (left - 2985.0) * 0.62, 2985.0 + (right - 2985.0) * 0.62];
        let at = |side: usize, share: f32| {
            let foot_x = legs[side];
            (foot_x + (top[side] - foot_x) * share, foot + (head - foot) * share)
        };
        let shaded = width < 15.0;
        let mut beam = |a: (f32, f32), b: (f32, f32), width: f32| {
            if shaded {
                layer.stroke(&lines(&[a, b]), width, behind)
            } else {
                layer.stroke(&lines(&[a, b]), width, steel)
            }
        };
        for bay in 0..4 {
            let (low, high) = (bay as f32 * 0.25, (bay + 1) as f32 * 0.25);
            if bay > 0 {
                beam(at(0, low), at(1, high), width * 0.45);
                beam(at(1, low), at(0, high), width * 0.45);
            }
            beam(at(0, high), at(1, high), width * 0.6);
        }
        beam(at(0, 0.0), at(0, 1.0), width);
        beam(at(1, 0.0), at(1, 1.0), width);
        beam((left - 26.0, foot), (left + 26.0, foot), width * 1.3);
        beam((right - 26.0, foot), (right + 26.0, foot), width * 1.3);
    }
    layer.fill(&rectangle(2858.0, 1196.0, 3112.0, 1224.0), |x, y| {
        steel(x, y).shade(if (x / 22.0).fract() < 0.14 { 0.6 } else { 0.9 })
    });
}

fn fittings(layer: &mut Layer) {
    let rail = |_: f32, _: f32| Surface::paint(0x4A5054).sun(0.5).lamp(0.4);
    for x in [2690.0_f32, 3330.0, 3750.0] {
        let foot = DECK as f32 - 4.0;
        let outline = [(-15.0, 0.0), (-11.0, -34.0), (-19.0, -48.0), (19.0, -48.0), (11.0, -34.0), (15.0, 0.0)];
        layer.fill(&polygon(&outline.map(|(dx, dy)| (x + dx, foot + dy))), |px, y| {
            let round = 1.0 - ((px - x + 5.0) / 22.0).powi(2);
            Surface::paint(0x3A3C3E).sun(0.5).lamp(0.7 * lamplight(px, y)).shade(0.5 + 0.8 * round)
        });
    }
    for k in 0..6 {
        let x = 3300.0 + k as f32 * 130.0;
        layer.stroke(&lines(&[(x, 1478.0 + 160.0), (x, 1560.0)]), 5.0, rail);
        if k < 5 {
            layer.stroke(&hanging((x, 1566.0), (x + 130.0, 1566.0), 16.0), 3.4, rail);
            layer.stroke(&hanging((x, 1600.0), (x + 130.0, 1600.0), 16.0), 3.4, rail);
        }
    }
    for (k, (x, y)) in [(3190.0_f32, 1612.0_f32), (3226.0, 1618.0), (3209.0, 1566.0)].into_iter().enumerate() {
        layer.fill(&rectangle(x - 18.0, y - 42.0, x + 18.0, y + 6.0), |px, py| {
            let hoop = ((py - y + 42.0) / 14.0).fract() < 0.2;
            let round = 1.0 - ((px - x) / 20.0).powi(2);
            Surface::paint(if hoop { 0x3B3734 } else { 0x6E5236 + k as u32 * 0x000808 })
                .sun(0.5)
                .lamp(0.6)
                .shade(0.35 + 0.75 * round)
        });
    }
}
