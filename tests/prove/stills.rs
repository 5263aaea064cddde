//! Stills held against their hashes: changed, missing, renamed; second copies; hash lists that the programs of their
//! formats read.

use std::fs;
use std::path::Path;
use std::process::Command;

use super::common::{Bench, cut_short, write_still};
use super::{SCRIPT, faults, prove};

/// Six stills and their clip.
fn small() -> Bench {
    let bench = Bench::new(6);
    bench.script(SCRIPT);
    bench.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
    bench
}

fn told(bench: &Bench, fault: &str, words: &str) {
    let found = faults(&prove(bench, "clips", &["--json"]).expect(1));
    assert!(
        found.iter().any(|(its, said)| its == fault && said.contains(words)),
        "{fault}, {words:?} is not in {found:#?}"
    );
}

#[test]
fn a_still_changed_missing_or_renamed_is_named() {
    let bench = small();
    let third = fs::read(bench.still(3)).unwrap();
    write_still(&bench.still(3), super::common::STILL, 33);
    told(&bench, "still-changed", "stills/LAPS0003.JPG");
    // That is no fault of the clip's.
    let clip = faults(&prove(&bench, "clips", &["--frames", "all", "--json"]).expect(1));
    assert!(
        clip.iter().any(|(fault, words)| fault == "not-made-alike" && words.starts_with("frame 2 made anew")),
        "{clip:?}"
    );
    assert_eq!(clip.len(), 2, "{clip:?}");
    fs::write(bench.still(3), &third).unwrap();
    prove(&bench, "clips", &[]).expect(0);
    let name = bench.path("stills/LAPS0003b.JPG");
    fs::rename(bench.still(3), &name).unwrap();
    told(&bench, "still-renamed", "stills/LAPS0003.JPG is now stills/LAPS0003b.JPG");
    fs::remove_file(&name).unwrap();
    told(&bench, "still-missing", "stills/LAPS0003.JPG");
    fs::write(bench.still(3), &third).unwrap();
    cut_short(&bench.still(5), 900);
    told(&bench, "still-changed", "stills/LAPS0005.JPG");
}

#[test]
fn the_script_changed_or_gone_is_named() {
    let bench = small();
    bench.script(&SCRIPT.replace("zoom = 1.5", "zoom = 1.6"));
    told(&bench, "script-changed", "move.lua was changed");
    told(&bench, "other-plan", "gives another plan");
    fs::remove_file(bench.path("move.lua")).unwrap();
    told(&bench, "script-gone", "move.lua does not exist");
}

#[test]
fn a_second_copy_is_held_against_the_same_hashes_wherever_its_files_lie() {
    let bench = small();
    let copy = bench.path("copy");
    fs::create_dir_all(copy.join("deep/er")).unwrap();
    for number in 1..=6 {
        let below = if number < 4 { "deep" } else { "deep/er" };
        fs::copy(bench.still(number), copy.join(below).join(format!("LAPS{number:04}.JPG"))).unwrap();
    }
    let ran = prove(&bench, "clips", &["--copy", "copy"]).expect(0);
    assert!(ran.out.contains("6 of 6 stills are in it, by their hashes"), "{}", ran.out);
    assert!(ran.out.contains(
        "For information: there are two copies of the stills with these hashes, the shoot's and copy; both lie on one drive."
    ));
    assert!(!ran.out.to_lowercase().contains("delete"), "{}", ran.out);
    fs::write(copy.join("deep/LAPS0002.JPG"), b"something else").unwrap();
    fs::remove_file(copy.join("deep/er/LAPS0006.JPG")).unwrap();
    let ran = prove(&bench, "clips", &["--copy", "copy", "--json"]).expect(1);
    let found = faults(&ran);
    assert!(found.iter().any(|(fault, words)| fault == "copy-lacks" && words.contains("LAPS0006")), "{found:?}");
    assert!(found.iter().any(|(fault, words)| fault == "copy-differs" && words.contains("LAPS0002")), "{found:?}");
    assert_eq!(ran.json()["whole_copies"].as_array().unwrap().len(), 0);
    // A whole copy of a shoot that is not whole any more makes no two.
    fs::copy(bench.still(2), copy.join("deep/LAPS0002.JPG")).unwrap();
    fs::rename(bench.still(6), copy.join("deep/er/LAPS0006.JPG")).unwrap();
    let ran = prove(&bench, "clips", &["--copy", "copy"]).expect(1);
    assert!(ran.out.contains("6 of 6 stills are in it") && !ran.out.contains("two copies"), "{}", ran.out);
    fs::copy(copy.join("deep/er/LAPS0006.JPG"), bench.still(6)).unwrap();
    // The shoot itself, and links to it, are no second copy.
    std::os::unix::fs::symlink(bench.path("stills"), bench.path("link")).unwrap();
    for itself in [".", "stills", "link/"] {
        let found = faults(&prove(&bench, "clips", &["--copy", itself, "--json"]).expect(1));
        assert!(found.iter().any(|(fault, _)| fault == "copy-is-itself"), "{itself}: {found:?}");
    }
    let found = faults(&prove(&bench, "clips", &["--copy", "nowhere", "--json"]).expect(1));
    assert!(found.iter().any(|(fault, _)| fault == "copy-lacks"), "{found:?}");
}

/// Runs a list's own program over it, in its folder.
fn checked(program: &str, folder: &Path, list: &str) -> (bool, String) {
    let output = Command::new(program).args(["--check", list]).current_dir(folder).env("LC_ALL", "C.UTF-8").output();
    let output = output
        .unwrap_or_else(|error| panic!("{program} is needed for this test ({error}): sh scripts/test installs it"));
    (output.status.success(), String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).into_owned())
}

#[test]
fn hash_lists_are_read_by_the_programs_of_their_formats_odd_names_too() {
    let bench = Bench::new(6);
    let odd = ["LAPS\\0007.JPG", "LAPS\n0008.JPG", "LAPS 0009 é.JPG"];
    for (number, name) in odd.iter().enumerate() {
        write_still(&bench.path("stills").join(name), super::common::STILL, 7 + number);
    }
    bench.script(SCRIPT);
    bench.run(&["render", "move.lua", "--out", "clips", "--no-strip"]).expect(0);
    let lists = ["--list", "stills.b3", "--list", "lists/stills.sha256"];
    fs::create_dir(bench.path("lists")).unwrap();
    let ran = prove(&bench, "clips", &lists).expect(0);
    assert!(ran.out.contains("stills.b3  9 stills, to be checked in its folder with b3sum --check"), "{}", ran.out);
    assert!(!ran.out.contains('\u{1b}'));
    for (program, folder, list) in [("b3sum", "", "stills.b3"), ("sha256sum", "lists", "stills.sha256")] {
        let (right, said) = checked(program, &bench.path(folder), list);
        assert!(right && said.matches("OK").count() == 9, "{program}: {said}");
    }
    // They replace nothing, but by force; and what they hold is the stills, not what was typed here.
    prove(&bench, "clips", &lists).expect(2).says("--force replaces it");
    let whole = fs::read(bench.still(2)).unwrap();
    cut_short(&bench.still(2), whole.len() - 1);
    for (program, folder, list) in [("b3sum", "", "stills.b3"), ("sha256sum", "lists", "stills.sha256")] {
        let (right, said) = checked(program, &bench.path(folder), list);
        assert!(!right && said.contains("LAPS0002.JPG: FAILED"), "{program}: {said}");
    }
    let ran = prove(&bench, "clips", &[&lists[..], &["--force"]].concat()).expect(1);
    assert!(
        ran.out.contains("8 stills") && ran.out.contains("without 1 that are not what the render read"),
        "{}",
        ran.out
    );
    prove(&bench, "clips", &["--list", "stills.md5"]).expect(2).says("--list stills.b3 is for b3sum");
}
