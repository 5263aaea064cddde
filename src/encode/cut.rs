//! Where a delivery's frames are cut into stretches: few where frames are quickly made, so that they cost nothing; many
//! where they are not, so that an interrupted run loses little.
//!
//! ## Decisions
//!
//! - A stretch has at most [`WORK`] of work, or [`timing::stretch`] of the clip, whichever is shorter. Work is reckoned
//!   from what the plan says (pixels of stills, pixels of frames, codec) with the figures below and not measured: the
//!   bytes of a file depend on where it is cut, and must not depend on the machine's speed.
//! - Frames are cut at fixed places into the longest stretches, and these into halves while there is too much work in
//!   one. So a change to the script moves no cut but those near it.
//! - Nothing shorter than two seconds of the clip is halved. Where two seconds are too much work, stretches last one, and
//!   key frames come every second instead of every two.
//! - Deliveries that are made together share the work that may be lost.

use std::collections::BTreeSet;
use std::ops::Range;

use super::{stretch, timing};
use crate::plan::{DeliveryPlan, Layers, Row};
use crate::shot::{Codec, Gather, H264, Hevc};
use crate::units::{Size, SlotIndex};

/// Processor time of a stretch, in seconds: 5 s of work on two processors.
const WORK: f64 = 10.0;

/// Seconds of processor a pixel, each for the step it names. Encoders were measured once, on 2 busy cores (AMD EPYC),
/// 2026-11-30: 16 frames of the demo's wide clip through FFmpeg's command line, by x264 at ultrafast, veryfast, medium,
/// slow and veryslow and by x265 at ultrafast, medium and slow. Presets between and beyond those, and all of SVT-AV1,
/// are estimates.
mod seconds {
    /// A still's pixel decoded: rounded from `scripts/bench.md`.
    pub(super) const DECODED: f64 = 5e-9;
    /// A frame's pixel painted, of each still in it: an estimate from the time of one whole render.
    pub(super) const PAINTED: f64 = 30e-9;
    /// A frame's pixel painted between two stills by motion: an estimate.
    pub(super) const INVENTED: f64 = 400e-9;
    /// A frame's pixel put together of gathered stills: of a median for each of them. An estimate.
    pub(super) const GATHERED: f64 = 10e-9;
    /// A frame's pixel encoded by x264, by preset.
    pub(super) const H264: [f64; 10] = [11e-9, 17e-9, 29e-9, 50e-9, 75e-9, 97e-9, 135e-9, 230e-9, 390e-9, 1100e-9];
    /// By x265, by preset.
    pub(super) const HEVC: [f64; 10] =
        [68e-9, 80e-9, 110e-9, 150e-9, 200e-9, 270e-9, 720e-9, 1500e-9, 2200e-9, 3500e-9];
    /// By SVT-AV1, by preset.
    pub(super) const AV1: [f64; 14] = [
        9000e-9, 5000e-9, 3000e-9, 1800e-9, 1100e-9, 700e-9, 450e-9, 330e-9, 230e-9, 180e-9, 140e-9, 110e-9, 90e-9,
        80e-9,
    ];
    /// By any encoder of frames that stand alone: an estimate.
    pub(super) const ALONE: f64 = 60e-9;
}

/// The stretches of a delivery, in order: rows of its plan. `still` is how large a whole still is; `together` is how
/// many deliveries are made in one pass over the shoot.
#[must_use]
pub fn cut(delivery: &DeliveryPlan, still: Size, together: usize) -> Vec<Range<usize>> {
    let longest = stretch(delivery).max(1);
    #[expect(clippy::cast_precision_loss, reason = "a script has far fewer deliveries")]
    let most = WORK / together.max(1) as f64;
    let work = |rows: &[Row]| work(delivery, rows, still, together);
    let mut cut = Vec::new();
    for first in (0..delivery.rows.len()).step_by(longest) {
        let rows = first..(first + longest).min(delivery.rows.len());
        halve(delivery, rows, &|rows: Range<usize>| work(&delivery.rows[rows]) > most, &mut cut);
    }
    cut
}

/// Adds a stretch, or both halves of one that is too much work.
fn halve(
    delivery: &DeliveryPlan,
    rows: Range<usize>,
    too_much: &dyn Fn(Range<usize>) -> bool,
    cut: &mut Vec<Range<usize>>,
) {
    let shortest = timing::group(delivery.fps) as usize;
    if rows.len() < shortest.max(2) || !too_much(rows.clone()) {
        return cut.push(rows);
    }
    let middle = rows.start + rows.len().div_ceil(2);
    halve(delivery, rows.start..middle, too_much, cut);
    halve(delivery, middle..rows.end, too_much, cut);
}

/// Seconds of processor that rows of a delivery take, reckoned, and its share in the decoding of their stills; `still`
/// and `together` as for [`cut()`].
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "numbers of pixels and frames")]
pub fn work(delivery: &DeliveryPlan, rows: &[Row], still: Size, together: usize) -> f64 {
    let stills: BTreeSet<SlotIndex> = (0..rows.len()).flat_map(|at| own_stills(rows, at)).collect();
    let decoded = seconds::DECODED * still.pixels() as f64 * stills.len() as f64 / together.max(1) as f64;
    let frame = if delivery.every_still { still } else { delivery.frame };
    let painted = |(at, row): (usize, &Row)| match &row.layers {
        _ if delivery.every_still => 0.0,
        Layers::Between(_) => seconds::INVENTED,
        Layers::Gathered(gathered) => {
            // A still is painted once for the frames of one list, and each of them is put together.
            let counted = if gathered.by == Gather::Median { gathered.part.len() } else { 1 };
            seconds::PAINTED * own_stills(rows, at).len() as f64 + seconds::GATHERED * counted as f64
        }
        layers => seconds::PAINTED * layers.shares().count() as f64,
    };
    let a_pixel: f64 = rows.iter().enumerate().map(painted).sum::<f64>() + encoded(&delivery.codec) * rows.len() as f64;
    decoded + a_pixel * frame.pixels() as f64
}

/// The stills of a frame; where it gathers from a list, those that the frame before does not gather from it.
fn own_stills(rows: &[Row], at: usize) -> Vec<SlotIndex> {
    let Some(gathered) = rows[at].layers.gathered() else {
        return rows[at].shares().map(|share| share.shown).collect();
    };
    let before = at.checked_sub(1).and_then(|before| rows[before].layers.gathered());
    let (own, shared) = (&gathered.part, before.filter(|before| before.number == gathered.number));
    let shared = shared.map_or(own.end..own.end, |before| before.part.clone());
    let places = (own.start..own.end.min(shared.start)).chain(own.start.max(shared.end)..own.end);
    places.map(|place| gathered.list[place].slot()).collect()
}

/// Seconds of processor that a frame's pixel takes to be encoded.
fn encoded(codec: &Codec) -> f64 {
    let by_name = |seconds: [f64; 10], names: [&str; 10], preset: &str| {
        names.iter().position(|name| *name == preset).map_or(seconds[5], |place| seconds[place])
    };
    match codec {
        Codec::H264(codec) => by_name(seconds::H264, H264::PRESETS, &codec.preset),
        Codec::Hevc(codec) => by_name(seconds::HEVC, Hevc::PRESETS, &codec.preset),
        Codec::Av1(codec) => seconds::AV1.get(usize::from(codec.preset)).copied().unwrap_or(seconds::ALONE),
        Codec::Prores(_) | Codec::Dnxhr | Codec::Ffv1(_) | Codec::Png(_) | Codec::Tiff | Codec::Jpeg(_) => {
            seconds::ALONE
        }
    }
}
