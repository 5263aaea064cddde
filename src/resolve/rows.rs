//! What every frame of a delivery comes to: a position, a still, a window inside it.

use crate::curve::pace::PaceMap;
use crate::curve::track::Spot;
use crate::curve::zoom;
use crate::diag::{Diagnostic, Diagnostics};
use crate::plan::{DeliveryPlan, Row};
use crate::shot::Delivery;
use crate::units::{ScreenTime, Size};

use super::axis::Axis;
use super::blend;
use super::framing::Framed;
use super::views;
use super::words::{self, Ranges};

/// How far outside the still a window may be by rounding alone, in pixels.
const ROUNDING: f64 = 1e-6;

/// What a delivery's rows are made from.
pub(super) struct Sheet<'a> {
    pub(super) delivery: &'a Delivery,
    pub(super) track: &'a Framed<'a>,
    pub(super) pace: &'a PaceMap,
    pub(super) axis: &'a Axis,
    pub(super) still: Size,
    pub(super) length: ScreenTime,
}

/// Frames on the way to one key whose windows would leave the still, and by how many pixels at most.
struct Astray {
    key: usize,
    frames: Ranges,
    most: f64,
}

/// One row a frame. An ease that overshoots out of the still is a mistake in `found`, with its frames.
pub(super) fn lay_out(sheet: &Sheet<'_>, found: &mut Diagnostics) -> DeliveryPlan {
    let delivery = sheet.delivery;
    let frames = delivery.fps.frames_in(sheet.length).max(1);
    let mut rows = Vec::with_capacity(usize::try_from(frames).unwrap_or(0));
    let mut astray: Vec<Astray> = Vec::new();
    for frame in 0..frames {
        let before = rows.last().map_or(0.0, |row: &Row| row.position);
        let position = sheet.pace.position_of_frame(frame, delivery.fps);
        let time = delivery.fps.time_of(frame).0;
        let end = blend::reach(sheet, position, time, position - before);
        let (place, blend) = blend::shares(&sheet.axis.places, position, end);
        let spot = sheet.track.track.spot(time);
        let keys = sheet.track.track.keys();
        let mut window = match spot {
            Spot::Key(key) => keys[key].value,
            Spot::Way { to, progress } => {
                let window = zoom::between(keys[to - 1].value, keys[to].value, progress);
                let outside = outside(window, sheet.still);
                if outside > ROUNDING {
                    stray(&mut astray, to, rows.len(), outside);
                    keys[to].value
                } else {
                    window
                }
            }
        };
        // Rounding alone is left here; the sampler refuses even that.
        if !window.inside(sheet.still, 0.0) {
            window = window.moved_inside(sheet.still);
        }
        rows.push(Row { position, slot: place.slot, shown: place.shown, stand_in: place.stand_in, window, blend });
    }
    for stray in astray {
        let key = &sheet.track.keys[stray.key];
        let by = if stray.most.is_finite() { format!("by up to {} px", words::figure(stray.most)) } else { "without end".into() };
        found.push(
            Diagnostic::mistake(format!(
                "the ease to this key overshoots out of the still in '{}', {by}: {}",
                delivery.name,
                stray.frames.frames()
            ))
            .at(&key.place)
            .word("ease")
            .with(&sheet.track.keys[stray.key - 1].place, "the key before")
            .help(
                "an ease whose output stays between 0 and 1, such as \"ease-in-out\"; or windows further from the still's edge",
            ),
        );
    }
    DeliveryPlan {
        name: delivery.name.clone(),
        frame: delivery.frame,
        fps: delivery.fps,
        codec: delivery.codec.clone(),
        sharpness: delivery.sharpness,
        light: delivery.blend.light,
        rows,
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

/// How far a window lies outside the still, in pixels; endless where it is no window at all.
fn outside(window: crate::geom::Window, still: Size) -> f64 {
    let sides = [
        -window.x,
        -window.y,
        window.right() - f64::from(still.width),
        window.bottom() - f64::from(still.height),
        views::NARROWEST - window.width.min(window.height) - ROUNDING,
    ];
    if sides.iter().all(|side| side.is_finite()) { sides.into_iter().fold(0.0, f64::max) } else { f64::INFINITY }
}
