//! Wires and stars in the dark, from files to frames: they keep their light where a delivery asks for that, in plain
//! frames and in means, whatever the number of threads.

use std::fs;

use stillpath::ffi::jpeg;

use crate::common::{Bench, STILL};
use crate::levelling::{encoded, light};

/// Light of a wire's pixel and of the ground.
const WIRE: f64 = 0.6;
const GROUND: f64 = 0.01;

/// Mean light of the frames of a delivery that is written as PNG.
fn mean_light(bench: &Bench, delivery: &str) -> Vec<f64> {
    let folder = format!("clips/move-{delivery}");
    let frames = bench.list(&folder).into_iter();
    frames
        .map(|name| {
            let picture = image::open(bench.path(&format!("{folder}/{name}"))).unwrap().to_rgb16();
            let sum: f64 = picture.pixels().map(|pixel| light(f64::from(pixel.0[1]) / 65_535.0)).sum();
            sum / f64::from(picture.width() * picture.height())
        })
        .collect()
}

#[test]
fn wires_keep_their_light_where_a_delivery_resamples_light() {
    let bench = Bench::new(0);
    let mut truth = 0.0;
    for number in 1..=6 {
        let mut rgb = Vec::new();
        let mut sum = 0.0;
        for y in 0..STILL.height {
            for x in 0..STILL.width {
                let on_wire = (f64::from(x) + 0.31 * f64::from(y)).rem_euclid(40.0) < 1.0;
                let code = (255.0 * encoded(if on_wire { WIRE } else { GROUND })).round();
                sum += light(code / 255.0);
                rgb.extend([code as u8; 3]);
            }
        }
        truth = sum / f64::from(STILL.width * STILL.height);
        fs::create_dir_all(bench.still(number).parent().unwrap()).unwrap();
        fs::write(bench.still(number), jpeg::encode_rgb(&rgb, STILL, 100, (1, 1), &[])).unwrap();
    }
    let script = r#"return shot { source = stills { "stills" }, fps = 24, pace = stills_per_frame(2), deliveries = {
  delivery { "plain", frame = { 128, 96 }, codec = "png" },
  delivery { "light", frame = { 128, 96 }, codec = "png", resample = "linear" },
  delivery { "mean", frame = { 128, 96 }, codec = "png", resample = "linear", shutter = 1 } } }"#;
    bench.script(script);
    bench.run(&["render", "move.lua", "--out", "clips", "--threads", "1"]).expect(0);
    let [plain, linear, mean] = ["plain", "light", "mean"].map(|delivery| mean_light(&bench, delivery));
    println!("of a light of {truth:.4}: {:.4} plain, {:.4} linear, {:.4} in means", plain[0], linear[0], mean[0]);
    assert!(linear.iter().chain(&mean).all(|kept| (kept / truth - 1.0).abs() < 0.01), "{linear:?} {mean:?}");
    assert!(plain.iter().all(|kept| kept / truth < 0.8), "{plain:?}");
    bench.script(
        r#"return shot { source = stills { "stills" }, fps = 24, pace = stills_per_frame(2), deliveries = {
  delivery { "light", frame = { 128, 96 }, codec = "png", resample = "linear", sharpness = "full" } } }"#,
    );
    bench.run(&["check", "move.lua"]).expect(0).says("sharpness = \"full\" has no effect in 'light'");
    bench.script(script);
    let names = bench.list("clips/move-light");
    let read = |folder: &str| -> Vec<Vec<u8>> {
        names.iter().map(|name| fs::read(bench.path(&format!("{folder}/move-light/{name}"))).unwrap()).collect()
    };
    let one = read("clips");
    bench.run(&["render", "move.lua", "--out", "again", "--threads", "2"]).expect(0);
    assert!(one == read("again"), "one thread and two make the same frames");
}
