//! What the live page is told beside its plan: frames as a render paints them, values of dials, keys with their lines.

use std::fs;
use std::process::Command;

use serde_json::{Value, json};

use crate::common::{Bench, one};
use crate::served::{Page, served};

/// A frame of the first shot's first delivery, as the page asks for it.
fn painted(page: &Page, view: &Value, frame: usize, longer: u32) -> image::RgbImage {
    let answer = page.get(&format!("/frame/{}/0/0/{frame}/{longer}", view["plan"]["id"]));
    assert!(answer.code() == 200 && answer.head.contains("image/jpeg"), "{}", answer.head);
    image::load_from_memory(&answer.bytes).unwrap().to_rgb8()
}

/// At the delivery's own size: the codes of `stillpath frame`, but for the JPEG's quality of 95.
#[test]
fn a_frame_is_the_one_that_a_render_paints_even_where_it_is_covered_and_mixed() {
    let bench = Bench::new(6);
    let text = one("\"stills\"").replace("stills_per_frame(1)", "frames_per_still(3), between = \"mix\"");
    bench.script(&text.replace("return shot {", "return shot { covers = { cover { box(0.1, 0.1, 0.3, 0.3) } },"));
    let page = Page::serve(&bench, &[]);
    let view = page.view();
    let ran = bench.run(&["frame", "move.lua", "--frame", "4", "-o", "frame.png"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let due = image::open(bench.path("frame.png")).unwrap().to_rgb8();
    let seen = painted(&page, &view, 4, 4000);
    assert_eq!(seen.dimensions(), due.dimensions());
    let off = |(one, other): (&u8, &u8)| f64::from(one.abs_diff(*other));
    let codes = seen.as_raw().len() as f64;
    let mean = seen.as_raw().iter().zip(due.as_raw()).map(off).sum::<f64>() / codes;
    assert!(mean < 2.0, "{mean} codes");
    // The check can fail: another frame is another picture.
    let other = painted(&page, &view, 13, 4000);
    let beside = other.as_raw().iter().zip(due.as_raw()).map(off).sum::<f64>() / codes;
    assert!(beside > 2.0 * mean, "{beside} {mean}");
}

#[test]
fn a_frame_is_as_large_as_asked_for_and_no_larger_than_it_is() {
    let (_bench, page) = served();
    let view = page.view();
    let frame = &view["plan"]["shots"][0]["deliveries"][0]["frame"];
    let side = |name: &str| u32::try_from(frame[name].as_u64().unwrap()).unwrap();
    let (width, height) = (side("width"), side("height"));
    assert_eq!(painted(&page, &view, 0, 100_000).dimensions(), (width, height));
    let half = painted(&page, &view, 0, width / 2).dimensions();
    assert_eq!(half, (width / 2, height / 2));
    // No smaller than can be seen, whatever is asked.
    assert_eq!(painted(&page, &view, 0, 0).width(), 64);
    let id = &view["plan"]["id"];
    for wrong in [format!("/frame/{id}/0/0/6/100"), format!("/frame/{id}/0/1/0/100"), format!("/frame/{id}/1/0/0/100")]
    {
        assert_eq!(page.get(&wrong).code(), 422, "{wrong}");
    }
    assert_eq!(page.get("/frame/999/0/0/0/100").code(), 410, "a plan that is not kept is asked for again");
    for wrong in ["/frame/1/0/0/-1/100", "/frame/1/0/0/0/1e9", "/frame/1/0/0/0", "/frame/a/0/0/0/100"] {
        assert!([400, 404].contains(&page.get(wrong).code()), "{wrong}");
    }
}

/// A plan that is on a page stays there while the script goes on.
#[test]
fn frames_of_the_plan_before_are_painted_of_that_plan() {
    let (bench, page) = served();
    let before = page.view();
    let was = painted(&page, &before, 0, 4000);
    bench.script(
        &one("\"stills\"")
            .replace("deliveries", "framing = framing { key { at = 0, on = point(0.3, 0.3), zoom = 3 } }, deliveries"),
    );
    let after = page.view_that(|view| view["plan"]["id"] != before["plan"]["id"]);
    assert_ne!(painted(&page, &after, 0, 4000), was);
    assert_eq!(painted(&page, &before, 0, 4000), was);
}

#[test]
fn a_frame_whose_still_is_damaged_says_so() {
    let (bench, page) = served();
    let view = page.view();
    let path = fs::read_dir(bench.path("stills")).unwrap().map(|entry| entry.unwrap().path()).min().unwrap();
    fs::write(&path, b"no picture").unwrap();
    let answer = page.get(&format!("/frame/{}/0/0/0/100", view["plan"]["id"]));
    assert_eq!(answer.code(), 422);
    assert!(!answer.body.is_empty());
}

#[test]
fn values_of_dials_are_values_whatever_is_in_them() {
    let bench = Bench::new(6);
    let dials = r#"
local words = dial("words", "a\u{a0}b\27[0m\"")
local open = dial("open", true)
local near = dial("near", 1.5, { min = 1, max = 2 })
local count = dial("count", 3)
local look = dial("look", "calm", { choices = { "calm", "quick" } })
"#;
    bench.script(&format!("{dials}{}", one("\"stills\"")));
    let page = Page::serve(&bench, &[]);
    let view = page.view();
    let values: Vec<&Value> = view["plan"]["dials"].as_array().unwrap().iter().map(|dial| &dial["value"]).collect();
    assert_eq!(values, [&json!("a\u{a0}b\u{1b}[0m\""), &json!(true), &json!(1.5), &json!(3), &json!("calm")]);
    assert_eq!(view["plan"]["dials"][4]["choices"], json!(["calm", "quick"]));
}

#[test]
fn keys_tell_their_moment_their_kind_and_their_line() {
    let bench = Bench::new(6);
    let framing = "framing = framing {
  key { at = \"start\", on = point(0.5, 0.5), zoom = 1 }, key { at = part(0.5), on = point(0.5, 0.5), zoom = 2 },
  key { at = still(5), on = point(0.4, 0.4), zoom = 2 },
}, deliveries";
    bench.script(&one("\"stills\"").replace("deliveries", framing));
    let page = Page::serve(&bench, &[]);
    let view = page.view();
    let keys = view["plan"]["shots"][0]["deliveries"][0]["keys"].as_array().unwrap();
    let kinds: Vec<&str> = keys.iter().map(|key| key["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["end", "part", "still"]);
    let lines: Vec<&str> = keys.iter().map(|key| key["place"].as_str().unwrap().rsplit(':').next().unwrap()).collect();
    assert_eq!(lines[0], lines[1]);
    assert_eq!(lines[2].parse::<u32>().unwrap(), lines[0].parse::<u32>().unwrap() + 1);
    // Still 5 is shown from a fixed moment on: a still a frame.
    let fps = view["plan"]["shots"][0]["deliveries"][0]["fps"].as_f64().unwrap();
    assert!((keys[2]["seconds"].as_f64().unwrap() - 4.0 / fps).abs() < 1e-9, "{keys:?}");
}

#[test]
fn an_editor_that_is_no_command_is_refused_before_the_page_is_served() {
    let bench = Bench::new(6);
    bench.script(&one("\"stills\""));
    for wrong in ["edit {line}", "edit 'open {file}", ""] {
        let mut command: Command = bench.command(&["live", "move.lua"]);
        let output = command.env("STILLPATH_EDITOR", wrong).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{wrong}: {said}");
        assert!(said.contains("STILLPATH_EDITOR"), "{said}");
    }
}
