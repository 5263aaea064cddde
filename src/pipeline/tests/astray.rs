//! Stills that decode without a word and do not belong to the scene.

use super::*;

const SIZE: Size = Size { width: 320, height: 240 };
/// The one that does not belong, from the tenth unit of 16 pixels in the eighth row of them on.
const ODD: usize = 4;
const ASTRAY: Damage = Damage::Astray { from: 112, due: 240 };

/// A grainy wall. One still is lighter by 25 codes from one unit on, as wrong bytes leave it.
fn wall(folder: &Path, count: usize) -> Shoot {
    let mut shoot = shoot(folder, count);
    for (index, slot) in shoot.slots.iter_mut().enumerate() {
        let Content::Whole(still) = &mut slot.content else { unreachable!("just made") };
        let mut state = 0x9E37_79B9_u32 ^ u32::try_from(index).unwrap().wrapping_mul(0x85EB_CA6B);
        let mut grey = |x: u32, y: u32| {
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
            let off = if index == ODD && y / 16 * 20 + x / 16 >= 7 * 20 + 9 { 25 } else { 0 };
            u8::try_from(80 + (x / 9 + y / 5) % 40 + state % 9 + off).unwrap()
        };
        let rgb: Vec<u8> = (0..SIZE.height)
            .flat_map(|y| (0..SIZE.width).map(move |x| (x, y)))
            .flat_map(|(x, y)| [grey(x, y); 3])
            .collect();
        std::fs::write(&still.path, jpeg::encode_rgb(&rgb, SIZE, 92, (2, 2), &[])).unwrap();
        let metadata = std::fs::metadata(&still.path).unwrap();
        (still.stored, still.bytes) = (SIZE, metadata.len());
        still.modified = crate::decode::header::nanoseconds(metadata.modified().unwrap());
    }
    Shoot { size: SIZE, ..shoot }
}

/// What becomes of a run that shows these stills and goes on from `earlier`.
fn ends(shoot: &Shoot, stills: std::ops::Range<usize>, earlier: Met, workers: usize) -> Result<Outcome, Fault> {
    let plan = plan("a", stills);
    let outputs = vec![output(&plan, &Arc::default(), None)];
    Job { earlier: Some(earlier), ..Job::new(shoot, outputs, workers) }.run(&Watch::default())
}

fn is_named(ended: Result<Outcome, Fault>) -> bool {
    matches!(ended, Err(Fault::Damaged { slot: SlotIndex(ODD), damage: ASTRAY }))
}

#[test]
fn a_still_that_does_not_belong_to_the_scene_ends_the_run_at_either_end_of_it_too() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = wall(folder.path(), 9);
    for workers in [1, 3] {
        assert!(is_named(ends(&shoot, 0..9, Met::default(), workers)), "in the middle");
        assert!(is_named(ends(&shoot, ODD..9, Met::default(), workers)), "first");
        assert!(is_named(ends(&shoot, 0..ODD + 1, Met::default(), workers)), "last");
        assert!(ends(&shoot, ODD + 1..9, Met::default(), workers).is_ok(), "not shown");
    }
}

#[test]
fn a_still_that_is_shown_alone_is_held_against_stills_that_are_not() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = wall(folder.path(), 9);
    assert!(is_named(ends(&shoot, ODD..ODD + 1, Met::default(), 1)));
    assert!(ends(&shoot, 1..2, Met::default(), 1).is_ok());
    // Frames that nobody keeps are not held against anything.
    let plan = plan("a", ODD..ODD + 1);
    assert!(run(&shoot, vec![output(&plan, &Arc::default(), None)], 1, &Watch::default()).is_ok());
}

#[test]
fn what_an_earlier_run_showed_and_could_not_judge_is_judged_before_it_is_taken_over() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = wall(folder.path(), 9);
    let earlier = |slots: &[usize]| Met { unjudged: slots.iter().copied().map(SlotIndex).collect(), ..Met::default() };
    assert!(is_named(ends(&shoot, 6..9, earlier(&[3, ODD]), 2)));
    assert!(ends(&shoot, 6..9, earlier(&[1, 2]), 2).is_ok());
}
