//! Real files spoilt at random: whatever is in them, their readers come back with a word. `cargo run --example mutate`
//! runs as many cases as one likes.

#[path = "../../examples/mutate/kinds.rs"]
mod kinds;

use kinds::{Bench, Kind};

#[test]
fn files_spoilt_at_random_are_read_or_refused_and_nothing_worse() {
    for (name, kind) in Kind::ALL {
        let mut bench = Bench::new(kind);
        for whole in bench.whole() {
            // What is spoilt has to be worth it.
            assert_eq!(bench.read(&whole), "read", "{name}");
        }
        let cases = match kind {
            Kind::JpegPicture | Kind::HeifPicture | Kind::Icc => 300,
            Kind::Script => 100,
            _ => 3000,
        };
        let mut read = 0;
        for case in 0..cases {
            let outcome = bench.read(&bench.case(20, case));
            assert_ne!(outcome, "given up", "{name}, case {case} of seed 20");
            read += u64::from(outcome == "read");
        }
        assert!(read > 0 && read < cases, "{name}: {read} of {cases} were read");
    }
}
