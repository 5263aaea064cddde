//! The line a delivery's window follows between its keys.
//!
//! What moves along a path is the point of the still at the delivery's `place` in the frame, which is the window's
//! centre where nothing is said: so a zoom on one point keeps that point where it is on screen, whatever the path.
//!
//! ## Decisions
//!
//! - Roll is -360 to 360, taken as numbers: from 350 to 10 goes back by 340. Straight, it follows the same eased
//!   progress as the width's logarithm; on a smooth path or a drawing a monotone cubic; in a flight its measure.
//! - Where the rolls of two keys differ, the point at the delivery's `place` runs straight between them, so that a
//!   point both keys show there stays there. Corners swing round it; where that leads out of the still the path is bent
//!   like any other.

use std::sync::Arc;

use kurbo::Point;

use super::leg::{Shape, Sight};
use crate::curve::arc_length::ArcLengthPath;
use crate::curve::ease::Ease;
use crate::curve::flight::{self, Flight};
use crate::curve::pchip::{Hermite, Knot, Monotone};
use crate::geom::Window;
use crate::shot::{FramingKey, Path};
use crate::units::Size;

/// A key of a framing once it is known when, which window, and what it is passed like.
#[derive(Debug, Clone)]
pub(super) struct Waypoint {
    pub(super) at: f64,
    pub(super) window: Window,
    pub(super) ease: Ease,
    pub(super) stop: bool,
    /// The share of its speed that it is passed at on a line: below 1 where that turns sharply there.
    pub(super) passed: f64,
    /// Whether the window rests from the stand before until this one.
    pub(super) rests: bool,
    pub(super) key: Arc<FramingKey>,
}

/// The shapes of the ways through stands in order of time, one to every stand but the first. A drawing says where its
/// stands are: their windows are moved there. Of a path that goes `round` the stands of one lap are given, and stands
/// come a lap earlier and a lap later too.
pub(super) fn through(
    path: &Path,
    stands: &mut [Waypoint],
    round: Option<usize>,
    sight: Sight,
    still: Size,
) -> Vec<Shape> {
    let mut shapes: Vec<Shape> = match path {
        Path::Straight | Path::Follow(_) | Path::Table(_) | Path::Action(_) => {
            let ways = stands.windows(2);
            ways.map(|pair| Shape::Straight(Hermite::resting(pair[0].stop, pair[1].stop), sight)).collect()
        }
        Path::Smooth => {
            let points: Vec<Point> = stands.iter().map(|stand| sight.view(stand.window).point).collect();
            let (path, along) = ArcLengthPath::through(&points);
            line(path, &along, stands, sight)
        }
        Path::Drawing(drawing) => {
            let path = drawing.over(f64::from(still.width), f64::from(still.height));
            let along = shared_out(path.length(), stands, round);
            let path = if round.is_some() { path.closed() } else { path };
            for (stand, along) in stands.iter_mut().zip(&along) {
                let view = flight::View { point: path.at(*along), width: stand.window.width };
                stand.window = sight.window(view, stand.window.roll);
            }
            line(path, &along, stands, sight)
        }
        Path::Flight { rho } => {
            let last = stands.len().saturating_sub(2);
            let flights = stands.windows(2).enumerate().map(|(way, pair)| {
                let flight = Flight::new(sight.view(pair[0].window), sight.view(pair[1].window), *rho);
                // Every flight lands before the next one takes off.
                Shape::Flight(flight, Hermite::resting(way > 0 || pair[0].stop, way < last || pair[1].stop), sight)
            });
            flights.collect()
        }
    };
    for (shape, stand) in shapes.iter_mut().zip(stands.iter().skip(1)) {
        if stand.rests {
            *shape = Shape::Rest;
        }
    }
    shapes
}

fn line(path: ArcLengthPath, along: &[f64], stands: &[Waypoint], sight: Sight) -> Vec<Shape> {
    let curve = |values: Vec<f64>| {
        let knots: Vec<Knot<'_>> = stands
            .iter()
            .zip(values)
            .map(|(stand, value)| Knot {
                at: stand.at,
                value,
                ease: &stand.ease,
                stop: stand.stop,
                passed: stand.passed,
            })
            .collect();
        Monotone::new(&knots).ways
    };
    let log_width = curve(stands.iter().map(|stand| stand.window.width.ln()).collect());
    let roll = curve(stands.iter().map(|stand| stand.window.roll).collect());
    let path = Arc::new(path);
    let pieces = curve(along.to_vec()).into_iter().zip(log_width).zip(roll);
    pieces
        .map(|((along, log_width), roll)| Shape::Line { path: Arc::clone(&path), along, log_width, roll, sight })
        .collect()
}

/// How far along a line each stand is where all of it is passed at one speed, rests apart: from the first stand to the
/// last, or in one lap of those that go round.
fn shared_out(length: f64, stands: &[Waypoint], round: Option<usize>) -> Vec<f64> {
    let mut moving = 0.0;
    let mut along: Vec<f64> = Vec::with_capacity(stands.len());
    for (index, stand) in stands.iter().enumerate() {
        if index > 0 && !stand.rests {
            moving += stand.at - stands[index - 1].at;
        }
        along.push(moving);
    }
    let first = round.map_or(0.0, |lap| along[lap]);
    let moving = round.map_or(moving, |lap| along[2 * lap] - first);
    if moving > 0.0 {
        along.iter_mut().for_each(|along| *along = (*along - first) * (length / moving));
    }
    along
}
