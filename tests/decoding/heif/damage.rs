//! Files cut short, overwritten, or promising too much.
#![expect(clippy::print_stdout, reason = "measured figures are what some tests are run for")]

use std::path::PathBuf;

use stillpath::decode::header::{self, Ending};
use stillpath::shoot::{Damage, MOST_PIXELS};
use stillpath::units::Size;

use super::{Folder, damage_of, decoded, samples};

const SIZE: Size = Size { width: 94, height: 62 };

fn both(folder: &Folder) -> [PathBuf; 2] {
    [folder.heic(SIZE, &["-q", "90"]), folder.avif(SIZE, &["--min", "10", "--max", "20"])]
}

#[test]
fn a_file_cut_short_anywhere_is_never_taken_for_a_whole_one() {
    let folder = Folder::new();
    for file in both(&folder) {
        let whole = std::fs::read(&file).unwrap();
        for length in (0..whole.len()).step_by(7).chain([whole.len() - 1]) {
            std::fs::write(&file, &whole[..length]).unwrap();
            if let Ok(header) = header::read(&file) {
                assert_eq!(header.ending, Ending::Open, "{length} of {}", whole.len());
            }
            assert!(damage_of(&file).is_some(), "{length} of {}", whole.len());
        }
    }
}

/// Neither codec has a checksum: what is overwritten shows only where it breaks the syntax, which it seldom does. The
/// figures are printed.
#[test]
fn of_overwritten_pieces_few_are_noticed_and_none_upsets_the_decoder_or_the_next_still() {
    let folder = Folder::new();
    for file in both(&folder) {
        let whole = std::fs::read(&file).unwrap();
        let data = whole.windows(4).position(|window| window == b"mdat").unwrap() + 4;
        let before = samples(&decoded(&file), 0);
        let (mut tried, mut noticed) = (0, 0);
        for at in (data..whole.len().saturating_sub(64)).step_by(97) {
            let mut changed = whole.clone();
            changed[at..at + 64]
                .iter_mut()
                .enumerate()
                .for_each(|(at, byte)| *byte = u8::try_from(at * 37 % 251).unwrap());
            std::fs::write(&file, &changed).unwrap();
            tried += 1;
            noticed += usize::from(damage_of(&file).is_some());
        }
        println!("{}: {noticed} of {tried} overwritten pieces of 64 bytes are noticed", file.display());
        assert!(tried >= 10 && noticed > 0, "{noticed} of {tried}");
        std::fs::write(&file, &whole).unwrap();
        assert!(samples(&decoded(&file), 0) == before);
    }
}

#[test]
fn a_container_with_any_one_byte_changed_never_upsets_the_reader() {
    let folder = Folder::new();
    for file in both(&folder) {
        let whole = std::fs::read(&file).unwrap();
        let data = whole.windows(4).position(|window| window == b"mdat").unwrap() + 4;
        for at in 0..data {
            for value in [0, 0x7f, 0xff] {
                let mut changed = whole.clone();
                changed[at] = value;
                std::fs::write(&file, &changed).unwrap();
                // Whatever it says, it says it: no panic, no endless loop, no size beyond the limit.
                if let Ok(header) = header::read(&file) {
                    assert!(header.stored.pixels() <= MOST_PIXELS);
                }
            }
        }
    }
}

#[test]
fn more_pixels_than_can_be_are_refused_by_the_header_alone() {
    let folder = Folder::new();
    for file in both(&folder) {
        let mut bytes = std::fs::read(&file).unwrap();
        // The last one is the picture's own where an encoder keeps one for its padding.
        let at = bytes.windows(4).rposition(|window| window == b"ispe").unwrap() + 8;
        bytes[at..at + 8].copy_from_slice(&[0, 0, 0x9C, 0x40, 0, 0, 0x9C, 0x40]);
        std::fs::write(&file, &bytes).unwrap();
        assert_eq!(header::read(&file).unwrap_err().damage, Damage::TooLarge("40000x40000".into()));
        // A size that is not the coded one's is found out before it is shown.
        bytes[at..at + 8].copy_from_slice(&[0, 0, 0, 200, 0, 0, 0, 200]);
        std::fs::write(&file, &bytes).unwrap();
        assert!(damage_of(&file).is_some());
    }
}

#[test]
fn the_end_of_a_header_that_breaks_off_is_said() {
    let folder = Folder::new();
    let file = folder.heic(SIZE, &[]);
    let whole = std::fs::read(&file).unwrap();
    std::fs::write(&file, &whole[..60]).unwrap();
    assert_eq!(damage_of(&file), Some(Damage::Corrupt("the file ends inside its header".into())));
    std::fs::write(&file, &whole[..whole.len() - 1]).unwrap();
    assert_eq!(damage_of(&file), Some(Damage::Corrupt("the file ends before the picture does".into())));
}
