//! libjpeg's faults and warnings as Rust values.

use std::ffi::{CStr, c_char, c_int};
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};

use mozjpeg_sys::{jpeg_common_struct, jpeg_decompress_struct, jpeg_error_mgr, jpeg_std_error};

use super::source::stray_bytes_are_padding;

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

/// libjpeg's error manager, set to unwind.
pub(super) fn manager() -> jpeg_error_mgr {
    // SAFETY: an all-zero manager is what jpeg_std_error expects to fill in; it only writes to it.
    unsafe {
        let mut manager: jpeg_error_mgr = std::mem::zeroed();
        jpeg_std_error(&mut manager);
        manager.error_exit = Some(unwind);
        manager.emit_message = Some(heed);
        manager
    }
}

/// Runs calls into libjpeg and turns its unwinding into a value. A panic of our own goes on as one.
pub(super) fn caught<T>(calls: impl FnOnce() -> T) -> Result<T, Fault> {
    catch_unwind(AssertUnwindSafe(calls)).map_err(|payload| match payload.downcast::<Fault>() {
        Ok(fault) => *fault,
        Err(other) => resume_unwind(other),
    })
}

/// `error_exit`.
unsafe extern "C-unwind" fn unwind(common: &mut jpeg_common_struct) {
    // SAFETY: libjpeg passes the live struct whose message is set; decompressors begin with the common part.
    let fault = unsafe { fault(common) };
    // Not `panic!`: the panic hook would print a message for every damaged still.
    resume_unwind(Box::new(fault));
}

/// `emit_message`: a warning that means wrong pixels stops the decoder like an error; the others are passed over.
unsafe extern "C-unwind" fn heed(common: &mut jpeg_common_struct, level: c_int) {
    if level >= 0 {
        return;
    }
    // SAFETY: as in `unwind`.
    let fault = unsafe { fault(common) };
    // SAFETY: decompressors of ours read from a `Source` whose file is alive while they do.
    let padding = stray(&fault) && unsafe { stray_bytes_are_padding(common) };
    if !padding && !fault.harmless() {
        resume_unwind(Box::new(fault));
    }
}

/// Whether it tells of bytes where a marker should be.
fn stray(fault: &Fault) -> bool {
    fault.code == mozjpeg_sys::JWRN_EXTRANEOUS_DATA
}

impl Fault {
    /// Whether the warning tells of something that changes no pixel.
    fn harmless(&self) -> bool {
        match self.code {
            // A JFIF version to come, an unknown Adobe transform (read as Y'CbCr), progression parameters of a sequential
            // scan that are all zero (files of old encoders).
            mozjpeg_sys::JWRN_JFIF_MAJOR | mozjpeg_sys::JWRN_ADOBE_XFORM | mozjpeg_sys::JWRN_NOT_SEQUENTIAL => true,
            // Stray bytes between header segments; after the first scan began they are picture data gone wrong.
            _ if stray(self) => self.at.is_none_or(|(scan, _)| scan == 0),
            _ => false,
        }
    }
}

/// The fault libjpeg has just set down.
///
/// # Safety
/// `common` is the head of a live compressor or decompressor whose `err` has its message code set.
unsafe fn fault(common: &mut jpeg_common_struct) -> Fault {
    /// What jerror.c declares: it writes at most `JMSG_LENGTH_MAX` = 200 bytes, while the crate's binding says 80.
    type Format = unsafe extern "C-unwind" fn(*mut jpeg_common_struct, *mut c_char);
    let mut text = [0_u8; 200];
    // SAFETY: the manager outlives the struct; `Format` has the C function's own types; a decompressor begins with
    // the common part.
    unsafe {
        let code = (*common.err).msg_code;
        if let Some(format) = (*common.err).format_message {
            let format: Format = std::mem::transmute(format);
            format(common, text.as_mut_ptr().cast());
        }
        let at = (common.is_decompressor != 0).then(|| {
            let decompressor = std::ptr::from_mut(common).cast::<jpeg_decompress_struct>();
            ((*decompressor).input_scan_number, (*decompressor).input_iMCU_row)
        });
        let text = CStr::from_bytes_until_nul(&text).unwrap_or_default().to_string_lossy().into_owned();
        Fault { code, text, at }
    }
}
