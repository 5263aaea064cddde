//! Pixels to a JPEG file in memory: the demo's stills and the tests' fixtures.

use std::ffi::c_int;

use mozjpeg_sys::{
    J_COLOR_SPACE, JCP_FASTEST, JINT_COMPRESS_PROFILE, jpeg_CreateCompress, jpeg_c_set_int_param, jpeg_compress_struct,
    jpeg_destination_mgr, jpeg_destroy_compress, jpeg_finish_compress, jpeg_scan_info, jpeg_set_colorspace,
    jpeg_set_defaults, jpeg_set_quality, jpeg_simple_progression, jpeg_start_compress, jpeg_write_marker,
    jpeg_write_scanlines,
};

use super::error_manager::manager;
use super::fault::{Fault, caught};
use crate::units::Size;

/// What the pixels given are, and what the file stores.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colour {
    /// R'G'B' given, full-range BT.601 Y'CbCr stored, with a JFIF marker.
    YCbCr,
    /// R'G'B' given and stored, with an Adobe marker.
    Rgb,
    /// One grey sample a pixel.
    Grey,
    /// Four samples a pixel, stored as given with an Adobe marker.
    Cmyk,
    /// C'M'Y'K' given, Y'CbCrK stored, with an Adobe marker.
    Ycck,
}

/// How coefficients are coded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Coding {
    /// One scan, the standard's example Huffman tables.
    #[default]
    Baseline,
    /// Many scans, each refining the last.
    Progressive,
    /// Baseline, one scan a component.
    Separate,
}

/// How to write a JPEG.
#[derive(Debug, Clone, Copy)]
pub struct Encoding<'a> {
    /// libjpeg's scale, 1 to 100.
    pub quality: u8,
    /// What is given and what is stored.
    pub colour: Colour,
    /// Luma samples a chroma sample spans, across and down: (2, 1) is 4:2:2, (2, 2) is 4:2:0. Each 1 to 4.
    pub subsampling: (u8, u8),
    /// Scans.
    pub coding: Coding,
    /// Rows of blocks between restart markers; 0 for none.
    pub restart_rows: u16,
    /// Markers written before the tables, each with its body: `(0xE1, b"Exif\0\0…")`.
    pub markers: &'a [(u8, &'a [u8])],
}

/// Writes a baseline Y'CbCr JPEG: the same input gives the same bytes.
///
/// `rgb` is interleaved R'G'B', 8 bits, rows tightly packed; `quality`, `subsampling` and `markers` as in [`Encoding`].
///
/// # Panics
/// Where `rgb` is not `3 × width × height` long, or a value is outside its range.
#[must_use]
pub fn encode_rgb(rgb: &[u8], size: Size, quality: u8, subsampling: (u8, u8), markers: &[(u8, &[u8])]) -> Vec<u8> {
    let coding = Coding::Baseline;
    encode(rgb, size, &Encoding { quality, colour: Colour::YCbCr, subsampling, coding, restart_rows: 0, markers })
}

/// Writes a JPEG of interleaved 8-bit samples, rows tightly packed: the same input gives the same bytes.
///
/// # Panics
/// Where `samples` does not have the length that `size` and `encoding.colour` call for, or a value is outside its
/// range.
#[must_use]
pub fn encode(samples: &[u8], size: Size, encoding: &Encoding) -> Vec<u8> {
    let given = encoding.colour.given();
    let row = size.width as usize * given;
    assert!(size.width > 0 && size.height > 0, "a JPEG of {size} pixels cannot be written");
    assert_eq!(samples.len(), row * size.height as usize, "{size} pixels of {given} samples");
    caught(|| write(samples, row, size, encoding)).unwrap_or_else(|Fault { text, .. }| panic!("{text}"))
}

impl Colour {
    /// Samples a pixel given.
    fn given(self) -> usize {
        match self {
            Self::Grey => 1,
            Self::YCbCr | Self::Rgb => 3,
            Self::Cmyk | Self::Ycck => 4,
        }
    }

    /// What is given, and what is stored.
    fn spaces(self) -> (J_COLOR_SPACE, J_COLOR_SPACE) {
        match self {
            Self::YCbCr => (J_COLOR_SPACE::JCS_RGB, J_COLOR_SPACE::JCS_YCbCr),
            Self::Rgb => (J_COLOR_SPACE::JCS_RGB, J_COLOR_SPACE::JCS_RGB),
            Self::Grey => (J_COLOR_SPACE::JCS_GRAYSCALE, J_COLOR_SPACE::JCS_GRAYSCALE),
            Self::Cmyk => (J_COLOR_SPACE::JCS_CMYK, J_COLOR_SPACE::JCS_CMYK),
            Self::Ycck => (J_COLOR_SPACE::JCS_CMYK, J_COLOR_SPACE::JCS_YCCK),
        }
    }
}

/// A compressor, freed on every way out.
struct Compressor(Box<jpeg_compress_struct>);

impl Drop for Compressor {
    fn drop(&mut self) {
        // SAFETY: zeroed or created by jpeg_CreateCompress; destroying frees pools only and cannot fail.
        unsafe { jpeg_destroy_compress(&mut self.0) };
    }
}

/// Where the file grows. libjpeg sees only its first field.
#[repr(C)]
struct Destination {
    manager: jpeg_destination_mgr,
    file: Vec<u8>,
    block: Box<[u8; 65536]>,
}

fn write(samples: &[u8], row: usize, size: Size, encoding: &Encoding) -> Vec<u8> {
    let mut errors = manager();
    // SAFETY: an all-zero struct is what jpeg_CreateCompress expects.
    let mut compressor = Compressor(Box::new(unsafe { std::mem::zeroed() }));
    let mut to = Box::new(Destination {
        manager: jpeg_destination_mgr {
            next_output_byte: std::ptr::null_mut(),
            free_in_buffer: 0,
            init_destination: Some(begin),
            empty_output_buffer: Some(spill),
            term_destination: Some(end),
        },
        file: Vec::with_capacity(samples.len() / 8),
        block: Box::new([0; 65536]),
    });
    let target = std::ptr::from_mut(&mut *to);
    let scans: [jpeg_scan_info; 4] = std::array::from_fn(|component| jpeg_scan_info {
        comps_in_scan: 1,
        component_index: [c_int::try_from(component).expect("at most 3"), 0, 0, 0],
        Ss: 0,
        Se: 63,
        Ah: 0,
        Al: 0,
    });
    // SAFETY: `errors`, the scans and the destination outlive the compressor's use; pointers handed over point at live
    // buffers of the length stated; unwinding leaves through `caught` and drops all three.
    unsafe {
        let c = &mut *compressor.0;
        c.common.err = &mut errors;
        jpeg_CreateCompress(c, mozjpeg_sys::JPEG_LIB_VERSION, size_of::<jpeg_compress_struct>());
        c.dest = target.cast();
        (c.image_width, c.image_height) = (size.width, size.height);
        c.input_components = c_int::try_from(encoding.colour.given()).expect("at most 4");
        let (from, stored) = encoding.colour.spaces();
        c.in_color_space = from;
        // Before the defaults: this library's own are many optimised scans.
        jpeg_c_set_int_param(c, JINT_COMPRESS_PROFILE, JCP_FASTEST as c_int);
        jpeg_set_defaults(c);
        jpeg_set_colorspace(c, stored);
        jpeg_set_quality(c, c_int::from(encoding.quality), 1);
        let components = std::slice::from_raw_parts_mut(c.comp_info, usize::try_from(c.num_components).unwrap_or(0));
        let (across, down) = (c_int::from(encoding.subsampling.0), c_int::from(encoding.subsampling.1));
        for (index, component) in components.iter_mut().enumerate() {
            // Luma, and the K of CMYK, are whole.
            let whole = matches!(index, 0 | 3);
            (component.h_samp_factor, component.v_samp_factor) = if whole { (across, down) } else { (1, 1) };
        }
        match encoding.coding {
            Coding::Baseline => {}
            Coding::Progressive => jpeg_simple_progression(c),
            Coding::Separate => (c.scan_info, c.num_scans) = (scans.as_ptr(), c.num_components),
        }
        c.restart_in_rows = c_int::from(encoding.restart_rows);
        jpeg_start_compress(c, 1);
        for (marker, body) in encoding.markers {
            let length = u32::try_from(body.len()).expect("libjpeg refuses more than 65,533 bytes");
            jpeg_write_marker(c, c_int::from(*marker), body.as_ptr(), length);
        }
        for line in samples.chunks_exact(row) {
            let line = line.as_ptr();
            jpeg_write_scanlines(c, &line, 1);
        }
        jpeg_finish_compress(c);
    }
    drop(compressor);
    to.file
}

/// `init_destination`.
unsafe extern "C-unwind" fn begin(c: &mut jpeg_compress_struct) {
    // SAFETY: `dest` is the head of the live `Destination` set in `write`.
    unsafe {
        let to = &mut *c.dest.cast::<Destination>();
        to.manager.next_output_byte = to.block.as_mut_ptr();
        to.manager.free_in_buffer = to.block.len();
    }
}

/// `empty_output_buffer`: the whole block is full, whatever the free count says (libjpeg.txt).
unsafe extern "C-unwind" fn spill(c: &mut jpeg_compress_struct) -> c_int {
    // SAFETY: as in `begin`.
    unsafe {
        let to = &mut *c.dest.cast::<Destination>();
        to.file.extend_from_slice(&to.block[..]);
        begin(c);
    }
    1
}

/// `term_destination`.
unsafe extern "C-unwind" fn end(c: &mut jpeg_compress_struct) {
    // SAFETY: as in `begin`.
    unsafe {
        let to = &mut *c.dest.cast::<Destination>();
        let used = to.block.len() - to.manager.free_in_buffer;
        to.file.extend_from_slice(&to.block[..used]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_pixels_give_the_same_bytes_and_an_independent_decoder_reads_them() {
        let size = Size::new(37, 21);
        let rgb: Vec<u8> = (0..37 * 21 * 3_u32).map(|i| (i * 7 % 256).to_le_bytes()[0] / 4 + 96).collect();
        let marker: (u8, &[u8]) = (0xFE, b"a comment");
        let file = encode_rgb(&rgb, size, 92, (2, 1), &[marker]);
        assert_eq!(file, encode_rgb(&rgb, size, 92, (2, 1), &[marker]));
        assert!(file.windows(9).any(|bytes| bytes == b"a comment"));
        let seen = image::load_from_memory_with_format(&file, image::ImageFormat::Jpeg).unwrap();
        assert_eq!((seen.width(), seen.height()), (37, 21));
        assert_eq!(seen.color(), image::ColorType::Rgb8);
    }
}
