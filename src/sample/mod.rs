//! Resampling, conversion, dither: a picture and a window to a finished frame.

use std::ops::Range;

use crate::geom::Window;
use crate::picture::{Frame, Picture};
use crate::shot::Sharpness;
use crate::units::Size;

/// Paints frames, owning all scratch space. One a worker; nothing is allocated after the first frames.
#[derive(Debug, Default)]
pub struct Painter {}

/// Why a picture cannot be painted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PaintError {
    /// The embedded colour profile is of no use.
    #[error("the embedded colour profile cannot be used: {0}")]
    Profile(String),
}

impl Painter {
    /// A painter with no scratch space yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Fills `frame` with what `window` shows of `picture`.
    ///
    /// # Errors
    /// [`PaintError`] where the picture's colours cannot be converted.
    pub fn paint(
        &mut self,
        picture: &Picture,
        window: Window,
        sharpness: Sharpness,
        frame: &mut Frame,
    ) -> Result<(), PaintError> {
        let _ = (picture, window, sharpness, frame);
        unimplemented!()
    }
}

/// The luma rows (upright) of a still of size `still` that [`Painter::paint`] may read for this window and frame.
#[must_use]
pub fn rows_read(window: Window, frame: Size, sharpness: Sharpness, still: Size) -> Range<u32> {
    let _ = (window, frame, sharpness);
    0..still.height
}
