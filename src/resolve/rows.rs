//! What every frame of a delivery comes to: a position, a still, a window inside it.
//!
//! ## Decisions
//!
//! - A shot has ten million frames at most, over all its deliveries, because every row is held in memory.

use std::ops::Range;

use crate::curve::pace::PacePoint;
use crate::curve::smoothing::{self, Tie};
use crate::diag::{Diagnostic, Diagnostics};
use crate::geom::{Room, Window};
use crate::plan::Share;
use crate::shot::{Between, Blend};

use super::action;
use super::axis::OnAxis;
use super::blend::{self, Span};
use super::crossfade;
use super::due::{Due, Laid, Sheet};
use super::follow;
use super::framing::Framed;
use super::gather;
use super::leg::{Keyed, Leg, Spot};
use super::steady::Bounds;
use super::times::number;
use super::views;
use super::words::{self, Ranges};

/// How far outside the still a window may be by rounding alone, in pixels.
const ROUNDING: f64 = 1e-6;

/// How many of the still's longer sides a path may lead out of it and still be bent; beyond it something was mistyped.
const FARTHEST: f64 = 2.0;

/// A window farther outside the still than this, in pixels, after bending was not bent: nothing is clamped in its
/// place.
const UNBENT: f64 = 1e-3;

/// What a bend changes by more than this many pixels is said to be bent.
const SAID: f64 = 0.01;

/// Frames on the way to one key whose windows would leave the still, and by how many pixels at most.
struct Astray {
    key: usize,
    frames: Ranges,
    most: f64,
}

/// Lays out one frame a row. A path that would leave the still is bent, with its frames in `found`.
pub(super) fn lay_out(sheet: &Sheet<'_>, found: &mut Diagnostics) -> Vec<Laid> {
    let delivery = sheet.delivery;
    if delivery.every_still {
        return every_still(sheet);
    }
    let turns = sheet.pace.turns();
    let frames = i64::try_from(delivery.fps.frames_in(sheet.length).max(1)).unwrap_or(i64::MAX);
    let due: Vec<Due> = (0..frames).map(|frame| due(sheet, frame, turns)).collect();
    let windows = match sheet.track {
        Framed::Largest(window) => vec![held_inside(*window, sheet.bounds.room); due.len()],
        Framed::Keyed(keyed) => windows(sheet, keyed, found),
        Framed::Following(followed) => follow::windows(sheet, followed, &due, found),
        Framed::Listed(listed) => listed.windows().collect(),
        Framed::Acting(acting) => action::windows(sheet, acting, &due, found),
    };
    due.into_iter().zip(windows).collect()
}

/// A master's frames: one for every place of the axis that has a whole still of its own, all of it, or as much as
/// steadying leaves.
fn every_still(sheet: &Sheet<'_>) -> Vec<Laid> {
    let window = Window::largest(sheet.bounds.room, sheet.delivery.frame.aspect(), 0.0).moved_inside(sheet.bounds.room);
    let own = sheet.axis.places.iter().enumerate().filter(|(_, place)| place.slot == place.shown);
    let due = |(index, place): (usize, &OnAxis)| {
        let place = OnAxis { stand_in: None, ..*place };
        Due { position: number(index), place, blend: Vec::new(), invented: false, kept_from: None, gather: None }
    };
    own.map(|own| (due(own), window)).collect()
}

/// What a frame is due to show; `turns` says whether the pace turns back anywhere.
pub(super) fn due(sheet: &Sheet<'_>, frame: i64, turns: bool) -> Due {
    let stand = sheet.pace.stand_of_frame(frame, sheet.delivery.fps);
    let Stills { mut stills, mut invented, kept_from, gather } = stills(sheet, frame, stand, turns);
    let mix = sheet.pace.lead();
    if mix > 0.0 {
        let fps = sheet.delivery.fps;
        let lap = fps.frames_in(sheet.length);
        let gone = (fps.time_around(frame) - (fps.time_of(lap).0 - mix)) / mix;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 65,536")]
        let gone = (gone.clamp(0.0, 1.0) * f64::from(Share::WHOLE)).round() as u32;
        if gone > 0 {
            let earlier = frame.saturating_sub_unsigned(lap);
            let begins = sheet.pace.stand_of_frame(earlier, fps);
            stills =
                crossfade::cross(stills, self::stills(sheet, earlier, begins, turns).stills, gone, begins.backwards);
            invented = false;
        }
    }
    let (place, blend) = stills;
    Due { position: stand.position, place, blend, invented, kept_from, gather }
}

/// What a frame is made of in its own lap of a loop.
struct Stills {
    /// The place whose turn it is, and the stills with their weights.
    stills: (OnAxis, Vec<Share>),
    /// Whether it is invented between them.
    invented: bool,
    /// The break without which it would be made of more.
    kept_from: Option<usize>,
    /// The places that it gathers light from.
    gather: Option<Range<usize>>,
}

fn stills(sheet: &Sheet<'_>, frame: i64, stand: PacePoint, turns: bool) -> Stills {
    let places = &sheet.axis.places;
    let alone = || (places[stand.whole().min(places.len() - 1)], Vec::new());
    if let Some(gathers) = sheet.gathers {
        let span = Span::of(sheet, stand, sheet.delivery.fps.time_around(frame), 0.0);
        let (gathered, kept_from) = gather::places(gathers, sheet, stand, &span);
        let stills = if gathered.len() == 1 { (places[gathered.start], Vec::new()) } else { alone() };
        return Stills { stills, invented: false, kept_from, gather: Some(gathered) };
    }
    if sheet.delivery.blend == Blend::default() {
        return Stills { stills: alone(), invented: false, kept_from: None, gather: None };
    }
    let fps = sheet.delivery.fps;
    let (time, before) = (fps.time_around(frame), fps.time_around(frame - 1));
    // Nothing lies before the pace begins.
    let begins = -sheet.pace.lead();
    let came_on = if before < begins {
        (stand.position - sheet.pace.position(begins)).abs()
    } else if turns {
        blend::length(&sheet.pace.legs(before, time))
    } else {
        (stand.position - sheet.pace.stand_of_frame(frame - 1, fps).position).abs()
    };
    let span = Span::of(sheet, stand, time, came_on);
    let stills = span.shares(places, &span.side(sheet.axis));
    let invented = span.least && sheet.delivery.blend.between == Between::Motion && stills.1.len() == 2;
    Stills { stills, invented, kept_from: span.kept_from(sheet.axis), gather: None }
}

/// The window of every frame from key to key, inside the still.
fn windows(sheet: &Sheet<'_>, keyed: &Keyed, found: &mut Diagnostics) -> Vec<Window> {
    let (fps, Bounds { still, room }) = (sheet.delivery.fps, sheet.bounds);
    let frames = fps.frames_in(sheet.length).max(1);
    let mut astray: Vec<Astray> = Vec::new();
    let mut windows = Vec::with_capacity(usize::try_from(frames).unwrap_or(0));
    for frame in 0..frames {
        let spot = keyed.spot(fps.time_of(frame).0);
        let window = keyed.window(&spot);
        let outside = outside(window, room);
        if outside > ROUNDING {
            let (Spot::Pin(key) | Spot::Leg(key, ..)) = spot;
            stray(&mut astray, key, windows.len(), outside);
        }
        windows.push(window);
    }
    let farthest = FARTHEST * f64::from(still.width.max(still.height));
    if astray.iter().any(|stray| !stray.most.is_finite() || stray.most > farthest) {
        for stray in astray.iter().filter(|stray| !stray.most.is_finite() || stray.most > farthest) {
            found.push(too_far(sheet, keyed, stray));
        }
        return Vec::new();
    }
    if let Some(worst) = astray.iter().max_by(|one, other| one.most.total_cmp(&other.most)) {
        let narrowest = views::NARROWEST * sheet.delivery.frame.aspect().max(1.0);
        let ties = keyed.ties(fps, windows.len());
        let bent = if sheet.looped {
            bend_round(&windows, room, narrowest, &ties, fps.per_second())
        } else {
            smoothing::bend(&windows, room, narrowest, &ties, fps.per_second())
        };
        if bent.windows.iter().any(|window| !window.inside(room, UNBENT)) {
            found.push(too_far(sheet, keyed, worst));
            return Vec::new();
        }
        found.push(said((sheet, keyed), worst, &windows, &bent));
        windows = bent.windows;
    }
    windows.into_iter().map(|window| held_inside(window, room)).collect()
}

/// A window that leaves the room by rounding alone, moved inside: the sampler refuses even that.
fn held_inside(window: Window, room: Room) -> Window {
    if window.inside(room, 0.0) { window } else { window.moved_inside(room) }
}

/// The bend of a path that goes round: that of the middle one of three laps.
fn bend_round(lap: &[Window], room: Room, narrowest: f64, ties: &[Tie], frames_a_second: f64) -> smoothing::Bent {
    let frames = lap.len();
    let later = |laps: usize| {
        ties.iter().map(move |tie| match *tie {
            Tie::Key(frame, beyond) => Tie::Key(frame + laps * frames, beyond),
            Tie::Rest(frame) => Tie::Rest(frame + laps * frames),
        })
    };
    let ties: Vec<Tie> = (0..3).flat_map(later).collect();
    let bent = smoothing::bend(&lap.repeat(3), room, narrowest, &ties, frames_a_second);
    smoothing::Bent { windows: bent.windows[frames..2 * frames].to_vec(), ..bent }
}

/// The mistake of a path that leads too far out of the still to be bent.
fn too_far(sheet: &Sheet<'_>, keyed: &Keyed, stray: &Astray) -> Diagnostic {
    let by = if stray.most.is_finite() {
        format!("by up to {} px", words::figure(stray.most))
    } else {
        "without end".into()
    };
    let (what, help) = if rolls_to(keyed, stray) {
        (
            "the window leads out of the still where it rolls on the way to this key",
            "less roll, a closer window, or a gentler ease",
        )
    } else if keyed.straight() {
        (
            "the ease to this key overshoots out of the still",
            "an ease whose output stays between 0 and 1, such as \"ease-in-out\"",
        )
    } else {
        ("the path to this key leads out of the still", "a smaller rho, a gentler ease, or keys nearer to one another")
    };
    let mistake = Diagnostic::mistake(format!(
        "{what} in '{}', {by}, too far to be bent: {}",
        sheet.delivery.name,
        stray.frames.frames()
    ));
    at_key(keyed, stray, mistake).help(help)
}

/// What is said of a path that was bent; refused where windows must not be moved.
fn said((sheet, keyed): (&Sheet<'_>, &Keyed), worst: &Astray, before: &[Window], bent: &smoothing::Bent) -> Diagnostic {
    let (mut frames, mut most) = (Ranges::default(), 0.0_f64);
    for (frame, (before, after)) in before.iter().zip(&bent.windows).enumerate() {
        let moved =
            [after.x - before.x, after.y - before.y, after.right() - before.right(), after.bottom() - before.bottom()];
        let moved = moved.into_iter().fold(0.0, |most: f64, edge| most.max(edge.abs()));
        if moved > SAID {
            frames.add(frame);
        }
        most = most.max(moved);
    }
    if frames.is_empty() {
        frames.add_run(0, before.len() - 1);
    }
    let would = format!(
        "'{}' would leave {} by up to {} px on the way to this key",
        sheet.delivery.name,
        sheet.bounds.words(),
        words::figure_above(worst.most),
    );
    let (most, over) = (words::figure_above(most), frames.frames());
    let diagnostic = if sheet.strict {
        let mistake =
            Diagnostic::mistake(format!("{would}, which strict refuses: it takes a bend of up to {most} px, {over}"));
        mistake.help("strict = false in the shot bends it")
    } else {
        Diagnostic::remark(format!("{would}; its path is bent, by up to {most} px: {over}"))
    };
    let diagnostic = diagnostic.over(&sheet.delivery.name, frames.runs());
    let diagnostic = at_key(keyed, worst, diagnostic).help(if rolls_to(keyed, worst) {
        "a window needs most room half-way through a roll: a closer window, or one further from the still's edge, needs no bend"
    } else if keyed.straight() {
        "an ease whose output stays between 0 and 1, such as \"ease-in-out\", needs no bend"
    } else {
        "a closer window, or one further from the still's edge, needs no bend"
    });
    if bent.widened > 1.0 {
        let times = words::figure_above(bent.widened);
        return diagnostic.help(format!(
            "the keys allow nothing gentler: it accelerates up to {times} times as hard as the path does elsewhere; moving a key \
             in time or away from the edge helps"
        ));
    }
    diagnostic
}

fn rolls_to(keyed: &Keyed, stray: &Astray) -> bool {
    keyed.leg_to(stray.key).is_some_and(Leg::rolls)
}

fn at_key(keyed: &Keyed, stray: &Astray, diagnostic: Diagnostic) -> Diagnostic {
    let diagnostic = diagnostic.at(&keyed.pin(stray.key).key.place);
    let word = if rolls_to(keyed, stray) { Some("roll") } else { keyed.straight().then_some("ease") };
    let diagnostic = match word {
        Some(word) => diagnostic.word(word),
        None => diagnostic,
    };
    match keyed.leg_to(stray.key) {
        Some(leg) => diagnostic.with(&leg.from.key.place, "the key before"),
        None => diagnostic,
    }
}

fn stray(astray: &mut Vec<Astray>, key: usize, frame: usize, outside: f64) {
    match astray.last_mut() {
        Some(last) if last.key == key => {
            last.frames.add(frame);
            last.most = last.most.max(outside);
        }
        _ => {
            let mut frames = Ranges::default();
            frames.add(frame);
            astray.push(Astray { key, frames, most: outside });
        }
    }
}

/// How far a window lies outside the room, in pixels; endless where it is no window at all.
fn outside(window: Window, room: Room) -> f64 {
    let bounds = window.bounds();
    let sides = [
        room.left - bounds.x,
        room.top - bounds.y,
        bounds.right() - room.right,
        bounds.bottom() - room.bottom,
        views::NARROWEST - window.width.min(window.height) - ROUNDING,
    ];
    if sides.iter().all(|side| side.is_finite()) { sides.into_iter().fold(0.0, f64::max) } else { f64::INFINITY }
}
