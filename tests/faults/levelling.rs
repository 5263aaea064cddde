//! Flicker, odd stills and steps of exposure, from files to frames and back.

use std::fs;
use std::path::Path;

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use serde_json::json;
use stillpath::ffi::jpeg;

use crate::common::{Bench, STILL};

const STILLS: usize = 36;

/// A still of plain light: boxes of grey from dark to bright on a slope, all of it times `exposure`, and a white square
/// that wanders along the top. `rows` is what each row is multiplied by besides.
struct Scene<'a> {
    exposure: f64,
    rows: &'a dyn Fn(u32) -> f64,
    /// Exposure time in seconds that the header tells.
    told: Option<(u32, u32)>,
}

impl Scene<'_> {
    fn write(&self, path: &Path, index: usize) {
        let mut rgb = Vec::new();
        for y in 0..STILL.height {
            for x in 0..STILL.width {
                let box_of = f64::from((x / 32 + 3 * (y / 24)) % 7);
                let wanders = y < 60 && (x as usize / 40) % 8 == index % 8;
                let light = if wanders { 0.6 } else { 0.05 + 0.04 * box_of + 0.08 * f64::from(x) / 320.0 };
                let scaled = [1.0, 0.9, 0.75].map(|tint| light * tint * self.exposure * (self.rows)(y));
                // Rounded up or down by a pattern, so that no mean has the step of a code in it.
                let pattern = f64::from((x * 37 + y * 91) % 64) / 64.0;
                rgb.extend(scaled.map(|light| (255.0 * encoded(light.min(1.0)) + pattern).floor().min(255.0) as u8));
            }
        }
        let block = self.told.map(block);
        let segments: Vec<(u8, &[u8])> = block.iter().map(|block| (0xE1, block.as_slice())).collect();
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, jpeg::encode_rgb(&rgb, STILL, 97, (1, 1), &segments)).unwrap();
    }
}

/// An Exif block that tells exposure time, f-number and sensitivity.
pub(crate) fn block((num, denom): (u32, u32)) -> Vec<u8> {
    let fields = [
        Field { tag: Tag::ExposureTime, ifd_num: In::PRIMARY, value: Value::Rational(vec![Rational { num, denom }]) },
        Field { tag: Tag::FNumber, ifd_num: In::PRIMARY, value: Value::Rational(vec![Rational { num: 8, denom: 1 }]) },
        Field { tag: Tag::PhotographicSensitivity, ifd_num: In::PRIMARY, value: Value::Short(vec![200]) },
    ];
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut bytes = std::io::Cursor::new(Vec::new());
    writer.write(&mut bytes, false).unwrap();
    [b"Exif\0\0".to_vec(), bytes.into_inner()].concat()
}

// IEC 61966-2-1's curve, both ways.
pub(crate) fn encoded(light: f64) -> f64 {
    if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

pub(crate) fn light(value: f64) -> f64 {
    if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
}

/// A shoot of stills exposed so.
fn shoot(exposures: &[f64], told: impl Fn(usize) -> Option<(u32, u32)>) -> Bench {
    let bench = Bench::new(0);
    for (index, exposure) in exposures.iter().enumerate() {
        Scene { exposure: *exposure, rows: &|_| 1.0, told: told(index) }.write(&bench.still(index + 1), index);
    }
    bench
}

/// A falling light with a flicker of 3 % that no two neighbours share.
fn flickering() -> Vec<f64> {
    (0..STILLS)
        .map(|still| fade(still) * (1.0 + 0.03 * (2.4 * still as f64 + 1.3 * (still * still) as f64).sin()))
        .collect()
}

fn fade(still: usize) -> f64 {
    1.0 - 0.3 * still as f64 / (STILLS - 1) as f64
}

fn script(bench: &Bench, level: &str) {
    bench.script(&format!(
        r#"return shot {{ source = stills {{ "stills" }}, fps = 24, pace = stills_per_frame(1), {level}
  deliveries = {{ delivery {{ "wide", frame = {{ 320, 180 }}, codec = "png" }} }} }}"#
    ));
}

/// Mean light of red, green and blue below what wanders, frame by frame, of the render last made.
fn rendered(bench: &Bench) -> Vec<[f64; 3]> {
    let frames = bench.list("clips/move-wide").into_iter();
    frames
        .map(|name| {
            let picture = image::open(bench.path(&format!("clips/move-wide/{name}"))).unwrap().to_rgb16();
            let mut sums = [0.0; 3];
            for (_, _, pixel) in picture.enumerate_pixels().filter(|(_, y, _)| *y > 45) {
                sums.iter_mut().zip(pixel.0).for_each(|(sum, code)| *sum += light(f64::from(code) / 65_535.0));
            }
            sums
        })
        .collect()
}

fn render(bench: &Bench) -> serde_json::Value {
    bench.run(&["render", "move.lua", "--out", "clips", "--force", "--json"]).expect(0).json()
}

fn most(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(0.0, |most: f64, value| most.max(value.abs()))
}

/// Change from frame to frame, the fade's own apart.
fn steps(frames: &[[f64; 3]], light: impl Fn(usize) -> f64) -> Vec<f64> {
    let levels: Vec<f64> = frames.iter().enumerate().map(|(still, frame)| (frame[1] / light(still)).ln()).collect();
    levels.windows(2).map(|two| two[1] - two[0]).collect()
}

fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|value| value * value).sum::<f64>() / values.len() as f64).sqrt()
}

#[test]
fn flicker_goes_from_the_frames_and_the_fade_stays_and_the_table_feeds_back_the_same_frames() {
    let bench = shoot(&flickering(), |_| None);
    script(&bench, "");
    let plain = render(&bench);
    assert!(!bench.path("clips/move-level.csv").exists() && plain["shots"][0].get("level").is_none());
    let flickering = rendered(&bench);
    let before = steps(&flickering, fade);

    script(&bench, "level = true,");
    let levelled = render(&bench);
    let frames = rendered(&bench);
    let after = steps(&frames, fade);
    // What levelling does to the colours; those of the stills themselves differ by their rounding.
    let cast = |frame: &[f64; 3]| (frame[0] / frame[2]).ln();
    let colour = most(frames.iter().zip(&flickering).map(|(frame, plain)| cast(frame) - cast(plain)));
    println!(
        "frame to frame {:.3} % before, {:.3} % after (most {:.3} %); colour {:.3} %",
        100.0 * rms(&before),
        100.0 * rms(&after),
        100.0 * most(after.iter().copied()),
        100.0 * colour
    );
    assert!(rms(&before) > 0.02);
    assert!(rms(&after) <= 0.002 && colour <= 0.002);
    let whole: f64 = after.iter().sum();
    assert!(whole.abs() < 0.02, "the fade itself stays: {whole}");
    let [said_before, said_after] = [0, 1].map(|at| levelled["shots"][0]["level"]["flicker"][at].as_f64().unwrap());
    assert!(said_before > 0.01 && said_after < 0.002, "{said_before} {said_after}");

    // The table is the gains to a millionth: fed back it gives the frames to a code of sixteen bits or so.
    fs::rename(bench.path("clips/move-level.csv"), bench.path("gains.csv")).unwrap();
    script(&bench, "level = { curve = \"gains.csv\" },");
    let again = render(&bench);
    assert_eq!(again["shots"][0]["level"]["flicker"], json!(null));
    let off = most(frames.iter().zip(rendered(&bench)).map(|(one, other)| (one[1] / other[1]).ln()));
    assert!(off < 2e-6, "{off}");
    // Levels were not measured this time and are left open.
    let gains = |table: &str| -> Vec<String> {
        table.lines().map(|line| line.split(',').take(4).collect::<Vec<_>>().join(",")).collect()
    };
    let [first, second] =
        ["gains.csv", "clips/move-level.csv"].map(|name| fs::read_to_string(bench.path(name)).unwrap());
    assert_eq!(gains(&first), gains(&second));
    assert_eq!(bench.run(&["level", "move.lua"]).expect(0).out, second);

    // Edited, one still is half as bright and no other frame changes.
    let table = fs::read_to_string(bench.path("gains.csv")).unwrap();
    let edited: String =
        table.lines().map(|line| if line.starts_with("5,") { "5,0.5\n".into() } else { format!("{line}\n") }).collect();
    fs::write(bench.path("gains.csv"), edited).unwrap();
    let planes = |outcome: &serde_json::Value| outcome["outputs"][0]["frame_planes"].as_array().unwrap().clone();
    let edited = render(&bench);
    let differ: Vec<usize> = (0..STILLS).filter(|at| planes(&again)[*at] != planes(&edited)[*at]).collect();
    assert_eq!(differ, [4]);
    let darker = rendered(&bench)[4][1] / frames[4][1];
    assert!((0.45..0.56).contains(&darker), "{darker}");

    // Gains of 1 change nothing, to the bit.
    let ones: String = (1..=STILLS).map(|still| format!("{still},1\n")).collect();
    fs::write(bench.path("gains.csv"), ones).unwrap();
    assert_eq!(planes(&render(&bench)), planes(&plain));
}

#[test]
fn a_table_of_another_shoot_or_of_nonsense_stops_at_the_line_that_names_it() {
    let bench = shoot(&[1.0; 4], |_| None);
    script(&bench, "level = { curve = \"gains.csv\" },");
    let check = |text: Option<&str>, says: &str| {
        if let Some(text) = text {
            fs::write(bench.path("gains.csv"), text).unwrap();
        }
        bench.run(&["check", "move.lua"]).expect(1).says(says).says("move.lua:1");
    };
    check(None, "gains.csv: No such file");
    check(Some("1,one\n"), "line 1: a gain is a number from 1/64 to 64; seen 'one'");
    check(Some("9,1\n"), "names still 9, but the shoot has 4");
    check(Some("1,1,1,1,,,OTHER0001\n"), "calls still 1 'OTHER0001', but in the shoot it is 'LAPS0001'");
    fs::write(bench.path("gains.csv"), "1,1.1\n").unwrap();
    bench
        .run(&["check", "move.lua"])
        .expect(0)
        .says("3 stills not in the table of gains are shown as they are: LAPS0002 to LAPS0004");
    script(&bench, "level = { curve = \"gains.csv\", radius = 3 },");
    check(None, "shot.level.radius does not go with curve");
    script(&bench, "");
    bench.run(&["level", "move.lua"]).expect(1).says("the script levels nothing").says("level = true");
}

/// Fault 38: black, white, flash-lit, dark, strange, soft: up to three in a row, at the ends too.
#[test]
fn a_black_still_and_a_flash_are_named_and_left_and_draw_no_neighbour_along() {
    let mut exposures = flickering();
    (exposures[10], exposures[11], exposures[25]) = (0.01, 2.1, 0.0);
    let bench = shoot(&exposures, |_| None);
    script(&bench, "level = { radius = 8 },");
    let said = bench.run(&["check", "move.lua"]).expect(0);
    assert!(said.err.contains("are left as they are"), "{}", said.err);
    let table = bench.run(&["level", "move.lua"]).expect(0).out;
    let gain = |still: usize| table.lines().nth(still).unwrap().split(',').nth(2).unwrap().parse::<f64>().unwrap();
    for odd in [11, 12, 26] {
        assert_eq!(gain(odd), 1.0, "still {odd}");
        assert!(said.err.contains(&format!("LAPS{odd:04}")), "still {odd} is named: {}", said.err);
    }
    let clean = shoot(&flickering(), |_| None);
    script(&clean, "level = { radius = 8 },");
    let without = clean.run(&["level", "move.lua"]).expect(0).out;
    for still in (1..=STILLS).filter(|still| ![11, 12, 26].contains(still)) {
        let due: f64 = without.lines().nth(still).unwrap().split(',').nth(2).unwrap().parse().unwrap();
        assert!((gain(still) / due - 1.0).abs() < 0.015, "still {still}: {} for {due}", gain(still));
    }
    let told = bench.run(&["explain", "move.lua", "--frame", "3"]).expect(0).out;
    assert!(told.contains("level:  light times"), "{told}");
}

/// Fault 38: black, white, flash-lit, dark, strange, soft: up to three in a row, at the ends too.
#[test]
fn stills_that_stand_out_three_in_a_row_and_at_both_ends_are_left_and_draw_no_neighbour_along() {
    let odd = [1, 2, 3, 17, 18, 19, 35, 36];
    let mut exposures = flickering();
    odd.iter().for_each(|still| exposures[still - 1] *= if *still > 10 { 1.9 } else { 0.4 });
    let gains = |exposures: &[f64]| -> (Vec<f64>, String) {
        let bench = shoot(exposures, |_| None);
        script(&bench, "level = { radius = 8 },");
        let ran = bench.run(&["level", "move.lua"]).expect(0);
        (ran.out.lines().skip(1).map(|line| line.split(',').nth(2).unwrap().parse().unwrap()).collect(), ran.err)
    };
    let (left, said) = gains(&exposures);
    let (due, _) = gains(&flickering());
    assert!(said.contains("8 stills stand out from their neighbours' light and are left as they are"), "{said}");
    for still in 1..=STILLS {
        let (gain, due) = (left[still - 1], due[still - 1]);
        match odd.contains(&still) {
            true => assert_eq!(gain, 1.0, "still {still}"),
            // A flicker of 3 % has so much to say in the mean of those few that are left at an end.
            false => assert!((gain / due - 1.0).abs() < 0.03, "still {still}: {gain} for {due}"),
        }
    }
}

/// Fault 41: the exposure changed.
#[test]
fn a_step_of_exposure_is_joined_into_an_even_change_or_stays_a_cut_and_is_never_smeared() {
    // One stop up halfway, with the flicker going on.
    let flicker = flickering();
    let step = |still: usize| if still < STILLS / 2 { 0.5 } else { 1.0 };
    let exposures: Vec<f64> = flicker.iter().enumerate().map(|(still, one)| one * step(still)).collect();
    let bench = shoot(&exposures, |still| Some((1, if still < STILLS / 2 { 100 } else { 50 })));
    script(&bench, "level = true,");
    bench.run(&["check", "move.lua"]).expect(0).says("1 step of exposure, up to ").says("joined into one even change");
    render(&bench);
    let joined = steps(&rendered(&bench), fade);
    println!("joined: a step of {:.3} at most in place of {:.3}", most(joined.iter().copied()), std::f64::consts::LN_2);
    assert!(most(joined.iter().copied()) < 0.06);

    script(&bench, "level = { steps = \"cut\" },");
    bench.run(&["check", "move.lua"]).expect(0).says("the exposure was changed before LAPS0019").says("a cut");
    render(&bench);
    let mut cut = steps(&rendered(&bench), |still| fade(still) * step(still));
    let across = cut.remove(STILLS / 2 - 1);
    println!("cut: frame to frame {:.3} % on either side, and {:.3} % across it", 100.0 * rms(&cut), 100.0 * across);
    assert!(rms(&cut) < 0.004 && most(cut.iter().copied()) < 0.015 && across.abs() < 0.05, "{cut:?}");

    // Without headers the pixels alone tell, and the step is left.
    let untold = shoot(&exposures, |_| None);
    script(&untold, "level = true,");
    untold.run(&["check", "move.lua"]).expect(0).says("the light changes at once before LAPS0019");
}

/// Fault 45: stripes by lamps on the mains.
#[test]
fn rolling_bands_of_mains_light_are_not_taken_for_flicker_of_the_whole() {
    let bench = Bench::new(0);
    for index in 0..STILLS {
        let phase = 2.1 * index as f64;
        let rows = move |y: u32| 1.0 + 0.1 * (f64::from(y) * 0.21 + phase).sin();
        Scene { exposure: 1.0, rows: &rows, told: None }.write(&bench.still(index + 1), index);
    }
    script(&bench, "level = true,");
    let table = bench.run(&["level", "move.lua"]).expect(0).out;
    let gains = table
        .lines()
        .skip(1)
        .flat_map(|line| line.split(',').skip(1).take(3).map(|gain| gain.parse::<f64>().unwrap()).collect::<Vec<_>>());
    let off = most(gains.map(|gain| gain - 1.0));
    println!("bands of 10 %: gains within {:.2} % of 1", 100.0 * off);
    assert!(off < 0.02, "{off}");
}

#[test]
fn a_table_that_is_there_is_replaced_only_when_told() {
    let bench = shoot(&[1.0, 1.02, 0.98, 1.0], |_| None);
    script(&bench, "level = true,");
    fs::create_dir_all(bench.path("clips")).unwrap();
    fs::write(bench.path("clips/move-level.csv"), "mine").unwrap();
    bench.render().expect(1).says("clips/move-level.csv is already there");
    assert_eq!(fs::read(bench.path("clips/move-level.csv")).unwrap(), b"mine");
    let written = bench.run(&["level", "move.lua", "-o", "clips/move-level.csv"]).expect(1);
    written.says("is already there").says("--force");
    bench.run(&["level", "move.lua", "-o", "stills/LAPS0009.JPG"]).expect(1).says("lies among the stills");
}
