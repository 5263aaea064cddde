//! Slow moves, to a thousandth of a pixel: Gaussian blobs on a still, followed through the frames of a move.
//!
//! A blob's place is read by a Gaussian-weighted mean, moved until it is the middle of its own weights: on noiseless
//! blobs that is exact to far below what is asked (see the first test). What a move shows is compared with where the
//! window says each blob must be.

use kurbo::Point;
use stillpath::geom::Window;
use stillpath::picture::{Model, Picture, Siting};
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::stills::{Chroma, Field, grey16, jpeg, paint_rgb, paint_yuv, picture, plane};

/// Standard deviation of a blob in frame pixels, where the source has one pixel a frame pixel.
pub(crate) const SIGMA: f64 = 6.0;

/// How far around a blob its light is looked at, in standard deviations.
pub(crate) const AROUND: f64 = 4.5;

pub(crate) const FRAMES: u32 = 300;

/// A blob's middle and width, over a grid whose sample `(i, j)` sits at `origin + (i, j) · step`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Blob {
    pub(crate) middle: Point,
    pub(crate) sigma: f64,
}

fn add_blob(field: &mut Field, siting: Siting, blob: Blob, height: f64) {
    let reach = 7.0 * blob.sigma;
    let range = |middle: f64, origin: f64, step: f64, length: usize| {
        let at = |place: f64| ((place - origin) / step).clamp(0.0, length as f64 - 1.0) as usize;
        at(middle - reach)..at(middle + reach) + 1
    };
    for y in range(blob.middle.y, siting.origin_y, siting.step_y, field.height) {
        for x in range(blob.middle.x, siting.origin_x, siting.step_x, field.width) {
            let place =
                Point::new(siting.origin_x + x as f64 * siting.step_x, siting.origin_y + y as f64 * siting.step_y);
            let distance = place.distance_squared(blob.middle) / (2.0 * blob.sigma * blob.sigma);
            field.values[y * field.width + x] += height * (-distance).exp();
        }
    }
}

/// Reads where a blob is, in the same coordinates, from near where it must be.
pub(crate) fn find_blob(field: &Field, siting: Siting, background: f64, near: Blob) -> Point {
    let weights = |middle: f64, origin: f64, step: f64, length: usize| -> Vec<(usize, f64, f64)> {
        let first = ((middle - AROUND * near.sigma - origin) / step).ceil().max(0.0) as usize;
        let last = ((middle + AROUND * near.sigma - origin) / step).floor().min(length as f64 - 1.0) as usize;
        let weigh = |index: usize| {
            let away = origin + index as f64 * step - middle;
            (index, away, (-away * away / (2.0 * near.sigma * near.sigma)).exp())
        };
        (first..=last).map(weigh).collect()
    };
    // From a place that is wrong on purpose.
    let mut middle = near.middle + (0.2, -0.2);
    for _ in 0..40 {
        let across = weights(middle.x, siting.origin_x, siting.step_x, field.width);
        let down = weights(middle.y, siting.origin_y, siting.step_y, field.height);
        let (mut sum, mut sum_x, mut sum_y) = (0.0, 0.0, 0.0);
        for &(y, away_y, weight_y) in &down {
            for &(x, away_x, weight_x) in &across {
                let light = (field.at(x, y) - background) * weight_x * weight_y;
                sum += light;
                sum_x += light * away_x;
                sum_y += light * away_y;
            }
        }
        // The product of two equal Gaussians lies half-way between them.
        let step = kurbo::Vec2::new(2.0 * sum_x / sum, 2.0 * sum_y / sum);
        middle += step;
        if step.hypot() < 1e-8 {
            break;
        }
    }
    middle
}

/// Fifteen places in frame pixels where the window is `1280 × 720` source pixels times the enlargement at `(16, 16)`;
/// the nine in the middle stay inside a 9:16 frame too.
fn places() -> impl Iterator<Item = Point> {
    let columns = [150.21, 533.37, 641.5, 748.83, 1131.64];
    let rows = [118.43, 362.71, 604.19];
    rows.into_iter().enumerate().flat_map(move |(row, y)| {
        columns
            .into_iter()
            .enumerate()
            .map(move |(column, x)| Point::new(16.0 + x + 0.317 * row as f64, 16.0 + y + 0.239 * column as f64))
    })
}

/// A still of `times` source pixels a frame pixel, with room for the pan.
pub(crate) fn still_size(times: u32) -> Size {
    Size::new(1312 * times, 752 * times)
}

pub(crate) fn blobs(times: u32) -> Vec<Blob> {
    let times = f64::from(times);
    places().map(|place| Blob { middle: Point::new(place.x * times, place.y * times), sigma: SIGMA * times }).collect()
}

pub(crate) fn chart(times: u32, siting: Siting, size: Size, background: f64, height: f64) -> Field {
    let mut field = Field::new(size, background);
    blobs(times).into_iter().for_each(|blob| add_blob(&mut field, siting, blob, height));
    field
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Move {
    /// 1.00 to 1.10 about a point off the middle, the width moving geometrically.
    PushIn,
    /// 0.05 frame pixels a frame, both ways at once.
    Pan,
    /// From 3 to 12 degrees about the middle.
    Roll,
    /// A pan of 0.05 frame pixels a frame of a window rolled by 10 degrees, closing in from 1.00 to 1.05.
    Rolled,
}

impl Move {
    pub(crate) fn window(self, frame: u32, size: Size, times: u32) -> Window {
        let times = f64::from(times);
        let (width, height) = (f64::from(size.width) * times, f64::from(size.height) * times);
        let left = (f64::from(1312) * times - width) / 2.0;
        let start = Window::new(left, 16.0 * times, width, height);
        match self {
            Self::PushIn => {
                let (end_width, end_height) = (width / 1.1, height / 1.1);
                let end = Window::new(
                    start.x + 0.53 * (width - end_width),
                    start.y + 0.47 * (height - end_height),
                    end_width,
                    end_height,
                );
                let (along, log) = (f64::from(frame) / f64::from(FRAMES - 1), (1.0_f64 / 1.1).ln());
                start.towards(end, (log * along).exp_m1() / log.exp_m1())
            }
            Self::Pan => {
                let shift = 0.05 * f64::from(frame) * times;
                Window::new(start.x + shift - 7.5 * times, start.y + shift - 7.5 * times, width, height)
            }
            Self::Roll | Self::Rolled => {
                let (middle, along) =
                    (Point::new(656.0 * times, 376.0 * times), f64::from(frame) / f64::from(FRAMES - 1));
                if self == Self::Roll {
                    return Window::around(middle, width, height).rolled(3.0 + 9.0 * along);
                }
                let shift = kurbo::Vec2::new(0.05, 0.05) * ((f64::from(frame) - 150.0) * times);
                let closer = 1.05_f64.powf(along);
                Window::around(middle + shift, width / closer, height / closer).rolled(10.0)
            }
        }
    }
}

/// Frames to measure: triples of neighbours.
fn triples() -> Vec<[u32; 3]> {
    let every = std::env::var_os("STILLPATH_EVERY_FRAME").is_some();
    (0..FRAMES - 2).step_by(if every { 1 } else { 59 }).map(|first| [first, first + 1, first + 2]).collect()
}

/// What a move showed, in frame pixels.
#[derive(Debug, Default)]
struct Seen {
    /// Where blobs were less where they had to be, every blob, frame and axis; x and y apart.
    errors: [Vec<f64>; 2],
    /// Errors of the acceleration from frame to frame.
    accelerations: Vec<f64>,
    backward: usize,
}

struct Figures {
    rms: f64,
    max: f64,
    offset: f64,
    acceleration: f64,
    backward: usize,
}

impl Seen {
    fn figures(&self) -> Figures {
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        let offsets = [mean(&self.errors[0]), mean(&self.errors[1])];
        let centred = (0..2).flat_map(|axis| self.errors[axis].iter().map(move |error| error - offsets[axis]));
        let squares: Vec<f64> = centred.clone().map(|error| error * error).collect();
        Figures {
            rms: mean(&squares).sqrt(),
            max: centred.map(f64::abs).fold(0.0, f64::max),
            offset: offsets[0].abs().max(offsets[1].abs()),
            acceleration: mean(&self.accelerations),
            backward: self.backward,
        }
    }
}

/// What of a frame is looked at: values over a grid in frame pixels.
type Look<'a> = &'a mut dyn FnMut(&mut Painter, &Picture, Window, Size) -> Vec<(Field, Siting, f64)>;

fn follow(still: &Picture, way: Move, size: Size, times: u32, look: Look<'_>) -> Seen {
    let mut painter = Painter::new();
    let mut seen = Seen::default();
    let mut kept: Vec<(u32, Vec<Point>)> = Vec::new();
    let inside = |point: Point| {
        let edge = AROUND * SIGMA + 4.0;
        (edge..f64::from(size.width) - edge).contains(&point.x)
            && (edge..f64::from(size.height) - edge).contains(&point.y)
    };
    let watched: Vec<Blob> = blobs(times)
        .into_iter()
        .filter(|blob| {
            [0, FRAMES - 1].iter().all(|&frame| inside(way.window(frame, size, times).to_frame(blob.middle, size)))
        })
        .collect();
    assert!(watched.len() >= 9, "nine blobs at least stay in the frame");
    let expected = |frame: u32, blob: Blob| way.window(frame, size, times).to_frame(blob.middle, size);
    for triple in triples() {
        for frame in triple {
            if kept.iter().any(|&(done, _)| done == frame) {
                continue;
            }
            let window = way.window(frame, size, times);
            let mut points = Vec::new();
            for (field, siting, background) in look(&mut painter, still, window, size) {
                for &blob in &watched {
                    let must = expected(frame, blob);
                    let near = Blob { middle: must, sigma: blob.sigma * window.enlargement(size) };
                    let point = find_blob(&field, siting, background, near);
                    seen.errors[0].push(point.x - must.x);
                    seen.errors[1].push(point.y - must.y);
                    points.push(point);
                }
            }
            kept.push((frame, points));
            if kept.len() > 3 {
                kept.remove(0);
            }
        }
        let [(_, a), (_, b), (_, c)] = &kept[kept.len() - 3..] else { unreachable!("three frames") };
        for (at, ((a, b), c)) in a.iter().zip(b).zip(c).enumerate() {
            let blob = watched[at % watched.len()];
            let [must_a, must_b, must_c] = triple.map(|frame| expected(frame, blob));
            for of in [|point: Point| point.x, |point: Point| point.y] {
                let acceleration = |a, b, c| of(c) - 2.0 * of(b) + of(a);
                seen.accelerations.push((acceleration(*a, *b, *c) - acceleration(must_a, must_b, must_c)).abs());
                for (from, to, must_from, must_to) in [(*a, *b, must_a, must_b), (*b, *c, must_b, must_c)] {
                    let must = of(must_to) - of(must_from);
                    // Near the point a push-in holds still there is no way forward.
                    seen.backward += usize::from(must.abs() > 0.004 && (of(to) - of(from)) * must <= 0.0);
                }
            }
        }
    }
    seen
}

struct Bars {
    rms: f64,
    max: f64,
    offset: f64,
    acceleration: f64,
}

fn judge(name: &str, seen: &Seen, bars: &Bars) -> bool {
    let Figures { rms, max, offset, acceleration, backward } = seen.figures();
    println!(
        "{name}: RMS {rms:.5}, max {max:.5}, offset {offset:.5}, acceleration {acceleration:.5}, backward {backward}"
    );
    rms <= bars.rms && max <= bars.max && offset <= bars.offset && acceleration <= bars.acceleration && backward == 0
}

const WIDE: Size = Size { width: 1280, height: 720 };
const TALL: Size = Size { width: 404, height: 720 };
/// Rolled by 12 degrees it still fits the chart.
const SMALL: Size = Size { width: 480, height: 640 };

/// Luma of a frame of R'G'B' (BT.601 weights, as the still was coded), 0 to 255.
pub(crate) fn luma_601([red, green, blue]: &[Field; 3]) -> Field {
    let values = red.values.iter().zip(&green.values).zip(&blue.values);
    let values = values.map(|((red, green), blue)| (0.299 * red + 0.587 * green + 0.114 * blue) / 257.0).collect();
    Field { values, ..*red }
}

pub(crate) fn difference_601(frame: &[Field; 3], channel: usize) -> Field {
    let luma = luma_601(frame);
    let by = if channel == 2 { 1.772 } else { 1.402 };
    let values = frame[channel].values.iter().zip(&luma.values).map(|(own, luma)| (own / 257.0 - luma) / by).collect();
    Field { values, ..luma }
}

#[test]
fn the_ruler_is_finer_than_what_it_measures() {
    let mut worst = 0.0_f64;
    for (phase, sigma) in [(0.0, 5.5), (0.13, 6.0), (0.5, 6.6), (0.71, 6.0)] {
        let blob = Blob { middle: Point::new(50.0 + phase, 47.3 - phase), sigma };
        let mut field = Field::new(Size::new(101, 97), 3_000.0);
        add_blob(&mut field, Siting::FULL, blob, 50_000.0);
        field.values.iter_mut().for_each(|value| *value = value.round());
        worst = worst.max(find_blob(&field, Siting::FULL, 3_000.0, blob).distance(blob.middle));
    }
    println!("the ruler's own error: {worst:.6} px");
    assert!(worst < 0.0003);
}

#[test]
fn moves_over_16_bit_stills_are_steady_to_a_thousandth_of_a_pixel() {
    let bars = Bars { rms: 0.001, max: 0.003, offset: 0.0005, acceleration: 0.001 };
    let mut met = true;
    for times in [1, 2, 3] {
        let still = grey16(&chart(times, Siting::FULL, still_size(times), 5_000.0, 50_000.0));
        for (shape, size) in [("wide", WIDE), ("9:16", TALL)] {
            for way in [Move::PushIn, Move::Pan] {
                let seen = follow(&still, way, size, times, &mut |painter, still, window, size| {
                    let [grey, ..] = paint_rgb(painter, still, window, Sharpness::Even, size);
                    vec![(grey, Siting::FULL, 5_000.0)]
                });
                met &= judge(&format!("16 bits, {times}x, {shape}, {way:?}"), &seen, &bars);
            }
        }
    }
    // Full sharpness keeps the first moment too, and colour is three planes of the same.
    let size = still_size(1);
    let planes = [9_000.0, 20_000.0, 30_000.0]
        .map(|height| plane(&chart(1, Siting::FULL, size, 5_000.0, height), true, Siting::FULL));
    let still = picture(Model::Rgb, planes.to_vec());
    for way in [Move::PushIn, Move::Pan] {
        let seen = follow(&still, way, WIDE, 1, &mut |painter, still, window, size| {
            let rgb = paint_rgb(painter, still, window, Sharpness::Full, size);
            rgb.into_iter().map(|field| (field, Siting::FULL, 5_000.0)).collect()
        });
        met &= judge(&format!("16 bits, 1x, wide, {way:?}, R'G'B', full sharpness"), &seen, &bars);
    }
    assert!(met, "a bar was missed");
}

#[test]
fn rolling_and_rolled_moves_are_as_steady() {
    let bars = Bars { rms: 0.001, max: 0.003, offset: 0.0005, acceleration: 0.001 };
    let eight = Bars { rms: 0.002, max: 0.006, offset: 0.001, acceleration: 0.001 };
    let mut met = true;
    for way in [Move::Roll, Move::Rolled] {
        for times in [1, 2] {
            let size = still_size(times);
            let still = grey16(&chart(times, Siting::FULL, size, 5_000.0, 50_000.0));
            for sharpness in [Sharpness::Even, Sharpness::Full] {
                let seen = follow(&still, way, SMALL, times, &mut |painter, still, window, size| {
                    let [grey, ..] = paint_rgb(painter, still, window, sharpness, size);
                    vec![(grey, Siting::FULL, 5_000.0)]
                });
                met &= judge(&format!("16 bits, {times}x, {way:?}, {sharpness:?}"), &seen, &bars);
            }
            let neutral = Field::new(Chroma::Quarter.size(size), 128.0);
            let still = jpeg(&chart(times, Siting::FULL, size, 20.0, 210.0), [&neutral, &neutral], Chroma::Quarter);
            let seen = follow(&still, way, SMALL, times, &mut |painter, still, window, size| {
                let frame = paint_rgb(painter, still, window, Sharpness::Even, size);
                vec![(luma_601(&frame), Siting::FULL, 20.0)]
            });
            met &= judge(&format!("JPEG luma, {times}x, {way:?}"), &seen, &eight);
        }
    }
    assert!(met, "a bar was missed");
}

#[test]
fn moves_over_8_bit_jpeg_stills_are_steady_in_luma() {
    // What is left is the still's own rounding to 8 bits: it moves every blob by its own small amount, for good.
    let bars = Bars { rms: 0.002, max: 0.006, offset: 0.001, acceleration: 0.001 };
    let mut met = true;
    for (chroma, times) in [(Chroma::Quarter, 1), (Chroma::Quarter, 2), (Chroma::Quarter, 3), (Chroma::Half, 1)] {
        let size = still_size(times);
        let neutral = Field::new(chroma.size(size), 128.0);
        let still = jpeg(&chart(times, Siting::FULL, size, 20.0, 210.0), [&neutral, &neutral], chroma);
        for (shape, size) in [("wide", WIDE), ("9:16", TALL)] {
            for way in [Move::PushIn, Move::Pan] {
                let seen = follow(&still, way, size, times, &mut |painter, still, window, size| {
                    let frame = paint_rgb(painter, still, window, Sharpness::Even, size);
                    vec![(luma_601(&frame), Siting::FULL, 20.0)]
                });
                met &= judge(&format!("JPEG {chroma:?} luma, {times}x, {shape}, {way:?}"), &seen, &bars);
            }
        }
    }
    assert!(met, "a bar was missed");
}

/// What a corner shows that no blob reaches.
pub(crate) fn corner(field: &Field) -> f64 {
    let values = (0..256).map(|at| field.at(at % 16, at / 16));
    values.sum::<f64>() / 256.0
}

#[test]
fn chroma_moves_with_luma() {
    // An 8-bit frame's dither moves what the ruler reads from frame to frame; its mean says whether the siting is
    // right.
    let bars = Bars { rms: 0.02, max: 0.02, offset: 0.005, acceleration: 0.001 };
    let dithered = Bars { rms: 0.02, max: f64::INFINITY, offset: 0.005, acceleration: f64::INFINITY };
    // Where a 4:2:0 frame's chroma sits by H.264's default: on the even pixels across, between two rows down.
    let sited = Siting { step_x: 2.0, step_y: 2.0, origin_x: 0.5, origin_y: 1.0 };
    let mut met = true;
    for (chroma, times) in
        [(Chroma::Quarter, 1), (Chroma::Quarter, 2), (Chroma::Half, 1), (Chroma::Half, 2), (Chroma::Full, 1)]
    {
        let size = still_size(times);
        let blobs = chart(times, chroma.siting(), chroma.size(size), 78.0, 100.0);
        let still = jpeg(&Field::new(size, 128.0), [&blobs, &blobs], chroma);
        for (way, shape) in [(Move::PushIn, WIDE), (Move::Pan, WIDE), (Move::Roll, SMALL)] {
            let seen = follow(&still, way, shape, times, &mut |painter, still, window, size| {
                let frame = paint_rgb(painter, still, window, Sharpness::Even, size);
                [2, 0]
                    .map(|channel| difference_601(&frame, channel))
                    .map(|field| (corner(&field), field))
                    .into_iter()
                    .map(|(background, field)| (field, Siting::FULL, background))
                    .collect()
            });
            met &= judge(&format!("JPEG {chroma:?} chroma, {times}x, {way:?}, R'G'B' frame"), &seen, &bars);
            let mut seen = follow(&still, way, shape, times, &mut |painter, still, window, size| {
                let [_, blue, red] = paint_yuv(painter, still, window, Sharpness::Even, size);
                [blue, red]
                    .map(|field| (corner(&field), field))
                    .into_iter()
                    .map(|(background, field)| (field, sited, background))
                    .collect()
            });
            seen.backward = 0;
            met &= judge(&format!("JPEG {chroma:?} chroma, {times}x, {way:?}, 4:2:0 frame"), &seen, &dithered);
        }
    }
    assert!(met, "a bar was missed");
}
