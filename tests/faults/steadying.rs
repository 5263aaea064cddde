//! Bumps and sags of the camera, from files to frames: one scene drawn at known stands, blob by blob, and found again
//! in the frames.

use std::fs;

use stillpath::geom::Window;
use stillpath::register::Pose;
use stillpath::units::Size;

use crate::common::{Bench, STILL};
use crate::recordings::film;

/// Where the scene's blobs are in the first view, in pixels.
const BLOBS: [(f64, f64); 5] = [(90.3, 70.8), (228.6, 82.1), (160.2, 121.4), (104.9, 171.5), (217.7, 165.2)];

/// Standard deviation of a blob, in pixels.
const SPREAD: f64 = 4.0;

/// The scene's value at a point of the first view: even grey, and bright blobs.
fn scene(point: kurbo::Point) -> f64 {
    let blob = |(x, y): (f64, f64)| {
        let away = (point.x - x).powi(2) + (point.y - y).powi(2);
        120.0 * (-away / (2.0 * SPREAD * SPREAD)).exp()
    };
    60.0 + BLOBS.into_iter().map(blob).sum::<f64>()
}

/// The point of the first view that a still which stands so shows at a place of its own: `Pose::point` solved for its
/// argument.
fn first_view(stand: Pose, at: (f64, f64)) -> kurbo::Point {
    let centre = kurbo::Point::new(f64::from(STILL.width) / 2.0, f64::from(STILL.height) / 2.0);
    let (sin, cos) = stand.turn.to_radians().sin_cos();
    let (x, y) = (at.0 - stand.x - centre.x, at.1 - stand.y - centre.y);
    kurbo::Point::new(centre.x + x * cos + y * sin, centre.y - x * sin + y * cos)
}

/// A still drawn where it stands; `hidden` says what else is seen at a point of the first view, if anything is.
fn draw(stand: Pose, hidden: &dyn Fn(kurbo::Point) -> Option<[u8; 3]>) -> Vec<u8> {
    let mut rgb = Vec::new();
    for y in 0..STILL.height {
        for x in 0..STILL.width {
            let point = first_view(stand, (f64::from(x) + 0.5, f64::from(y) + 0.5));
            rgb.extend(hidden(point).unwrap_or([scene(point).round() as u8; 3]));
        }
    }
    rgb
}

/// Steps of up to 6 pixels and a third of a degree, and a sag of a fiftieth of a pixel a still.
fn stands() -> Vec<Pose> {
    let steps = [(0.0, 0.0, 0.0), (3.4, -2.7, 0.0), (-2.3, 1.6, 0.3), (-5.1, 3.2, -0.2), (-5.1, 3.2, 0.0)];
    let one = |still: usize| {
        let (x, y, turn) = steps[still / 5];
        let sag = 0.02 * still as f64;
        Pose { x: x + 0.5 * sag, y: y + sag, turn }
    };
    (0..25).map(|still| if still == 0 { Pose::STILL } else { one(still) }).collect()
}

/// A table of stands, without names.
fn table(stands: &[Pose]) -> String {
    let line = |(still, stand): (usize, &Pose)| format!("{},{},{},{}\n", still + 1, stand.x, stand.y, stand.turn);
    stands.iter().enumerate().map(line).collect()
}

/// A shoot of PNG stills that stand so, with their table.
fn shoot(stands: &[Pose], hidden: &dyn Fn(kurbo::Point) -> Option<[u8; 3]>) -> Bench {
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    for (still, stand) in stands.iter().enumerate() {
        let path = bench.path(&format!("stills/LAPS{:04}.PNG", still + 1));
        image::save_buffer(path, &draw(*stand, hidden), STILL.width, STILL.height, image::ColorType::Rgb8).unwrap();
    }
    fs::write(bench.path("stands.csv"), table(stands)).unwrap();
    bench
}

fn nothing(_: kurbo::Point) -> Option<[u8; 3]> {
    None
}

/// A script of one delivery of 16-bit PNGs; `fields` are the shot's, `delivery` the delivery's.
fn script(fields: &str, delivery: &str) -> String {
    format!(
        r#"return shot {{ source = stills {{ "stills" }}, fps = 24, {fields}
  deliveries = {{ delivery {{ "wide", frame = {{ 240, 180 }}, codec = "png", {delivery} }} }} }}"#
    )
}

/// The windows of the plan's rows.
fn windows(bench: &Bench) -> Vec<Window> {
    let plan = bench.run(&["plan", "move.lua", "--json"]).expect(0).json();
    let rows = plan["plans"][0]["deliveries"][0]["rows"].as_array().unwrap();
    rows.iter().map(|row| serde_json::from_value(row["window"].clone()).unwrap()).collect()
}

/// Where a blob is in a frame near where it is due: the centre of what is brighter than the ground, its own weight.
fn found(frame: &image::ImageBuffer<image::Luma<u16>, Vec<u16>>, due: kurbo::Point, reach: f64) -> kurbo::Point {
    let value = |x: u32, y: u32| f64::from(frame.get_pixel(x, y).0[0]) / 257.0;
    let mut at = due;
    // The box is laid around what is found until it stays: a box off the middle would cut one side.
    for _ in 0..6 {
        let (mut sum, mut across, mut down) = (0.0, 0.0, 0.0);
        let near =
            |at: f64, length: u32| ((at - reach).floor().max(0.0) as u32)..((at + reach).ceil() as u32).min(length);
        let columns = near(at.x, frame.width());
        for (x, y) in near(at.y, frame.height()).flat_map(|y| columns.clone().map(move |x| (x, y))) {
            let (dx, dy) = (f64::from(x) + 0.5 - at.x, f64::from(y) + 0.5 - at.y);
            if dx.hypot(dy) < reach {
                let bright = (value(x, y) - 60.0).max(0.0);
                (sum, across, down) = (sum + bright, across + bright * dx, down + bright * dy);
            }
        }
        at += kurbo::Vec2::new(across / sum, down / sum);
    }
    at
}

/// The farthest that any blob is from where the row's window has it, over all frames, in pixels of the frame.
fn most_off(bench: &Bench) -> f64 {
    bench.run(&["render", "move.lua", "--out", "clips", "--force", "--no-strip"]).expect(0);
    let frame_size = Size::new(240, 180);
    let mut most = 0.0_f64;
    let windows = windows(bench);
    for (window, name) in windows.iter().zip(bench.list("clips/move-wide")) {
        let frame = image::open(bench.path(&format!("clips/move-wide/{name}"))).unwrap().into_luma16();
        let reach = 3.4 * SPREAD * window.enlargement(frame_size);
        for (x, y) in BLOBS {
            let due = window.to_frame((x, y).into(), frame_size);
            let inside = reach + 8.0;
            if due.x > inside && due.x < 240.0 - inside && due.y > inside && due.y < 180.0 - inside {
                most = most.max((found(&frame, due, reach) - due).hypot());
            }
        }
    }
    assert_eq!(windows.len(), bench.list("clips/move-wide").len());
    most
}

const STEADY: &str = "steady = { curve = \"stands.csv\" },";

/// Fault 43: bumps and sags.
#[test]
fn bumps_and_sags_are_gone_from_plain_mixed_invented_rolled_and_looped_frames() {
    let bench = shoot(&stands(), &nothing);
    let plain = r#"pace = stills_per_frame(1), framing = framing {
      key { at = "start", on = point(0.5, 0.5), span = 0.9 }, key { at = "end", on = point(0.49, 0.51), span = 0.7 } },"#;
    let rolled = r#"pace = stills_per_frame(1), framing = framing {
      key { at = "start", on = point(0.5, 0.5), span = 0.7, roll = -4 }, key { at = "end", on = point(0.5, 0.5), span = 0.6, roll = 8 } },"#;
    let slow = r#"pace = frames_per_still(2.5), framing = framing { key { at = "start", on = point(0.5, 0.5), span = 0.9 } },"#;
    let looped = r#"loop = "0.25s","#;
    // Unsteadied it is looked at once: there is something to steady.
    bench.script(&script(plain, ""));
    let before = most_off(&bench);
    assert!(before > 1.0, "{before}");
    for (name, fields, delivery) in [
        ("plain", plain.to_owned(), ""),
        ("means of a wide shutter", plain.to_owned(), "shutter = 1080"),
        ("mixed", slow.to_owned(), "between = \"mix\""),
        ("invented", slow.to_owned(), "between = \"motion\""),
        ("rolled", rolled.to_owned(), ""),
        ("rolled means", rolled.to_owned(), "shutter = 720"),
        ("looped", format!("{looped} {slow}"), "between = \"mix\""),
    ] {
        bench.script(&script(&format!("{STEADY} {fields}"), delivery));
        let after = most_off(&bench);
        println!("{name}: blobs off by up to {after:.4} px of the frame, and plain by {before:.3} unsteadied");
        assert!(after <= 0.05, "{name}: {after}");
    }
}

#[test]
fn frames_whose_stills_did_not_move_are_the_same_to_the_bit_and_threads_change_nothing() {
    let mut some = stands();
    some[..5].fill(Pose::STILL);
    let bench = shoot(&some, &nothing);
    // By span the windows are those of the unsteadied shot.
    let fields =
        r#"pace = stills_per_frame(1), framing = framing { key { at = "start", on = point(0.5, 0.5), span = 0.8 } },"#;
    bench.script(&script(fields, "shutter = 360"));
    let plain = bench.planes();
    bench.script(&script(&format!("{STEADY} {fields}"), "shutter = 360"));
    let steadied = bench.planes();
    let same: Vec<usize> = (0..25).filter(|frame| plain[*frame] == steadied[*frame]).collect();
    assert_eq!(same, [0, 1, 2, 3, 4]);
    let threads = |count: &str| {
        let arguments = ["render", "move.lua", "--out", "planes", "--force", "--json", "--threads", count];
        bench.run(&arguments).expect(0).json()["outputs"][0]["planes"].as_str().unwrap().to_owned()
    };
    assert_eq!(threads("1"), threads("5"));
    // A table of nothing changes nothing, with zoom 1 as well.
    fs::write(bench.path("stands.csv"), table(&[Pose::STILL; 25])).unwrap();
    let whole = "pace = stills_per_frame(1),";
    bench.script(&script(whole, ""));
    let plain = bench.planes();
    bench.script(&script(&format!("{STEADY} {whole}"), ""));
    assert_eq!(bench.planes(), plain);
}

#[test]
fn a_single_frame_is_the_frame_of_the_render() {
    let bench = shoot(&stands(), &nothing);
    bench.script(&script(&format!("{STEADY} pace = frames_per_still(1.5),"), "between = \"motion\""));
    let whole = bench.planes();
    for at in [0, 8, 16, 31] {
        let json = bench
            .run(&["frame", "move.lua", "--frame", &at.to_string(), "-o", "one.png", "--force", "--json"])
            .expect(0)
            .json();
        assert_eq!(json["planes"].as_str().unwrap(), whole[at], "frame {at}");
    }
}

/// Two shoots that differ in nothing but what is covered come out the same, wherever their stills stand.
#[test]
fn what_covers_hide_stays_hidden_where_the_camera_was_bumped() {
    // The box of the cover below, in pixels of the first view.
    let secret = |seed: u8| {
        move |point: kurbo::Point| {
            let inside = (128.0..176.0).contains(&point.x) && (96.0..132.0).contains(&point.y);
            let noise = |channel: u32| {
                let mixed =
                    (point.x * 12.9 + point.y * 78.2 + f64::from(channel) * 37.7 + f64::from(seed)).sin() * 43_758.5;
                if mixed.fract().abs() < 0.5 { 0 } else { 255 }
            };
            inside.then(|| [noise(0), noise(1), noise(2)])
        }
    };
    let [one, other] = [1, 2].map(|seed| shoot(&stands(), &secret(seed)));
    let moves = r#"pace = frames_per_still(1.5), framing = framing {
      key { at = "start", on = point(0.4, 0.45), span = 0.5 }, key { at = "end", on = point(0.45, 0.5), span = 0.3, roll = 20 } },"#;
    let covers = r#"covers = { cover { box(0.4, 0.4, 0.15, 0.15) } },"#;
    for delivery in ["", "between = \"mix\", shutter = 720", "between = \"motion\"", "sharpness = \"full\""] {
        let planes = |bench: &Bench, covers: &str| {
            bench.script(&script(&format!("{STEADY} {covers} {moves}"), delivery));
            bench.planes()
        };
        assert_eq!(planes(&one, covers), planes(&other, covers), "{delivery}");
        if delivery.is_empty() {
            assert_ne!(planes(&one, ""), planes(&other, ""), "without a cover they differ");
        }
    }
    // Unsteadied the same box does not hide it: it is the going along that does.
    let still = |bench: &Bench| {
        bench.script(&script(&format!("{covers} {moves}"), ""));
        bench.planes()
    };
    assert_ne!(still(&one), still(&other));
}

#[test]
fn a_render_keeps_the_table_which_prints_and_feeds_back_the_same_frames() {
    let bench = shoot(&stands(), &nothing);
    let fields = "pace = stills_per_frame(1),";
    bench.script(&script(&format!("{STEADY} {fields}"), ""));
    let first = bench.run(&["render", "move.lua", "--out", "clips", "--json"]).expect(0).json();
    let kept = fs::read_to_string(bench.path("clips/move-steady.csv")).unwrap();
    assert_eq!(bench.run(&["steady", "move.lua"]).expect(0).out, kept);
    assert_eq!(kept.lines().next(), Some("still,x,y,turn,name"));
    assert!(kept.lines().nth(6).unwrap().starts_with("6,3.4500,-2.6000,0.000000,LAPS0006"), "{kept}");
    let told = &first["shots"][0]["steady"];
    assert!(
        told["table"].as_str().unwrap().ends_with("move-steady.csv") && told["shift"].as_f64().unwrap() > 5.0,
        "{told}"
    );
    assert!(told["lost"].as_array().unwrap().iter().all(|side| side.as_f64().unwrap() > 2.0), "{told}");
    fs::rename(bench.path("clips/move-steady.csv"), bench.path("stands.csv")).unwrap();
    let again = bench.run(&["render", "move.lua", "--out", "clips", "--force", "--json"]).expect(0).json();
    assert_eq!(first["outputs"][0]["planes"], again["outputs"][0]["planes"]);
    let written = bench.run(&["steady", "move.lua", "-o", "again.csv"]).expect(0);
    assert!(written.out.contains("feed it back with steady = { curve = \"again.csv\" }"), "{}", written.out);
    assert_eq!(fs::read_to_string(bench.path("again.csv")).unwrap(), kept);
    bench.run(&["steady", "move.lua", "-o", "again.csv"]).expect(1).says("is already there").says("--force");
    bench.run(&["steady", "move.lua", "-o", "stills/LAPS0099.PNG"]).expect(1).says("lies among the stills");

    // Edited, one still is shown from elsewhere and no other frame changes.
    let fifth = |line: &str| if line.starts_with("5,") { "5,2,0\n".to_owned() } else { format!("{line}\n") };
    fs::write(bench.path("stands.csv"), kept.lines().map(fifth).collect::<String>()).unwrap();
    let edited = bench.run(&["render", "move.lua", "--out", "clips", "--force", "--json"]).expect(0).json();
    let planes = |json: &serde_json::Value| json["outputs"][0]["frame_planes"].as_array().unwrap().clone();
    let differ: Vec<usize> = (0..25).filter(|at| planes(&first)[*at] != planes(&edited)[*at]).collect();
    assert_eq!(differ, [4]);
    // What is said everywhere.
    let check = bench.run(&["check", "move.lua"]).expect(0);
    assert!(check.out.contains("steady: stills shifted by up to"), "{}", check.out);
    check.says("steadying takes ").says("% of the width and ");
    bench.run(&["plan", "move.lua"]).expect(0).says("steadying takes ").says("windows over the view of LAPS0001");
    bench.run(&["draw", "move.lua", "-o", "sheet.svg"]).expect(0);
    assert!(
        fs::read_to_string(bench.path("sheet.svg")).unwrap().contains("Steadied: windows lie over the first still")
    );
    let other =
        fs::read_to_string(bench.path("move.lua")).unwrap().replace("stills_per_frame(1)", "stills_per_frame(2)");
    fs::write(bench.path("other.lua"), other).unwrap();
    let differs = bench.run(&["diff", "move.lua", "other.lua"]).expect(0).out;
    assert!(differs.contains("compared over the view of each shot's first still"), "{differs}");
    let told = bench.run(&["explain", "move.lua", "--frame", "12"]).expect(0).out;
    assert!(told.contains("steady: LAPS0013 lies ") && told.contains(" against LAPS0001: painted from "), "{told}");
}

#[test]
fn a_table_of_another_shoot_or_of_nonsense_and_too_little_room_stop_at_the_line() {
    let bench = shoot(&stands()[..4], &nothing);
    bench.script(&script(&format!("{STEADY} pace = stills_per_frame(1),"), ""));
    let check = |text: Option<&str>, says: &str| {
        match text {
            Some(text) => fs::write(bench.path("stands.csv"), text).unwrap(),
            None => fs::remove_file(bench.path("stands.csv")).unwrap(),
        }
        bench.run(&["check", "move.lua"]).expect(1).says(says).says("move.lua:1");
    };
    check(None, "stands.csv: No such file");
    check(Some("1,one,0\n"), "line 1: a shift is pixels from -100000 to 100000; seen 'one'");
    check(Some("9,1,1\n"), "names still 9, but the shoot has 4");
    check(Some("1,1,1,0,OTHER0001\n"), "calls still 1 'OTHER0001', but in the shoot it is 'LAPS0001'");
    check(
        Some("1,0,0\n2,0,0\n3,40,0\n4,40,0\n"),
        "12.501 % of the width and 0 % of the height, and at most 10 % of a side is allowed",
    );
    fs::write(bench.path("stands.csv"), "1,0,0\n4,3,0\n").unwrap();
    let said = bench.run(&["check", "move.lua"]).expect(0);
    said.says("2 stills not in the table of stands stand between those before and after: LAPS0002 to LAPS0003");
    bench.script(&script("pace = stills_per_frame(1),", ""));
    bench.run(&["steady", "move.lua"]).expect(1).says("the script steadies nothing").says("steady = true");
}

/// A recording is steadied by a table as stills are.
#[test]
fn a_recordings_frames_are_steadied_too() {
    let bench = Bench::new(0);
    let stands = stands();
    let frames = stands.iter().map(|stand| {
        let rgb = draw(*stand, &nothing);
        // Grey at full range: luma is the value, and there is no colour.
        let mut frame: Vec<u8> = rgb.chunks_exact(3).map(|pixel| pixel[0]).collect();
        frame.resize(frame.len() * 3 / 2, 128);
        frame
    });
    let coded = ["-c:v", "libx264", "-qp", "0", "-color_range", "pc", "-colorspace", "bt709"];
    film(&bench.path("day.mkv"), frames, &["-s", "320x240", "-r", "24", "-color_range", "pc"], &coded);
    fs::write(bench.path("stands.csv"), table(&stands)).unwrap();
    let of_recording = |steady: &str| {
        let text = script(
            &format!(
                "{steady} pace = stills_per_frame(1), framing = framing {{ key {{ at = \"start\", on = point(0.5, 0.5), span = 0.8 }} }},"
            ),
            "",
        );
        bench.script(&text.replace("stills { \"stills\" }", "recording \"day.mkv\""));
        most_off(&bench)
    };
    let (before, after) = (of_recording(""), of_recording(STEADY));
    println!("recording: {before:.3} px unsteadied, {after:.4} steadied");
    assert!(before > 1.0 && after <= 0.05, "{before} {after}");
}

/// A still that turns out damaged while it is decoded is shown by another, from where that one stands.
#[test]
fn a_stand_in_is_painted_from_where_it_stands_itself() {
    use stillpath::ffi::jpeg;
    let stands = [Pose::STILL, Pose { x: 9.0, y: -7.0, turn: 0.0 }, Pose { x: 1.0, y: 5.0, turn: 0.0 }];
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    for (still, stand) in stands.iter().enumerate() {
        let bytes = jpeg::encode_rgb(&draw(*stand, &nothing), STILL, 97, (1, 1), &[]);
        fs::write(bench.still(still + 1), bytes).unwrap();
    }
    crate::common::corrupt(&bench.still(2));
    fs::write(bench.path("stands.csv"), table(&stands)).unwrap();
    let text = script(&format!("{STEADY} pace = stills_per_frame(1),"), "");
    bench.script(&text.replace("stills { \"stills\" }", "stills { \"stills\", damaged = \"hold\" }"));
    let off = most_off(&bench);
    println!("with a stand-in: {off:.4} px");
    assert!(off <= 0.08, "{off}");
}

/// The scene with something to hold on to everywhere: waves of many lengths and directions beneath the blobs.
fn rich(point: kurbo::Point) -> [u8; 3] {
    let wave = |index: u32| {
        let (angle, length) = (f64::from(index) * 2.4, 7.0 + f64::from(index * index % 31));
        let along = point.x * angle.cos() + point.y * angle.sin();
        9.0 * (along * std::f64::consts::TAU / length + f64::from(index)).sin()
    };
    [(40.0 + scene(point) + (1..9).map(wave).sum::<f64>()).clamp(0.0, 255.0).round() as u8; 3]
}

/// What is measured is what the stills were drawn with, and a black still takes part in nothing.
#[test]
fn what_registering_measures_is_undone_and_a_black_still_is_named() {
    let step = Pose { x: 3.4, y: -2.7, turn: 0.0 };
    let stands: Vec<Pose> = (0..16).map(|still| if still < 8 { Pose::STILL } else { step }).collect();
    let bench = shoot(&stands, &|point| Some(rich(point)));
    let black = vec![0_u8; 3 * STILL.pixels() as usize];
    let path = bench.path("stills/LAPS0012.PNG");
    image::save_buffer(path, &black, STILL.width, STILL.height, image::ColorType::Rgb8).unwrap();
    let fields = "pace = stills_per_frame(1),";
    bench.script(&script(&format!("steady = true, {fields}"), ""));
    let said = bench.run(&["check", "move.lua"]).expect(0);
    let table = bench.run(&["steady", "move.lua"]).expect(0).out;
    let measured = stillpath::register::Table::from_csv(&table).unwrap();
    let off = |stands: &[Pose]| {
        let one =
            |(line, due): (&stillpath::register::StillPose, &Pose)| (line.stand.x - due.x).hypot(line.stand.y - due.y);
        measured.lines.iter().zip(stands).map(one).fold(0.0, f64::max)
    };
    println!("measured stands off by up to {:.4} px", off(&stands));
    // Stills of 320 by 240 have a dozen small tiles: the bar of a tenth is for real ones, as the demo's below.
    assert!(measured.lines.len() == 16 && off(&stands) <= 0.25, "{table}");
    said.says("1 bump of the camera undone, the largest before LAPS0009: 3.")
        .says("1 still that could not be placed")
        .says("LAPS0012");
    // What is measured is what a table of it does.
    let measured = bench.planes();
    fs::write(bench.path("stands.csv"), table).unwrap();
    bench.script(&script(&format!("{STEADY} {fields}"), ""));
    let by_table = bench.planes();
    let same = measured.iter().zip(&by_table).filter(|(one, other)| one == other).count();
    assert!(same >= 8, "at the least those before the bump are the same: {same}");
}

/// How far what stands in a box of one picture is shifted in another, by least squares on its slopes, whatever the
/// light: Lucas and Kanade, IJCAI 1981, from memory; good to hundredths of a pixel for shifts below one.
fn shifted(one: &[Vec<f64>], other: &[Vec<f64>], [left, top, right, bottom]: [usize; 4]) -> (f64, f64) {
    let mut sums = [[0.0; 5]; 4];
    for y in top..bottom {
        for x in left..right {
            let across = (one[y][x + 1] - one[y][x - 1]) / 2.0;
            let down = (one[y + 1][x] - one[y - 1][x]) / 2.0;
            let row = [-across, -down, one[y][x], 1.0];
            for (at, value) in row.iter().enumerate() {
                for (sum, other) in sums[at].iter_mut().zip(row.iter().chain([&other[y][x]])) {
                    *sum += value * other;
                }
            }
        }
    }
    for at in 0..4 {
        let pivot = sums[at];
        for row in (0..4).filter(|row| *row != at) {
            let share = sums[row][at] / pivot[at];
            sums[row].iter_mut().zip(pivot).for_each(|(sum, pivot)| *sum -= share * pivot);
        }
    }
    let gain = sums[2][4] / sums[2][2];
    (sums[0][4] / sums[0][0] / gain, sums[1][4] / sums[1][1] / gain)
}

/// The demo's own bump, in frames as large as the part of the still they show: the quayside stays where it is. A single
/// shape would be no measure: `tiny-skia` draws edges to a quarter of a pixel, and the measuring board lies up to 0.13
/// pixels off its truth.
///
/// Fault 43: bumps and sags.
#[test]
fn the_demos_bump_is_gone_from_its_frames_and_its_table_is_the_truth() {
    let bench = Bench::new(0);
    bench.run(&["demo", "demo", "--stills", "40", "--size", "1600x1200"]).expect(0);
    let truth: serde_json::Value =
        serde_json::from_slice(&fs::read(bench.path("demo/shoot/truth.json")).unwrap()).unwrap();
    let slots = truth["slots"].as_array().unwrap();
    let from = usize::try_from(truth["bump"]["from_slot"].as_u64().unwrap()).unwrap();
    let (x, y) = (1300.0 / 1600.0, 720.0 / 1200.0);
    let text = |steady: &str| {
        format!(
            r#"return shot {{ source = stills {{ "demo/shoot", missing = "hold", from = still({}), to = still({}) }}, fps = 24,
  pace = stills_per_frame(1), {steady} framing = framing {{ key {{ at = "start", on = point({x}, {y}), span = 0.2 }} }},
  deliveries = {{ delivery {{ "wide", frame = {{ 320, 240 }}, codec = "png" }} }} }}"#,
            from - 3,
            from + 4
        )
    };
    let around = |bench: &Bench| {
        bench.run(&["render", "move.lua", "--out", "clips", "--force", "--no-strip"]).expect(0);
        let names = bench.list("clips/move-wide");
        let pictures: Vec<Vec<Vec<f64>>> = names
            .iter()
            .map(|name| {
                let picture = image::open(bench.path(&format!("clips/move-wide/{name}"))).unwrap().into_luma16();
                (0..240).map(|y| (0..320).map(|x| f64::from(picture.get_pixel(x, y).0[0])).collect()).collect()
            })
            .collect();
        let pairs = pictures.windows(2).map(|pair| shifted(&pair[0], &pair[1], [10, 50, 310, 190]));
        pairs.map(|(across, down)| across.hypot(down)).collect::<Vec<f64>>()
    };
    bench.script(&text(""));
    let before = around(&bench);
    bench.script(&text("steady = true,"));
    let after = around(&bench);
    println!("from frame to frame {before:.3?} px unsteadied, {after:.3?} steadied");
    assert!(before[3] > 0.5, "{before:?}");
    assert!(after.iter().all(|moved| *moved <= 0.1), "{after:?}");
    let table = stillpath::register::Table::from_csv(&bench.run(&["steady", "move.lua"]).expect(0).out).unwrap();
    let off = table.lines.iter().map(|line| {
        let due: Vec<f64> =
            slots[line.slot]["bump"].as_array().unwrap().iter().map(|side| side.as_f64().unwrap()).collect();
        (line.stand.x - due[0]).hypot(line.stand.y - due[1])
    });
    let off = off.fold(0.0, f64::max);
    println!("stands off by up to {off:.4} px");
    assert!(off <= 0.1, "{off}");
}
