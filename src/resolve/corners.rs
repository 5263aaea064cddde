//! Turns that a window takes too fast: which keys are passed too fast for the turn there, and what is said of a turn
//! that stays.
//!
//! In: a window from key to key as a delivery follows it. Out: how much slower keys are to be passed; or a remark with
//! the frames and what to type. A key that the path turns back at is come to rest at softly, without being asked.
//!
//! ## Decisions
//!
//! - One bar for all paths: on screen a turn accelerates, along and across, at most three times the median of the
//!   move's own frames. What comes to no more than a soft start does, [`SOFT`], is none; nor is a corner within a frame
//!   that stays below [`UNSEEN`] (all our choice, no source). Eases are the script's own: setting off, arriving and
//!   swinging between keys are not measured, and a step is a cut.
//! - On a smooth path keys are passed more slowly, to rest at most. A straight path and a drawing turn where they say
//!   and as fast: that is remarked on.

use kurbo::Vec2;

use super::leg::{Keyed, Shape, Spot};
use crate::curve::ease::Ease;
use crate::diag::Diagnostic;
use crate::geom::{SECONDS_A_WIDTH, Window};
use crate::plan::Row;
use crate::shot::Delivery;

use super::words::{self, Ranges};

/// How many times the median of a move's accelerations a turn may have.
const MOST: f64 = 3.0;

/// Seconds in which a soft start comes to the speed of the rule of thumb.
const SOFT: f64 = 0.5;

/// The share of a frame's width per frame squared, at 24 frames a second, that is no corner to anyone: a quarter of a
/// pixel of 1920.
const UNSEEN: f64 = 1.0 / 8000.0;

/// The cosine of the angle within a frame from which a turn is a corner, 30 degrees.
const CORNER: f64 = 0.866;

/// Seconds around a key in which its turn lies.
const NEAR: f64 = 0.5;

/// A window slower than this share of the frame's width a frame stands still.
const STILL: f64 = 1e-5;

/// How a window moves on screen, in pixels of the frame a frame.
struct Motion {
    /// From each frame to the next, where the point at the delivery's place goes.
    speeds: Vec<Vec2>,
    /// More than this is a turn too fast: of a line that bends, and at a corner.
    bend: f64,
    corner: f64,
    /// Less than this is none.
    still: f64,
}

impl Motion {
    fn of(windows: impl Iterator<Item = Window>, delivery: &Delivery) -> Self {
        let (width, frame) = (f64::from(delivery.frame.width), delivery.frame);
        let (across, down) = delivery.subject_at;
        let at = Vec2::new(across * width, down * f64::from(frame.height));
        let mut last: Option<Window> = None;
        let speeds: Vec<Vec2> = windows
            .filter_map(|window| {
                let before = last.replace(window)?;
                Some(at - window.to_frame(before.at(delivery.subject_at), frame).to_vec2())
            })
            .collect();
        let still = STILL * width;
        let mut turns: Vec<f64> = speeds
            .windows(2)
            .filter(|pair| pair.iter().any(|speed| speed.hypot() > still))
            .map(|pair| (pair[1] - pair[0]).hypot())
            .collect();
        let middle = turns.len() / 2;
        let median = if turns.is_empty() { 0.0 } else { *turns.select_nth_unstable_by(middle, f64::total_cmp).1 };
        let rate = delivery.fps.per_second();
        let soft = width / SECONDS_A_WIDTH / SOFT / rate.powi(2);
        let unseen = UNSEEN * width * (24.0 / rate).powi(2);
        Self { speeds, bend: (MOST * median).max(soft), corner: (MOST * median).max(unseen), still }
    }

    /// How hard the window turns at a frame, and how hard it may: with `along` however it does, otherwise only to the
    /// side. Setting off and arriving are no turns.
    fn turn(&self, frame: usize, along: bool) -> (f64, f64) {
        let Some([before, after]) = frame.checked_sub(1).and_then(|first| self.speeds.get(first..first + 2)) else {
            return (0.0, self.bend);
        };
        let product = before.hypot() * after.hypot();
        if before.hypot() <= self.still || after.hypot() <= self.still {
            return (0.0, self.bend);
        }
        let bar = if before.dot(*after) < CORNER * product { self.corner } else { self.bend };
        let turn = if along || before.dot(*after) < 0.0 {
            (*after - *before).hypot()
        } else {
            before.cross(*after).abs() / before.hypot().max(after.hypot())
        };
        (turn, bar)
    }
}

/// A key that is passed too fast for the turn there.
pub(super) struct TooFast {
    /// Its pin's number.
    pub(super) pin: usize,
    /// How many times harder than it may the window turns there, above 1.
    pub(super) times: f64,
}

/// Every inner key that is.
pub(super) fn too_fast(keyed: &Keyed, delivery: &Delivery) -> Vec<TooFast> {
    let rate = delivery.fps.per_second();
    #[expect(clippy::cast_possible_truncation, reason = "frames of a clip")]
    let frame = |time: f64| (time * rate).round() as i64;
    let times: Vec<f64> = keyed.pins().map(|pin| pin.at).collect();
    let (Some(begins), Some(ends)) = (times.first(), times.last()) else { return Vec::new() };
    let span = (frame(*begins) - 1, frame(*ends) + 2);
    // They may lie before the clip's first.
    let windows = (span.0..span.1).map(|frame| keyed.window(&keyed.spot(delivery.fps.time_around(frame))));
    let motion = Motion::of(windows, delivery);
    let mut found = Vec::new();
    for pin in 1..times.len().saturating_sub(1) {
        if [pin, pin + 1].into_iter().any(|leg| keyed.leg_to(leg).is_none_or(|leg| !eases_evenly(leg))) {
            continue;
        }
        let near = |other: f64| (NEAR).min((other - times[pin]).abs() / 2.0);
        let from = frame(times[pin] - near(times[pin - 1])) - span.0;
        let to = frame(times[pin] + near(times[pin + 1])) - span.0;
        let sharpest = (from..=to).filter_map(|frame| usize::try_from(frame).ok());
        let times = sharpest.map(|frame| motion.turn(frame, true)).map(|(turn, bar)| turn / bar).fold(0.0, f64::max);
        if times > 1.0 {
            found.push(TooFast { pin, times });
        }
    }
    found
}

/// Whether a leg moves without a jump of its own.
fn eases_evenly(leg: &super::leg::Leg) -> bool {
    !matches!(leg.ease, Ease::Steps { .. }) && !matches!(leg.shape, Shape::Rest)
}

/// What is said of a delivery whose windows turn too fast.
pub(super) fn remark(keyed: &Keyed, delivery: &Delivery, rows: &[Row]) -> Option<Diagnostic> {
    let has_corners = keyed.pins().nth(2).is_some();
    let has_bends = keyed
        .pins()
        .enumerate()
        .any(|(pin, _)| keyed.leg_to(pin).is_some_and(|leg| matches!(leg.shape, Shape::Line { .. })));
    if !has_corners && !has_bends {
        return None;
    }
    let motion = Motion::of(rows.iter().map(|row| row.window), delivery);
    let (mut frames, mut most, mut allowed, mut sharpest) = (Ranges::default(), 0.0, 0.0, 0);
    for frame in 1..rows.len().saturating_sub(1) {
        let time = |frame: usize| delivery.fps.time_of(frame as u64).0;
        let spots = [frame - 1, frame, frame + 1].map(|frame| keyed.spot(time(frame)));
        let legs = spots.iter().map(|spot| match spot {
            Spot::Leg(number, leg, _) => Some((*number, *leg)),
            Spot::Pin(_) => None,
        });
        let Some(legs) = legs.collect::<Option<Vec<_>>>() else { continue };
        if legs.iter().any(|(_, leg)| !eases_evenly(leg)) {
            continue;
        }
        let at_key = legs[0].0 != legs[2].0;
        if keyed.straight() && !at_key {
            continue;
        }
        let (turn, bar) = motion.turn(frame, at_key);
        if turn > bar {
            frames.add(frame);
            if turn > most {
                (most, allowed, sharpest) = (turn, bar, legs[0].0);
            }
        }
    }
    if frames.is_empty() {
        return None;
    }
    let message = format!(
        "'{}' turns sharply in {}: from one frame to the next its speed changes by up to {} pixels a frame, and a soft turn of \
         this move stays below {}",
        delivery.name,
        frames.frames(),
        words::figure(most),
        words::figure(allowed)
    );
    let key = &keyed.pin(sharpest).key;
    let remark = Diagnostic::remark(message).at(&key.place).over(&delivery.name, frames.runs());
    Some(if keyed.straight() {
        remark
            .help("stop = true in this key comes to rest there")
            .help("or path = \"smooth\" in the framing rounds the corner")
    } else {
        remark.help("a rounder line there: keys farther apart, or in a drawing C or Q in place of L")
    })
}
