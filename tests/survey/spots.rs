//! Hot pixels and dust, planted in scenes that stand still and in ones that change: found at their places, and nothing
//! else is.

#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small pictures, clamped")]

use std::fs;

use stillpath::ffi::jpeg;
use stillpath::finding::Finding;
use stillpath::look;
use stillpath::measures::Spots;
use stillpath::units::Size;

use super::planted::{looked, words};
use super::scene::{hash, smooth};

const SIZE: Size = Size { width: 640, height: 480 };

/// One still's codes: an even sky above in which clouds drift, and ground that stands still below. Light times `gain`.
struct Sky {
    /// How much clouds change the sky, in codes; 0 for a clear one.
    clouds: f64,
    gain: f64,
    noise: f64,
    index: usize,
}

impl Sky {
    fn code(&self, x: f64, y: f64) -> f64 {
        let drift = 61.0 * self.index as f64;
        let sky =
            150.0 - 0.1 * y + self.clouds * (smooth(x + drift, y, 60.0, 3) + smooth(x + 1.3 * drift, y, 17.0, 4) - 1.0);
        let ground = 40.0 + 70.0 * smooth(x, y, 21.0, 8) + 40.0 * smooth(x, y, 3.0, 9);
        if y < 340.0 { sky } else { ground }
    }

    /// As R'G'B', with what lies on the sensor: pixels with so many codes more, and soft spots of a radius and share.
    fn still(&self, hot: &[([usize; 2], f64)], dust: &[([f64; 2], f64, f64)]) -> Vec<u8> {
        let (width, height) = (SIZE.width as usize, SIZE.height as usize);
        let mut rgb = Vec::with_capacity(3 * width * height);
        for y in 0..height {
            for x in 0..width {
                let mut light = (self.code(x as f64, y as f64).max(0.0) / 255.0).powf(2.2) * self.gain;
                for ([dust_x, dust_y], radius, share) in dust {
                    let away = (x as f64 - dust_x).hypot(y as f64 - dust_y) / radius;
                    light *= 1.0 - share * (-0.5 * away.powi(4)).exp();
                }
                let more: f64 =
                    hot.iter().filter(|(at, _)| *at == [x, y]).map(|(_, more)| (more / 255.0).powf(2.2)).sum();
                let code = 255.0 * (light + more).min(1.0).powf(1.0 / 2.2);
                for channel in 0..3 {
                    let chance = hash(x as i64, y as i64, (self.index * 3 + channel) as i64 + 50) - 0.5;
                    rgb.push((code + self.noise * 3.4 * chance).round().clamp(0.0, 255.0) as u8);
                }
            }
        }
        rgb
    }
}

fn found(count: usize, still: impl Fn(usize) -> Vec<u8>) -> (Vec<Finding>, Spots) {
    let folder = tempfile::tempdir().unwrap();
    for index in 0..count {
        let bytes = jpeg::encode_rgb(&still(index), SIZE, 94, (2, 2), &[]);
        fs::write(folder.path().join(format!("YARD{:04}.JPG", index + 1)), bytes).unwrap();
    }
    let (shoot, measures) = looked(folder.path());
    (look::findings(&shoot, &measures), measures.spots.unwrap())
}

fn sky(index: usize) -> Sky {
    Sky { clouds: 14.0, gain: 1.0, noise: 2.0, index }
}

/// Fault 44: hot pixels, dust (where they can be told).
#[test]
fn hot_pixels_are_found_at_their_places_while_the_light_changes() {
    // On the sky and on ground; the last one is too faint for the sky, where it is not counted on.
    let hot = [([100, 50], 200.0), ([411, 222], 160.0), ([300, 120], 255.0)];
    let evening = |index| Sky { gain: 1.0 - 0.07 * index as f64, ..sky(index) };
    let (findings, spots) = found(12, |index| evening(index).still(&hot, &[]));
    assert_eq!(spots.hot, [[100, 50], [300, 120], [411, 222]]);
    let kinds = words(&findings);
    assert!(kinds.contains(&"hot-pixels".to_owned()), "{kinds:?}");
    let finding = findings.iter().find(|finding| finding.kind == "hot-pixels").unwrap();
    assert!(
        finding.message.starts_with("3 points shine") && finding.message.contains("px(411, 222)"),
        "{}",
        finding.message
    );
}

/// Fault 44: hot pixels, dust (where they can be told).
#[test]
fn lights_of_the_scene_are_no_hot_pixels() {
    // Lamps as a lens draws them, lamps that go out, and one that the camera's sinking moves over the sensor.
    let drawn = |at: [usize; 2], more: f64| -> Vec<([usize; 2], f64)> {
        let around = [(0, 0, 1.0), (1, 0, 0.75), (0, 1, 0.75), (2, 0, 0.5), (0, 2, 0.5), (1, 1, 0.65)];
        let mirrored = around.iter().flat_map(|(x, y, share)| [(*x, *y, *share), (-x, -y, *share)]);
        let place = |(x, y, share): (isize, isize, f64)| {
            ([at[0].wrapping_add_signed(x), at[1].wrapping_add_signed(y)], more * share)
        };
        let mut places: Vec<_> = mirrored.map(place).collect();
        places.dedup_by_key(|(at, _)| *at);
        places
    };
    let still = |index: usize| {
        let mut lamps = drawn([100, 50], 200.0);
        lamps.extend(drawn([220, 90], 230.0));
        lamps.extend((index < 6).then_some(([350, 80], 220.0)));
        lamps.push(([411, 200 + index / 3], 220.0));
        sky(index).still(&lamps, &[])
    };
    assert_eq!(found(12, still).1, Spots::default());
}

/// Fault 44: hot pixels, dust (where they can be told).
#[test]
fn dust_is_found_under_drifting_clouds_with_its_place_and_width() {
    let dust = [([150.0, 100.0], 5.0, 0.12), ([480.0, 180.0], 9.0, 0.10)];
    let (findings, spots) = found(24, |index| sky(index).still(&[], &dust));
    assert_eq!(spots.hot, Vec::<[u32; 2]>::new());
    assert_eq!(spots.dust.len(), 2, "{spots:?}");
    for ([x, y], radius, _) in dust {
        let near = |at: [u32; 2]| f64::hypot(f64::from(at[0]) - x, f64::from(at[1]) - y) < 3.0;
        let spot = spots.dust.iter().find(|spot| near(spot.at)).unwrap_or_else(|| panic!("{spots:?}"));
        assert!((1.0..3.5).contains(&(f64::from(spot.across) / radius)), "{spot:?} of radius {radius}");
        assert!((0.02..0.08).contains(&spot.darker), "{spot:?}");
    }
    assert_eq!(words(&findings), ["dust"]);
}

/// Fault 44: hot pixels, dust (where they can be told).
#[test]
fn dark_things_in_a_scene_that_stands_still_are_no_dust() {
    // The same spots on ground, in a clear sky where nothing says whether they are before the lens, and clouds without
    // any.
    let ground = [([150.0, 400.0], 5.0, 0.12), ([480.0, 420.0], 9.0, 0.3)];
    assert_eq!(found(24, |index| sky(index).still(&[], &ground)).1, Spots::default());
    let clear = |index| Sky { clouds: 0.0, ..sky(index) };
    let in_the_sky = [([150.0, 100.0], 5.0, 0.12), ([480.0, 180.0], 9.0, 0.10)];
    assert_eq!(found(16, |index| clear(index).still(&[], &in_the_sky)).1, Spots::default());
    let noisy = |index| Sky { noise: 12.0, ..sky(index) };
    assert_eq!(found(24, |index| noisy(index).still(&[], &[])).1, Spots::default());
}
