//! libjpeg's error manager: what it calls for faults and warnings.

use std::ffi::{CStr, c_char, c_int};
use std::panic::resume_unwind;

use mozjpeg_sys::{jpeg_common_struct, jpeg_decompress_struct, jpeg_error_mgr, jpeg_std_error};

use super::fault::Fault;
use super::source::Source;

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
    let padding = fault.is_stray() && unsafe { stray_bytes_are_padding(common) };
    if !padding && !fault.harmless() {
        resume_unwind(Box::new(fault));
    }
}

/// Whether the stray bytes libjpeg has just warned of are padding.
///
/// # Safety
/// `common` is the head of a live decompressor whose source is a [`Source`] with its file alive.
unsafe fn stray_bytes_are_padding(common: &jpeg_common_struct) -> bool {
    // SAFETY: by this function's own contract.
    unsafe {
        let decompressor = std::ptr::from_ref(common).cast::<jpeg_decompress_struct>();
        let count = (*common.err).msg_parm._bindgen_data_[0] as usize;
        (*(*decompressor).src.cast::<Source>()).padding(count)
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
