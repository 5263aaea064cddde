//! Where most happens: what each delivery's window is asked to hold, and what is said where nothing moves.
//!
//! A window of one size goes, in steps of about a quarter of a second, where it holds most of what moves in the
//! stills it shows (`curve::dwell`); it goes only where that pays, so it rests where nothing moves and does not run
//! after what comes and goes. The smoothest path (`curve::follow`) through these places is what is shown.
//!
//! ## Decisions
//!
//! - `calm` is one dial for two figures: for how long a window must hold what usually happens for a move by its own
//!   side to pay (`PATIENCE`), and how slowly it gives in to that (`LEANS`).
//! - What is held is held in the delivery's `safe` box. `place` has no say: nobody knows where in what moves its
//!   middle is.
//! - A shoot in which nothing moves is shown from the middle, and that is said.

use crate::curve::dwell::{Stage, dwell};
use crate::curve::follow::{Affine, Needs, Side, smoothest};
use crate::curve::smoothing::accelerations;
use crate::diag::{Diagnostic, Diagnostics};
use crate::geom::Window;
use crate::plan::ActionReason;

use super::acts::{Acting, Acts};
use super::due::{Due, Sheet};
use super::follow::{self, MOST_FOLLOWED};
use super::resolved::Seen;
use super::times::number;
use super::views;
use super::words;

/// Seconds for which a window must hold what usually happens for a move by its own side to pay, at a calm of 1 …
const PATIENCE: f64 = 0.6;
/// … and over which it gives in to a move.
const LEANS: f64 = 0.85;
/// The least of the latter, at a calm of 0, in seconds.
const LEAST: f64 = 0.05;
/// Places are chosen this many times a second, or less often in clips of hours.
const KNOTS_A_SECOND: f64 = 4.0;
const MOST_KNOTS: usize = 4000;
/// A window that moves less than this in a frame, in pixels of the still, rests.
const RESTS: f64 = 0.05;
/// Below so many tiles' worth in all of a clip nothing moves.
const NOTHING: f64 = 1.0;

/// The window of every frame, inside the still; none where `found` says why not.
pub(super) fn windows(sheet: &Sheet<'_>, acting: &Acting, due: &[Due], found: &mut Diagnostics) -> Vec<Window> {
    let (delivery, place) = (sheet.delivery, &acting.place);
    if due.len() > MOST_FOLLOWED {
        let message = format!("'{}' has {} frames; an action takes at most {MOST_FOLLOWED}", delivery.name, due.len());
        found.push(
            Diagnostic::mistake(message).at(place).help("a faster pace, a lower fps, or keys of a framing { … }"),
        );
        return Vec::new();
    }
    let (aspect, room) = (delivery.frame.aspect(), sheet.bounds.room);
    let largest = Window::largest(room, aspect, 0.0);
    let width = largest.width / acting.action.zoom.max(1.0);
    let height = width / aspect;
    if width.min(height) < views::NARROWEST {
        let zoom = words::figure(acting.action.zoom);
        let message = format!("zoom {zoom} makes a window of less than one pixel of the still in '{}'", delivery.name);
        found.push(Diagnostic::mistake(message).at(place).word("zoom").help("a smaller zoom"));
        return Vec::new();
    }
    let middle = Window::around(room.centre(), width, height);
    let inside = |window: Window| if window.inside(room, 0.0) { window } else { window.moved_inside(room) };
    let Some(acts) = &acting.acts else { return vec![inside(middle); due.len()] };
    let per_second = delivery.fps.per_second();
    let frames = frames_a_knot(per_second, due.len());
    let (knots, sum) = knots(acts, due, frames);
    let stage = stage(acts, sheet, (width, height));
    let calm = acting.action.calm.clamp(0.0, 1.0);
    let patience = PATIENCE * calm * per_second / number(frames);
    let lap = if sheet.looped { 3 } else { 1 };
    let knots: Vec<Vec<f32>> = (0..lap).flat_map(|_| knots.iter().cloned()).collect();
    let Some(path) = (sum >= NOTHING).then(|| dwell(&knots, &stage, patience)).flatten() else {
        found.push(
            Diagnostic::remark(format!(
                "nothing moves in the stills of '{}': its window rests in the middle",
                delivery.name
            ))
            .at(place)
            .word("action"),
        );
        return vec![inside(middle); due.len()];
    };
    let tile = acts.tile();
    let per_lap = path.len() / lap;
    let needs: Vec<Needs> = (0..lap * due.len())
        .map(|frame| {
            let knot = frame / due.len() * per_lap + frame % due.len() / frames;
            let corner = [0, 1].map(|side| path[knot][side] * tile[side]);
            let line = |low: f64, high: f64| {
                let flat = |at: f64| [Affine { at, slope: 0.0 }; 2];
                Side { lows: flat(low), highs: flat(high.max(low)) }
            };
            let sides = [
                line(room.left + width / 2.0, room.right - width / 2.0),
                line(room.top + height / 2.0, room.bottom - height / 2.0),
            ];
            let target = [corner[0] + width / 2.0, corner[1] + height / 2.0, width];
            Needs { target, width: (width, width), sides }
        })
        .collect();
    let leans = (LEANS * calm).max(LEAST) * per_second;
    let half = 0.5 / aspect;
    let points = smoothest(&needs, [2.0, 2.0, 0.5 + 2.0 * half * half], leans);
    let from = if lap == 3 { due.len() } else { 0 };
    let window = |[x, y, _]: &[f64; 3]| inside(Window::new(x - width / 2.0, y - height / 2.0, width, height));
    points[from..from + due.len()].iter().map(window).collect()
}

/// Frames for which one place is chosen.
fn frames_a_knot(per_second: f64, frames: usize) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a frame rate")]
    let usual = (per_second / KNOTS_A_SECOND).round().max(1.0) as usize;
    usual.max(frames.div_ceil(MOST_KNOTS))
}

/// What happens in the frames of each knot, and in all of them.
fn knots(acts: &Acts, due: &[Due], frames: usize) -> (Vec<Vec<f32>>, f64) {
    let [across, down] = acts.tiles();
    let (mut last, mut sum) = (None, 0.0);
    let one = |due: &[Due]| {
        let mut knot = vec![0.0; across * down];
        for due in due {
            let slot = due.place.shown;
            if last.as_ref().is_none_or(|(known, _)| *known != slot) {
                last = Some((slot, acts.at(slot)));
            }
            let tiles = last.iter().flat_map(|(_, tiles)| tiles);
            knot.iter_mut().zip(tiles).for_each(|(knot, tile)| *knot += tile);
        }
        sum += knot.iter().map(|tile| f64::from(*tile)).sum::<f64>();
        knot
    };
    let knots = due.chunks(frames).map(one).collect();
    (knots, sum)
}

/// What the window looks at, in tiles.
fn stage(acts: &Acts, sheet: &Sheet<'_>, (width, height): (f64, f64)) -> Stage {
    let tile = acts.tile();
    let [from, to] = acts.in_tiles(sheet.bounds.room);
    let safe = sheet.delivery.safe;
    let window = [width / tile[0], height / tile[1]];
    let inner = [safe.left * window[0], safe.top * window[1]];
    let held = [(1.0 - safe.left - safe.right) * window[0], (1.0 - safe.top - safe.bottom) * window[1]];
    Stage { tiles: acts.tiles(), from, to, window, inner, held }
}

impl Acting {
    /// Why a frame's window is where it is.
    pub(super) fn reason(&self, seen: &Seen<'_>, index: usize, frame: usize) -> Option<ActionReason> {
        let acts = self.acts.as_ref()?;
        let rows = &seen.made.plan.deliveries[index].rows;
        let row = rows.get(frame)?;
        let tiles = acts.at(row.shown);
        let moves: f64 = tiles.iter().map(|tile| f64::from(*tile)).sum();
        let size = acts.tile();
        let whole = Stage {
            tiles: acts.tiles(),
            from: [0.0; 2],
            to: acts.tiles().map(number),
            window: [row.window.width / size[0], row.window.height / size[1]],
            inner: [0.0; 2],
            held: [row.window.width / size[0], row.window.height / size[1]],
        };
        let holds = whole.holds(&tiles, [row.window.x / size[0], row.window.y / size[1]]);
        let windows: Vec<Window> = rows.iter().map(|row| row.window).collect();
        let (first, end) = (frame.saturating_sub(1), (frame + 2).min(windows.len()));
        let speed = follow::speed(&windows[first..=frame]);
        Some(ActionReason {
            place: self.place.clone(),
            moves,
            tiles: tiles.len(),
            held: (moves > 0.0).then(|| (holds / moves).min(1.0)),
            area: acts.busiest(&tiles).map(|area| follow::in_fractions(area, Window::whole(seen.shoot.size).rect())),
            rests: speed.0.max(speed.1) < RESTS,
            speed,
            acceleration: accelerations(&windows[first..end]),
            most: accelerations(&windows),
        })
    }
}
