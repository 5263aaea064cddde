//! What is found is used or listed, whatever lies in a folder; and the texts that say so.

use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;

use proptest::prelude::*;
use stillpath::shoot::{Content, Shoot};
use stillpath::survey::{Request, advice, describe, survey};

use crate::camera::{Card, Tags, noon_plus, words};

/// Every path a shoot accounts for; each must be there once only.
fn accounted(shoot: &Shoot) -> Vec<PathBuf> {
    let of_slot = |content: &Content| match content {
        Content::Whole(still) => Some(still.path.clone()),
        Content::Damaged { path, .. } => Some(path.clone()),
        Content::Missing => None,
    };
    let mut paths: Vec<PathBuf> = shoot.slots.iter().filter_map(|slot| of_slot(&slot.content)).collect();
    paths.extend(shoot.set_aside.iter().map(|file| file.path.clone()));
    paths
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn every_file_of_any_folder_is_accounted_for_once_or_the_survey_stops(
        files in prop::collection::btree_map(
            "(100AB_CD/|101AB_CD/|left/|right/)?(TIDE|a)?(000[1-6]|[1-6]|999[89])( \\(1\\)| copy)?\\.(jpg|JPG|png|txt|bin)",
            (0_u8..4, prop::option::of(0_u32..60)),
            1..14,
        )
    ) {
        let card = Card::new();
        let mut expected = BTreeSet::from([card.put("a5000.jpg", &Tags::default().jpeg(16, 8, 9))]);
        for (name, (mark, taken)) in &files {
            let taken = taken.map(noon_plus);
            let tags = Tags { taken: taken.as_deref(), ..Tags::default() };
            let bytes = if *mark == 3 { Vec::new() } else { tags.jpeg(16, 8, *mark) };
            expected.insert(card.put(name, &bytes));
        }
        match card.survey() {
            Ok(shoot) => {
                let paths = accounted(&shoot);
                prop_assert_eq!(paths.len(), expected.len());
                prop_assert_eq!(paths.into_iter().collect::<BTreeSet<_>>(), expected);
            }
            Err(mistakes) => prop_assert!(words(&mistakes).contains(" and "), "{}", words(&mistakes)),
        }
    }
}

#[test]
fn a_survey_reads_as_a_page_and_as_json() {
    let card = Card::new();
    for (name, seconds) in [
        ("100HARBR/TIDE9996.JPG", 0),
        ("100HARBR/TIDE9997.JPG", 5),
        ("100HARBR/TIDE9999.JPG", 15),
        ("101HARBR/TIDE0001.JPG", 20),
    ] {
        card.still(name, seconds);
    }
    card.put("101HARBR/TIDE0002.JPG", b"<html>gone</html>");
    card.put("100HARBR/TIDE9996.XMP", b"x");
    card.put("100HARBR/TIDE9997.XMP", b"x");
    let shoot = card.shoot();
    let folder = card.path().display().to_string();
    assert_eq!(
        describe(&shoot).replace(&folder, "CARD"),
        "\
6 slots: 4 whole stills of 48x32, 1 damaged, 1 missing
7 files found = 4 used + 1 damaged + 2 set aside

order:
       3  CARD/100HARBR: TIDE9996.JPG … TIDE9999.JPG
       2  CARD/101HARBR: TIDE0001.JPG … TIDE0002.JPG

times: first 2026-05-01T12:00:00, last 2026-05-01T12:00:20
  a still every 5 s (median)

missing:
       1  TIDE9998

damaged:
          101HARBR/TIDE0002.JPG: not a picture: an HTML page

set aside:
       2  a sidecar (100HARBR/TIDE9996.XMP, …)

notes:
  a new folder after 100HARBR/TIDE9999.JPG: 101HARBR/TIDE0001.JPG; the numbers wrap
"
    );
    let json: serde_json::Value = serde_json::from_str(&serde_json::to_string(&shoot).unwrap()).unwrap();
    assert_eq!(json["slots"].as_array().unwrap().len(), 6);
    assert_eq!(json["slots"][2]["content"], "missing");
    assert_eq!(json["slots"][5]["content"]["damaged"]["damage"]["not_a_picture"], "an HTML page");
    assert_eq!(json["interval"], 5.0);
}

#[test]
fn a_survey_closes_with_a_line_for_the_script() {
    let card = Card::new();
    card.still("a1.jpg", 0);
    card.still("a2.jpg", 5);
    let request = |path: &str, obey_orientation| Request {
        base: card.path().to_owned(),
        paths: vec![path.to_owned(), "a?.jpg".to_owned()],
        obey_orientation,
        pairs: stillpath::shot::Pairs::Stop,
        camera: None,
    };
    let advised = |request: &Request| advice(&survey(request).unwrap(), request);
    assert_eq!(
        advised(&request(".", true)),
        "next: in a script in this folder, source = stills { \".\", \"a?.jpg\" }\n"
    );
    card.still("a4.jpg", 15);
    card.put("a5.jpg", b"");
    let said = advised(&request(".", false));
    assert!(
        said.contains("{ \".\", \"a?.jpg\", missing = \"hold\", damaged = \"hold\", orientation = \"ignore\" }\n"),
        "{said}"
    );
    let quoted = advice(
        &card.shoot(),
        &Request {
            base: PathBuf::new(),
            paths: vec!["/a \"job\"".into()],
            obey_orientation: true,
            pairs: stillpath::shot::Pairs::Stop,
            camera: None,
        },
    );
    assert!(quoted.starts_with("next: in a script, source = stills { \"/a \\\"job\\\"\", missing"), "{quoted}");
}

#[test]
fn paths_may_be_relative_to_where_the_program_runs() {
    fs::create_dir_all("target").unwrap();
    let folder = tempfile::tempdir_in("target").unwrap();
    let name = folder.path().file_name().unwrap().to_str().unwrap();
    fs::write(folder.path().join("a1.jpg"), Tags::default().jpeg(16, 8, 1)).unwrap();
    let surveyed = |path: String| {
        survey(&Request {
            base: PathBuf::new(),
            paths: vec![path],
            obey_orientation: true,
            pairs: stillpath::shot::Pairs::Stop,
            camera: None,
        })
    };
    for path in [format!("target/{name}"), format!("./target/{name}/*.jpg"), format!("targe[t]/{name}/a?.jpg")] {
        assert_eq!(surveyed(path.clone()).unwrap().slots.len(), 1, "{path}");
    }
    let wrong = words(&surveyed("srx".to_owned()).unwrap_err());
    assert!(wrong.contains("'src'"), "{wrong}");
}

#[test]
fn the_survey_never_changes_a_file() {
    let card = Card::new();
    card.stills(["a1.jpg", "a2.jpg", "a4.jpg"]);
    card.put("a3.jpg", b"");
    let look = || {
        let entries = fs::read_dir(card.path()).unwrap().map(Result::unwrap);
        let stamp = |entry: fs::DirEntry| {
            let metadata = entry.metadata().unwrap();
            (entry.file_name(), metadata.len(), metadata.modified().unwrap(), fs::read(entry.path()).unwrap())
        };
        let mut all: Vec<_> = entries.map(stamp).collect();
        all.sort();
        all
    };
    let before = look();
    card.shoot();
    assert_eq!(look(), before);
}
