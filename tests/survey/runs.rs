//! Odd stills two and three in a row, and at either end: each is found, at its still, and nothing else is.

use super::planted::{found, words};
use super::scene::Plant;

const SOUND: Plant =
    Plant { gain: 1.0, shift: [0.0; 2], blur: 0, stripes: (0.0, 0.0), torn: None, band: None, other: false };

/// What looking finds in 20 stills of which these, counted from 1, are planted.
fn planted(at: &[usize], planted: Plant) -> Vec<String> {
    words(&found(20, |index| if at.contains(&(index + 1)) { planted } else { SOUND }).0)
}

fn due(kind: &str, at: &[usize]) -> [String; 1] {
    [at.iter().fold(kind.to_owned(), |words, at| format!("{words} {at}"))]
}

const ROWS: [&[usize]; 6] = [&[9, 10], &[9, 10, 11], &[1], &[1, 2, 3], &[20], &[18, 19, 20]];

/// Fault 38: black, white, flash-lit, dark, strange, soft: up to three in a row, at the ends too.
#[test]
fn flashes_and_dark_stills_are_found_in_a_row_and_at_either_end() {
    for at in ROWS {
        assert_eq!(planted(at, Plant { gain: 1.8, ..SOUND }), due("flash", at));
        assert_eq!(planted(at, Plant { gain: 0.5, ..SOUND }), due("dark", at));
    }
}

/// Fault 38: black, white, flash-lit, dark, strange, soft: up to three in a row, at the ends too.
#[test]
fn other_pictures_and_bands_are_found_in_a_row_and_at_either_end() {
    for at in ROWS {
        assert_eq!(planted(at, Plant { other: true, ..SOUND }), due("other", at));
        assert_eq!(planted(at, Plant { band: Some((140, 240)), ..SOUND }), due("band", at));
    }
}

/// Fault 38: black, white, flash-lit, dark, strange, soft: up to three in a row, at the ends too.
#[test]
fn soft_stills_are_found_in_a_row_and_at_either_end() {
    for at in ROWS {
        assert_eq!(planted(at, Plant { blur: 3, ..SOUND }), due("soft", at));
    }
}

// The first still's torn rows would be of a moment that no other still shows.
/// Fault 39: torn: two moments in one picture.
#[test]
fn torn_stills_are_found_where_they_hold_rows_of_a_still_in_the_shoot() {
    let torn =
        |index: usize, other: usize| move |at: usize| Plant { torn: (at == index).then_some((118, other)), ..SOUND };
    assert_eq!(words(&found(20, torn(19, 18)).0), ["torn 20"]);
    assert_eq!(words(&found(20, torn(1, 0)).0), ["torn 2"]);
    // A camera that goes on giving the lower rows of one still.
    let stuck = |index: usize| Plant { torn: matches!(index, 10 | 11).then_some((118, 9)), ..SOUND };
    assert_eq!(words(&found(20, stuck).0), ["torn 11 12"]);
}

/// Fault 38: black, white, flash-lit, dark, strange, soft: up to three in a row, at the ends too.
#[test]
fn odd_stills_of_several_kinds_do_not_hide_one_another() {
    // A flash, a sound still, a flash: the middle one is not dark. A flash beside a dark one, and black beside another
    // picture.
    let plant = |index: usize| match index + 1 {
        3 | 5 | 9 => Plant { gain: 1.8, ..SOUND },
        10 => Plant { gain: 0.5, ..SOUND },
        14 => Plant { gain: 0.0, ..SOUND },
        15 => Plant { other: true, ..SOUND },
        _ => SOUND,
    };
    assert_eq!(words(&found(20, plant).0), ["black 14", "flash 3 5 9", "dark 10", "other 15"]);
}

/// Fault 38: black, white, flash-lit, dark, strange, soft: up to three in a row, at the ends too.
#[test]
fn what_lasts_is_no_oddity_and_odd_stills_beside_an_end_do_not_make_it_odd() {
    // Four at an end, and four in the middle, are the picture itself.
    for plant in [Plant { gain: 1.8, ..SOUND }, Plant { other: true, ..SOUND }] {
        for range in [0..4, 16..20, 8..12] {
            let seen = found(20, |index| if range.contains(&index) { plant } else { SOUND });
            assert_eq!(seen.1.odd, [], "{range:?}");
        }
    }
    for at in [&[2, 3][..], &[2, 3, 4], &[18, 19]] {
        assert_eq!(planted(at, Plant { gain: 1.8, ..SOUND }), due("flash", at));
    }
}
