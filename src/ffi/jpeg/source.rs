//! The bytes of one file as libjpeg's source, remembering whether it ran dry.

use std::ffi::{c_int, c_long};

use mozjpeg_sys::{jpeg_decompress_struct, jpeg_resync_to_restart, jpeg_source_mgr};

use super::fault::Fault;

/// A file in memory. libjpeg sees only the first field.
#[repr(C)]
pub(super) struct Source {
    manager: jpeg_source_mgr,
    /// Where the file begins in memory, and its length.
    file: *const u8,
    length: usize,
    /// Whether libjpeg asked for more than there is.
    pub(super) ended: bool,
    /// Whether the picture is arithmetic-coded.
    arithmetic: bool,
}

impl Source {
    /// No file.
    pub(super) fn new() -> Self {
        Self {
            manager: jpeg_source_mgr {
                next_input_byte: std::ptr::null(),
                bytes_in_buffer: 0,
                init_source: Some(nothing),
                fill_input_buffer: Some(fill),
                skip_input_data: Some(skip),
                resync_to_restart: Some(jpeg_resync_to_restart),
                term_source: Some(nothing),
            },
            file: std::ptr::null(),
            length: 0,
            ended: false,
            arithmetic: false,
        }
    }

    /// From the start of `file`, which must outlive every call into libjpeg until the next [`Source::set`].
    pub(super) fn set(&mut self, file: &[u8], arithmetic: bool) {
        self.manager.next_input_byte = file.as_ptr();
        self.manager.bytes_in_buffer = file.len();
        (self.file, self.length) = (file.as_ptr(), file.len());
        (self.ended, self.arithmetic) = (false, arithmetic);
    }

    /// Whether the `count` bytes before the reading point are all 0x00 or all-ones: padding, not picture data.
    ///
    /// # Safety
    /// The file given to [`Source::set`] is still alive.
    pub(super) unsafe fn padding(&self, count: usize) -> bool {
        let read = (self.manager.next_input_byte as usize).wrapping_sub(self.file as usize);
        if self.ended || read > self.length || count > read {
            return false;
        }
        // SAFETY: `read` is inside the file.
        let file = unsafe { std::slice::from_raw_parts(self.file, read) };
        file[read - count..].iter().all(|byte| matches!(byte, 0x00 | 0xFF))
    }
}

/// `init_source`, `term_source`.
unsafe extern "C-unwind" fn nothing(_: &mut jpeg_decompress_struct) {}

/// `fill_input_buffer`: the file has ended. An end marker makes Huffman decoding warn as soon as it wants a bit that is
/// not there, and not before, so a file that lacks nothing but its end marker is whole. Arithmetic decoding would take
/// zeros in silence instead, so there the end of the file is the fault.
unsafe extern "C-unwind" fn fill(decompressor: &mut jpeg_decompress_struct) -> c_int {
    static END_OF_IMAGE: [u8; 2] = [0xFF, 0xD9];
    let at = (decompressor.input_scan_number, decompressor.input_iMCU_row);
    // SAFETY: `src` is the head of the live `Source` its owner set.
    let source = unsafe { &mut *decompressor.src.cast::<Source>() };
    source.ended = true;
    source.manager.next_input_byte = END_OF_IMAGE.as_ptr();
    source.manager.bytes_in_buffer = END_OF_IMAGE.len();
    if source.arithmetic && at.0 > 0 {
        let text = "the data end before the picture does".to_owned();
        std::panic::resume_unwind(Box::new(Fault { code: mozjpeg_sys::JWRN_HIT_MARKER, text, at: Some(at) }));
    }
    1
}

/// `skip_input_data`.
unsafe extern "C-unwind" fn skip(decompressor: &mut jpeg_decompress_struct, count: c_long) {
    // SAFETY: as in `fill`; the reading point moves within the buffer.
    unsafe {
        let manager = &mut (*decompressor.src.cast::<Source>()).manager;
        let count = usize::try_from(count).unwrap_or(0).min(manager.bytes_in_buffer);
        manager.next_input_byte = manager.next_input_byte.add(count);
        manager.bytes_in_buffer -= count;
    }
}
