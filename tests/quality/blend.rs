//! Frames of several stills: means of light, exact where nothing changes, the same whoever adds them up.

use proptest::prelude::*;
use stillpath::geom::Window;
use stillpath::picture::{Chroma as FrameChroma, Frame, FrameKind, Model, Picture, Pixels, Profile};
use stillpath::sample::{Accumulator, Painter, Part};
use stillpath::shot::{Light, Sharpness};
use stillpath::units::Size;

use crate::stills::{Chroma, flat, grey16, jpeg, picture, plane};
use crate::texture;

const STILL: Size = Size { width: 60, height: 44 };
const FRAME: Size = Size { width: 33, height: 21 };
const KINDS: [FrameKind; 6] = [
    FrameKind::Yuv420,
    FrameKind::Rgb16,
    FrameKind::Rgb8,
    FrameKind::Yuv10(FrameChroma::Quarter),
    FrameKind::Yuv10(FrameChroma::Half),
    FrameKind::Yuv10(FrameChroma::Full),
];

fn window() -> Window {
    Window::new(7.3, 5.1, 44.0, 28.0)
}

/// The mean of stills by weights that add up to 65,536.
fn mean(painter: &mut Painter, stills: &[(&Picture, u32)], light: Light, kind: FrameKind) -> Frame {
    let mut accumulator = Accumulator::new(kind, FRAME, light);
    let mut before = 0;
    for &(still, weight) in stills {
        painter.expose(still, window(), Sharpness::Even, Part { weight, before }, &mut accumulator).unwrap();
        before += weight;
    }
    assert_eq!(before, 65_536);
    let mut frame = Frame::new(kind, FRAME);
    painter.print(&accumulator, &mut frame);
    frame
}

fn alone(painter: &mut Painter, still: &Picture, kind: FrameKind) -> Frame {
    let mut frame = Frame::new(kind, FRAME);
    painter.paint(still, window(), Sharpness::Even, &mut frame).unwrap();
    frame
}

/// The codes of grey in a frame of R'G'B' on the scale of 8 bits, least and most.
fn greys(frame: &Frame) -> (f64, f64) {
    let Pixels::Rgb16(pixels) = &frame.pixels else { unreachable!("asked for R'G'B'") };
    let (least, most) = (pixels.iter().min().unwrap(), pixels.iter().max().unwrap());
    (f64::from(*least) / 257.0, f64::from(*most) / 257.0)
}

/// Every kind of still there is: two depths, three models, chroma at three sitings, with a profile.
fn textured(seed: u32) -> Vec<Picture> {
    let field = |size, at| texture::white(size, seed + at);
    let mut deep = field(STILL, 3);
    deep.values.iter_mut().for_each(|value| *value *= 257.0);
    let jpegs = [Chroma::Full, Chroma::Half, Chroma::Quarter].map(|chroma| {
        let size = chroma.size(STILL);
        jpeg(&field(STILL, 0), [&field(size, 1), &field(size, 2)], chroma)
    });
    let planes = || (0..3).map(|at| plane(&field(STILL, at), false, stillpath::picture::Siting::FULL)).collect();
    let mut adobe = picture(Model::Rgb, planes());
    adobe.profile = Profile::AdobeRgb;
    jpegs.into_iter().chain([grey16(&deep), picture(Model::Rgb, planes()), adobe]).collect()
}

// 188 and 71: halves and sixteenths of white by IEC 61966-2-1's curve, 255 · f(1/2) = 187.5 and 255 · f(1/16) = 70.7.
#[test]
fn black_and_white_average_to_188_in_light_and_to_128_encoded() {
    let mut painter = Painter::new();
    let [black, white] = [0, 255].map(|value| flat(Model::YCbCr601, &[value, 128, 128], Chroma::Quarter, STILL));
    for (light, code) in [(Light::Linear, 188.0), (Light::Encoded, 127.5)] {
        for order in [[(&black, 32_768), (&white, 32_768)], [(&white, 32_768), (&black, 32_768)]] {
            let (least, most) = greys(&mean(&mut painter, &order, light, FrameKind::Rgb16));
            println!("black and white, {light:?}: {least:.3} to {most:.3}");
            assert!((least - code).abs() <= 0.75 && (most - code).abs() <= 0.75, "{least} to {most}");
            // The same in BT.709's limited range, dithered: chroma stays neutral.
            let Pixels::Yuv420 { y, cb, cr } = mean(&mut painter, &order, light, FrameKind::Yuv420).pixels else {
                unreachable!()
            };
            let luma = 16.0 + 219.0 * code / 255.0;
            assert!(y.iter().all(|&y| (f64::from(y) - luma).abs() <= 1.5), "{y:?}");
            assert!(cb.iter().chain(&cr).all(|&code| code == 128));
        }
    }
}

#[test]
fn a_highlight_in_one_of_sixteen_is_71_in_light_and_16_encoded() {
    let mut painter = Painter::new();
    let [black, white] = [0, 255].map(|value| flat(Model::Grey, &[value], Chroma::Full, STILL));
    for lit in [0, 7, 15] {
        let stills: Vec<_> = (0..16).map(|still| (if still == lit { &white } else { &black }, 4096)).collect();
        for (light, code) in [(Light::Linear, 71.0), (Light::Encoded, 16.0)] {
            let (least, most) = greys(&mean(&mut painter, &stills, light, FrameKind::Rgb16));
            println!("one of sixteen, {light:?}: {least:.3} to {most:.3}");
            assert!((least - code).abs() <= 0.5 && (most - code).abs() <= 0.5, "{least} to {most}");
        }
    }
}

#[test]
fn means_of_texture_agree_with_the_formula_worked_out_in_64_bits() {
    let to_light =
        |v: f64| if v.abs() <= 0.040_45 { v / 12.92 } else { ((v.abs() + 0.055) / 1.055).powf(2.4).copysign(v) };
    let from_light =
        |l: f64| if l.abs() <= 0.003_130_8 { l * 12.92 } else { (1.055 * l.abs().powf(1.0 / 2.4) - 0.055).copysign(l) };
    let mut painter = Painter::new();
    // Away from both ends, where a frame of one still is clipped and the mean is not.
    let still = |seed| {
        let mut field = texture::white(STILL, seed);
        field.values.iter_mut().for_each(|value| *value = 257.0 * (60.0 + *value * 0.5));
        grey16(&field)
    };
    let stills: Vec<Picture> = (0..5).map(still).collect();
    let weights = [1_000, 30_000, 20_000, 14_000, 536];
    let together: Vec<_> = stills.iter().zip(weights).collect();
    let Pixels::Rgb16(seen) = mean(&mut painter, &together, Light::Linear, FrameKind::Rgb16).pixels else {
        unreachable!()
    };
    let singles: Vec<Vec<u16>> = stills
        .iter()
        .map(|still| match alone(&mut painter, still, FrameKind::Rgb16).pixels {
            Pixels::Rgb16(pixels) => pixels,
            _ => unreachable!("asked for R'G'B' of 16 bits"),
        })
        .collect();
    let mut worst = 0.0_f64;
    for (at, seen) in seen.iter().enumerate() {
        let light: f64 = singles
            .iter()
            .zip(weights)
            .map(|(one, weight)| f64::from(weight) * to_light(f64::from(one[at]) / 65_535.0))
            .sum();
        worst = worst.max((f64::from(*seen) - 65_535.0 * from_light(light / 65_536.0)).abs());
    }
    println!("mean of five stills: off by at most {worst:.2} of a 16-bit code");
    // Half a code each from rounding the frames of one still, half from rounding the mean, and the curve's tables.
    assert!(worst <= 1.5, "{worst}");
}

#[test]
fn a_scene_in_which_nothing_changes_is_equal_to_the_bit() {
    let mut painter = Painter::new();
    for still in textured(70) {
        for kind in KINDS {
            let must = alone(&mut painter, &still, kind);
            for light in [Light::Linear, Light::Encoded] {
                for weights in [vec![32_768; 2], vec![1, 65_534, 1], vec![20_000, 30_000, 15_000, 536], vec![256; 256]]
                {
                    let stills: Vec<_> = weights.iter().map(|&weight| (&still, weight)).collect();
                    let seen = mean(&mut painter, &stills, light, kind);
                    assert!(seen == must, "{:?} {kind:?} {light:?} {weights:?}", still.model);
                }
            }
        }
    }
}

#[test]
fn the_mean_is_one_of_light_not_of_values_in_colour_and_chroma_too() {
    // Red and its absence: in light red is at code 188 of its channel and the others stay dark.
    let mut painter = Painter::new();
    let [red, black] = [[255, 0, 0], [0, 0, 0]].map(|values| flat(Model::Rgb, &values, Chroma::Full, STILL));
    let half = [(&red, 32_768), (&black, 32_768)];
    let Pixels::Rgb16(pixels) = mean(&mut painter, &half, Light::Linear, FrameKind::Rgb16).pixels else {
        unreachable!()
    };
    assert!(pixels.chunks(3).all(|rgb| (f64::from(rgb[0]) / 257.0 - 187.5).abs() < 0.5 && rgb[1] == 0 && rgb[2] == 0));
    // The same by BT.709's definition (ITU-R BT.709-6, luma 0.2126 R', red difference (R' − Y') / 1.5748).
    let Pixels::Yuv420 { y, cr, .. } = mean(&mut painter, &half, Light::Linear, FrameKind::Yuv420).pixels else {
        unreachable!()
    };
    let value = 187.516 / 255.0;
    let (luma, difference) = (16.0 + 219.0 * 0.2126 * value, 128.0 + 224.0 * (value - 0.2126 * value) / 1.5748);
    assert!(y.iter().all(|&code| (f64::from(code) - luma).abs() <= 1.0), "{luma} {y:?}");
    assert!(cr.iter().all(|&code| (f64::from(code) - difference).abs() <= 1.0), "{difference} {cr:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_order_of_stills_matters_by_rounding_only(
        weights in proptest::collection::vec(1_u32..1000, 2..9),
        turn in 0..8_usize,
        which in 0..6_usize,
    ) {
        let sum: u32 = weights.iter().sum();
        let mut weights: Vec<u32> = weights.iter().map(|weight| weight * 65_536 / sum).collect();
        weights[0] += 65_536 - weights.iter().sum::<u32>();
        let stills: Vec<Picture> = (0..8).map(|seed| textured(10 * seed).swap_remove(which)).collect();
        let mut ordered: Vec<_> = stills.iter().zip(weights).collect();
        let mut painter = Painter::new();
        let frame = |painter: &mut Painter, ordered: &[(&Picture, u32)]| {
            let Pixels::Rgb16(pixels) = mean(painter, ordered, Light::Linear, FrameKind::Rgb16).pixels else { unreachable!() };
            pixels
        };
        let one = frame(&mut painter, &ordered);
        let times = turn % ordered.len();
        ordered.rotate_left(times);
        ordered.reverse();
        let other = frame(&mut painter, &ordered);
        let worst = one.iter().zip(&other).map(|(a, b)| a.abs_diff(*b)).max().unwrap();
        prop_assert!(worst <= 1, "{} of a 16-bit code", worst);
    }

    #[test]
    fn a_mean_lies_between_the_darkest_and_the_lightest(values in proptest::collection::vec(0_u8..=255, 2..6)) {
        let stills: Vec<Picture> = values.iter().map(|&value| flat(Model::Grey, &[value], Chroma::Full, STILL)).collect();
        let share = 65_536 / u32::try_from(stills.len()).unwrap();
        let mut parts: Vec<_> = stills.iter().map(|still| (still, share)).collect();
        parts[0].1 += 65_536 - share * u32::try_from(stills.len()).unwrap();
        for light in [Light::Linear, Light::Encoded] {
            let (least, most) = greys(&mean(&mut Painter::new(), &parts, light, FrameKind::Rgb16));
            let (dark, light) = (f64::from(*values.iter().min().unwrap()), f64::from(*values.iter().max().unwrap()));
            prop_assert!(least >= dark - 0.01 && most <= light + 0.01, "{} to {}", least, most);
        }
    }
}

#[test]
fn an_exposure_is_begun_anew_in_the_buffers_of_the_last() {
    let mut painter = Painter::new();
    let [first, second] = [70, 90].map(|seed| textured(seed).swap_remove(2));
    for light in [Light::Linear, Light::Encoded] {
        let mut accumulator = Accumulator::new(FrameKind::Yuv420, FRAME, light);
        let mut frames = Vec::new();
        for pair in [[&second, &second], [&first, &second], [&second, &first], [&first, &second]] {
            for (still, before) in pair.into_iter().zip([0, 32_768]) {
                let part = Part { weight: 32_768, before };
                painter.expose(still, window(), Sharpness::Even, part, &mut accumulator).unwrap();
            }
            let mut frame = Frame::new(FrameKind::Yuv420, FRAME);
            painter.print(&accumulator, &mut frame);
            frames.push(frame);
        }
        assert!(frames[1] == frames[3] && frames[0] == alone(&mut painter, &second, FrameKind::Yuv420));
        assert!(frames[1] != frames[0]);
    }
}
