//! libjpeg's faults and warnings as Rust values.

use std::ffi::c_int;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};

/// Why libjpeg stopped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Fault {
    /// libjpeg's message number (`JERR_…`, `JWRN_…`).
    pub(crate) code: c_int,
    /// libjpeg's message.
    pub(crate) text: String,
    /// The scan being read, from 1, and the rows of blocks read whole in it, where it was decompressing.
    pub(crate) at: Option<(c_int, u32)>,
}

/// Runs calls into libjpeg and turns its unwinding into a value. A panic of our own goes on as one.
pub(super) fn caught<T>(calls: impl FnOnce() -> T) -> Result<T, Fault> {
    catch_unwind(AssertUnwindSafe(calls)).map_err(|payload| match payload.downcast::<Fault>() {
        Ok(fault) => *fault,
        Err(other) => resume_unwind(other),
    })
}

impl Fault {
    /// Whether it tells of bytes where a marker should be.
    pub(super) fn is_stray(&self) -> bool {
        self.code == mozjpeg_sys::JWRN_EXTRANEOUS_DATA
    }

    /// Whether the warning tells of something that changes no pixel.
    pub(super) fn harmless(&self) -> bool {
        match self.code {
            // A JFIF version to come, an unknown Adobe transform (read as Y'CbCr), progression parameters of a
            // sequential scan that are all zero (files of old encoders).
            mozjpeg_sys::JWRN_JFIF_MAJOR | mozjpeg_sys::JWRN_ADOBE_XFORM | mozjpeg_sys::JWRN_NOT_SEQUENTIAL => true,
            // Stray bytes between header segments; after the first scan began they are picture data gone wrong.
            _ if self.is_stray() => self.at.is_none_or(|(scan, _)| scan == 0),
            _ => false,
        }
    }
}
