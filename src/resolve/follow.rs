//! A subject that is followed: what each delivery's window is asked to do about it, and what is
//! said where it cannot.
//!
//! A subject is where it is at a still, so its box is a function of the shoot's position alone: whatever the pace, the
//! rate or the fit, a still is always asked to show the same box. A frame is asked to keep the boxes of all stills it
//! shows.
//!
//! ## Decisions
//!
//! - Keys of a follow lie on the shoot's axis (`"start"` and `"end"` are the first and the last still), are joined
//!   straight along it, shaped by their eases and cut off at the still's edges, and hold beyond the first and last.
//! - `margin` is kept free within the delivery's `safe` box: both are fractions of the frame's side and add up. Without
//!   `place` the subject tends to the middle of the safe box.
//! - Where no window of the shape can keep the subject, the frames are named; `strict` refuses.

use kurbo::Rect;

use crate::curve::follow::{self, Lens};
use crate::curve::smoothing::accelerations;
use crate::curve::track::{Key, Spot};
use crate::diag::{Diagnostic, Diagnostics};
use crate::geom::{Margins, Window};
use crate::plan::{FollowReason, KeyedBox, Way};
use crate::shot::{Closeness, StillBox};

use super::due::{Due, Sheet};
use super::resolved::Seen;
use super::steady::Bounds;
use super::subject::Followed;
use super::times::number;
use super::views;
use super::words::{self, Ranges};

/// The most frames of a delivery that follows: all of them are solved for at once, at about a kilobyte each.
pub(super) const MOST_FOLLOWED: usize = 1_000_000;

/// A window farther outside the still than this, in pixels, was not found: nothing is clamped in its place.
const UNFOUND: f64 = 1e-3;

/// The window of every frame, inside the still; none where `found` says why not.
pub(super) fn windows(sheet: &Sheet<'_>, followed: &Followed, due: &[Due], found: &mut Diagnostics) -> Vec<Window> {
    let Some(lens) = lens(sheet, followed, due.len(), found) else { return Vec::new() };
    let per_second = sheet.delivery.fps.per_second();
    let boxes: Vec<Rect> = due
        .iter()
        .map(|due| match &due.blend[..] {
            [] => followed.subject_in(sheet.axis, sheet.bounds.still, [due.place.shown]),
            shares => followed.subject_in(sheet.axis, sheet.bounds.still, shares.iter().map(|share| share.shown)),
        })
        .collect();
    let mut path =
        if sheet.looped { round(&boxes, &lens, per_second) } else { follow::follow(&boxes, &lens, per_second) };
    if path.windows.iter().any(|window| !window.inside(sheet.bounds.room, UNFOUND)) {
        found.push(
            Diagnostic::mistake(format!("no path that keeps to the still was found in '{}'", sheet.delivery.name))
                .at(&followed.place)
                .help("fewer keys, or boxes that change less from key to key"),
        );
        return Vec::new();
    }
    for window in &mut path.windows {
        // Rounding alone is left here; the sampler refuses even that.
        if !window.inside(sheet.bounds.room, 0.0) {
            *window = window.moved_inside(sheet.bounds.room);
        }
    }
    if !path.missed.is_empty() {
        found.push(missed(sheet, followed, &lens, &boxes, &path));
    }
    path.windows
}

/// The path of a subject that comes round: that of the middle one of three laps.
fn round(boxes: &[Rect], lens: &Lens, frames_a_second: f64) -> follow::Followed {
    let frames = boxes.len();
    let path = follow::follow(&boxes.repeat(3), lens, frames_a_second);
    let lap = frames..2 * frames;
    let missed = path.missed.into_iter().filter(|frame| lap.contains(frame)).map(|frame| frame - frames).collect();
    follow::Followed { windows: path.windows[lap].to_vec(), missed }
}

/// What the delivery's window looks through; nothing where `found` says why not.
fn lens(sheet: &Sheet<'_>, followed: &Followed, frames: usize, found: &mut Diagnostics) -> Option<Lens> {
    let (delivery, place) = (sheet.delivery, &followed.place);
    let mut refuse = |mistake: Diagnostic| {
        found.push(mistake.at(place));
        None
    };
    if frames > MOST_FOLLOWED {
        return refuse(
            Diagnostic::mistake(format!(
                "'{}' has {frames} frames; a follow takes at most {MOST_FOLLOWED}",
                delivery.name
            ))
            .help("a faster pace, a lower fps, or keys of a framing { … }"),
        );
    }
    let margin = followed.follow.margin;
    if !(0.0..0.5).contains(&margin) {
        let message = format!("margin must be from 0 to below 0.5; seen {}", words::figure(margin));
        return refuse(Diagnostic::mistake(message).word("margin"));
    }
    let margins = followed.margins(delivery.safe);
    if margins.left + margins.right >= 1.0 || margins.top + margins.bottom >= 1.0 {
        let mistake = Diagnostic::mistake(format!(
            "margin {} leaves nothing of the safe box of '{}'",
            words::figure(margin),
            delivery.name
        ));
        return refuse(mistake.word("margin").with(&delivery.place, "the delivery").help("a smaller margin"));
    }
    let aspect = delivery.frame.aspect();
    let Bounds { still, room } = sheet.bounds;
    let largest = Window::largest(room, aspect, 0.0).width;
    let narrowest = views::NARROWEST * aspect.max(1.0);
    let width = match followed.follow.closeness {
        None => None,
        Some(closeness) => {
            let (asked, name, value) = match closeness {
                Closeness::Zoom(zoom) => (largest / zoom, "zoom", zoom),
                Closeness::Span(span) => (f64::from(still.width) * span, "span", span),
            };
            if !(asked.is_finite() && value > 0.0) {
                let message = format!("{name} must be above 0; seen {}", words::figure(value));
                return refuse(Diagnostic::mistake(message).word(name));
            }
            if asked < narrowest {
                let what = "makes a window of less than one pixel of the still in";
                let mistake =
                    Diagnostic::mistake(format!("{name} {} {what} '{}'", words::figure(value), delivery.name));
                return refuse(mistake.word(name).help("a smaller zoom, or a larger span"));
            }
            if asked > largest + UNFOUND {
                let most = match closeness {
                    Closeness::Zoom(_) => "zoom 1".to_owned(),
                    Closeness::Span(_) => format!("span {}", words::figure_below(largest / f64::from(still.width))),
                };
                let message = format!(
                    "the window would be larger than {}{}: '{}' {} {most} for {name} {}",
                    sheet.bounds.words(),
                    if sheet.strict { ", which strict refuses" } else { " and becomes the largest that fits" },
                    delivery.name,
                    if sheet.strict { "would show" } else { "shows" },
                    words::figure(value)
                );
                let said = if sheet.strict { Diagnostic::mistake(message) } else { Diagnostic::remark(message) };
                found.push(said.at(place).word(name));
            }
            Some(asked.min(largest))
        }
    };
    Some(Lens { room, aspect, place: delivery.subject_at, margins, width, narrowest })
}

/// What is said of frames that no window can keep the subject in; refused where it must be.
fn missed(sheet: &Sheet<'_>, followed: &Followed, lens: &Lens, boxes: &[Rect], path: &follow::Followed) -> Diagnostic {
    let (mut frames, mut most, mut worst, mut cut) = (Ranges::default(), 0.0, "left", 0.0_f64);
    let mut widest = 0.0_f64;
    for frame in &path.missed {
        let (window, area) = (path.windows[*frame], boxes[*frame]);
        frames.add(*frame);
        for (side, beyond) in beyond(window, area, lens.margins) {
            if beyond > most {
                (most, worst) = (beyond, side);
            }
        }
        cut = beyond_sides(beyond(window, area, Margins::default())).max(cut);
        widest = widest.max(lens.least_width(area));
    }
    let percent = |share: f64| format!("{} %", words::figure_above((share * 100.0).max(1e-3)));
    let of_frame = if cut > 1e-6 {
        format!("and up to {} outside the frame", percent(cut))
    } else {
        "never outside the frame".into()
    };
    let message = format!(
        "no window of '{}' keeps the subject in its safe part in {}: it is up to {} of the frame outside it there, at the {worst}, {of_frame}",
        sheet.delivery.name,
        frames.frames(),
        percent(most)
    );
    let diagnostic = if sheet.strict { Diagnostic::mistake(message) } else { Diagnostic::remark(message) };
    let diagnostic = diagnostic.at(&followed.place).with(&sheet.delivery.place, "the delivery");
    let largest = Window::largest(sheet.bounds.room, lens.aspect, 0.0).width;
    match followed.follow.closeness {
        _ if widest > largest => {
            diagnostic.help("it is too large for the largest window: a smaller box, margin or safe inset has room")
        }
        Some(_) if lens.width.is_some_and(|width| width < widest) => diagnostic.help(format!(
            "zoom = {} at most has room for it; without zoom and span the window follows its size",
            words::figure_below(largest / widest)
        )),
        _ => {
            diagnostic.help("it comes too near the still's edge: a smaller margin or safe inset there has room for it")
        }
    }
}

/// How far a box reaches beyond the safe part of a window on each side, in fractions of the window's sides.
fn beyond(window: Window, area: Rect, margins: Margins) -> [(&'static str, f64); 4] {
    let (left, top) = ((area.x0 - window.x) / window.width, (area.y0 - window.y) / window.height);
    let (right, bottom) = ((window.right() - area.x1) / window.width, (window.bottom() - area.y1) / window.height);
    [
        ("left", margins.left - left),
        ("right", margins.right - right),
        ("top", margins.top - top),
        ("bottom", margins.bottom - bottom),
    ]
}

fn beyond_sides(beyond: [(&str, f64); 4]) -> f64 {
    beyond.into_iter().map(|(_, beyond)| beyond).fold(f64::NEG_INFINITY, f64::max)
}

impl Followed {
    /// Why a frame's window follows as it does.
    pub(super) fn reason(&self, seen: &Seen<'_>, index: usize, frame: usize) -> FollowReason {
        let (delivery, rows) = (&seen.shot.deliveries[index], &seen.made.plan.deliveries[index].rows);
        let (row, axis) = (&rows[frame], &seen.made.axis);
        let still = Window::whole(seen.shoot.size).rect();
        let area = self.subject_in(axis, seen.shoot.size, row.followed());
        let keyed = |key: usize| {
            let Key { at, value, .. } = &self.subject.keys()[key];
            KeyedBox { place: self.keys[key].clone(), position: *at, area: in_fractions(*value, still) }
        };
        let position = number(axis.place_of(row.shown));
        let way = match self.subject.spot(position) {
            Spot::Key(key) => Way::Holds(keyed(key)),
            Spot::Way { to, progress: eased } => {
                let (from, ease) = (keyed(to - 1), self.subject.keys()[to].ease.clone());
                let to = keyed(to);
                let progress = ((position - from.position) / (to.position - from.position)).max(0.0);
                Way::Between { from, to, progress, ease, eased }
            }
        };
        let windows: Vec<Window> = rows.iter().map(|row| row.window).collect();
        let (first, end) = (frame.saturating_sub(1), (frame + 2).min(windows.len()));
        let centre = row.window.to_frame(area.center(), delivery.frame);
        FollowReason {
            place: self.place.clone(),
            way,
            area: in_fractions(area, still),
            tracked: self.known(number(axis.place_of(row.shown))),
            sits: (centre.x / f64::from(delivery.frame.width), centre.y / f64::from(delivery.frame.height)),
            room: -beyond_sides(beyond(row.window, area, self.margins(delivery.safe))),
            speed: speed(&windows[first..=frame]),
            acceleration: accelerations(&windows[first..end]),
            most: accelerations(&windows),
        }
    }
}

pub(super) fn in_fractions(area: Rect, still: Rect) -> StillBox {
    StillBox {
        x: area.x0 / still.width(),
        y: area.y0 / still.height(),
        width: area.width() / still.width(),
        height: area.height() / still.height(),
    }
}

/// How far the edges moved, across and down.
pub(super) fn speed(windows: &[Window]) -> (f64, f64) {
    let edges = |window: &Window| [window.x, window.right(), window.y, window.bottom()];
    match windows {
        [before, now] => {
            let (before, now) = (edges(before), edges(now));
            let moved = |edge: usize| (now[edge] - before[edge]).abs();
            (moved(0).max(moved(1)), moved(2).max(moved(3)))
        }
        _ => (0.0, 0.0),
    }
}
