//! The demo shoot against what its truth says, found again in the pictures by other means than those that drew them.
#![expect(clippy::print_stdout, reason = "measured figures are what one test is run for")]

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use image::{GrayImage, RgbImage};
use jiff::civil::DateTime;
use serde_json::Value;
use stillpath::demo::{Request, draw};
use stillpath::level::{Cells, Meter, Region, Solved, Steps, Wishes, solve};
use stillpath::units::{Size, SlotIndex};
use stillpath::{look, survey};

fn shoot(stills: u32, width: u32, height: u32, seed: u64, threads: usize) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    draw(&Request { stills, size: Size::new(width, height), seed, threads }, folder.path(), &|| true).unwrap();
    folder
}

fn truth(folder: &Path) -> Value {
    serde_json::from_slice(&std::fs::read(folder.join("truth.json")).unwrap()).unwrap()
}

/// Every file below a folder, by its path there.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    walkdir::WalkDir::new(folder)
        .into_iter()
        .map(Result::unwrap)
        .filter(|entry| entry.file_type().is_file())
        .map(|entry| {
            let name = entry.path().strip_prefix(folder).unwrap().to_str().unwrap().replace('\\', "/");
            (name, std::fs::read(entry.path()).unwrap())
        })
        .collect()
}

fn numbers<const N: usize>(value: &Value) -> [f64; N] {
    std::array::from_fn(|i| value[i].as_f64().unwrap())
}

/// Slots that have a file, each with its picture.
fn pictures<'a>(folder: &'a Path, truth: &'a Value) -> impl Iterator<Item = (&'a Value, RgbImage)> {
    truth["slots"].as_array().unwrap().iter().filter_map(move |slot| {
        let file = slot["file"].as_str()?;
        Some((slot, image::open(folder.join(file)).unwrap().into_rgb8()))
    })
}

#[test]
fn the_same_seed_gives_the_same_bytes_on_one_thread_and_on_two() {
    let one = files(shoot(6, 320, 240, 5, 1).path());
    let two = files(shoot(6, 320, 240, 5, 2).path());
    assert_eq!(one.len(), 6, "five stills of six and the truth");
    assert_eq!(one, two);
    let other = files(shoot(6, 320, 240, 6, 2).path());
    assert!(one.keys().any(|name| other.contains_key(name) && one[name] != other[name]));
}

#[test]
fn every_still_drawn_is_reported_once() {
    let folder = tempfile::tempdir().unwrap();
    let drawn = AtomicUsize::new(0);
    let request = Request { stills: 7, size: Size::new(96, 72), seed: 1, threads: 2 };
    draw(&request, folder.path(), &|| {
        drawn.fetch_add(1, Ordering::Relaxed);
        true
    })
    .unwrap();
    assert_eq!(drawn.into_inner(), 6);
}

#[test]
fn drawing_ends_when_told_so() {
    let folder = tempfile::tempdir().unwrap();
    let request = Request { stills: 30, size: Size::new(96, 72), seed: 1, threads: 1 };
    let drawn = AtomicUsize::new(0);
    draw(&request, folder.path(), &|| drawn.fetch_add(1, Ordering::Relaxed) < 2).unwrap();
    assert_eq!(drawn.into_inner(), 3);
    assert_eq!(files(folder.path()).len(), 4, "three stills and the truth");
}

#[test]
fn what_the_disk_refuses_is_named() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("100HARBR"), "in the way").unwrap();
    let request = Request { stills: 3, size: Size::new(96, 72), seed: 1, threads: 2 };
    let (path, _) = draw(&request, folder.path(), &|| true).unwrap_err();
    assert_eq!(path, folder.path().join("100HARBR"));
}

/// DCF (JEITA CP-3461) numbers files 0001–9999 and folders from 100; after 9999 comes 0001 in the next folder.
#[test]
fn names_wrap_from_9999_to_0001_in_the_next_folder_and_one_is_missing() {
    let folder = shoot(120, 80, 60, 1, 2);
    let truth = truth(folder.path());
    let missing = truth["missing"]["name"].as_str().unwrap();
    let mut due: Vec<String> = (9941..=9999).map(|number| format!("100HARBR/TIDE{number}.JPG")).collect();
    due.extend((1..=61).map(|number| format!("101HARBR/TIDE{number:04}.JPG")));
    assert_eq!(due.len(), 120);
    let before = due.len();
    due.retain(|name| name != missing);
    assert_eq!(due.len(), before - 1, "{missing} is none of the shoot's names");
    due.push("truth.json".to_owned());
    let found: Vec<String> = files(folder.path()).into_keys().collect();
    assert_eq!(found, due);
}

#[test]
fn capture_times_lie_five_seconds_apart_and_the_missing_still_leaves_its_gap() {
    let folder = shoot(40, 80, 60, 3, 2);
    let truth = truth(folder.path());
    let mut last: Option<(u64, DateTime)> = None;
    for slot in truth["slots"].as_array().unwrap() {
        let Some(file) = slot["file"].as_str() else { continue };
        let bytes = std::fs::read(folder.path().join(file)).unwrap();
        let exif = exif::Reader::new().read_from_container(&mut std::io::Cursor::new(bytes)).unwrap();
        let text = |tag| match &exif.get_field(tag, exif::In::PRIMARY).unwrap().value {
            exif::Value::Ascii(texts) => String::from_utf8(texts[0].clone()).unwrap(),
            other => panic!("{tag} is {other:?}"),
        };
        let number = |tag| exif.get_field(tag, exif::In::PRIMARY).unwrap().value.get_uint(0).unwrap();
        assert_eq!(number(exif::Tag::Orientation), 1);
        assert_eq!(number(exif::Tag::YCbCrPositioning), 1);
        assert_eq!(text(exif::Tag::OffsetTimeOriginal), slot["offset"].as_str().unwrap());
        let taken = format!("{}.{}", text(exif::Tag::DateTimeOriginal), text(exif::Tag::SubSecTimeOriginal));
        let taken = DateTime::strptime("%Y:%m:%d %H:%M:%S%.f", &taken).unwrap();
        assert_eq!(taken, slot["captured"].as_str().unwrap().parse::<DateTime>().unwrap());
        assert_ne!(taken.subsec_nanosecond(), 0, "the camera writes parts of a second");
        let index = slot["slot"].as_u64().unwrap();
        if let Some((before, time)) = last {
            let seconds = taken.duration_since(time).as_secs_f64();
            assert!((seconds - 5.0 * (index - before) as f64).abs() < 1e-9, "{seconds} s before slot {index}");
        }
        last = Some((index, taken));
    }
    assert_eq!(last.unwrap().0, 39);
}

/// Centroid of the light within `radius` of a place, above the ring's darkness: the hook's white disc stands alone
/// there.
fn bright_centroid(luma: &GrayImage, around: [f64; 2], radius: f64) -> [f64; 2] {
    let mut weights = Vec::new();
    for y in 0..luma.height() {
        for x in 0..luma.width() {
            let (px, py) = (f64::from(x) + 0.5, f64::from(y) + 0.5);
            if (px - around[0]).hypot(py - around[1]) < radius {
                weights.push((px, py, f64::from(luma.get_pixel(x, y).0[0])));
            }
        }
    }
    let dark = weights.iter().map(|w| w.2).fold(f64::MAX, f64::min);
    let bright = weights.iter().map(|w| w.2).fold(0.0, f64::max);
    assert!(bright > 2.0 * dark + 20.0, "no disc at {around:?}: {dark} to {bright}");
    let floor = dark + 0.25 * (bright - dark);
    let sum = |part: fn(&(f64, f64, f64)) -> f64| weights.iter().map(|w| part(w) * (w.2 - floor).max(0.0)).sum::<f64>();
    let all = sum(|_| 1.0);
    [sum(|w| w.0) / all, sum(|w| w.1) / all]
}

/// Middle between the two edges where a line of light crosses the mean of its ends and its middle.
fn middle_of_plateau(line: &[f64]) -> f64 {
    let half = (line[line.len() / 2] + (line[0] + line[line.len() - 1]) / 2.0) / 2.0;
    let crossings: Vec<f64> = (1..line.len())
        .filter(|&k| (line[k - 1] < half) != (line[k] < half))
        .map(|k| k as f64 - 0.5 + (half - line[k - 1]) / (line[k] - line[k - 1]))
        .collect();
    (crossings[0] + crossings[crossings.len() - 1]) / 2.0
}

#[test]
#[expect(clippy::cast_possible_truncation, reason = "places inside a still")]
fn hook_board_and_exposure_are_found_in_the_pictures_where_the_truth_says() {
    // Radii at this size: the white disc 6 px, the black ring around it 11.2 px.
    let folder = shoot(7, 1600, 1200, 11, 2);
    let truth = truth(folder.path());
    let linear = |code: u8| {
        let v = f64::from(code) / 255.0;
        if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    };
    let mut exposures = Vec::new();
    let mut bumps = Vec::new();
    for (slot, picture) in pictures(folder.path(), &truth) {
        let luma = image::imageops::grayscale(&picture);
        let hook = numbers::<2>(&slot["hook"]);
        // Begun a little beside it, so that the place asked for is not the place found by symmetry.
        let coarse = bright_centroid(&luma, [hook[0] + 1.3, hook[1] - 1.1], 9.0);
        let found = bright_centroid(&luma, coarse, 9.0);
        let error = (found[0] - hook[0]).hypot(found[1] - hook[1]);
        assert!(error < 0.15, "slot {}: hook at {hook:?}, found at {found:?}", slot["slot"]);

        let [left, top, right, bottom] = numbers::<4>(&slot["board"]);
        let row = ((top + bottom) / 2.0) as u32;
        let start = left as u32 - 4;
        let line: Vec<f64> = (start..right as u32 + 5)
            .map(|x| (row - 6..row + 6).map(|y| linear(luma.get_pixel(x, y).0[0])).sum::<f64>() / 12.0)
            .collect();
        let middle = f64::from(start) + middle_of_plateau(&line);
        assert!((middle - (left + right) / 2.0).abs() < 0.25, "slot {}: board's middle at {middle}", slot["slot"]);

        let mut sum = [0.0; 3];
        let mut count = 0.0;
        for y in top as u32 + 4..bottom as u32 - 4 {
            for x in left as u32 + 4..right as u32 - 4 {
                count += 1.0;
                for (sum, code) in sum.iter_mut().zip(picture.get_pixel(x, y).0) {
                    *sum += linear(code);
                }
            }
        }
        // Weights of luminance as in IEC 61966-2-1.
        let luminance = |rgb: [f64; 3]| 0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2];
        let seen = luminance(sum.map(|v| v / count)) / luminance(numbers::<3>(&slot["board_light"]));
        let due = slot["exposure"].as_f64().unwrap();
        assert!((seen / due - 1.0).abs() < 0.005, "slot {}: exposure {due}, seen {seen}", slot["slot"]);
        exposures.push(due);
        bumps.push(numbers::<2>(&slot["bump"]));
    }
    assert_eq!(exposures.len(), 6);
    let spread = exposures.iter().fold(0.0, |most: f64, v| most.max((v - 1.0).abs()));
    assert!((0.005..=0.03).contains(&spread), "the flicker is {spread}");
    assert_eq!(bumps[0], [0.0, 0.0]);
    assert!(bumps[5][0] > 1.0 && bumps[5][0].fract() != 0.0, "the camera was bumped by {:?}", bumps[5]);
}

/// What levelling measures and corrects, against the exposures that the truth tells of. The light falls to a fifth
/// meanwhile, lamps come on, the crane works, the water glitters and the camera is bumped.
#[test]
fn levelling_finds_the_exposures_and_takes_them_out() {
    let folder = shoot(120, 800, 600, 1, 2);
    let truth = truth(folder.path());
    let request = survey::Request {
        base: folder.path().to_owned(),
        paths: vec![".".into()],
        obey_orientation: true,
        pairs: stillpath::shot::Pairs::Stop,
        camera: None,
    };
    let shoot = survey::survey(&request).unwrap();
    let measures = look::look(&shoot, &look::Request { cache: None, threads: 2 }, &|| true).unwrap();
    let (mut at, mut exposures, mut measured) = (Vec::new(), Vec::new(), Vec::new());
    let mut meter = Meter::new(Region::WHOLE);
    for (slot, entry) in
        truth["slots"].as_array().unwrap().iter().enumerate().filter(|(_, entry)| !entry["file"].is_null())
    {
        let thumbnail = measures.glance(SlotIndex(slot)).unwrap().thumbnail;
        at.push(slot as f64);
        exposures.push(entry["exposure"].as_f64().unwrap().ln());
        measured.push(meter.take(&Cells { across: thumbnail.width, down: thumbnail.height, roots: thumbnail.roots }));
    }
    let rms = |values: &[f64]| (values.iter().map(|value| value * value).sum::<f64>() / values.len() as f64).sqrt();
    let most = |values: &[f64]| values.iter().fold(0.0, |most: f64, value| most.max(value.abs()));

    // Measured exposures over true ones are the light, which changes as evenly as its neighbours do, but where lamps
    // come on.
    let light: Vec<f64> =
        measured.iter().zip(&exposures).map(|(one, exposure)| one.unwrap().level - exposure).collect();
    let slopes: Vec<f64> = (1..at.len()).map(|k| (light[k] - light[k - 1]) / (at[k] - at[k - 1])).collect();
    let uneven: Vec<f64> = slopes.windows(3).map(|three| three[1] - (three[0] + three[2]) / 2.0).collect();
    let within = uneven.iter().filter(|value| value.abs() <= 0.003).count();
    println!(
        "measured: {:.3} % off from still to still, {within} of {} within 0.3 %",
        100.0 * rms(&uneven),
        uneven.len()
    );
    assert!(rms(&uneven) <= 0.0015 && within * 100 >= 96 * uneven.len());

    let wishes = Wishes { strength: 1.0, radius: None, steps: Steps::Join, colour: false };
    let solved = solve(&at, &measured, &vec![None; at.len()], &wishes);
    assert!(solved.steps.is_empty() && solved.flaws.is_empty(), "{:?} {:?}", solved.steps, solved.flaws);
    let left: Vec<f64> =
        solved.gains.iter().zip(&exposures).map(|(gain, exposure)| gain.light[1].ln() + exposure).collect();
    let around = |values: &[f64], at: usize| {
        let near = &values[at.saturating_sub(2)..(at + 3).min(values.len())];
        values[at] - near.iter().sum::<f64>() / near.len() as f64
    };
    let [before, after] =
        [&exposures, &left].map(|values| (0..values.len()).map(|at| around(values, at)).collect::<Vec<f64>>());
    let colour = most(
        &solved
            .gains
            .iter()
            .flat_map(|gain| [gain.light[0] / gain.light[1] - 1.0, gain.light[2] / gain.light[1] - 1.0])
            .collect::<Vec<_>>(),
    );
    println!(
        "radius {}: flicker {:.2} % before, {:.3} % after (most {:.3} %, but for two stills at each end {:.3} %), colour {:.3} %",
        solved.radius,
        100.0 * rms(&before),
        100.0 * rms(&after),
        100.0 * most(&after),
        100.0 * most(&after[2..after.len() - 2]),
        100.0 * colour
    );
    assert!(rms(&before) > 0.01 && rms(&after) <= 0.002 && most(&after[2..after.len() - 2]) <= 0.005);
    assert!(colour <= 0.002, "the demo's exposures have no colour: {colour}");

    // Random exposures also wander slowly by chance, which nobody can tell from light. What a smooth curve of the
    // planted ones themselves has of that is put aside; the rest is the light's own bends cut short: lamps that come on
    // at once are the worst.
    let beside = |solved: &Solved| -> Vec<f64> {
        let left: Vec<f64> =
            solved.gains.iter().zip(&exposures).map(|(gain, exposure)| gain.light[1].ln() + exposure).collect();
        let slow = twice_fitted(&at, &exposures, solved.radius);
        let wrong = centred(&left.iter().zip(&slow).map(|(left, slow)| left - slow).collect::<Vec<f64>>());
        println!(
            "radius {}: {:.2} % RMS off the truth, {:.2} % of it the planted flicker's own slow part; beside that {:.3} % RMS, {:.3} % at \
             most, {:.3} % and {:.3} % at the ends",
            solved.radius,
            100.0 * rms(&centred(&left)),
            100.0 * rms(&centred(&slow)),
            100.0 * rms(&wrong),
            100.0 * most(&wrong),
            100.0 * wrong[0],
            100.0 * wrong[wrong.len() - 1]
        );
        wrong
    };
    let chosen = beside(&solved);
    assert!(rms(&chosen) <= 0.0055 && most(&chosen) <= 0.016);
    let narrow = beside(&solve(&at, &measured, &vec![None; at.len()], &Wishes { radius: Some(6.0), ..wishes }));
    let within = narrow.iter().filter(|wrong| wrong.abs() <= 0.003).count();
    println!("{within} of {} within 0.3 %", narrow.len());
    assert!(within * 100 >= 95 * narrow.len());
    assert!(narrow[0].abs() <= 0.003 && narrow[narrow.len() - 1].abs() <= 0.003, "the ends");
}

/// Values less their mean.
fn centred(values: &[f64]) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    values.iter().map(|value| value - mean).collect()
}

/// A line fitted at every point to those within a radius (weights `(1 − |d / (r + 1)|³)³`), by the normal equations,
/// and what that leaves fitted again and added: levelling's own idea of slow, written once more.
fn twice_fitted(at: &[f64], values: &[f64], radius: f64) -> Vec<f64> {
    let fitted = |values: &[f64]| -> Vec<f64> {
        at.iter()
            .map(|centre| {
                let mut sums = [0.0; 5];
                for (x, y) in at.iter().zip(values) {
                    let d = x - centre;
                    let w = (1.0 - (d.abs() / (radius + 1.0)).powi(3)).max(0.0).powi(3);
                    sums.iter_mut().zip([w, w * d, w * d * d, w * y, w * d * y]).for_each(|(sum, term)| *sum += term);
                }
                let [w, wd, wdd, wy, wdy] = sums;
                (wdd * wy - wd * wdy) / (w * wdd - wd * wd)
            })
            .collect()
    };
    let once = fitted(values);
    let left: Vec<f64> = values.iter().zip(&once).map(|(value, once)| value - once).collect();
    once.iter().zip(fitted(&left)).map(|(once, again)| once + again).collect()
}
