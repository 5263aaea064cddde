//! What a JPEG's header says, in Rust's own types.

use std::ffi::{c_int, c_void};

use mozjpeg_sys::{J_COLOR_SPACE, jpeg_component_info, jpeg_decompress_struct};

use crate::units::Size;

/// Samples a side of a block.
pub(crate) const BLOCK: u32 = 8;

/// What the stored components mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Space {
    /// One grey component.
    Grey,
    /// Y', Cb, Cr.
    YCbCr,
    /// R', G', B'.
    Rgb,
    /// Four inks, or Y', Cb, Cr and black: read as four inks.
    Inks,
    /// Anything else.
    Unknown,
}

/// One component as stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Component {
    /// Sampling factor across, 1 to 4.
    pub(crate) across: u32,
    /// Sampling factor down, 1 to 4.
    pub(crate) down: u32,
    /// Samples a side that a block of 8 is decoded to: 8, or fewer where the picture is decoded small.
    pub(crate) side: u32,
    /// Samples from one row of its plane to the next: whole blocks.
    pub(crate) stride: usize,
    /// Rows its plane needs room for: whole rows of interleaved blocks.
    pub(crate) rows: usize,
}

/// What the header says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Header {
    /// Size in pixels.
    pub(crate) size: Size,
    /// What the components mean.
    pub(crate) space: Space,
    /// The first `count` are there.
    components: [Component; 4],
    pub(super) count: usize,
    /// The largest sampling factors: a component's share of it is its share of the picture's samples.
    pub(crate) most_across: u32,
    /// As `most_across`, down.
    pub(crate) most_down: u32,
}

impl Header {
    /// Before anything was read.
    pub(super) const NONE: Self = Self {
        size: Size { width: 0, height: 0 },
        space: Space::Unknown,
        components: [Component { across: 1, down: 1, side: BLOCK, stride: 0, rows: 0 }; 4],
        count: 0,
        most_across: 1,
        most_down: 1,
    };

    /// What libjpeg has read, with its components.
    pub(super) fn of(of_file: &jpeg_decompress_struct, stored: &[ComponentInfo]) -> Self {
        let size = Size::new(of_file.image_width, of_file.image_height);
        let space = match of_file.jpeg_color_space {
            J_COLOR_SPACE::JCS_GRAYSCALE => Space::Grey,
            J_COLOR_SPACE::JCS_YCbCr => Space::YCbCr,
            J_COLOR_SPACE::JCS_RGB => Space::Rgb,
            J_COLOR_SPACE::JCS_CMYK | J_COLOR_SPACE::JCS_YCCK => Space::Inks,
            _ => Space::Unknown,
        };
        let (most_across, most_down) =
            (of_file.max_h_samp_factor.unsigned_abs(), of_file.max_v_samp_factor.unsigned_abs());
        let steps = size.height.div_ceil(most_down * BLOCK);
        let mut components = [Component::default(); 4];
        for (component, stored) in components.iter_mut().zip(stored) {
            let (across, down) = (stored.h_samp_factor.unsigned_abs(), stored.v_samp_factor.unsigned_abs());
            let side = stored.dct_scaled_size.unsigned_abs();
            *component = Component {
                across,
                down,
                side,
                stride: (stored.width_in_blocks * side) as usize,
                rows: (steps * down * side) as usize,
            };
        }
        Self { size, space, components, count: stored.len().min(4), most_across, most_down }
    }

    /// The components in stored order.
    pub(crate) fn components(&self) -> &[Component] {
        &self.components[..self.count]
    }

    /// Pixel rows of the full picture decoded at a time.
    pub(super) fn step(&self) -> u32 {
        self.most_down * BLOCK
    }
}

/// jpeglib.h's `jpeg_component_info` as version 6.2's interface lays it out, for the one field that the bindings keep
/// to themselves and an application may set: `component_needed`.
#[repr(C)]
pub(super) struct ComponentInfo {
    component_id: c_int,
    component_index: c_int,
    pub(super) h_samp_factor: c_int,
    pub(super) v_samp_factor: c_int,
    quant_tbl_no: c_int,
    dc_tbl_no: c_int,
    ac_tbl_no: c_int,
    pub(super) width_in_blocks: u32,
    pub(super) height_in_blocks: u32,
    dct_scaled_size: c_int,
    downsampled_width: u32,
    downsampled_height: u32,
    pub(super) component_needed: c_int,
    scan_fields: [c_int; 6],
    pub(super) quant_table: *mut c_void,
    dct_table: *mut c_void,
}

impl ComponentInfo {
    /// What its DC coefficients are multiplied by; none before its quantisation table has come.
    pub(super) fn dc_step(&self) -> Option<i32> {
        // SAFETY: libjpeg's copy of the table that the component's first scan was coded with, alive until the abort.
        unsafe { self.quant_table.cast::<mozjpeg_sys::JQUANT_TBL>().as_ref() }.map(|table| i32::from(table.quantval[0]))
    }
}

const _: () = {
    assert!(size_of::<ComponentInfo>() == size_of::<jpeg_component_info>());
    assert!(align_of::<ComponentInfo>() == align_of::<jpeg_component_info>());
    assert!(
        std::mem::offset_of!(ComponentInfo, width_in_blocks)
            == std::mem::offset_of!(jpeg_component_info, width_in_blocks)
    );
    assert!(std::mem::offset_of!(ComponentInfo, quant_table) == std::mem::offset_of!(jpeg_component_info, quant_table));
    assert!(mozjpeg_sys::JPEG_LIB_VERSION == 62);
};
