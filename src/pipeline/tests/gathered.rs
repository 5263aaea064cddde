//! Frames that gather light: the same however they are grouped, and what they take.

use std::ops::Range;

use proptest::prelude::*;

use super::super::groups::{Group, Step};
use super::super::passes::{decodes, most_open, passes};
use super::*;
use crate::picture::{Model, Plane, Profile, Samples, Siting};
use crate::plan::Gathered;
use crate::sample::Painter;
use crate::shot::Gather;

/// A delivery whose frames gather these parts of stills 0 to `count`, all through one window.
fn gathering(name: &str, by: Gather, parts: &[Range<usize>], count: usize) -> DeliveryPlan {
    let window = Window::new(3.0, 2.0, 64.0, 36.0);
    let stills: Vec<_> = (0..count).map(|slot| (SlotIndex(slot), slot.checked_sub(1).map(SlotIndex))).collect();
    let list = Corrections::default().list(&stills, window);
    let row = |part: &Range<usize>| {
        let turn = part.end - 1;
        let row = Row::plain(SlotIndex(turn), window);
        let layers = match part.len() {
            1 => Layers::One(list[turn].clone()),
            _ => Layers::Gathered(Gathered { by, list: list.clone(), number: 0, part: part.clone(), turn }),
        };
        Row { position: turn as f64, layers, ..row }
    };
    let rows = parts.iter().map(row).collect();
    DeliveryPlan { gathered: vec![list.clone()], rows, ..plan(name, 0..0) }
}

/// The last so many of the stills up to each.
fn sliding(count: usize, width: usize) -> Vec<Range<usize>> {
    (0..count).map(|turn| (turn + 1).saturating_sub(width)..turn + 1).collect()
}

/// Stills whose pixels have nothing to do with one another.
fn noise(folder: &Path, count: usize) -> Shoot {
    shoot_of(folder, count, |still, x, y| {
        let mut state = u32::try_from(still).unwrap().wrapping_mul(0x9E37_79B9) ^ (y * STILL.width + x + 1);
        for _ in 0..3 {
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
        }
        u8::try_from(state % 256).unwrap()
    })
}

const BY: [Gather; 3] = [Gather::Brightest, Gather::Darkest, Gather::Median];

#[test]
fn gathered_frames_are_the_same_whatever_the_number_of_workers_or_made_alone_and_cost_one_decode_a_still() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = noise(folder.path(), 24);
    let grown: Vec<Range<usize>> = (0..24).map(|turn| 0..turn + 1).collect();
    let leaping: Vec<Range<usize>> = (0..12).map(|step| 2 * step..(2 * step + 5).min(24)).collect();
    let mut plans = Vec::new();
    for by in BY {
        plans.extend(
            [("sliding", sliding(24, 7)), ("leaping", leaping.clone())]
                .map(|(name, parts)| gathering(name, by, &parts, 24)),
        );
    }
    plans.extend([Gather::Brightest, Gather::Darkest].map(|by| gathering("grown", by, &grown, 24)));
    // Not all begin and end together: widths come and go, and one rests.
    let uneven: Vec<Range<usize>> =
        [(0, 3), (0, 5), (1, 5), (1, 9), (4, 9), (4, 9), (4, 10), (8, 12), (11, 12), (11, 20), (19, 24), (20, 24)]
            .map(|(start, end)| start..end)
            .to_vec();
    plans.extend(BY.map(|by| gathering("uneven", by, &uneven, 24)));
    plans.push(plan("each", 0..24));
    let hashes = |plans: &[DeliveryPlan], workers| {
        let outputs = plans.iter().map(|plan| output(plan, &Arc::default(), None)).collect();
        let watch = Watch::default();
        let outcome = run(&shoot, outputs, workers, &watch).unwrap();
        assert_eq!(watch.stills.load(Ordering::Relaxed), 24);
        outcome.finished.into_iter().map(|finished| finished.hashes).collect::<Vec<_>>()
    };
    let once = hashes(&plans, 1);
    for workers in [2, 7] {
        assert_eq!(once, hashes(&plans, workers), "{workers} workers");
    }
    for (plan, hashes) in plans.iter().zip(&once) {
        for row in (0..plan.rows.len()).rev().step_by(5) {
            let alone = Output { rows: row..row + 1, ..output(plan, &Arc::default(), None) };
            let outcome = run(&shoot, vec![alone], 1, &Watch::default()).unwrap();
            assert_eq!(outcome.finished[0].hashes, [hashes[row]], "row {row} of {}", plan.name);
        }
    }
    // On the way back the same frames come in one pass too.
    let mut back = plans;
    back.iter_mut().for_each(|plan| plan.rows.reverse());
    for workers in [1, 4] {
        let seen: Vec<Vec<_>> =
            hashes(&back, workers).into_iter().map(|hashes| hashes.into_iter().rev().collect()).collect();
        assert_eq!(seen, once, "{workers} workers");
    }
}

#[test]
fn a_gathered_still_that_is_damaged_has_its_stand_in_and_stops_a_run_that_has_none() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = noise(folder.path(), 12);
    let whole = gathering("whole", Gather::Brightest, &sliding(12, 4), 12);
    let Content::Whole(still) = &shoot.slots[6].content else { unreachable!("just made") };
    std::fs::write(&still.path, b"\xff\xd8\xff").unwrap();
    let outcome = run(&shoot, vec![output(&whole, &Arc::default(), None)], 3, &Watch::default());
    let hashes = |outcome: Result<Outcome, Fault>| outcome.unwrap().finished[0].hashes.clone();
    // Its stand-in is the still before, which stands in the same frames but for the last of them.
    let without: Vec<Range<usize>> = sliding(12, 4);
    let mut expected = gathering("expected", Gather::Brightest, &without, 12);
    let stills: Vec<_> = (0..12).map(|slot| (SlotIndex(if slot == 6 { 5 } else { slot }), None)).collect();
    let list = Corrections::default().list(&stills, expected.rows[0].window);
    for row in &mut expected.rows {
        if let Layers::Gathered(gathered) = &mut row.layers {
            gathered.list = list.clone();
        }
    }
    expected.gathered = vec![list];
    assert_eq!(
        hashes(outcome),
        hashes(run(&shoot, vec![output(&expected, &Arc::default(), None)], 1, &Watch::default()))
    );
    let mut bare = whole;
    let bare_stills: Vec<_> = (0..12).map(|slot| (SlotIndex(slot), None)).collect();
    let list = Corrections::default().list(&bare_stills, bare.rows[0].window);
    for row in &mut bare.rows {
        if let Layers::Gathered(gathered) = &mut row.layers {
            gathered.list = list.clone();
        }
    }
    for workers in [1, 4] {
        let fault = run(&shoot, vec![output(&bare, &Arc::default(), None)], workers, &Watch::default()).unwrap_err();
        assert!(matches!(fault, Fault::Damaged { slot: SlotIndex(6), .. }), "{fault:?}");
    }
}

/// A still of one grey, held in memory.
fn grey(value: u16) -> Picture {
    let size = Size::new(8, 8);
    let samples = Samples::Sixteen(vec![value; 64]);
    let plane = Plane { samples, width: 8, height: 8, stride: 8, siting: Siting::FULL };
    Picture { size, model: Model::Grey, planes: vec![plane], profile: Profile::Srgb, first_row: 0, end_row: 8 }
}

proptest! {
    /// Groups of any kind of parts, whichever way, against what sorting says; and no more sheets than heads and a core.
    #[test]
    fn a_groups_frames_are_what_sorting_their_stills_says(
        steps in prop::collection::vec((0_usize..4, 0_usize..4), 1..14), width in 2_usize..9, by in 0_usize..3,
        backwards: bool, seed: u16
    ) {
        let by = BY[by];
        let mut part = 0..width;
        let mut parts = vec![part.clone()];
        for (start, end) in steps {
            part = part.start + start..part.end + end;
            part.end = part.end.max(part.start + 2);
            parts.push(part.clone());
        }
        let count = part.end;
        if backwards {
            parts.reverse();
        }
        let values: Vec<u16> = (0_u16..).take(count).map(|still| still.wrapping_mul(40_503) ^ seed).collect();
        let plan = gathering("a", by, &parts, count);
        let rows: Vec<&Gathered> = plan.rows.iter().filter_map(|row| row.layers.gathered()).collect();
        prop_assert_eq!(rows.len(), parts.len());
        let (kind, size, window) = (FrameKind::Rgb16, Size::new(8, 8), Window::new(0.0, 0.0, 8.0, 8.0));
        let (mut painter, mut at, mut seen) = (Painter::new(), 0, Vec::new());
        while at < rows.len() {
            let mut group = Group::begin(at, 1, rows[at], backwards);
            let mut end = at + 1;
            while end < rows.len() && group.add(end, 1, rows[end]) {
                end += 1;
            }
            let gathers = Gathers::new(kind, size);
            for (_, step, ..) in group.steps() {
                match step {
                    Step::Take(take) => {
                        let still = grey(values[take.layer.slot().0]);
                        let taken = gathers.take_in(&take, &mut painter, (&still, window, Sharpness::Full), take.layer.slot());
                        prop_assert!(taken.is_ok());
                    }
                    Step::Print(print) => {
                        let mut frame = Frame::new(kind, size);
                        let told = gathers.print(&print, &mut painter, Light::Encoded, &mut frame);
                        prop_assert_eq!(told.ok().flatten(), Some(print.turn));
                        let crate::picture::Pixels::Rgb16(pixels) = frame.pixels else { unreachable!() };
                        seen.push(pixels[0]);
                    }
                }
            }
            let starts = if backwards {
                rows[at..end].iter().map(|row| row.part.end).collect::<std::collections::BTreeSet<_>>()
            } else {
                rows[at..end].iter().map(|row| row.part.start).collect()
            };
            let longest = rows[at..end].iter().map(|row| row.part.len()).max().unwrap();
            let [sheets, samples] = gathers.made();
            if by == Gather::Median {
                prop_assert!(sheets == 0 && samples <= longest + 1, "{samples} of {longest}");
            } else {
                // One more for the still that comes in, or for a copy that is printed.
                prop_assert!(samples == 0 && sheets <= starts.len() + 1, "{sheets} for {} heads", starts.len());
            }
            at = end;
        }
        for (part, seen) in parts.iter().zip(seen) {
            let mut own: Vec<u16> = values[part.clone()].to_vec();
            own.sort_unstable();
            let due = match by {
                Gather::Brightest => f64::from(own[own.len() - 1]),
                Gather::Darkest => f64::from(own[0]),
                Gather::Median => f64::midpoint(f64::from(own[(own.len() - 1) / 2]), f64::from(own[own.len() / 2])),
            };
            prop_assert!((f64::from(seen) - due).abs() <= 0.5, "{seen} for {due} of {part:?}");
        }
    }
}

#[test]
fn a_sliding_gather_is_cut_where_its_heads_would_not_fit_and_a_growing_one_is_one_pass() {
    let count = 400;
    let large =
        |by, parts: &[Range<usize>]| DeliveryPlan { frame: Size::new(1920, 1080), ..gathering("a", by, parts, count) };
    let passes_and_decodes = |plan: &DeliveryPlan| {
        let (plans, rows) = ([plan], [plan.rows.as_slice()]);
        (passes(&plans, &rows).len(), decodes(&plans, &rows))
    };
    let sliding_120 = large(Gather::Brightest, &sliding(count, 120));
    // 512 MiB hold 17 sheets of 1920 by 1080 at 15 bytes a pixel. The first 120 frames grow from the first still; after
    // that each pass brings 17 frames, of 136 stills.
    assert_eq!(most_open(&sliding_120), 17);
    let (passed, decoded) = passes_and_decodes(&sliding_120);
    assert!((17..=19).contains(&passed), "{passed}");
    assert!((136 * 16..136 * 18 + 140).contains(&decoded), "{decoded}");
    let grown: Vec<Range<usize>> = (0..count).map(|turn| 0..turn + 1).collect();
    assert_eq!(passes_and_decodes(&large(Gather::Darkest, &grown)), (1, 400));
    // What fits is one pass, and so is a median that slides.
    assert_eq!(passes_and_decodes(&large(Gather::Brightest, &sliding(count, 8))), (1, 400));
    let median = large(Gather::Median, &sliding(count, 31));
    assert_eq!(most_open(&median), 34);
    assert_eq!(passes_and_decodes(&median), (1, 400));
}
