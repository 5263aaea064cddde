//! The only opener of stills: a file to planes, upright, with a report of damage.

pub mod header;

use std::ops::Range;

use crate::picture::Picture;
use crate::shoot::{Damage, Still};

/// Decodes stills one after another, reusing its buffers. One a worker.
#[derive(Debug, Default)]
pub struct Decoder {}

impl Decoder {
    /// A decoder with no buffers yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Decodes a still to upright planes. At least the luma rows in `rows` (upright) are decoded; the picture says which
    /// were. `spare` is a picture no longer needed, whose buffers may be used again.
    ///
    /// # Errors
    /// What is wrong with the file: a picture is whole where it was asked for, or there is none.
    pub fn decode(&mut self, still: &Still, rows: Range<u32>, spare: Option<Picture>) -> Result<Picture, Damage> {
        let _ = (still, rows, spare);
        unimplemented!()
    }
}
