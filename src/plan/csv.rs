//! A plan as comma-separated values (RFC 4180): a line for each still of each frame, for spreadsheets and other programs.
//!
//! ## Decisions
//!
//! - Long form: a frame that is the mean of several stills, gathers their light, or is invented between two, has a line
//!   for each of them, so that columns are the same for every plan. A frame of one still has one line, with weight 1.
//!   Gathered stills have even weights, which say nothing of their part in the frame.
//! - Stills are counted from 1, as scripts and `plan` count them; frames from 0, as everywhere.
//! - Numbers have a dot and as many digits as read back to the very number of `plan --json`. Weights are exact: they are
//!   in parts of 65,536.

use super::{Layers, Plan, Row, Share};
use crate::geom::Window;
use crate::shoot::Shoot;
use crate::units::SlotIndex;

/// The columns, in order.
const HEAD: [&str; 24] = [
    // What is named, and where the frame stands.
    "shot",
    "delivery",
    "frame",
    "seconds",
    "position",
    // The still whose turn it is, and the still of this line.
    "turn",
    "still",
    "name",
    "captured",
    "stand_in",
    "weight",
    "made_as",
    // The window of the frame, over the first view.
    "x",
    "y",
    "width",
    "height",
    "roll",
    // The window as it lies over this line's still: another one where stills are steadied.
    "still_x",
    "still_y",
    "still_width",
    "still_height",
    "still_roll",
    "frame_width",
    "frame_height",
];

/// Some plans, each with its shoot, as one table under one line of headings. Lines end with a line feed; whoever writes
/// them ends them as RFC 4180 does.
#[must_use]
pub fn csv<'a>(plans: impl IntoIterator<Item = (&'a Plan, &'a Shoot)>) -> String {
    let lines = plans.into_iter().flat_map(|(plan, shoot)| {
        plan.deliveries.iter().flat_map(move |delivery| {
            delivery.rows.iter().enumerate().flat_map(move |(frame, row)| {
                let seconds = delivery.fps.time_of(frame as u64).0;
                let begin = [plan.shot.clone(), delivery.name.clone(), frame.to_string(), seconds.to_string()];
                let size = [delivery.frame.width.to_string(), delivery.frame.height.to_string()];
                stills(row, shoot).map(move |still| {
                    let mut fields = begin.iter().cloned().chain(still).chain(size.iter().cloned());
                    std::array::from_fn(|_| fields.next().unwrap_or_default())
                })
            })
        })
    });
    crate::table::write(HEAD, lines)
}

/// The fields of each still of a frame, from `position` to `still_roll`.
fn stills<'a>(row: &'a Row, shoot: &'a Shoot) -> impl Iterator<Item = Vec<String>> + 'a {
    let made_as = match &row.layers {
        Layers::One(_) => "still",
        Layers::Mean(_) => "mean",
        Layers::Between(_) => "between",
        Layers::Gathered(gathered) => gathered.by.keyword(),
    };
    row.layers.each().map(move |(layer, weight)| {
        let slot = layer.slot();
        let captured = shoot.captured(slot).map(|captured| match captured.offset {
            None => captured.local.to_string(),
            Some(offset) => format!("{}{}", captured.local, offset_in_words(offset)),
        });
        let stand_in = layer.stand_in.as_ref().map(|other| number(other.still.slot));
        let name = shoot.slots.get(slot.0).map(|slot| slot.name.clone());
        let weight = f64::from(weight) / f64::from(Share::WHOLE);
        let mut fields = vec![row.position.to_string(), number(row.slot), number(slot), name.unwrap_or_default()];
        fields.extend([captured.unwrap_or_default(), stand_in.unwrap_or_default(), weight.to_string(), made_as.into()]);
        fields.extend(window(row.window));
        fields.extend(window(layer.window));
        fields
    })
}

/// A still, counted from 1.
fn number(slot: SlotIndex) -> String {
    (slot.0 + 1).to_string()
}

fn window(window: Window) -> [String; 5] {
    [window.x, window.y, window.width, window.height, window.roll].map(|value| value.to_string())
}

/// An offset from UTC in seconds, as RFC 3339 writes it: `+02:00`.
fn offset_in_words(offset: i32) -> String {
    let (sign, minutes) = (if offset < 0 { '-' } else { '+' }, offset.unsigned_abs() / 60);
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}
