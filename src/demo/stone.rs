//! Stonework: courses, joints, tide marks and weed, as functions of a place on a wall.

use super::layer::Surface;
use super::noise::{blend, cell, layered, smooth, srgb, step};

/// A wall of squared blocks at `(along, down)`, in scene units at nearness 1; `grain` is the size of a pixel there.
pub(super) fn wall(along: f32, down: f32, grain: f32) -> Surface {
    const COURSE: f32 = 62.0;
    let course = (down / COURSE).floor();
    let row = course as i32;
    let length = 116.0 + 46.0 * cell(row, 3, 61);
    let shifted = along / length + cell(row, 4, 61) * 3.0;
    let block = shifted.floor() as i32;
    let wander = 2.6 * (layered(along / 40.0, down / 40.0, 3, 62) - 0.5);
    let from_joint = |at: f32, size: f32| (0.5 - (at - 0.5).abs()) * size + wander;
    let joint = from_joint(down / COURSE - course, COURSE).min(from_joint(shifted - shifted.floor(), length));
    let mortar = 1.0 - step(1.6, 1.6 + 2.2_f32.max(grain * 1.5), joint);
    let edge = 1.0 - step(2.5, 13.0, joint);
    let rough = layered(along / 19.0, down / 15.0, 5, 63);
    let pits = step(0.62, 0.78, smooth(along / 5.0, down / 4.6, 64));
    let tone = 0.72 + 0.42 * cell(block, row, 65) + 0.55 * (rough - 0.5) - 0.16 * edge - 0.20 * pits;
    let hue = cell(block, row, 66);
    let stone = blend(srgb(0x938A7C), if hue > 0.66 { srgb(0xA18C6E) } else { srgb(0x858887) }, (hue * 1.7).fract());
    let face = stone.map(|v| v * tone.max(0.1));
    let albedo = blend(face, srgb(0x4A463F), mortar * 0.85);
    Surface { albedo, sun: 0.12, lamp: 0.0, haze: 0.04, glow: 0.0 }
}

/// What the tide leaves on it: a dark band, shells, weed below `high` (scene units down from the horizon).
pub(super) fn tide_marks(surface: Surface, along: f32, down: f32, high: f32) -> Surface {
    let wander =
        26.0 * (layered(along / 130.0, 1.0, 4, 71) - 0.5) + 9.0 * (smooth(along / 11.0, down / 30.0, 72) - 0.5);
    let depth = down - high + wander;
    let stain = step(-120.0, -40.0, depth);
    let shells = step(-52.0, -34.0, depth)
        * (1.0 - step(-18.0, 6.0, depth))
        * step(0.50, 0.62, smooth(along / 4.2, down / 4.0, 73));
    let streaks = layered(along / 8.0, down / 60.0, 4, 74);
    let weed = step(-8.0, 26.0, depth + 70.0 * (streaks - 0.5))
        * step(0.26, 0.46, layered(along / 26.0, down / 44.0, 4, 75) + 0.12);
    let frond = 0.45 + 1.1 * layered(along / 5.0, down / 22.0, 3, 76);
    let green = blend(srgb(0x47502A), srgb(0x2C2A1A), step(60.0, 150.0, depth)).map(|v| v * frond);
    let mut albedo = surface.albedo.map(|v| v * (1.0 - 0.52 * stain));
    albedo = blend(albedo, srgb(0xB9B3A2), shells * 0.75);
    albedo = blend(albedo, green, weed * 0.92);
    Surface { albedo, ..surface }
}

/// Setts seen from above at `(across, away)`, in sett widths.
pub(super) fn setts(across: f32, away: f32, grain: f32) -> Surface {
    let row = away.floor();
    let shifted = across + cell(row as i32, 7, 81) * 0.9 + row * 0.5;
    let (i, j) = (shifted.floor() as i32, row as i32);
    let wander = 0.05 * (layered(across * 2.2, away * 2.2, 3, 82) - 0.5);
    let near = |at: f32| 0.5 - (at - at.floor() - 0.5).abs();
    let joint = near(shifted).min(near(away)) + wander;
    let gap = 1.0 - step(0.035, 0.10_f32.max(0.035 + grain), joint);
    let dome = step(0.02, 0.30, joint);
    let rough = layered(across * 5.0, away * 5.0, 4, 83);
    let tone = 0.55 + 0.50 * cell(i, j, 84) + 0.5 * (rough - 0.5) + 0.22 * dome;
    let stone = blend(srgb(0x7E7871), srgb(0x8C7C68), cell(i, j, 85));
    Surface {
        albedo: blend(stone.map(|v| v * tone.max(0.1)), srgb(0x2F2C27), gap * 0.9),
        sun: 0.10 + 0.30 * dome,
        lamp: 0.0,
        haze: 0.0,
        glow: 0.0,
    }
}
