//! What must hold of any resampler: constants, turns, mirrors, means, and which rows are read.

use proptest::prelude::*;
use stillpath::geom::Window;
use stillpath::picture::{Chroma as FrameChroma, Frame, FrameKind, Model, Picture, Plane, Samples, Siting};
use stillpath::sample::{PaintError, Painter, rows_read};
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::stills::{Chroma, Field, Noise, flat, grey16, jpeg, paint_rgb, paint_yuv, picture, plane};
use crate::texture;

const STILL: Size = Size { width: 120, height: 90 };

const ALL: [Sharpness; 3] = [Sharpness::Even, Sharpness::Full, Sharpness::Positive];

/// Windows at all sorts of phases and scales, some touching the still's edges.
fn windows() -> Vec<Window> {
    vec![
        Window::whole(STILL),
        Window::new(13.37, 21.01, 40.0, 30.0),
        Window::new(0.0, 0.0, 41.3, 30.975),
        Window::new(79.99, 60.001, 40.01, 29.999),
        Window::new(30.5, 20.25, 12.0, 9.0),
    ]
}

/// The same with rolled ones.
fn rolled_too() -> Vec<Window> {
    let rolled = [(0.01, 37.0), (-20.0, 37.0), (45.0, 60.0), (90.0, 37.0), (211.0, 12.0)];
    let rolled =
        rolled.map(|(roll, width)| Window::new(20.3, 11.1, width, 0.75 * width).rolled(roll).moved_inside(STILL));
    let largest = [13.0, -60.0].map(|roll| Window::largest(STILL, 4.0 / 3.0, roll));
    windows().into_iter().chain(rolled).chain(largest).collect()
}

#[test]
fn a_constant_stays_exactly_constant_under_every_kernel_and_phase() {
    let size = Size::new(40, 30);
    let mut painter = Painter::new();
    for value in (0..=255).step_by(5) {
        let grey = flat(Model::Grey, &[value], Chroma::Full, STILL);
        let colour = flat(Model::Rgb, &[value, 255 - value, 77], Chroma::Full, STILL);
        let jpeg = flat(Model::YCbCr601, &[value, 131, 120], Chroma::Quarter, STILL);
        let deep = grey16(&Field::new(STILL, 257.0 * f64::from(value) + 11.0_f64.min(255.0 - f64::from(value))));
        for still in [&grey, &colour, &jpeg, &deep] {
            let reference = paint_yuv(&mut painter, still, windows()[1], Sharpness::Full, size);
            let deep_reference = paint_rgb(&mut painter, still, windows()[1], Sharpness::Full, size);
            for field in &deep_reference {
                assert!(field.values.iter().all(|seen| *seen == field.values[0]), "{:?} {value}", still.model);
            }
            // Fans take a while to make.
            let windows = if value % 40 == 0 { rolled_too() } else { windows() };
            for window in windows {
                for sharpness in ALL {
                    let seen = paint_yuv(&mut painter, still, window, sharpness, size);
                    assert!(seen == reference, "{:?} {value} {window:?} {sharpness:?}", still.model);
                    let seen = paint_rgb(&mut painter, still, window, sharpness, size);
                    assert!(seen == deep_reference, "{:?} {value} {window:?} {sharpness:?}", still.model);
                }
            }
        }
        let seen = paint_rgb(&mut painter, &grey, windows()[2], Sharpness::Even, size);
        assert_eq!(seen[1].values[7], 257.0 * f64::from(value));
    }
}

fn textured() -> Field {
    let mut field = texture::white(STILL, 9);
    field.values.iter_mut().for_each(|value| *value *= 257.0);
    field
}

/// A quarter turn clockwise.
fn turned(field: &Field) -> Field {
    let size = Size::new(field.height as u32, field.width as u32);
    Field::from_fn(size, |x, y| field.at(y, field.height - 1 - x))
}

fn turned_window(window: Window, still: Size) -> Window {
    Window::new(f64::from(still.height) - window.bottom(), window.x, window.height, window.width)
}

fn furthest(a: &Field, b: &Field) -> f64 {
    assert_eq!((a.width, a.height), (b.width, b.height));
    a.values.iter().zip(&b.values).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

#[test]
fn turning_the_still_turns_the_frame_and_four_quarters_give_it_back() {
    let mut painter = Painter::new();
    for window in windows() {
        for sharpness in ALL {
            let (mut field, mut window, mut still, mut size) = (textured(), window, STILL, Size::new(40, 30));
            let [first, ..] = paint_rgb(&mut painter, &grey16(&field), window, sharpness, size);
            let mut must = first;
            for _ in 0..4 {
                (field, window) = (turned(&field), turned_window(window, still));
                (still, size) = (still.turned(), size.turned());
                must = turned(&must);
                let [seen, ..] = paint_rgb(&mut painter, &grey16(&field), window, sharpness, size);
                // Down and across change places: what is left is f32's rounding, in 16-bit codes.
                assert!(furthest(&seen, &must) <= 1.0, "{} {window:?} {sharpness:?}", furthest(&seen, &must));
            }
        }
    }
}

#[test]
fn a_mirrored_still_gives_the_mirrored_frame() {
    let mut painter = Painter::new();
    let mirrored = |field: &Field| {
        let size = Size::new(field.width as u32, field.height as u32);
        Field::from_fn(size, |x, y| field.at(field.width - 1 - x, y))
    };
    for window in windows() {
        for sharpness in ALL {
            let field = textured();
            let [seen, ..] = paint_rgb(&mut painter, &grey16(&field), window, sharpness, Size::new(40, 30));
            let other = Window { x: f64::from(STILL.width) - window.right(), ..window };
            let [seen_other, ..] =
                paint_rgb(&mut painter, &grey16(&mirrored(&field)), other, sharpness, Size::new(40, 30));
            // A weight half-way between two grains may be rounded either way: 2⁻²⁰ of the range, in 16-bit codes.
            assert!(furthest(&mirrored(&seen), &seen_other) <= 1.0, "{window:?} {sharpness:?}");
        }
    }
}

#[test]
fn the_mean_survives() {
    // Noise with a flat border, so that the edge's weights see nothing but the border.
    let mut field = textured();
    let (width, height) = (field.width, field.height);
    for y in 0..height {
        for x in 0..width {
            if x < 24 || y < 24 || x >= width - 24 || y >= height - 24 {
                field.values[y * width + x] = 32_768.0;
            }
        }
    }
    let mean = |field: &Field| field.values.iter().sum::<f64>() / field.values.len() as f64 / 257.0;
    for (size, scale) in [(Size::new(92, 69), 1.3), (Size::new(44, 33), 2.7), (Size::new(240, 180), 0.5)] {
        for sharpness in ALL {
            let [seen, ..] = paint_rgb(&mut Painter::new(), &grey16(&field), Window::whole(STILL), sharpness, size);
            let off = mean(&seen) - mean(&field);
            println!("mean at {scale}x, {sharpness:?}: off by {off:.4} codes");
            assert!(off.abs() < 0.05, "{off}");
        }
    }
}

/// A JPEG of noise, or an R'G'B' still where there is no chroma plane.
fn noisy(chroma: Option<Chroma>, seed: u32) -> Picture {
    let [luma, blue, red] = [0, 1, 2].map(|plane| {
        let size = if plane == 0 { STILL } else { chroma.map_or(STILL, |chroma| chroma.size(STILL)) };
        texture::white(size, seed + plane)
    });
    match chroma {
        Some(chroma) => jpeg(&luma, [&blue, &red], chroma),
        None => picture(Model::Rgb, [luma, blue, red].iter().map(|field| plane(field, true, Siting::FULL)).collect()),
    }
}

/// Replaces every row of a plane that lies outside `rows` of luma, or partly so.
fn poison(plane: &mut Plane, rows: std::ops::Range<u32>, noise: &mut Noise) {
    for row in 0..plane.height as usize {
        let centre = plane.siting.origin_y + row as f64 * plane.siting.step_y;
        let (top, bottom) = (centre - plane.siting.step_y / 2.0, centre + plane.siting.step_y / 2.0);
        let to_the_end = rows.end == STILL.height;
        if top >= f64::from(rows.start) && (bottom <= f64::from(rows.end) || to_the_end) {
            continue;
        }
        let at = row * plane.stride..(row + 1) * plane.stride;
        match &mut plane.samples {
            Samples::Eight(samples) => samples[at].iter_mut().for_each(|sample| *sample = noise.byte()),
            Samples::Sixteen(samples) => {
                samples[at].iter_mut().for_each(|sample| *sample = u16::from(noise.byte()) * 257)
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn rows_outside_those_declared_are_never_looked_at(
        (x, y) in (0.0..1.0, 0.0..1.0),
        part in 0.05..0.5,
        size in (1_u32..40, 1_u32..40),
        kind in 0..5_usize,
        roll in prop_oneof![Just(0.0), -180.0..180.0_f64],
    ) {
        let (width, height) = (120.0 * part, 90.0 * part);
        let window = Window::new(x * (120.0 - width), y * (90.0 - height), width, height).rolled(roll).moved_inside(STILL);
        let chroma = [None, Some(Chroma::Full), Some(Chroma::Half), Some(Chroma::Quarter), Some(Chroma::Quarter)][kind];
        let size = Size::new(size.0, size.1);
        for sharpness in ALL {
            let rows = rows_read(window, size, sharpness, STILL, 1);
            let mut still = noisy(chroma, 40);
            if kind == 4 {
                // Chroma of a still that was co-sited and then turned.
                for plane in &mut still.planes[1..] {
                    plane.siting = Siting { step_x: 2.0, step_y: 2.0, origin_x: 1.5, origin_y: 1.5 };
                }
            }
            let mut poisoned = still.clone();
            (poisoned.first_row, poisoned.end_row) = (rows.start, rows.end);
            let mut noise = Noise(99);
            poisoned.planes.iter_mut().for_each(|plane| poison(plane, rows.clone(), &mut noise));
            for frame_kind in [FrameKind::Yuv420, FrameKind::Rgb16] {
                let (mut clean, mut other) = (Frame::new(frame_kind, size), Frame::new(frame_kind, size));
                let mut painter = Painter::new();
                painter.paint(&still, window, sharpness, &mut clean).unwrap();
                painter.paint(&poisoned, window, sharpness, &mut other).unwrap();
                prop_assert_eq!(clean.hash(), other.hash());
            }
        }
    }
}

#[test]
fn few_rows_beside_the_window_are_asked_for() {
    let still = Size::new(4592, 3448);
    let frame = Size::new(1920, 1080);
    // At 2.39 source pixels a frame pixel the widest kernel, that of a 4:2:0 frame's chroma, reaches 3 · 2 · 2.39 rows;
    // a chroma plane of a quarter of the rows adds its own step of 4.
    let rows = rows_read(Window::new(0.0, 432.5, 4592.0, 2583.0), frame, Sharpness::Full, still, 1);
    assert!((412..=416).contains(&rows.start) && (3032..=3036).contains(&rows.end), "{rows:?}");
    let rows = rows_read(Window::new(1000.0, 800.0, 960.0, 540.0), frame, Sharpness::Even, still, 1);
    assert!(rows.start >= 780 && rows.end <= 1360, "{rows:?}");
    assert_eq!(rows_read(Window::whole(still), frame, Sharpness::Even, still, 1), 0..3448);
}

#[test]
fn a_picture_that_lacks_rows_is_refused() {
    let mut still = noisy(Some(Chroma::Quarter), 1);
    (still.first_row, still.end_row) = (40, 90);
    let mut frame = Frame::new(FrameKind::Yuv420, Size::new(40, 30));
    let refused = Painter::new().paint(&still, Window::new(10.0, 10.0, 40.0, 30.0), Sharpness::Even, &mut frame);
    assert!(matches!(refused, Err(PaintError::Rows { held, .. }) if held == (40..90)));
}

#[test]
fn a_painter_gives_the_same_frame_whatever_it_painted_before() {
    let still = noisy(Some(Chroma::Half), 5);
    let mut used = Painter::new();
    for window in rolled_too() {
        for size in [Size::new(40, 30), Size::new(31, 23), Size::new(7, 90)] {
            for kind in [FrameKind::Yuv420, FrameKind::Rgb16, FrameKind::Rgb8, FrameKind::Yuv10(FrameChroma::Half)] {
                let (mut seen, mut fresh) = (Frame::new(kind, size), Frame::new(kind, size));
                used.paint(&still, window, Sharpness::Even, &mut seen).unwrap();
                Painter::new().paint(&still, window, Sharpness::Even, &mut fresh).unwrap();
                assert_eq!(seen.hash(), fresh.hash());
            }
        }
    }
}
