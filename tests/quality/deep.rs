//! Frames of 10 bits and frames with more chroma: as deep as the still, and sampled where they say they are.

use stillpath::geom::Window;
use stillpath::picture::{Chroma as FrameChroma, Frame, FrameKind, Model, Pixels, Siting};
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::stills::{Chroma, Field, grey16, jpeg, picture, plane};

const KINDS: [FrameChroma; 3] = [FrameChroma::Quarter, FrameChroma::Half, FrameChroma::Full];

/// Planes of codes.
fn paint10(still: &stillpath::picture::Picture, window: Window, size: Size, kind: FrameChroma) -> [Field; 3] {
    let mut frame = Frame::new(FrameKind::Yuv10(kind), size);
    Painter::new().paint(still, window, Sharpness::Full, &mut frame).unwrap();
    let Pixels::Yuv10 { chroma, y, cb, cr } = frame.pixels else { unreachable!("asked for 10 bits") };
    assert_eq!(chroma, kind);
    let field = |codes: Vec<u16>, size: Size| Field {
        width: size.width as usize,
        height: size.height as usize,
        values: codes.into_iter().map(f64::from).collect(),
    };
    [field(y, size), field(cb, kind.size(size)), field(cr, kind.size(size))]
}

/// R'G'B' as fractions, and 10-bit codes of BT.709 limited range: ITU-R BT.709-6 evaluated in exact fractions, equal to
/// colour-science 0.4.7 `RGB_to_YCbCr(…, out_legal=True, out_int=True, out_bits=10)`.
const BARS: [([f64; 3], [f64; 3]); 12] = [
    ([1.0, 1.0, 1.0], [940.0, 512.0, 512.0]),
    ([1.0, 1.0, 0.0], [877.0, 64.0, 553.0]),
    ([0.0, 1.0, 1.0], [754.0, 615.0, 64.0]),
    ([0.0, 1.0, 0.0], [691.0, 167.0, 105.0]),
    ([1.0, 0.0, 1.0], [313.0, 857.0, 919.0]),
    ([1.0, 0.0, 0.0], [250.0, 409.0, 960.0]),
    ([0.0, 0.0, 1.0], [127.0, 960.0, 471.0]),
    ([0.0, 0.0, 0.0], [64.0, 512.0, 512.0]),
    ([0.75, 0.75, 0.75], [721.0, 512.0, 512.0]),
    ([0.75, 0.75, 0.0], [674.0, 176.0, 543.0]),
    ([0.0, 0.75, 0.0], [534.0, 253.0, 207.0]),
    ([0.75, 0.0, 0.0], [204.0, 435.0, 848.0]),
];

#[test]
fn colour_bars_of_ten_bits_come_out_as_bt_709_within_a_code() {
    let still = Size::new(64, 48);
    for (rgb, wanted) in BARS {
        let planes = rgb.map(|value| plane(&Field::new(still, 65_535.0 * value), true, Siting::FULL));
        let still = picture(Model::Rgb, planes.to_vec());
        for kind in KINDS {
            let seen = paint10(&still, Window::new(3.3, 2.1, 50.0, 37.5), Size::new(32, 24), kind);
            let away = seen
                .iter()
                .zip(wanted)
                .flat_map(|(field, due)| field.values.iter().map(move |seen| (seen - due).abs()));
            let away = away.fold(0.0, f64::max);
            assert!(away <= 1.0, "{rgb:?} {kind:?}: {away}");
        }
    }
}

/// A ramp over a frame that rises by so little that 8 bits have few codes for it: with a step of 8 bits in between the
/// codes would all be multiples of four, or the means of columns would be steps.
#[test]
fn sixteen_bits_reach_ten_without_a_step_of_eight() {
    let size = Size::new(512, 128);
    // Twelve codes of 8 bits over the frame.
    let value = |x: f64| 20_000.0 + 12.0 * 257.0 * x / 512.0;
    let still = grey16(&Field::from_fn(size, |x, _| value(x as f64)));
    let [luma, ..] = paint10(&still, Window::whole(size), size, FrameChroma::Quarter);
    let mut codes: Vec<u64> = luma.values.iter().map(|code| *code as u64).collect();
    codes.sort_unstable();
    codes.dedup();
    assert!(codes.len() >= 41, "{} codes", codes.len());
    assert!(codes.windows(2).all(|pair| pair[1] == pair[0] + 1), "{codes:?}");
    let due = |x: usize| 64.0 + 876.0 * value(x as f64) / 65_535.0;
    // Thresholds of 64 rows are each met once in a column: the mean is right to a 64th.
    let furthest = (8..504)
        .map(|x| {
            let mean = (0..size.height as usize).map(|y| luma.at(x, y)).sum::<f64>() / f64::from(size.height);
            (mean - due(x)).abs()
        })
        .fold(0.0, f64::max);
    println!("means of columns: {furthest:.3} of a 10-bit code at most");
    assert!(furthest < 0.25, "{furthest}");
}

/// Straight slopes of chroma, which every kernel that is even keeps: where a sample is shows in its value.
///
/// Frames: H.264's and H.265's type 0 (left, ITU-T H.273 figure 10, from memory): on the even pixels' centres across,
/// between two rows down where there is one for two; stills: JFIF's centres.
#[test]
fn chroma_is_taken_from_the_still_where_the_frame_has_its_samples() {
    let size = Size::new(96, 64);
    // Fifths: what rounding to the still's 8 bits does evens out over five samples.
    let slope = 1.6;
    for of_still in [Chroma::Full, Chroma::Half, Chroma::Quarter] {
        let siting = of_still.siting();
        let own = of_still.size(size);
        // The value at a place in luma's continuous pixels.
        let blue = |x: f64, _: f64| 60.0 + slope * x;
        let red = |_: f64, y: f64| 70.0 + slope * y;
        let place = |at: usize, origin: f64, step: f64| origin + at as f64 * step;
        let at =
            |x: usize, y: usize| (place(x, siting.origin_x, siting.step_x), place(y, siting.origin_y, siting.step_y));
        let field = |value: &dyn Fn(f64, f64) -> f64| {
            Field::from_fn(own, |x, y| {
                let (x, y) = at(x, y);
                value(x, y)
            })
        };
        let still = jpeg(&Field::new(size, 128.0), [&field(&blue), &field(&red)], of_still);
        for kind in KINDS {
            let [_, cb, cr] = paint10(&still, Window::whole(size), size, kind);
            // BT.601's differences go to BT.709's by a matrix: undone here, by exact fractions of both standards.
            let ((across, down), samples) = (kind.spacing(), kind.size(size));
            let centre = |at: u32, spacing: u32, left: bool| {
                f64::from(at * spacing) + if left || spacing == 1 { 0.5 } else { 1.0 }
            };
            for (x, y) in [(12, 8), (20, 16), (samples.width / 2, samples.height / 2)] {
                let (place_x, place_y) = (centre(x, across, true), centre(y, down, false));
                let (due_blue, due_red) = bt709(blue(place_x, place_y) - 128.0, red(place_x, place_y) - 128.0);
                // The mean over a patch, over which slopes are straight and dither evens out.
                let mean = |field: &Field| {
                    let patch = (-4..=4_i64).flat_map(|row| (-4..=4_i64).map(move |column| (row, column)));
                    let codes = patch
                        .map(|(row, column)| field.at((i64::from(x) + column) as usize, (i64::from(y) + row) as usize));
                    codes.sum::<f64>() / 81.0
                };
                let (seen_blue, seen_red) = (mean(&cb), mean(&cr));
                // Half a pixel of misplacement is three codes of 10 bits and more.
                assert!((seen_blue - due_blue).abs() < 1.0, "{of_still:?} to {kind:?}: Cb {seen_blue} for {due_blue}");
                assert!((seen_red - due_red).abs() < 1.0, "{of_still:?} to {kind:?}: Cr {seen_red} for {due_red}");
            }
        }
    }
}

/// 10-bit codes of BT.709's differences, of BT.601's full-range ones at mid grey.
fn bt709(blue: f64, red: f64) -> (f64, f64) {
    let (blue, red) = (blue / 255.0, red / 255.0);
    let luma = 128.0 / 255.0;
    let (r, b) = (luma + 1.402 * red, luma + 1.772 * blue);
    let g = (luma - 0.299 * r - 0.114 * b) / 0.587;
    let luma = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    (512.0 + 896.0 * (b - luma) / 1.8556, 512.0 + 896.0 * (r - luma) / 1.5748)
}

/// Frames of 8-bit R'G'B' are those of 16 bits, dithered: the mean stays, and no code is further away than one.
#[test]
fn eight_bits_of_rgb_are_sixteen_dithered() {
    let size = Size::new(128, 64);
    let still = grey16(&Field::from_fn(size, |x, y| 9000.0 + 37.0 * x as f64 + 11.0 * y as f64));
    let paint = |kind| {
        let mut frame = Frame::new(kind, size);
        Painter::new().paint(&still, Window::whole(size), Sharpness::Full, &mut frame).unwrap();
        frame.pixels
    };
    let (Pixels::Rgb8(eight), Pixels::Rgb16(sixteen)) = (paint(FrameKind::Rgb8), paint(FrameKind::Rgb16)) else {
        unreachable!("asked for R'G'B'")
    };
    let differences: Vec<f64> =
        eight.iter().zip(&sixteen).map(|(eight, sixteen)| f64::from(*eight) - f64::from(*sixteen) / 257.0).collect();
    assert!(differences.iter().all(|difference| difference.abs() < 1.0));
    let mean = differences.iter().sum::<f64>() / differences.len() as f64;
    assert!(mean.abs() < 0.01, "{mean}");
}
