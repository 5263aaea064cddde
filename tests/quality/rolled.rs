//! Rolled windows: true rotation, as sharp, as steady and as free of shimmer as upright ones, and one with them where a
//! roll begins.

use std::f64::consts::PI;

use kurbo::Point;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex64;
use stillpath::geom::Window;
use stillpath::picture::Picture;
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::breathing;
use crate::shimmer;
use crate::stills::{Chroma, Field, grey16, jpeg, paint_rgb, paint_yuv};
use crate::texture;

const BOTH: [Sharpness; 2] = [Sharpness::Even, Sharpness::Full];

fn furthest(a: &Field, b: &Field) -> f64 {
    assert_eq!((a.width, a.height), (b.width, b.height));
    a.values.iter().zip(&b.values).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

/// A smooth picture that is a formula at every point: waves every way, as short as 12 pixels, of 0 to 255.
pub(crate) fn waves(x: f64, y: f64) -> f64 {
    let waves = [(0.31, 0.17, 0.4), (-0.22, 0.35, 1.3), (0.05, -0.11, 2.1), (0.5, 0.02, 0.2), (0.013, 0.48, 3.0)];
    128.0 + waves.iter().map(|(across, down, phase)| 20.0 * (across * x + down * y + phase).sin()).sum::<f64>()
}

#[test]
fn a_rolled_frame_shows_the_formula_where_the_roll_says() {
    // An analytic picture is its own reference: what must be seen is the formula at the rotated place. The bar is what
    // Lanczos-3 itself lets through unevenly of waves of 12 pixels and longer.
    let size = Size::new(400, 300);
    let still = grey16(&Field::from_fn(size, |x, y| 257.0 * waves(x as f64 + 0.5, y as f64 + 0.5)));
    let frame = Size::new(160, 90);
    for roll in [0.0, 1.0, 7.3, 30.0, 45.0, -61.0, 133.0] {
        for scale in [0.7, 1.0, 1.3] {
            let window = Window::around(Point::new(199.3, 151.8), 160.0 * scale, 90.0 * scale).rolled(roll);
            for sharpness in BOTH {
                let [seen, ..] = paint_rgb(&mut Painter::new(), &still, window, sharpness, frame);
                let mut worst = 0.0_f64;
                for y in 0..90 {
                    for x in 0..160 {
                        // Turned by hand, apart from the program's own geometry.
                        let (sin, cos) = (roll * PI / 180.0).sin_cos();
                        let (across, down) = ((x as f64 - 79.5) * scale, (y as f64 - 44.5) * scale);
                        let must = waves(199.3 + across * cos - down * sin, 151.8 + across * sin + down * cos);
                        worst = worst.max((seen.at(x, y) / 257.0 - must).abs());
                    }
                }
                println!("waves at {scale}x rolled by {roll}, {sharpness:?}: {worst:.3} codes");
                assert!(worst < 0.5, "{worst}");
            }
        }
    }
}

#[test]
fn quarter_turns_are_exact_turns() {
    let size = Size::new(120, 90);
    let mut field = texture::white(size, 9);
    field.values.iter_mut().for_each(|value| *value *= 257.0);
    let still = grey16(&field);
    let window = Window::around(Point::new(58.37, 44.21), 52.0, 39.0);
    let frame = Size::new(40, 30);
    for sharpness in BOTH {
        for (quarters, roll) in [(1, 90.0), (2, 180.0), (3, -90.0), (4, 360.0)] {
            // Turning the window clockwise shows what the still turned anticlockwise shows upright.
            let (mut turned, mut middle) = (field.clone(), Point::new(58.37, 44.21));
            for _ in 0..quarters {
                let (width, height) = (turned.width, turned.height);
                middle = Point::new(middle.y, width as f64 - middle.x);
                turned = Field::from_fn(Size::new(height as u32, width as u32), |x, y| turned.at(width - 1 - y, x));
            }
            let upright = Window::around(middle, 52.0, 39.0);
            let [must, ..] = paint_rgb(&mut Painter::new(), &grey16(&turned), upright, sharpness, frame);
            let [seen, ..] = paint_rgb(&mut Painter::new(), &still, window.rolled(roll), sharpness, frame);
            let off = furthest(&seen, &must) / 257.0;
            println!("{roll} degrees against an exact turn of white noise, {sharpness:?}: {off:.4} codes");
            assert!(off < 1.0, "{off}");
        }
    }
}

#[test]
fn a_roll_of_next_to_nothing_is_the_upright_window() {
    let size = Size::new(420, 320);
    let (luma, blue, red) = (texture::white(size, 3), texture::white(size, 4), texture::white(size, 5));
    let deep = grey16(&Field { values: luma.values.iter().map(|value| 257.0 * value).collect(), ..luma });
    for chroma in [Chroma::Full, Chroma::Half, Chroma::Quarter] {
        let shrunk = |field: &Field| Field::from_fn(chroma.size(size), |x, y| field.at(x, y));
        let still = jpeg(&luma, [&shrunk(&blue), &shrunk(&red)], chroma);
        for scale in [0.6, 1.0, 1.3, 2.0] {
            // Off every edge, and touching all of them.
            let (width, height) = (160.0 * scale, 120.0 * scale);
            let mut windows = vec![Window::around(Point::new(210.3, 160.1), width, height)];
            windows.extend([
                Window::new(0.0, 0.0, width, height),
                Window::new(420.0 - width, 320.0 - height, width, height),
            ]);
            for window in windows {
                for sharpness in BOTH {
                    let frame = Size::new(160, 120);
                    let upright = paint_yuv(&mut Painter::new(), &still, window, sharpness, frame);
                    let rolled = paint_yuv(&mut Painter::new(), &still, window.rolled(1e-9), sharpness, frame);
                    for (one, other) in upright.iter().zip(&rolled) {
                        assert!(
                            furthest(one, other) <= 1.0,
                            "{} {chroma:?} {scale} {sharpness:?}",
                            furthest(one, other)
                        );
                    }
                    let [upright, ..] = paint_rgb(&mut Painter::new(), &deep, window, sharpness, frame);
                    let [rolled, ..] = paint_rgb(&mut Painter::new(), &deep, window.rolled(1e-9), sharpness, frame);
                    let off = furthest(&upright, &rolled) / 257.0;
                    println!("a roll of 1e-9 of white noise at {scale}x, {sharpness:?}: {off:.4} codes");
                    assert!(off < 0.2, "{off}");
                }
            }
        }
    }
}

#[test]
fn sharpness_neither_breathes_nor_jumps_where_a_roll_begins() {
    let still = breathing::still();
    for scale in [0.96, 1.0, 1.03] {
        let upright = breathing::swing(&still, scale, Sharpness::Even, 0.0).2;
        for roll in [1e-9, 0.01, 2.0, 22.5, 45.0] {
            let (frame, tile, mean) = breathing::swing(&still, scale, Sharpness::Even, roll);
            let full = breathing::swing(&still, scale, Sharpness::Full, roll).2;
            println!(
                "breathing at {scale} rolled by {roll}: frame {:.2} %, worst tile {:.2} %; energy {:.4} of upright, {:.3} of full",
                100.0 * frame,
                100.0 * tile,
                mean / upright,
                mean / full
            );
            assert!(tile <= 0.04, "{tile}");
            assert!(mean / full >= 0.68, "{}", mean / full);
            if roll <= 0.01 {
                assert!((mean / upright - 1.0).abs() < 0.002, "{}", mean / upright);
            }
        }
    }
    // Degree by degree, one window over one texture.
    let mut painter = Painter::new();
    let mut energy = |roll: f64| {
        let window = Window::around(Point::new(240.0, 240.0), 256.0, 256.0).rolled(roll);
        let [frame, ..] = paint_rgb(&mut painter, &still, window, Sharpness::Even, Size::new(256, 256));
        breathing::energies(&frame).iter().sum::<f64>()
    };
    let begins = energy(0.0);
    for roll in [1e-9, 1e-4, 0.001, 0.003, 0.01] {
        let changed = (energy(roll) / begins - 1.0).abs();
        println!("energy of a roll of {roll}: {:.4} % from upright", 100.0 * changed);
        assert!(changed < 0.002, "{changed} at {roll}");
    }
}

/// A still of noise in which a rolled window has room to move.
fn noises() -> [(&'static str, f64, Picture); 2] {
    let size = Size::new(2000, 2000);
    let sixteen = |field: &Field, value: &dyn Fn(f64) -> f64| {
        let values = field.values.iter().map(|&seen| 257.0 * value(seen).clamp(0.0, 255.0)).collect();
        grey16(&Field { values, ..*field })
    };
    [
        ("photo-like", 5.0, sixteen(&texture::photo_like(size, 5), &|seen| 128.0 + 45.0 * seen)),
        ("white", 16.0, sixteen(&texture::white(size, 5), &|seen| seen)),
    ]
}

#[test]
fn a_slow_pan_of_a_rolled_window_does_not_shimmer() {
    let frame = Size::new(640, 80);
    for (name, bar, still) in noises() {
        // The scales that are asked about, at a roll that has hardly begun, at one of many, and at the farthest from
        // upright.
        for roll in [0.4, 10.0, 45.0] {
            for scale in [1.3, 2.7] {
                let mut painter = Painter::new();
                let frames: Vec<Field> = (0..10)
                    .map(|at| {
                        let along =
                            kurbo::Vec2::from_angle(f64::to_radians(roll)) * (f64::from(at) * shimmer::STEP * scale);
                        let window = Window::around(Point::new(1000.2, 999.7) + along, 640.0 * scale, 80.0 * scale);
                        let [seen, ..] = paint_rgb(&mut painter, &still, window.rolled(roll), Sharpness::Even, frame);
                        seen
                    })
                    .collect();
                let seen = shimmer::shimmer(&frames);
                println!("shimmer of a pan rolled by {roll} at {scale}x, {name}: {seen:.2} %");
                assert!(seen <= bar, "{name} {seen} % rolled by {roll} at {scale}x");
            }
        }
    }
}

const SIDE: usize = 256;

/// Moves every line of a square along itself by `by` pixels for each line off the middle: Fourier's shift theorem, line
/// by line, exact for what the lines can hold.
fn sheared(values: &[f64], by: f64) -> Vec<f64> {
    let mut planner = FftPlanner::new();
    let (forward, inverse) = (planner.plan_fft_forward(SIDE), planner.plan_fft_inverse(SIDE));
    let mut out = Vec::with_capacity(values.len());
    for (line, values) in values.chunks_exact(SIDE).enumerate() {
        let shift = by * (line as f64 - (SIDE as f64 - 1.0) / 2.0);
        let mut line: Vec<Complex64> = values.iter().map(|&value| Complex64::new(value, 0.0)).collect();
        forward.process(&mut line);
        for (index, value) in line.iter_mut().enumerate() {
            let frequency = if index > SIDE / 2 { index as f64 - SIDE as f64 } else { index as f64 };
            let turn = if index == SIDE / 2 {
                Complex64::new((PI * shift).cos(), 0.0)
            } else {
                Complex64::from_polar(1.0, -2.0 * PI * frequency * shift / SIDE as f64)
            };
            *value *= turn / SIDE as f64;
        }
        inverse.process(&mut line);
        out.extend(line.iter().map(|value| value.re));
    }
    out
}

fn across_for_down(values: &[f64]) -> Vec<f64> {
    (0..SIDE * SIDE).map(|at| values[at % SIDE * SIDE + at / SIDE]).collect()
}

/// A square turned clockwise about its middle by three shears (Paeth, Graphics Interface 1986; by Fourier: Unser,
/// Thévenaz and Yaroslavsky, IEEE Trans. Image Process. 4(10), 1995; from memory, and the ruler's own test holds them).
fn turned(values: &[f64], degrees: f64) -> Vec<f64> {
    let angle = degrees.to_radians();
    let across = sheared(values, -(angle / 2.0).tan());
    let down = across_for_down(&sheared(&across_for_down(&across), angle.sin()));
    sheared(&down, -(angle / 2.0).tan())
}

/// Frames of a window that rolls by `step` degrees a frame, to percent of contrast: faded out towards a circle, turned
/// back, and compared in the middle.
fn shimmer_of_a_roll(frames: &[Field], step: f64) -> f64 {
    let away = |at: usize| {
        let middle = (SIDE as f64 - 1.0) / 2.0;
        ((at % SIDE) as f64 - middle).hypot((at / SIDE) as f64 - middle)
    };
    let undone: Vec<Vec<f64>> = (0_u32..)
        .zip(frames)
        .map(|(frame, field)| {
            let mean = field.values.iter().sum::<f64>() / field.values.len() as f64;
            let fade = |at: usize| 0.5 + 0.5 * (PI * (away(at) / 127.0).min(1.0)).cos();
            let faded: Vec<f64> =
                field.values.iter().enumerate().map(|(at, value)| (value - mean) * fade(at)).collect();
            // What is seen turns anticlockwise where the window turns clockwise.
            let back = turned(&faded, step * f64::from(frame));
            back.iter().enumerate().filter(|(at, _)| away(*at) < 64.0).map(|(_, value)| *value).collect()
        })
        .collect();
    shimmer::over_time(&undone)
}

const FRAMES: u32 = 10;
const DEGREES_A_FRAME: f64 = 0.12;

#[test]
fn the_ruler_finds_nothing_in_an_ideal_roll_and_much_in_an_unfiltered_one() {
    // Waves every way, as short as 2.4 pixels, seen exactly; and the same from a grid of points nearest to each pixel.
    let mut noise = crate::stills::Noise(4);
    let waves: Vec<[f64; 3]> = (0..150)
        .map(|_| [PI * (1.66 * noise.unit() - 0.83), PI * (1.66 * noise.unit() - 0.83), 2.0 * PI * noise.unit()])
        .collect();
    let at =
        |x: f64, y: f64| waves.iter().map(|[across, down, phase]| (across * x + down * y + phase).sin()).sum::<f64>();
    let seen = |nearest: bool| -> Vec<Field> {
        (0..FRAMES)
            .map(|frame| {
                let (sin, cos) = (f64::from(frame) * DEGREES_A_FRAME).to_radians().sin_cos();
                Field::from_fn(Size::new(256, 256), |x, y| {
                    let (x, y) = (x as f64 - 127.5, y as f64 - 127.5);
                    let (x, y) = (x * cos - y * sin, x * sin + y * cos);
                    if nearest { at(x.round(), y.round()) } else { at(x, y) }
                })
            })
            .collect()
    };
    let (ideal, unfiltered) =
        (shimmer_of_a_roll(&seen(false), DEGREES_A_FRAME), shimmer_of_a_roll(&seen(true), DEGREES_A_FRAME));
    println!("the ruler's own error along a roll: {ideal:.3} %; nearest pixels: {unfiltered:.1} %");
    assert!(ideal < 0.3 && unfiltered > 20.0);
}

#[test]
fn a_slow_roll_does_not_shimmer() {
    for (name, bar, still) in noises() {
        for begins in [-0.5, 44.5] {
            for scale in [1.3, 2.7] {
                let mut painter = Painter::new();
                let frames: Vec<Field> = (0..FRAMES)
                    .map(|frame| {
                        let window = Window::around(Point::new(1000.2, 999.7), 256.0 * scale, 256.0 * scale);
                        let window = window.rolled(begins + DEGREES_A_FRAME * f64::from(frame));
                        let [seen, ..] = paint_rgb(&mut painter, &still, window, Sharpness::Even, Size::new(256, 256));
                        seen
                    })
                    .collect();
                let seen = shimmer_of_a_roll(&frames, DEGREES_A_FRAME);
                println!("shimmer of a roll from {begins} degrees at {scale}x, {name}: {seen:.2} %");
                assert!(seen <= bar, "{name} {seen} % from {begins} at {scale}x");
            }
        }
    }
}
