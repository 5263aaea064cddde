//! Where in a frame an encoder is to quantise finer or coarser.

use std::ffi::c_int;
use std::mem::size_of;

use ffmpeg_next::ffi as c;

use super::{Fault, allocated};

/// Steps of quantisation that a `qoffset` of 1 stands for: the range of H.264's and HEVC's at 8 bits
/// (`QP_MAX_SPEC` in FFmpeg's libx264.c; libx265.c alike).
const STEPS: c_int = 51;

/// A part of a frame, in samples of luma, and how many steps coarser it is to be quantised; finer, where negative.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Region {
    /// First row, and the one after the last.
    pub(crate) rows: (u32, u32),
    /// First column, and the one after the last.
    pub(crate) columns: (u32, u32),
    /// Steps, -51 to 51.
    pub(crate) steps: i8,
}

/// Says it of a frame, in place of what was said of it before. Encoders that know nothing of regions pass over them.
///
/// # Errors
/// Where there is no memory.
///
/// # Safety
/// The frame is one of FFmpeg's, and nobody else uses it meanwhile.
pub(super) unsafe fn set(frame: *mut c::AVFrame, regions: &[Region]) -> Result<(), Fault> {
    let kind = c::AVFrameSideDataType::AV_FRAME_DATA_REGIONS_OF_INTEREST;
    // SAFETY: the caller's word.
    unsafe { c::av_frame_remove_side_data(frame, kind) };
    if regions.is_empty() {
        return Ok(());
    }
    let one = size_of::<c::AVRegionOfInterest>();
    // SAFETY: the caller's word; the result is checked.
    let data = allocated(unsafe { c::av_frame_new_side_data(frame, kind, one * regions.len()) })?;
    let whole = |value: u32| c_int::try_from(value).unwrap_or(c_int::MAX);
    for (index, region) in regions.iter().enumerate() {
        let told = c::AVRegionOfInterest {
            self_size: u32::try_from(one).unwrap_or(u32::MAX),
            top: whole(region.rows.0),
            bottom: whole(region.rows.1),
            left: whole(region.columns.0),
            right: whole(region.columns.1),
            qoffset: c::AVRational { num: c_int::from(region.steps), den: STEPS },
        };
        // SAFETY: the data has room for them all; it need not be aligned for them.
        unsafe { (*data).data.cast::<c::AVRegionOfInterest>().add(index).write_unaligned(told) };
    }
    Ok(())
}
