//! Steps of exposure among highlights: what both sides of a step have in common goes on evenly, and what one of them
//! clips fades into white.

use std::fs;
use std::path::Path;

use stillpath::ffi::jpeg;

use crate::common::{Bench, STILL};
use crate::levelling::{block, encoded};

/// Blocks of a frame that are looked at, in pixels.
const BLOCK: usize = 32;

/// Writes a still of a scene's light: `light(x, y)` times `exposure`, clipped at white.
fn write(path: &Path, exposure: f64, told: (u32, u32), light: &dyn Fn(f64, f64) -> [f64; 3]) {
    let mut rgb = Vec::new();
    for y in 0..STILL.height {
        for x in 0..STILL.width {
            // Rounded up or down by a pattern, so that no mean has the step of a code in it.
            let pattern = f64::from((x * 37 + y * 91) % 64) / 64.0;
            let seen = light(f64::from(x), f64::from(y)).map(|light| encoded((light * exposure).min(1.0)));
            rgb.extend(seen.map(|seen| (255.0 * seen + pattern).floor().min(255.0) as u8));
        }
    }
    let exif = block(told);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, jpeg::encode_rgb(&rgb, STILL, 97, (1, 1), &[(0xE1, exif.as_slice())])).unwrap();
}

/// Renders a shoot still by still and gives the means of every frame's blocks, of green, from 0 to 1, as they are seen
/// (encoded).
fn blocks(bench: &Bench, level: &str) -> Vec<Vec<f64>> {
    bench.script(&format!(
        r#"return shot {{ source = stills {{ "stills" }}, fps = 24, pace = stills_per_frame(1), {level}
  deliveries = {{ delivery {{ "whole", frame = {{ 320, 240 }}, codec = "png" }} }} }}"#
    ));
    bench.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
    let frames = bench.list("clips/move-whole").into_iter();
    frames
        .map(|name| {
            let picture = image::open(bench.path(&format!("clips/move-whole/{name}"))).unwrap().to_rgb16();
            let (across, down) = (picture.width() as usize / BLOCK, picture.height() as usize / BLOCK);
            let mut sums = vec![0.0; across * down];
            for (x, y, pixel) in picture.enumerate_pixels() {
                let (column, row) = (x as usize / BLOCK, y as usize / BLOCK);
                if column < across && row < down {
                    sums[row * across + column] += f64::from(pixel.0[1]) / 65_535.0;
                }
            }
            sums.iter().map(|sum| sum / (BLOCK * BLOCK) as f64).collect()
        })
        .collect()
}

/// The worst step of any block, from each frame to the next.
fn worst_steps(frames: &[Vec<f64>]) -> Vec<f64> {
    let step = |two: &[Vec<f64>]| two[0].iter().zip(&two[1]).fold(0.0_f64, |most, (a, b)| most.max((b - a).abs()));
    frames.windows(2).map(step).collect()
}

fn most(values: &[f64]) -> f64 {
    values.iter().copied().fold(0.0, f64::max)
}

#[test]
fn no_value_jumps_where_the_exposure_is_doubled_and_nothing_is_clipped() {
    let bench = Bench::new(0);
    // Patches from nearly black to .455 of white, .91 once exposed for twice as long.
    let light = |x: f64, y: f64| {
        let patch = (x / 32.0).floor() + 10.0 * (y / 32.0).floor();
        [0.455 * (0.02 + 0.98 * (patch / 69.0).min(1.0)); 3]
    };
    for still in 0..60 {
        let (exposure, told) = if still < 30 { (1.0, (1, 8)) } else { (2.0, (1, 4)) };
        write(&bench.still(still + 1), exposure, told, &light);
    }
    let frames = blocks(&bench, "level = true,");
    let steps = worst_steps(&frames);
    println!("worst step {:.4} of white, at the join {:.4}, beside it {:.4}", most(&steps), steps[29], steps[28]);
    assert!(most(&steps) <= 0.01, "{steps:?}");
}

#[test]
fn clouds_beside_a_clipped_sun_do_not_burn_out_at_any_of_five_steps() {
    const TREAD: usize = 12;
    let stills = 6 * TREAD;
    // Clouds that drift before a bright sky, a sun that is clipped from first to last, and a dark ground.
    let scene = |still: usize| {
        let time = still as f64;
        move |x: f64, y: f64| -> [f64; 3] {
            let cloud = (0.045 * (x + 0.6 * time)).sin() + (0.03 * x + 0.071 * y - 0.02 * time).sin() * 1.3;
            let sky = 0.28 + 0.5 * (1.0 - y / 240.0) + 0.25 * cloud.max(0.0);
            let sun = 40.0 * (-((x - 220.0).powi(2) + (y - 70.0).powi(2)) / 350.0).exp();
            let ground = 0.03 + 0.02 * (0.2 * x).sin().powi(2);
            let light = if y > 170.0 { ground } else { sky + sun };
            [light, 0.93 * light, 0.8 * light]
        }
    };
    let shot = |exposure: &dyn Fn(usize) -> (f64, (u32, u32))| {
        let bench = Bench::new(0);
        for still in 0..stills {
            // The light falls by five stops, evenly.
            let falls = 2.0_f64.powf(-(still as f64 - (TREAD as f64 - 1.0) / 2.0) / TREAD as f64);
            let (exposure, told) = exposure(still);
            write(&bench.still(still + 1), falls * exposure, told, &scene(still));
        }
        bench
    };
    let stepped = shot(&|still| {
        let stop = u32::try_from(still / TREAD).unwrap();
        (2.0_f64.powi(stop as i32), (1 << stop, 64))
    });
    // The same with a camera that follows evenly: no header tells of a step, and there is none.
    let even = shot(&|still| (2.0_f64.powf((still as f64 - (TREAD as f64 - 1.0) / 2.0) / TREAD as f64), (1, 64)));
    let (stepped, even) = (worst_steps(&blocks(&stepped, "level = true,")), worst_steps(&blocks(&even, "")));
    println!("worst step of a block {:.4}; without steps {:.4}", most(&stepped), most(&even));
    println!("{stepped:.4?}\n{even:.4?}");
    assert!(most(&stepped) <= 1.5 * most(&even));
}
