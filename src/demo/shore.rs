//! The far side: hills, trees, corrugated sheds, a low quay.

use tiny_skia::PathBuilder;

use super::layer::{Layer, Surface, finished, lines, polygon, rectangle};
use super::noise::{cell, layered, mix, smooth, step};
use super::world::{Camera, SHORE, waterline};

/// Draws it for one camera position.
pub(super) fn draw(camera: Camera) -> Layer {
    let mut layer = Layer::new(camera, -60.0, 900.0, 4060.0, waterline(SHORE, 1.0) + 8.0);
    ridge(&mut layer, 1085.0, 190.0, 900.0, 11, Surface::paint(0x5C6470).haze(0.74).sun(0.2));
    ridge(&mut layer, 1165.0, 120.0, 620.0, 12, Surface::paint(0x46543E).haze(0.54).sun(0.35));
    houses(&mut layer);
    woods(&mut layer);
    quay(&mut layer);
    for k in 0..9 {
        shed(&mut layer, k);
    }
    layer
}

fn ridge(layer: &mut Layer, height: f32, relief: f32, length: f32, salt: u32, surface: Surface) {
    let mut outline = PathBuilder::new();
    outline.move_to(-60.0, 1460.0);
    for step in 0..=1040 {
        let x = -60.0 + step as f32 * 4.0;
        outline.line_to(x, height + relief * (0.5 - layered(x / length + 3.7, 0.5, 6, salt)) * 1.6);
    }
    outline.line_to(4100.0, 1460.0);
    outline.close();
    layer.fill(&finished(outline), |x, y| {
        let tone = 0.45 + 1.1 * layered(x / 90.0, y / 30.0, 6, salt + 1);
        surface.shade(tone)
    });
}

fn woods(layer: &mut Layer) {
    let mut outline = PathBuilder::new();
    outline.move_to(-60.0, 1460.0);
    for step in 0..=2080 {
        let x = -60.0 + step as f32 * 2.0;
        let crowns = smooth(x / 23.0, 0.3, 21) * 24.0 + smooth(x / 9.0, 0.7, 22) * 9.0;
        outline.line_to(x, 1292.0 - crowns - 40.0 * layered(x / 400.0, 2.0, 3, 23));
    }
    outline.line_to(4100.0, 1460.0);
    outline.close();
    layer.fill(&finished(outline), |x, y| {
        let tone = 0.5 + layered(x / 16.0, y / 12.0, 4, 24);
        Surface::paint(0x3A4634).haze(0.40).sun(0.3).shade(tone)
    });
}

fn quay(layer: &mut Layer) {
    layer.fill(&rectangle(-60.0, 1352.0, 4060.0, 1450.0), |x, y| {
        let course = ((y - 1352.0) / 9.0).floor();
        let block = ((x + course * 13.0) / 26.0).floor();
        let tone = 0.8 + 0.35 * cell(block as i32, course as i32, 31) - 0.45 * step(1392.0, 1412.0, y);
        Surface::paint(0x86796A).haze(0.30).sun(0.25).lamp(0.18).shade(tone)
    });
    layer.fill(&rectangle(-60.0, 1346.0, 4060.0, 1354.0), |_, _| Surface::paint(0xA99C8A).haze(0.3).sun(0.5).lamp(0.3));
}

/// One corrugated shed, gable to the water.
fn shed(layer: &mut Layer, k: i32) {
    let colours = [0x8E4A3A, 0x6E7B80, 0x9A8F78, 0x4E6A6E, 0xA0724A, 0x7C4436, 0x86909A, 0x5A6B58, 0x94694C];
    let colour = colours[k as usize % colours.len()];
    let left = 60.0 + k as f32 * 262.0 + 60.0 * cell(k, 1, 41);
    let width = 200.0 + 40.0 * cell(k, 2, 41);
    let eaves = 1262.0 - 30.0 * cell(k, 3, 41);
    let ridge = eaves - 46.0 - 16.0 * cell(k, 4, 41);
    let right = left + width;
    let outline =
        polygon(&[(left, 1348.0), (left, eaves), (left + width / 2.0, ridge), (right, eaves), (right, 1348.0)]);
    let fade = (7.0 / layer.grain() - 2.0).clamp(0.0, 1.0);
    layer.fill(&outline, move |x, y| {
        let ribs = 1.0 + 0.24 * fade * (x * std::f32::consts::TAU / 7.0).sin();
        let rust = step(0.52, 0.72, layered(x / 36.0, y / 60.0, 4, 43 + k.cast_unsigned()));
        let surface = Surface::paint(colour).haze(0.24).sun(0.30).lamp(0.22 * step(1240.0, 1345.0, y));
        let mut albedo = surface.albedo;
        for (value, rust_value) in albedo.iter_mut().zip(Surface::paint(0x6B4028).albedo) {
            *value = mix(*value, rust_value, rust * 0.55);
        }
        Surface { albedo, ..surface }.shade(ribs * (0.85 + 0.3 * smooth(x / 50.0, y / 30.0, 44)))
    });
    let roof = Surface::paint(0x4C4744).haze(0.24).sun(0.8);
    let gable = [(left - 5.0, eaves + 3.0), (left + width / 2.0, ridge - 3.0), (right + 5.0, eaves + 3.0)];
    layer.stroke(&lines(&gable), 6.0, move |_, _| roof);
    let door = left + width * 0.36;
    layer.fill(&rectangle(door, 1290.0, door + width * 0.28, 1348.0), move |x, _| {
        Surface::paint(0x3B3633).haze(0.22).lamp(0.3).shade(if ((x - door) / 9.0).fract() < 0.15 { 0.6 } else { 1.0 })
    });
    let mut pane = left + 16.0;
    while pane < right - 24.0 {
        if !(door - 18.0..door + width * 0.28 + 2.0).contains(&pane) {
            let glow = if cell(k, pane as i32, 45) > 0.45 { 0.85 } else { 0.05 };
            layer.fill(&rectangle(pane, 1284.0, pane + 15.0, 1306.0), move |x, y| {
                let bar = ((x - pane) - 7.5).abs() < 0.9 || (y - 1295.0).abs() < 0.9;
                Surface::paint(0x39424A).haze(0.2).sun(0.5).glow(if bar { 0.05 } else { glow })
            });
        }
        pane += 27.0;
    }
}

/// A few houses on the slope behind, with windows that light up.
fn houses(layer: &mut Layer) {
    for k in 0..30 {
        let village = [140.0, 1180.0, 2060.0][k as usize % 3];
        let (x, foot) = (village + 380.0 * cell(k, 1, 51), 1196.0 + 2.1 * k as f32 + 10.0 * cell(k, 2, 51));
        let (width, height) = (30.0 + 18.0 * cell(k, 3, 51), 22.0 + 8.0 * cell(k, 4, 51));
        let walls = [0xC9BFAE, 0xB59A82, 0xD2CBBF, 0xA88F80][(cell(k, 5, 51) * 4.0) as usize];
        let roofs = [0x6A4438, 0x54504E, 0x7A5040][(cell(k, 6, 51) * 3.0) as usize];
        layer
            .fill(&rectangle(x, foot - height, x + width, foot), move |_, _| Surface::paint(walls).haze(0.42).sun(0.5));
        let roof =
            [(x - 3.0, foot - height), (x + width / 2.0, foot - height - 15.0), (x + width + 3.0, foot - height)];
        layer.fill(&polygon(&roof), move |_, _| Surface::paint(roofs).haze(0.4).sun(0.6));
        for window in 0..2 {
            let glow = if cell(k, 7 + window, 51) > 0.35 { 0.8 } else { 0.0 };
            let at = x + 6.0 + window as f32 * (width - 18.0);
            layer.fill(&rectangle(at, foot - height + 7.0, at + 6.5, foot - height + 15.0), move |_, _| {
                Surface::paint(0x44484C).haze(0.35).glow(glow)
            });
        }
    }
}
