//! Flashes counted in frames whose flashes are known: by WCAG 2.2 (success criterion 2.3.1, and "general flash and red
//! flash thresholds" in its glossary) and by the figures of Recommendation ITU-R BT.1702.

use stillpath::flash::{Averager, Cells, Clock, Flashes, Found, Grid, Kind, Meaning, Seen};
use stillpath::picture::{Frame, Pixels};
use stillpath::units::{FrameRate, Size};

/// Frames whose cells are pixels, 4 of WCAG's 1024 × 768 pixels wide: a field of 341 × 256 has 87,296 of these, so 5,456
/// cells, and 1,364 of them are exactly a quarter of it.
const SIZE: Size = Size { width: 256, height: 192 };
/// The smallest frame that is used where the area is all of it.
const SMALL: Size = Size { width: 32, height: 24 };

fn rate(text: &str) -> FrameRate {
    text.parse().unwrap()
}

/// Frames of 8-bit R'G'B', `colour(frame, x, y)`, looked at.
fn seen(size: Size, fps: &str, frames: u32, white: Option<f64>, colour: impl Fn(u32, u32, u32) -> [u8; 3]) -> Seen {
    let clock = Clock::of(rate(fps));
    let (mut averager, mut flashes) = (Averager::new(Grid::of(size), white), Flashes::new(size, clock, white));
    for frame in 0..frames {
        let pixels = (0..size.height).flat_map(|y| (0..size.width).map(move |x| (x, y)));
        let samples = pixels.flat_map(|(x, y)| colour(frame, x, y)).collect();
        let made = Frame { size, pixels: Pixels::Rgb8(samples) };
        flashes.see(averager.see(&made, Meaning::Rgb), i64::from(frame) * clock.frame);
    }
    flashes.finish()
}

/// Frames of one linear light all over.
fn of_light(fps: &str, lights: impl IntoIterator<Item = f32>) -> Seen {
    let clock = Clock::of(rate(fps));
    let (mut flashes, mut time) = (Flashes::new(SMALL, clock, None), 0);
    for light in lights {
        flashes.see(&Cells::of_linear(&vec![[light; 3]; Grid::of(SMALL).cells()]), time);
        time += clock.frame;
    }
    flashes.finish()
}

fn found(seen: &Seen, kind: Kind) -> &Found {
    seen.kinds.iter().find(|found| found.kind == kind).unwrap()
}

fn most(seen: &Seen, kind: Kind) -> u32 {
    found(seen, kind).most
}

/// Whether frame `frame` is in the second state of a square wave that flashes `times` in a second: by whole numbers.
fn is_on(frame: u32, times: u32, rate: FrameRate) -> bool {
    (2 * frame * times * rate.denominator() / rate.numerator()) % 2 == 1
}

/// Two colours in turn, 12 times a second at 24.
fn alternating(one: [u8; 3], other: [u8; 3], white: Option<f64>) -> Seen {
    seen(SMALL, "24", 26, white, |frame, _, _| if frame % 2 == 0 { one } else { other })
}

fn grey(code: u8) -> [u8; 3] {
    [code; 3]
}

// WCAG 2.2, 2.3.1: no more than three flashes within any one second.
#[test]
fn two_and_three_flashes_a_second_are_within_the_limit_and_four_are_not_at_any_rate() {
    for fps in ["24", "25", "30000/1001", "60", "24000/1001"] {
        let frames = 3 * rate(fps).numerator().div_ceil(rate(fps).denominator());
        for times in [1, 2, 3, 4, 5] {
            let lights = (0..frames).map(|frame| if is_on(frame, times, rate(fps)) { 0.9 } else { 0.1 });
            let seen = of_light(fps, lights);
            assert_eq!(most(&seen, Kind::General), times, "{times} a second at {fps}");
            assert_eq!((seen.is_above(), most(&seen, Kind::Red)), (times > 3, 0));
        }
    }
}

// The definition speaks of any one-second period: both its ends are in it.
#[test]
fn four_flashes_count_where_they_fit_into_one_second_and_not_where_they_take_a_frame_longer() {
    // Eight changes, the last so many frames after the first.
    let lights = |apart: usize| {
        let changes = [1, 3, 5, 7, 9, 11, 13, 1 + apart];
        (0..60)
            .map(move |frame| changes.iter().filter(|change| **change <= frame).count() % 2)
            .map(|on| on as f32 * 0.5)
    };
    for (fps, fits) in [("24", 24), ("25", 25), ("30000/1001", 29), ("24000/1001", 23)] {
        let seen = of_light(fps, lights(fits));
        assert_eq!((most(&seen, Kind::General), seen.is_above()), (4, true), "{fps}");
        let seen = of_light(fps, lights(fits + 1));
        assert_eq!((most(&seen, Kind::General), seen.is_above()), (3, false), "{fps}");
    }
}

// WCAG 2.2, general flash: a pair of opposing changes of relative luminance of 10 % or more of the maximum, where the
// darker image is below 0.80. Codes worked out from the sRGB curve: 89 is .0999, 90 is .1022; 231 is .7991, 232 .8070,
// 243 .8963, 244 .9047.
#[test]
fn changes_of_a_tenth_of_white_count_where_the_darker_state_is_below_four_fifths() {
    for (one, other, counts) in [(0, 89, false), (0, 90, true), (231, 255, true), (232, 255, false)] {
        assert_eq!(alternating(grey(one), grey(other), None).is_above(), counts, "{one} and {other}");
    }
    for (bright, counts) in [(243, false), (244, true)] {
        assert_eq!(alternating(grey(231), grey(bright), None).is_above(), counts, "231 and {bright}");
    }
    for (dark, bright, counts) in [
        (0.3, 0.39, false),
        (0.3, 0.41, true),
        (0.0, 0.1, true),
        (0.79, 0.95, true),
        (0.81, 0.99, false),
        (0.8, 0.99, false),
    ] {
        let seen = of_light("24", (0..48).map(|frame| if frame % 4 < 2 { dark } else { bright }));
        assert_eq!(seen.is_above(), counts, "{dark} and {bright}");
    }
}

// WCAG 2.2: changes run between neighbouring peaks and valleys, not between neighbouring frames.
#[test]
fn a_change_over_several_frames_is_one_and_small_steps_on_the_way_are_none() {
    // Up in three frames and down in three, four times a second; no step is a tenth.
    let wave = [0.2, 0.28, 0.36, 0.44, 0.36, 0.28_f32];
    let seen = of_light("24", (0..48).map(|frame| wave[frame % 6]));
    assert_eq!((most(&seen, Kind::General), seen.is_above()), (4, true));
    // The same way with a step back of less than a tenth in it.
    let wave = [0.2, 0.36, 0.3, 0.44, 0.3, 0.36_f32];
    assert_eq!(most(&of_light("24", (0..48).map(|frame| wave[frame % 6])), Kind::General), 4);
    // Ripples below a tenth on a slow fade, in and out.
    let fade = |frame: i32| 1.0 - (frame as f32 / 96.0 - 1.0).abs() + if frame % 2 == 0 { 0.04 } else { 0.0 };
    let seen = of_light("24", (0..192).map(fade));
    assert_eq!((most(&seen, Kind::General), seen.is_above()), (0, false));
    assert_eq!(found(&seen, Kind::General).too_often, 0.0);
}

// WCAG 2.2: no more than 25 % of any 10-degree field, for which it takes 341 × 256 of 1024 × 768 pixels: here 1,364 cells.
#[test]
fn flashes_count_over_more_than_a_quarter_of_a_field_wherever_it_lies() {
    let within = |x: u32, y: u32, (left, top): (u32, u32), (wide, tall): (u32, u32)| {
        (left..left + wide).contains(&x) && (top..top + tall).contains(&y)
    };
    for (sides, share, above) in [((36, 36), 0.2375, false), ((44, 31), 0.25, false), ((38, 37), 0.2577, true)] {
        for at in [(0, 0), (101, 70), (256 - sides.0, 192 - sides.1)] {
            let seen = seen(SIZE, "24", 26, None, |frame, x, y| {
                grey(if frame % 2 == 0 && within(x, y, at, sides) { 220 } else { 60 })
            });
            let general = found(&seen, Kind::General);
            assert!((general.too_often - share).abs() < 1e-4, "{} for {share}", general.too_often);
            assert_eq!((general.is_above(), general.is_near()), (above, !above), "{sides:?} at {at:?}");
        }
    }
    // Two patches that flash at one time, in step or against one another, add up; two fields apart they do not.
    for (apart, above) in [(40, true), (200, false)] {
        let seen = seen(SIZE, "24", 26, None, |frame, x, y| {
            let one = within(x, y, (0, 50), (25, 30)) && frame % 2 == 0;
            let other = within(x, y, (apart, 50), (25, 30)) && frame % 2 == 1;
            grey(if one || other { 220 } else { 60 })
        });
        assert_eq!(seen.is_above(), above, "{apart}");
    }
}

// WCAG 2.2 counts flashes, wherever they are in a field: four patches of it that are lit one after the other, each more
// than a quarter of it, are four flashes. What moves through the picture is none.
#[test]
fn patches_of_a_field_that_flash_one_after_the_other_are_counted_together() {
    // A field is 85 × 64 cells; each patch is 42 × 34 of them, 26 %, or 42 × 31, 24 %.
    for (tall, above) in [(34, true), (31, false)] {
        let lit = |frame: u32, x: u32, y: u32| {
            let (left, top) = [(64, 64), (106, 64), (64, 94), (106, 94)][(frame / 2 % 4) as usize];
            frame % 2 == 1 && (left..left + 42).contains(&x) && (top..top + tall).contains(&y)
        };
        let seen = seen(SIZE, "24", 20, None, |frame, x, y| grey(if frame < 9 && lit(frame, x, y) { 220 } else { 40 }));
        let general = found(&seen, Kind::General);
        // Every cell flashes once or twice, and together they fill more than a quarter.
        assert_eq!((general.is_above(), general.most), (above, if above { 4 } else { 1 }), "{general:?}");
        if above {
            let span = general.spans[0];
            assert_eq!((span.first, span.last, span.flashes), (1, 8, 4));
            assert!((span.area - 42.0 * 34.0 / 5456.0).abs() < 1e-4, "{}", span.area);
        }
    }
    // A light box, larger than a quarter of a field, that goes quickly from left to right and comes again.
    let passing = seen(SIZE, "24", 48, None, |frame, x, _| {
        let left = frame % 16 * 20;
        grey(if (left..left + 40).contains(&(x + 40)) { 220 } else { 40 })
    });
    assert!(!passing.is_above(), "{:?}", found(&passing, Kind::General));
}

// WCAG 2.2, red flash: one state has R / (R + G + B) of at least 0.8, and both are more than 0.2 apart in CIE 1976 u', v'.
// Distances worked out from the matrix of IEC 61966-2-1: (255, 64, 64) is .2015 from white, (255, 66, 66) .1986; red is
// .2587 from grey. Shares of red: .907, .902; of (255, 120, 120) .727, of (255, 0, 150) .766.
#[test]
fn red_flashes_are_told_by_the_share_of_red_and_by_the_distance_of_the_colours() {
    let white = [255, 255, 255];
    for (one, other, counts) in [
        ([255, 64, 64], white, true),
        ([255, 66, 66], white, false),
        ([255, 120, 120], white, false),
        ([255, 0, 150], [0, 255, 0], false),
        ([255, 0, 0], [0, 0, 255], true),
        ([255, 0, 0], [0, 0, 0], true),
        ([255, 0, 0], [255, 120, 0], false),
        // Too dark for a colour.
        ([12, 0, 0], [0, 0, 0], false),
    ] {
        let seen = alternating(one, other, None);
        assert_eq!(found(&seen, Kind::Red).is_above(), counts, "{one:?} and {other:?}");
    }
    // Grey 127 is as light as red, .2122 and .2126: red flashes alone.
    let seen = alternating([255, 0, 0], grey(127), None);
    assert_eq!((most(&seen, Kind::General), most(&seen, Kind::Red)), (0, 12));
    for times in [2, 3, 4] {
        let lit = |frame| if is_on(frame, times, rate("24")) { [255, 0, 0] } else { grey(127) };
        let seen = self::seen(SMALL, "24", 60, None, |frame, _, _| lit(frame));
        assert_eq!((most(&seen, Kind::Red), seen.is_above()), (times, times > 3), "{times} a second");
    }
}

// WCAG 2.2: a fine balanced pattern, such as white noise or a checker of squares below 0.1 degree, is exempt. Cells are
// 0.0626 degrees here, so squares of one pixel are below and squares of two above.
#[test]
fn fine_balanced_patterns_are_exempt_and_coarse_ones_are_not() {
    let size = Size::new(480, 270);
    let checker = |side: u32| {
        seen(size, "24", 12, None, move |frame, x, y| {
            grey(if (x / side + y / side + frame).is_multiple_of(2) { 230 } else { 30 })
        })
    };
    assert_eq!(most(&checker(1), Kind::General), 0);
    for side in [2, 3, 8, 40] {
        let coarse = checker(side);
        assert!(coarse.is_above(), "squares of {side}: {:?}", found(&coarse, Kind::General));
    }
    let noise = seen(size, "24", 12, None, |frame, x, y| {
        let mut bits = (u64::from(frame) << 40 | u64::from(y) << 20 | u64::from(x)).wrapping_add(0x9E37_79B9_7F4A_7C15);
        bits = (bits ^ bits >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        bits = (bits ^ bits >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        grey(if (bits >> 40).is_multiple_of(2) { 230 } else { 30 })
    });
    assert!(!noise.is_above(), "{:?}", found(&noise, Kind::General));
    // Fine and not balanced: thin lines that all flash at once.
    let lines = seen(size, "24", 12, None, |frame, x, _| grey(if x % 2 == 0 && frame % 2 == 0 { 230 } else { 30 }));
    assert!(lines.is_above());
}

// ITU-R BT.1702, as quoted: 20 cd/m² and more, the darker below 160, over more than a quarter of the screen. Codes worked
// out for a display by ITU-R BT.1886: at 100 cd/m² 130 is 19.9 and 131 is 20.2; at 200 code 97 is 19.7 and 98 is 20.2;
// 232 is 159.4, 233 is 161.1. Of limited range 128 is 20.0 at 100 cd/m², 100 is 20.1 at 200.
#[test]
fn light_on_a_display_of_a_stated_white_is_told_in_candelas() {
    for (white, one, other, counts) in [
        (200.0, 0, 97, false),
        (200.0, 0, 98, true),
        (100.0, 0, 130, false),
        (100.0, 0, 131, true),
        (200.0, 232, 255, true),
        (200.0, 233, 255, false),
        (400.0, 180, 255, false),
    ] {
        let seen = alternating(grey(one), grey(other), Some(white));
        assert_eq!(found(&seen, Kind::OnScreen).is_above(), counts, "{one} and {other} at {white}");
    }
    for (white, code, counts) in [(100.0, 127, false), (100.0, 128, true), (200.0, 99, false), (200.0, 100, true)] {
        let (mut averager, clock) = (Averager::new(Grid::of(SMALL), Some(white)), Clock { second: 24, frame: 1 });
        let mut flashes = Flashes::new(SMALL, clock, Some(white));
        for frame in 0..26 {
            let y = vec![if frame % 2 == 0 { 16 } else { code }; 32 * 24];
            let pixels = Pixels::Yuv420 { y, cb: vec![128; 16 * 12], cr: vec![128; 16 * 12] };
            flashes.see(averager.see(&Frame { size: SMALL, pixels }, Meaning::DELIVERED), frame);
        }
        assert_eq!(found(&flashes.finish(), Kind::OnScreen).is_above(), counts, "{code} at {white}");
    }
    for (columns, above) in [(61, false), (64, false), (67, true)] {
        let lit = |frame: u32, x: u32| frame.is_multiple_of(2) && x < columns;
        let seen = seen(SIZE, "24", 26, Some(200.0), |frame, x, _| grey(if lit(frame, x) { 220 } else { 40 }));
        let share = f64::from(columns) / 256.0;
        assert!((found(&seen, Kind::OnScreen).too_often - share).abs() < 1e-9);
        assert_eq!(found(&seen, Kind::OnScreen).is_above(), above, "{columns} columns");
        assert!(found(&seen, Kind::General).is_above(), "they fill a field");
        let red = |frame, x| if lit(frame, x) { [255, 0, 0] } else { grey(127) };
        let seen = self::seen(SIZE, "24", 26, Some(200.0), |frame, x, _| red(frame, x));
        assert_eq!(found(&seen, Kind::RedOnScreen).is_above(), above, "{columns} red columns");
    }
    assert_eq!(alternating(grey(0), grey(255), None).kinds.len(), 2, "no display, no candelas");
}

#[test]
fn spans_name_the_frames_from_the_first_change_to_the_last_with_their_count_and_area() {
    // Calm, six flashes a second for a second and a half, calm for two seconds, and four a second for two.
    let light = |frame: u32| match frame {
        24..60 => frame / 2 % 2,
        108..156 => frame / 3 % 2,
        _ => 0,
    };
    let seen = of_light("24", (0..200).map(|frame| 0.1 + 0.5 * light(frame) as f32));
    let general = found(&seen, Kind::General);
    let spans: Vec<_> = general.spans.iter().map(|span| (span.first, span.last, span.flashes)).collect();
    // Frames 24 and 25 are as dark as those before; at 60 it is dark again after 58 and 59, likewise at 156.
    assert_eq!(spans, [(26, 60, 6), (111, 156, 4)]);
    assert!(general.spans.iter().all(|span| span.area == 1.0));
    assert_eq!(
        (general.by_frame.len(), general.by_frame[25], general.by_frame[50], general.by_frame[100]),
        (200, 0, 6, 0)
    );
    assert_eq!((seen.frames, seen.seconds), (200, 200.0 / 24.0));
}

/// A frame of a scene by night and by day: sky above, a yard below with lamps.
fn scene(day: f64, x: u32, y: u32) -> f64 {
    let ground = if y > 120 { 0.15 } else { 0.6 };
    0.01 + ground * day + if (x / 8 + y / 8).is_multiple_of(7) { 0.05 } else { 0.0 }
}

/// The code of a light.
fn code(light: f64) -> [u8; 3] {
    let value = if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
    let code = (255.0 * value.clamp(0.0, 1.0)).round() as u8;
    [code; 3]
}

#[test]
fn days_cut_short_flash_and_so_does_welding_and_headlights_far_away_do_not() {
    // 48 days in 4 s: a still in daylight and one at night in turn.
    let days = |frame: u32| f64::from(u8::from(frame.is_multiple_of(2)));
    let cut = seen(SIZE, "24", 96, None, |frame, x, y| code(scene(days(frame), x, y)));
    let general = found(&cut, Kind::General);
    assert_eq!((general.most, general.spans.len(), general.spans[0].first, general.spans[0].last), (12, 1, 1, 95));
    // The same 48 days in two minutes: a sine of light 2.5 s long.
    let slow = |frame: u32| 0.5 - 0.5 * (std::f64::consts::TAU * f64::from(frame) / 60.0).cos();
    assert!(!seen(SIZE, "24", 96, None, |frame, x, y| code(scene(slow(frame), x, y))).is_above());

    // Welding: an arc that lights most of a workshop in some stills, by no rhythm.
    let arc =
        |frame: u32| f64::from(u8::from([1, 0, 1, 1, 0, 0, 1, 0, 1, 0, 0, 1, 1, 0, 1, 0][frame as usize % 16] == 1));
    let glow = |x: u32, y: u32| 0.5 * (-(f64::from(x) - 120.0).hypot(f64::from(y) - 90.0) / 60.0).exp();
    let welding = seen(SIZE, "24", 48, None, |frame, x, y| code(scene(0.1, x, y) + arc(frame) * 2.0 * glow(x, y)));
    assert!(found(&welding, Kind::General).is_above());
    // Far away, a spark and a small glow around it.
    let far = |x: u32, y: u32| 0.9 * (-(f64::from(x) - 120.0).hypot(f64::from(y) - 90.0) / 4.0).exp();
    let welding = seen(SIZE, "24", 48, None, |frame, x, y| code(scene(0.1, x, y) + arc(frame) * far(x, y)));
    let general = found(&welding, Kind::General);
    assert!(!general.is_above() && general.too_often > 0.0 && general.too_often < 0.1, "{general:?}");

    // Headlights: pairs of lamps that are somewhere else on a road in every still.
    let lamps = |frame: u32, x: u32, y: u32| {
        let at = |car: u32| (frame * (31 + 12 * car) + 83 * car) % 256;
        (140..144).contains(&y) && (0..4).any(|car| (at(car)..at(car) + 8).contains(&x))
    };
    let road =
        seen(SIZE, "24", 72, None, |frame, x, y| code(scene(0.05, x, y) + if lamps(frame, x, y) { 0.9 } else { 0.0 }));
    assert!(!road.is_above(), "{:?}", found(&road, Kind::General));
}

// ITU-R BT.709-6: Y' = 0.2126 R' + 0.7152 G' + 0.0722 B'; codes 16 to 235 and 16 to 240; 4 times that of 10 bits.
#[test]
fn frames_as_encoders_take_them_mean_what_their_pictures_do() {
    let size = Size::new(32, 16);
    for [red, green, blue] in [[255.0, 255.0, 255.0], [255.0, 0.0, 0.0], [30.0, 180.0, 90.0], [0.0, 0.0, 0.0_f64]] {
        let [r, g, b] = [red / 255.0, green / 255.0, blue / 255.0];
        let luma = 0.2126 * r + 0.7152 * g + 0.0722 * b;
        let (cb, cr) = ((b - luma) / 1.8556, (r - luma) / 1.5748);
        let means = |pixels: Pixels, meaning: Meaning| {
            let mut averager = Averager::new(Grid::of(size), None);
            let cells = averager.see(&Frame { size, pixels }, meaning).clone();
            assert_eq!(cells.red.len(), 32 * 16);
            [cells.red[77], cells.green[77], cells.blue[77]]
        };
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "codes")]
        let plane = |count: usize, value: f64| vec![(4.0 * value).round() as u16; count];
        let ten = Pixels::Yuv10 {
            chroma: stillpath::picture::Chroma::Half,
            y: plane(512, 16.0 + 219.0 * luma),
            cb: plane(256, 128.0 + 224.0 * cb),
            cr: plane(256, 128.0 + 224.0 * cr),
        };
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "codes")]
        let plane = |count: usize, value: f64| vec![value.round() as u8; count];
        let eight = Pixels::Yuv420 {
            y: plane(512, 16.0 + 219.0 * luma),
            cb: plane(128, 128.0 + 224.0 * cb),
            cr: plane(128, 128.0 + 224.0 * cr),
        };
        let linear = |value: f64| if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) };
        for (pixels, near) in [(ten, 0.004), (eight, 0.015)] {
            let seen = means(pixels, Meaning::DELIVERED);
            for (seen, due) in seen.into_iter().zip([r, g, b].map(linear)) {
                assert!((f64::from(seen) - due).abs() < near, "{seen} for {due}");
            }
        }
    }
}
