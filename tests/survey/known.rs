//! What is known of files from an earlier survey: a survey that goes by it is the one that opens every file.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use stillpath::decode::KnownFiles;
use stillpath::ffi::jpeg;
use stillpath::shoot::Shoot;
use stillpath::shot::Pairs;
use stillpath::survey::{self, Request};
use stillpath::units::Size;

use crate::common::exif;

const SIZE: Size = Size { width: 16, height: 16 };
/// Enough of them that they are kept.
const STILLS: usize = 240;

/// A still of a few bytes, taken at a minute.
fn still(path: &Path, minute: usize, shade: u8) {
    let time = format!("2031:05:{:02} {:02}:{:02}:00", 4 + minute / 1440, minute / 60 % 24, minute % 60);
    let bytes = jpeg::encode_rgb(&vec![shade; 3 * 16 * 16], SIZE, 90, (2, 2), &[(0xE1, &exif(&time))]);
    fs::write(path, bytes).unwrap();
}

fn request(folder: &Path) -> Request {
    Request {
        base: folder.to_owned(),
        paths: vec!["stills".into()],
        obey_orientation: true,
        pairs: Pairs::default(),
        camera: None,
    }
}

fn surveyed(request: &Request, known: &KnownFiles) -> Result<Shoot, Vec<String>> {
    survey::survey_known(request, known).map_err(|mistakes| mistakes.0.into_iter().map(|one| one.message).collect())
}

/// A linear congruential generator (Knuth's MMIX constants).
struct Random(u64);

impl Random {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % end
    }
}

/// One change of a folder, of those that people, cameras and copying programs make.
fn change(folder: &Path, random: &mut Random, round: usize) -> String {
    let stills = folder.join("stills");
    let mut names: Vec<PathBuf> = fs::read_dir(&stills).unwrap().map(|entry| entry.unwrap().path()).collect();
    names.sort();
    let one = names[random.below(names.len())].clone();
    let shown = one.file_name().unwrap().to_string_lossy().into_owned();
    let minute = random.below(4000);
    let modified = |path: &Path, time: SystemTime| {
        fs::File::options().append(true).open(path).unwrap().set_modified(time).unwrap();
    };
    match random.below(9) {
        0 => {
            let name = format!("LAPS{:04}.JPG", 1000 + round);
            still(&stills.join(&name), minute, 40);
            format!("{name} came")
        }
        1 => {
            fs::remove_file(&one).unwrap();
            format!("{shown} went")
        }
        2 => {
            fs::rename(&one, stills.join(format!("LAPS{:04}.JPG", 2000 + round))).unwrap();
            format!("{shown} has another name")
        }
        3 => {
            still(&one, minute, 200);
            format!("{shown} was written again")
        }
        // As a copying program leaves it: another picture of the same size under the same name and with the same time.
        4 => {
            let time = fs::metadata(&one).unwrap().modified().unwrap();
            let bytes = fs::metadata(&one).unwrap().len();
            still(&one, minute, 90);
            let now = fs::metadata(&one).unwrap().len();
            modified(&one, time);
            format!("{shown} was replaced and has its old time ({bytes} and {now} bytes)")
        }
        5 => {
            modified(&one, SystemTime::now() - Duration::from_secs(random.below(100_000) as u64));
            format!("{shown} has another time")
        }
        6 => {
            let bytes = fs::read(&one).unwrap();
            fs::write(&one, &bytes[..bytes.len() / 2]).unwrap();
            modified(&one, SystemTime::now() - Duration::from_secs(3600));
            format!("{shown} was cut short")
        }
        7 => {
            fs::write(&one, b"").unwrap();
            modified(&one, SystemTime::now() - Duration::from_secs(3600));
            format!("{shown} was emptied")
        }
        _ => {
            let other = names[random.below(names.len())].clone();
            let aside = stills.join("aside");
            fs::rename(&one, &aside).unwrap();
            if other != one {
                fs::rename(&other, &one).unwrap();
            }
            fs::rename(&aside, &other).unwrap();
            format!("{shown} and {} changed places", other.file_name().unwrap().to_string_lossy())
        }
    }
}

#[test]
fn after_any_of_fifty_random_changes_a_survey_by_what_is_known_is_that_of_a_fresh_one() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("stills")).unwrap();
    for number in 1..=STILLS {
        let path = folder.path().join(format!("stills/LAPS{number:04}.JPG"));
        still(&path, number, u8::try_from(number % 200).unwrap());
    }
    let (request, kept_in) = (request(folder.path()), folder.path().join("kept"));
    let anew = || KnownFiles::new(Some(kept_in.clone()));
    // What was written a moment ago is not trusted, however it looks.
    for _ in 0..2 {
        let known = anew();
        surveyed(&request, &known).unwrap();
        assert_eq!(known.opened(), STILLS);
    }
    assert!(!kept_in.exists(), "nothing was settled, so nothing is kept");
    std::thread::sleep(Duration::from_millis(4200));
    let known = anew();
    let first = surveyed(&request, &known).unwrap();
    assert_eq!((known.opened(), first.slots.len()), (STILLS, STILLS));
    // Another run opens none of them.
    let known = anew();
    assert_eq!(surveyed(&request, &known).unwrap(), first);
    assert_eq!(known.opened(), 0);

    let (mut random, mut opened) = (Random(14), 0);
    for round in 0..50 {
        let what = change(folder.path(), &mut random, round);
        let known = anew();
        let [by_known, fresh] = [&known, &KnownFiles::default()].map(|known| surveyed(&request, known));
        assert_eq!(by_known, fresh, "change {round}: {what}");
        // Each change makes at most two files others, until they have settled.
        assert!(known.opened() <= 2 * (round + 1), "change {round}: {what}: {} opened", known.opened());
        opened += known.opened();
    }
    assert!(opened > 50, "changes were seen");
}

#[test]
fn runs_side_by_side_add_to_what_is_known() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("stills")).unwrap();
    for number in 1..=STILLS {
        still(&folder.path().join(format!("stills/LAPS{number:04}.JPG")), number, 30);
    }
    std::thread::sleep(Duration::from_millis(4200));
    let (request, kept_in) = (request(folder.path()), folder.path().join("kept"));
    let [one, other] = [(); 2].map(|()| KnownFiles::new(Some(kept_in.clone())));
    let shoot = surveyed(&request, &one).unwrap();
    assert_eq!(surveyed(&request, &other).unwrap(), shoot);
    // Each learns of the pieces of its half, as machines do that make shares.
    let stills: Vec<_> = (0..STILLS).map(|slot| shoot.still(stillpath::units::SlotIndex(slot)).unwrap()).collect();
    let pieces: Vec<_> =
        (0..STILLS).map(|at| if at < STILLS / 2 { &one } else { &other }.pieces(stills[at]).unwrap()).collect();
    one.keep();
    other.keep();
    // Whoever comes next knows them all.
    let next = KnownFiles::new(Some(kept_in));
    assert_eq!(surveyed(&request, &next).unwrap(), shoot);
    for (still, due) in stills.iter().zip(&pieces) {
        assert_eq!(*due, stillpath::decode::key::quick(still).unwrap());
        assert_eq!(next.pieces(still).unwrap(), *due);
    }
    assert_eq!((next.opened(), next.pieced()), (0, 0));
}

#[test]
fn nothing_is_kept_among_the_stills_nor_of_few_and_a_damaged_entry_is_none() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("stills")).unwrap();
    for number in 1..=STILLS {
        let path = folder.path().join(format!("stills/LAPS{number:04}.JPG"));
        still(&path, number, 30);
    }
    std::thread::sleep(Duration::from_millis(4200));
    let request = request(folder.path());
    let among = folder.path().join("stills/kept");
    surveyed(&request, &KnownFiles::new(Some(among.clone()))).unwrap();
    assert!(!among.exists());
    let kept_in = folder.path().join("kept");
    surveyed(&request, &KnownFiles::new(Some(kept_in.clone()))).unwrap();
    let entries: Vec<PathBuf> = walkdir::WalkDir::new(&kept_in)
        .into_iter()
        .map(|entry| entry.unwrap())
        .filter(|entry| entry.file_type().is_file())
        .map(walkdir::DirEntry::into_path)
        .collect();
    let [entry] = &entries[..] else { panic!("{entries:?}") };
    let mut bytes = fs::read(entry).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(entry, bytes).unwrap();
    let known = KnownFiles::new(Some(kept_in.clone()));
    surveyed(&request, &known).unwrap();
    assert_eq!(known.opened(), STILLS, "it is read again, and kept again");
    let known = KnownFiles::new(Some(kept_in.clone()));
    surveyed(&request, &known).unwrap();
    assert_eq!(known.opened(), 0);
    // Fewer are read faster than they are looked up.
    for number in 101..=STILLS {
        fs::remove_file(folder.path().join(format!("stills/LAPS{number:04}.JPG"))).unwrap();
    }
    let known = KnownFiles::new(Some(kept_in));
    surveyed(&request, &known).unwrap();
    assert_eq!(known.opened(), 100);
}
