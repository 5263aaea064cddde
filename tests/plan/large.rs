//! Shots and shoots as large as people bring: what the large tests resolve and `tests/speed/scale.rs` times.

use stillpath::curve::arc_length::Drawing;
use stillpath::curve::ease::Ease;
use stillpath::curve::flight::Flight;
use stillpath::shoot::Shoot;
use stillpath::shot::{Closeness, Follow, FramingKey, Moment, Pace, Path, Policy, Rate, Shot, StillBox, View};

use super::build::*;

/// Three deliveries of 10,000 frames each over 12,000 stills, at a pace of several eases.
pub(crate) fn large() -> (Shot, Shoot) {
    let mut shot = shot();
    shot.deliveries = vec![
        delivery("wide", 1920, 1080, "24"),
        delivery("tall", 1080, 1920, "24"),
        delivery("square", 1080, 1080, "24"),
    ];
    let eased = |at, per_frame: f64| {
        let mut key = rate(31, at, Rate::StillsPerFrame(per_frame));
        key.ease = Ease::keyword("ease-in-out").unwrap();
        key
    };
    let keys = [(Moment::Start, 1.0), (Moment::Still(2000), 0.1), (Moment::Still(9000), 3.0), (Moment::End, 0.5)];
    shot.pace = keyed(keys.map(|(at, per_frame)| eased(at, per_frame)).to_vec(), Some(10_000.0 / 24.0));
    (shot, shoot_every(12_000, "2031-05-04T05:00:00", 5.0))
}

/// Every kind of path, and whether bends are to be expected of it with the keys of [`take_path`].
pub(crate) fn large_paths() -> Vec<(Path, bool)> {
    let corners = "M 0.2 0.2 C 0.9 0.1 0.9 0.9 0.5 0.8 S 0.1 0.8 0.2 0.5";
    let follow = |closeness| (Path::Follow(Follow { margin: 0.05, closeness, track: None }), false);
    vec![
        (Path::Straight, false),
        (Path::Smooth, true),
        (Path::Flight { rho: Flight::RHO }, true),
        (Path::Drawing(Drawing::parse(corners).unwrap()), true),
        follow(None),
        follow(Some(Closeness::Zoom(3.0))),
    ]
}

/// Gives a shot a path with forty keys: places and closenesses, or the boxes of something that wanders.
pub(crate) fn take_path(shot: &mut Shot, path: Path) {
    shot.framing.path = path;
    let key = |number: u32| {
        if matches!(shot.framing.path, Path::Follow(_)) {
            let (x, y) = (0.1 + 0.6 * f64::from(number % 3) / 2.0, 0.1 + 0.6 * f64::from(number % 4) / 3.0);
            let area = StillBox { x, y, width: 0.1 + 0.02 * f64::from(number % 5), height: 0.1 };
            return framing_key(40, Moment::Still(1 + 300 * i64::from(number)), View::Subject { area });
        }
        let point = (0.15 + 0.7 * f64::from(number % 3) / 2.0, 0.15 + 0.7 * f64::from(number % 4) / 3.0);
        let at = Moment::Screen(f64::from(number) * 10.0);
        FramingKey { ease: Ease::Linear, ..on(40 + number, at, point, 2.0 + f64::from(number % 5)) }
    };
    shot.framing.keys = (0..40).map(key).collect();
}

/// A bare pace over so many stills, of which every third is missing and held.
pub(crate) fn bare(stills: usize) -> (Shot, Shoot) {
    let mut shot = shot();
    shot.source.missing = Policy::Hold;
    shot.pace.value = Pace::Over(400.0);
    shot.framing.keys = vec![on(11, clock("day 1 14:32"), (0.5, 0.5), 1.0)];
    let mut shoot = shoot_every(stills, "2031-05-04T05:00:00", 5.0);
    (10..stills).step_by(3).for_each(|number| lose(&mut shoot, number));
    (shot, shoot)
}
