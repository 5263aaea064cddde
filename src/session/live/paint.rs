//! Frames for the page exactly as a render paints them, at the page's own size.
//!
//! ## Decisions
//!
//! - While the time runs the page cuts frames out of small stills. Where it stands the frame is painted by the true
//!   pipeline: levelled, steadied, mixed, covered and stamped, resampled from the whole still to as many pixels as the
//!   screen has room for.
//! - A frame that gathers more than eight stills is painted from stills in a draft's detail: decoding hundreds in full
//!   takes longer than anybody waits. Geometry, levels and covers are the same.

use crate::pipeline::Detail;
use crate::session::Watch;
use crate::session::pictures;
use crate::session::prepare::Prepared;
use crate::units::Size;

/// Frames are not made smaller than this, in pixels of their longer side.
const LEAST: u32 = 64;

/// Gathered stills beyond which a frame is painted from less than all of their detail.
const MANY: usize = 8;

/// Paints a frame of a delivery of a shot, its longer side no longer than `longer` pixels: as a JPEG.
///
/// # Errors
/// What is wrong with it, in words.
pub(super) fn frame(
    prepared: &Prepared,
    shot: usize,
    delivery: usize,
    frame: usize,
    longer: u32,
) -> Result<Vec<u8>, String> {
    let none = || "there is no such frame".to_owned();
    let part = prepared.parts.get(shot).ok_or_else(none)?;
    let plan = part.made.plan().deliveries.get(delivery).ok_or_else(none)?;
    let row = plan.rows.get(frame).cloned().ok_or_else(none)?;
    let small = pictures::in_small(plan, within(plan.frame, longer.max(LEAST)), vec![row]);
    let many = small.gathers().is_some_and(|(_, stills)| stills > MANY);
    let detail = if many { Detail::Small(None) } else { Detail::Whole };
    let painted = pictures::paint_in(detail, &prepared.shoots[part.shoot], &[small], &Watch::default());
    let mut painted = painted.map_err(|failure| {
        let notes = failure.reply.notes.0;
        notes.into_iter().map(|note| note.message).next().unwrap_or_else(|| "it could not be painted".into())
    })?;
    let painted = painted.pop().and_then(|mut frames| frames.pop()).ok_or_else(none)?;
    Ok(pictures::as_fine_jpeg(&painted))
}

/// A size of the same shape whose longer side is at most `longer`; no larger than it was.
fn within(size: Size, longer: u32) -> Size {
    let whole = size.width.max(size.height);
    if whole <= longer {
        return size;
    }
    let scale = |side: u32| (u64::from(side) * u64::from(longer)).div_ceil(u64::from(whole)).max(1);
    let side = |side: u32| u32::try_from(scale(side)).unwrap_or(longer).min(longer);
    Size::new(side(size.width), side(size.height))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_is_made_smaller_in_its_own_shape_and_never_larger() {
        assert_eq!(within(Size::new(1920, 1080), 960), Size::new(960, 540));
        assert_eq!(within(Size::new(1080, 1920), 480), Size::new(270, 480));
        assert_eq!(within(Size::new(640, 360), 4000), Size::new(640, 360));
        assert_eq!(within(Size::new(4000, 2), 100), Size::new(100, 1));
    }
}
