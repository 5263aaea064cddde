//! The per-frame table: for every frame of every delivery, the window and the still.
//!
//! Everything is decided by the time a plan exists. The pipeline obeys rows and decides nothing.

mod text;

use serde::Serialize;

pub use text::{sum, summary, text};

use crate::diag::Diagnostics;
use crate::geom::Window;
use crate::shot::{Codec, Sharpness};
use crate::units::{FrameRate, Size, SlotIndex};

/// What one shot over one shoot comes to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// The shot's name, empty where the script returns one shot.
    pub shot: String,
    /// Length of the clip in seconds.
    pub length: f64,
    /// One a delivery, in the script's order.
    pub deliveries: Vec<DeliveryPlan>,
    /// What became of every slot.
    pub tally: Tally,
    /// What a person should know, frames named.
    pub remarks: Diagnostics,
}

/// One delivery's part of a plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DeliveryPlan {
    /// Its name.
    pub name: String,
    /// Frame size in pixels.
    pub frame: Size,
    /// Frames a second.
    pub fps: FrameRate,
    /// What it is written as.
    pub codec: Codec,
    /// Which kernel.
    pub sharpness: Sharpness,
    /// One a frame, from 0.
    pub rows: Vec<Row>,
}

/// One frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Row {
    /// Where the shoot stands, in stills along the axis.
    pub position: f64,
    /// The slot whose turn it is.
    pub slot: SlotIndex,
    /// The slot whose still is shown: `slot`, or the one held in its place.
    pub shown: SlotIndex,
    /// The still to show should decoding `shown` reveal damage; none where the policy is not `hold` or there is none.
    pub stand_in: Option<SlotIndex>,
    /// What fills the frame; inside the still, always.
    pub window: Window,
}

/// Where every still of the shoot went: found = used + the rest, by reason.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Tally {
    /// Slots whose own still is shown in some frame of some delivery.
    pub used: usize,
    /// Slots with a whole still no frame shows: passed over by the pace, or after the clip's end.
    pub passed_over: usize,
    /// Slots outside `from` … `to`.
    pub outside_part: usize,
    /// Slots between those that a cut leaves out.
    pub cut: usize,
    /// Damaged slots, each by name with what was done.
    pub damaged: Vec<(String, String)>,
    /// Missing slots, each by name with what was done.
    pub missing: Vec<(String, String)>,
    /// Files set aside by the survey.
    pub set_aside: usize,
}
