//! What resampling of encoded values does to the light of lamps, stars and thin bright wires in the dark.
//!
//! A mean of encoded values is darker than the mean of their light, so what is small and bright loses light where a
//! frame has fewer pixels than its window. Wide lamps keep it. With `resample = "linear"` all keep it.

use stillpath::geom::Window;
use stillpath::picture::Model;
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::stills::{Chroma, Field, flat, paint_rgb, picture, plane};

const STILL: Size = Size { width: 400, height: 300 };

// IEC 61966-2-1's curve, both ways.
fn encoded(light: f64) -> f64 {
    if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

fn light(value: f64) -> f64 {
    if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
}

/// The share of a scene's light above its ground that a frame of `by` times fewer pixels a side keeps.
fn kept(scene: impl Fn(f64, f64) -> f64, by: f64, linear: bool) -> f64 {
    const GROUND: f64 = 0.002;
    let field = Field::from_fn(STILL, |x, y| 65_535.0 * encoded((GROUND + scene(x as f64, y as f64)).min(1.0)));
    let still = picture(Model::Grey, vec![plane(&field, true, stillpath::picture::Siting::FULL)]);
    let mut painter = Painter::new();
    let sharpness = if linear { Sharpness::Positive } else { Sharpness::Even };
    let still = if linear { painter.in_light(&still, None).unwrap() } else { still };
    let size = Size::new((400.0 / by) as u32, (300.0 / by) as u32);
    let frame = paint_rgb(&mut painter, &still, Window::new(0.0, 0.0, 400.0, 300.0), sharpness, size);
    let above = |values: &mut dyn Iterator<Item = f64>| {
        let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + light(value) - GROUND, count + 1.0));
        sum / count
    };
    let before = above(&mut field.values.iter().map(|value| value / 65_535.0));
    above(&mut frame[1].values.iter().map(|value| value / 65_535.0)) / before
}

#[test]
fn small_bright_things_keep_their_light_in_linear_light_and_lose_it_in_encoded_values() {
    let spots = |sigma: f64, peak: f64| {
        move |x: f64, y: f64| {
            // No two at the same place between pixels.
            let from = |at: f64| (at + 0.3).rem_euclid(26.37) - 13.185;
            peak * (-(from(x).powi(2) + from(y).powi(2)) / (2.0 * sigma * sigma)).exp()
        }
    };
    let wire = |x: f64, y: f64| if (x + 0.31 * y).rem_euclid(80.0) < 1.0 { 0.6 } else { 0.0 };
    for by in [1.25, 2.5] {
        let [star, lamp, wide] = [0.7, 2.0, 4.0].map(|sigma| kept(spots(sigma, 0.9), by, true));
        let line = kept(wire, by, true);
        println!("{by} times smaller, linear: a star keeps {star:.4}, a wire {line:.4}, lamps {lamp:.4}, {wide:.4}");
        // JOB's bar for light: half a percent.
        assert!([star, line, lamp, wide].iter().all(|kept| (kept - 1.0).abs() <= 0.005), "{star} {line} {lamp} {wide}");
        let [star, lamp, wide] = [0.7, 2.0, 4.0].map(|sigma| kept(spots(sigma, 0.9), by, false));
        let wire = kept(wire, by, false);
        println!(
            "{by} times smaller: a star keeps {star:.3}, a wire {wire:.3}, a lamp {lamp:.4}, a wide one {wide:.4}"
        );
        assert!((0.1..0.999).contains(&star) && (0.1..0.999).contains(&wire), "{star} {wire}");
        assert!(star < lamp && (lamp - 1.0).abs() < 0.02 && (wide - 1.0).abs() < 0.01, "{lamp} {wide}");
    }
}

/// Chroma and codes: what has no detail is the same either way, to a 16-bit code or two of rounding.
#[test]
fn a_flat_picture_is_the_same_in_linear_light() {
    for (chroma, values) in
        [(Chroma::Quarter, [90, 140, 100]), (Chroma::Half, [30, 120, 150]), (Chroma::Full, [200, 128, 128])]
    {
        let still = flat(Model::YCbCr601, &values, chroma, Size::new(64, 48));
        let mut painter = Painter::new();
        let light = painter.in_light(&still, None).unwrap();
        for roll in [0.0, 8.0] {
            let window = Window::new(8.0, 6.0, 40.0, 30.0).rolled(roll);
            let plain = paint_rgb(&mut painter, &still, window, Sharpness::Even, Size::new(32, 24));
            let linear = paint_rgb(&mut painter, &light, window, Sharpness::Positive, Size::new(32, 24));
            for (plain, linear) in plain.iter().zip(&linear) {
                let apart = plain.values.iter().zip(&linear.values).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
                assert!(apart <= 20.0, "{values:?}, roll {roll}: {apart} of 65,535");
            }
        }
    }
}
