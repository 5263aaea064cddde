//! Only the rows asked for: the same bytes as a whole decode, and the work really left out.

use std::ops::Range;

use stillpath::decode::{Decoder, Want};
use stillpath::ffi::jpeg::{Coding, Colour, Encoding, encode};
use stillpath::picture::{Picture, Plane, Samples};
use stillpath::shoot::Still;
use stillpath::units::Size;

use super::{Folder, SUBSAMPLINGS, encoding, rows, scene};

/// A value no decoder writes everywhere.
const UNTOUCHED: u8 = 0xA5;

/// A spare picture with the room of `like` and nothing decoded in it.
fn spare(like: &Picture) -> Picture {
    let mut spare = like.clone();
    for Plane { samples, .. } in &mut spare.planes {
        if let Samples::Eight(samples) = samples {
            samples.fill(UNTOUCHED);
        }
    }
    spare
}

/// A plane's rows whose luma rows are all among `luma`.
fn plane_rows(picture: &Picture, plane: usize, luma: &Range<u32>) -> Range<usize> {
    let step = picture.size.height.div_ceil(picture.planes[plane].height);
    let end = if luma.end == picture.size.height { luma.end.div_ceil(step) } else { luma.end / step };
    (luma.start / step) as usize..end as usize
}

fn assert_same_where_decoded(still: &Still, asked: Range<u32>, whole: &Picture, what: &str) {
    let part = Decoder::new().decode(still, Want::rows(asked.clone()), Some(spare(whole))).unwrap();
    let got = part.first_row..part.end_row;
    assert!(got.start <= asked.start && got.end >= asked.end, "{what}: {asked:?} gave {got:?}");
    // No more than a row of blocks too many: 8 rows times a factor of at most 2.
    assert!(asked.start - got.start < 16 && got.end - asked.end < 16, "{what}: {asked:?} gave {got:?}");
    for plane in 0..whole.planes.len() {
        let (seen, expected) = (rows(&part, plane), rows(whole, plane));
        let inside = plane_rows(whole, plane, &got);
        assert_eq!(seen[inside.clone()], expected[inside.clone()], "{what}, rows {asked:?}, plane {plane}");
        let outside = seen[..inside.start].iter().chain(&seen[inside.end..]);
        assert!(
            outside.flatten().all(|sample| *sample == UNTOUCHED),
            "{what}, rows {asked:?}: more was decoded than is said"
        );
    }
}

#[test]
fn rows_skipped_or_not_the_rest_is_the_same_to_the_byte() {
    for subsampling in SUBSAMPLINGS {
        for (coding, restart_rows) in [
            (Coding::Baseline, 0),
            (Coding::Baseline, 1),
            (Coding::Baseline, 3),
            (Coding::Progressive, 0),
            (Coding::Progressive, 2),
        ] {
            let size = Size::new(75, 141);
            let folder = Folder::new();
            let how = Encoding { coding, restart_rows, ..encoding(Colour::YCbCr, subsampling) };
            let still = folder.jpeg(size, &encode(&scene(size, 3), size, &how));
            let whole = Decoder::new().decode(&still, Want::rows(0..141), None).unwrap();
            for asked in [0..141, 0..1, 0..16, 15..17, 16..32, 40..41, 63..100, 96..141, 130..141, 140..141] {
                let what = format!("{subsampling:?}, {coding:?}, restarts every {restart_rows}");
                assert_same_where_decoded(&still, asked, &whole, &what);
            }
        }
    }
}

#[test]
fn a_grey_jpegs_rows_can_be_skipped_too() {
    let size = Size::new(75, 141);
    let folder = Folder::new();
    let still = folder.jpeg(size, &encode(&scene(size, 1), size, &encoding(Colour::Grey, (1, 1))));
    let whole = Decoder::new().decode(&still, Want::rows(0..141), None).unwrap();
    assert_same_where_decoded(&still, 50..60, &whole, "grey");
}

#[test]
fn rows_beyond_the_picture_are_not_waited_for() {
    let size = Size::new(40, 40);
    let folder = Folder::new();
    let still = folder.jpeg(size, &super::ycbcr(size, (2, 2)));
    let picture = Decoder::new().decode(&still, Want::rows(20..400), None).unwrap();
    assert_eq!((picture.first_row, picture.end_row), (16, 40));
    let nothing = Decoder::new().decode(&still, Want::rows(40..40), None).unwrap();
    assert!(nothing.first_row >= nothing.end_row || nothing.end_row == 40);
}
