//! Spoils real files and reads them: `cargo run --example mutate -- KIND CASES [SEED]`, or `… KIND only NUMBER SEED`
//! for one case.
//!
//! Kinds are `jpeg`, `jpeg-picture`, `heif`, `heif-picture`, `exif`, `icc`, `table`, `receipt` and `script`. A panic of
//! the program's own is said with its case; one inside a library that decoding catches is counted. What ran and for how
//! long is printed. `scripts/sanitize` runs some of it under a memory checker.
#![expect(clippy::print_stdout, reason = "what it found is what it is run for")]

mod kinds;

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use kinds::{Bench, Kind};

/// Where the last panic was.
static PANICKED: Mutex<Option<String>> = Mutex::new(None);

/// A case that takes longer is said.
const LONG: Duration = Duration::from_secs(2);

fn panicked() -> Option<String> {
    PANICKED.lock().unwrap_or_else(std::sync::PoisonError::into_inner).take()
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |at: usize| arguments.get(at).and_then(|number| number.parse::<u64>().ok());
    let kind = arguments.first().and_then(|name| Kind::ALL.iter().find(|(known, _)| known == name));
    let only = arguments.get(1).is_some_and(|word| word == "only");
    let (Some((name, kind)), Some(count)) = (kind, number(if only { 2 } else { 1 })) else {
        let names = Kind::ALL.map(|(name, _)| name).join(", ");
        println!("mutate KIND CASES [SEED], or mutate KIND only NUMBER SEED; kinds: {names}");
        std::process::exit(64);
    };
    let seed = number(if only { 3 } else { 2 }).unwrap_or(1);
    let mut bench = Bench::new(*kind);
    for (at, whole) in bench.whole().iter().enumerate() {
        if bench.read(whole) != "read" {
            println!("the {name} number {at} is not read although nothing is wrong with it");
        }
    }
    if only {
        let bytes = bench.case(seed, count);
        std::fs::write("case.bin", &bytes).expect("room for a case");
        println!("case {count} of seed {seed} is case.bin: {}", bench.read(&bytes));
        return;
    }
    std::panic::set_hook(Box::new(|info| {
        let place = info.location().map_or_else(String::new, |place| format!("{}:{}", place.file(), place.line()));
        PANICKED.lock().unwrap_or_else(std::sync::PoisonError::into_inner).get_or_insert(format!("{place}: {info}"));
    }));
    let (began, mut outcomes, mut ours, mut caught) =
        (Instant::now(), BTreeMap::<&str, u64>::new(), 0_u64, BTreeMap::new());
    for case in 0..count {
        let bytes = bench.case(seed, case);
        let started = Instant::now();
        let outcome = catch_unwind(AssertUnwindSafe(|| bench.read(&bytes))).unwrap_or("panicked");
        if started.elapsed() > LONG {
            println!("case {case} of seed {seed} took {:.1?}", started.elapsed());
        }
        *outcomes.entry(outcome).or_default() += 1;
        if let Some(place) = panicked() {
            let of_ours = outcome == "panicked" || place.starts_with("src/");
            let known: &mut u64 = caught.entry(place.split(": ").next().unwrap_or_default().to_owned()).or_default();
            if *known == 0 || of_ours && *known < 5 {
                println!("case {case} of seed {seed}, {outcome}: {place}");
            }
            (*known, ours) = (*known + 1, ours + u64::from(of_ours));
            if outcome == "panicked" {
                bench = Bench::new(*kind);
            }
        }
    }
    println!(
        "{name}: {count} cases of seed {seed} in {:.1?}: {outcomes:?}; {ours} panics of ours, by place {caught:?}",
        began.elapsed()
    );
    std::process::exit(i32::from(ours > 0));
}
