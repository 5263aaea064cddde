//! Trackers against scenes whose truth is known.
#![expect(clippy::print_stdout, reason = "measured figures are what some tests are run for")]

use std::sync::Arc;

use kurbo::Rect;

use super::scenes::{self, Motion, Scene, Skin, Truth};
use super::{Check, Found, Sight, Small, SpotState, State, Task, Told, Tracker, Unfit};

/// A scene's stills, with the truth of each.
fn drawn(scene: &Scene) -> Vec<(Arc<Small>, Truth)> {
    let path = scene.path();
    (0..scene.stills).map(|still| scene.still(&path, still)).map(|(small, truth)| (Arc::new(small), truth)).collect()
}

/// Tracked from the first still on, and the stills that came into doubt.
fn tracked(stills: &[(Arc<Small>, Truth)]) -> (Vec<Sight>, Vec<usize>) {
    let (first, truth) = &stills[0];
    let mut tracker = Tracker::new(first, truth.area).unwrap();
    let begun = Sight { area: truth.area, confidence: 1.0, state: State::Seen };
    let sights: Vec<Sight> =
        std::iter::once(begun).chain(stills[1..].iter().map(|(small, _)| tracker.next(small))).collect();
    let mut check = Check::default();
    let mut doubted = Vec::new();
    for at in (1..stills.len()).rev() {
        let seen = (sights[at].state == State::Seen).then_some(sights[at].area);
        doubted.extend(check.next(at, &stills[at].0, seen));
    }
    doubted.extend(check.end(first, truth.area));
    (sights, doubted)
}

/// Bars: a mean overlap of at least 0.7 where it is visible, its loss said within 3 stills, and no still in which it is
/// visible and said, without a doubt, to be somewhere else.
#[test]
fn things_are_found_again_in_scenes_that_nothing_was_tuned_on() {
    let judged = |(name, scene): (&str, Scene)| {
        let stills = drawn(&scene);
        let (sights, doubted) = tracked(&stills);
        let score = scenes::score(stills.iter().map(|(_, truth)| truth), &sights);
        let silent: Vec<usize> = score.astray.iter().copied().filter(|still| !doubted.contains(still)).collect();
        println!("{name}: overlap {:.3} of {}, lost in {}", score.overlap, score.visible, score.lost.len());
        assert!(score.overlap >= 0.7, "{name}: {score:?}");
        assert!(score.late <= 3, "{name}: {score:?}");
        assert!(silent.is_empty(), "{name}: {silent:?}, {score:?}");
    };
    std::thread::scope(|scope| {
        let all: Vec<_> = scenes::judging().into_iter().map(|one| scope.spawn(move || judged(one))).collect();
        all.into_iter().for_each(|one| one.join().unwrap());
    });
}

#[test]
fn the_scenes_that_all_was_tuned_on_hold_the_same_bars_where_they_are_quick() {
    for (name, scene) in scenes::tuning().into_iter().filter(|(name, _)| ["small", "restless", "away"].contains(name)) {
        let stills = drawn(&scene);
        let (sights, _) = tracked(&stills);
        let score = scenes::score(stills.iter().map(|(_, truth)| truth), &sights);
        assert!(score.overlap >= 0.9 && score.late <= 3 && score.astray.is_empty(), "{name}: {score:?}");
    }
}

#[test]
fn a_track_is_the_same_every_time() {
    let scene = Scene { stills: 12, size: (320, 220), wide: 0.1, ..Scene::PLAIN };
    let stills = drawn(&scene);
    assert_eq!(tracked(&stills).0, tracked(&stills).0);
}

#[test]
fn what_cannot_be_known_again_is_refused() {
    let scene = Scene { stills: 1, size: (320, 220), wide: 0.1, ..Scene::PLAIN };
    let (small, truth) = &drawn(&scene)[0];
    let whole = Rect::new(0.0, 0.0, 320.0, 220.0);
    assert!(Tracker::new(small, truth.area).is_ok());
    assert_eq!(Tracker::new(small, whole.inflate(-2.0, -2.0)).err(), Some(Unfit::Fills));
    assert_eq!(Tracker::new(small, Rect::new(50.0, 50.0, 54.0, 90.0)).err(), Some(Unfit::Tiny));
    let sky = Arc::new(Small::grey(&[180; 320 * 220], 320, 320, 220));
    assert_eq!(Tracker::new(&sky, Rect::new(100.0, 100.0, 140.0, 140.0)).err(), Some(Unfit::Plain));
}

#[test]
fn a_thing_of_which_there_are_many_has_twins_and_one_of_its_kind_has_none() {
    let codes: Vec<u8> = (0..320 * 220)
        .map(|at| (at % 320 / 16 + at / 320 / 16) % 2)
        .map(|is_light| if is_light == 0 { 60 } else { 190 })
        .collect();
    let windows = Arc::new(Small::grey(&codes, 320, 320, 220));
    assert!(Tracker::new(&windows, Rect::new(128.0, 96.0, 160.0, 128.0)).unwrap().has_twin());
    let scene = Scene { stills: 1, size: (320, 220), wide: 0.1, thing: Skin::Dots, ..Scene::PLAIN };
    let (small, truth) = &drawn(&scene)[0];
    assert!(!Tracker::new(small, truth.area).unwrap().has_twin());
}

#[test]
fn a_thing_that_has_gone_is_lost_and_nothing_else_is_taken_for_it() {
    let scene =
        Scene { seed: 31, stills: 24, size: (480, 320), wide: 0.08, motion: Motion::Straight(0.2), ..Scene::PLAIN };
    let path = scene.path();
    let gone = Scene { thing: Skin::Clouds(5), ground: scene.ground, wide: 0.0001, ..scene };
    let away: Vec<Rect> = path.iter().map(|_| Rect::new(-9.0, -9.0, -8.0, -8.0)).collect();
    let (first, truth) = scene.still(&path, 0);
    let mut tracker = Tracker::new(&Arc::new(first), truth.area).unwrap();
    for still in 1..24 {
        let sight = tracker.next(&Arc::new(gone.still(&away, still).0));
        assert!(sight.state == State::Lost && sight.confidence == 0.0, "{still}: {sight:?}");
    }
}

fn told(x: f64, seen: bool) -> Option<Told> {
    Some(Told { area: Rect::new(x, 0.4, x + 0.1, 0.5), confidence: 0.8, seen })
}

fn key(x: f64) -> Rect {
    Rect::new(x, 0.4, x + 0.1, 0.5)
}

#[test]
fn two_directions_agree_are_doubted_or_held_between_what_was_seen() {
    let task = Task { keys: vec![(0, key(0.1)), (6, key(0.4))] };
    let side = vec![(0..8).collect::<Vec<usize>>()];
    let forwards = [
        None,
        told(0.15, true),
        told(0.2, true),
        told(0.2, false),
        told(0.2, false),
        told(0.9, true),
        told(0.4, true),
        told(0.45, true),
    ];
    let backwards = [
        told(0.1, true),
        told(0.16, true),
        told(0.2, true),
        told(0.4, false),
        told(0.4, false),
        told(0.35, true),
        None,
        None,
    ];
    let found = Found::woven(&task, &side, 8, (&forwards, &backwards), &[7]);
    let spot = |at: usize| found.spots[at].unwrap();
    assert_eq!(spot(0).state, SpotState::Keyed);
    assert!((spot(1).area.x0 - (0.15 + 0.01 / 6.0)).abs() < 1e-5, "nearer to the nearer key's: {:?}", spot(1));
    assert_eq!([3, 4].map(|at| spot(at).state), [SpotState::Lost; 2]);
    assert!((spot(3).area.x0 - 0.25).abs() < 1e-5 && (spot(4).area.x0 - 0.3).abs() < 1e-5, "{:?}", spot(4));
    assert_eq!(spot(5).state, SpotState::Doubted, "one says 0.9, the other 0.35");
    assert!((spot(5).area.x0 - 0.35).abs() < 1e-5, "the nearer key's");
    assert_eq!(spot(7).state, SpotState::Doubted, "a check parted from it");
    assert!(found.apart.is_empty());
}

#[test]
fn a_track_that_slips_to_something_else_before_the_next_key_is_in_doubt_where_it_alone_was_seen() {
    // Forwards it comes out beside the key at 6, seen; backwards it is lost before 3.
    let task = Task { keys: vec![(0, key(0.1)), (6, key(0.7))] };
    let forwards =
        [None, told(0.2, true), told(0.3, true), told(0.3, true), told(0.3, true), told(0.3, true), told(0.3, true)];
    let backwards = [
        told(0.5, false),
        told(0.5, false),
        told(0.5, false),
        told(0.5, false),
        told(0.5, true),
        told(0.6, true),
        None,
    ];
    let found = Found::woven(&task, &[(0..7).collect()], 7, (&forwards, &backwards), &[]);
    let state = |at: usize| found.spots[at].unwrap().state;
    assert_eq!([1, 2, 3].map(state), [SpotState::Doubted; 3], "only the pass that slipped saw it there");
    // A pass that comes out at the key is believed where the other had lost it.
    let mut right = forwards;
    right[6] = told(0.7, true);
    let found = Found::woven(&task, &[(0..7).collect()], 7, (&right, &backwards), &[]);
    assert_eq!([1, 2, 3].map(|at| found.spots[at].unwrap().state), [SpotState::Seen; 3]);
}

#[test]
fn boxes_of_two_directions_that_overlap_in_part_are_held_both() {
    let task = Task { keys: vec![(0, key(0.1)), (2, key(0.14))] };
    let (forwards, backwards) = ([None, told(0.1, true), told(0.14, true)], [told(0.1, true), told(0.14, true), None]);
    let found = Found::woven(&task, &[vec![0, 1, 2]], 3, (&forwards, &backwards), &[]);
    let spot = found.spots[1].unwrap();
    assert_eq!(spot.state, SpotState::Seen);
    assert!(spot.area.x0 <= key(0.1).x0 + 1e-6 && spot.area.x1 >= key(0.14).x1 - 1e-6, "{:?}", spot.area);
}

#[test]
fn two_keys_of_which_neither_leads_to_the_other_are_named() {
    let task = Task { keys: vec![(0, key(0.1)), (2, key(0.8))] };
    let (forwards, backwards) = ([None, told(0.1, true), told(0.1, true)], [told(0.8, true), told(0.8, true), None]);
    let found = Found::woven(&task, &[vec![0, 1, 2]], 3, (&forwards, &backwards), &[]);
    assert_eq!(found.apart, [(0, 2)]);
}

#[test]
fn a_side_without_a_key_is_lost_all_along() {
    let task = Task { keys: vec![(0, key(0.1))] };
    let none = [None; 4];
    let found = Found::woven(&task, &[vec![0, 1], vec![2, 3]], 4, (&none, &none), &[]);
    assert_eq!([2, 3].map(|at| found.spots[at].unwrap().state), [SpotState::Lost; 2]);
}
