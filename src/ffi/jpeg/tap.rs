//! The DC coefficients of a picture, noted while it is decoded: they are the means of its blocks, and cost nothing
//! more.
//!
//! libjpeg hands its coefficients to applications only instead of the picture (`jpeg_read_coefficients`). Where a
//! picture has one scan, the entropy decoder's entry is wrapped here, and what it wrote is read; where it has several,
//! libjpeg holds all coefficients in arrays, and those are read.

use std::ffi::{c_int, c_uint, c_void};

use mozjpeg_sys::{jpeg_component_info, jpeg_decompress_struct, jvirt_barray_control};

use super::header::ComponentInfo;

/// A block's coefficients.
type Block = [i16; 64];

/// jpegint.h's `decode_mcu`.
type DecodeUnit = unsafe extern "C-unwind" fn(*mut jpeg_decompress_struct, *mut *mut Block) -> c_int;

/// The end of jpeglib.h's `jpeg_decompress_struct` as version 6.2's interface lays it out: private to the bindings.
#[repr(C)]
struct Tail {
    max_h_samp_factor: c_int,
    max_v_samp_factor: c_int,
    min_dct_scaled_size: c_int,
    total_imcu_rows: c_uint,
    sample_range_limit: *mut u8,
    comps_in_scan: c_int,
    cur_comp_info: [*mut jpeg_component_info; 4],
    mcus_per_row: c_uint,
    mcu_rows_in_scan: c_uint,
    blocks_in_mcu: c_int,
    mcu_membership: [c_int; 10],
    spectral: [c_int; 4],
    unread_marker: c_int,
    master: *mut c_void,
    main: *mut c_void,
    coef: *mut Coefficients,
    post: *mut c_void,
    inputctl: *mut c_void,
    marker: *mut c_void,
    entropy: *mut Entropy,
    idct: *mut c_void,
    upsample: *mut c_void,
    cconvert: *mut c_void,
    cquantize: *mut c_void,
}

/// jpegint.h's `jpeg_entropy_decoder`.
#[repr(C)]
struct Entropy {
    start_pass: *mut c_void,
    decode_mcu: DecodeUnit,
    insufficient_data: c_int,
}

/// jpegint.h's `jpeg_d_coef_controller`.
#[repr(C)]
struct Coefficients {
    calls: [*mut c_void; 4],
    arrays: *mut *mut jvirt_barray_control,
}

const TAIL: usize = std::mem::offset_of!(jpeg_decompress_struct, max_h_samp_factor);
const _: () = assert!(TAIL + size_of::<Tail>() == size_of::<jpeg_decompress_struct>());

/// What is noted of a picture.
#[derive(Debug)]
pub(super) struct Tap {
    decode: Option<DecodeUnit>,
    /// DC coefficients as coded, in the order of coding.
    values: Vec<i16>,
    blocks: usize,
    /// Whether values lie component by component, row by row, and not unit by unit.
    by_component: bool,
}

/// The DC coefficients of a component as coded, and what they are multiplied by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct DcPlane {
    /// Row by row, whole units.
    pub(crate) coefficients: Vec<i16>,
    /// Of its quantisation table.
    pub(crate) step: i32,
    /// Blocks of a unit, across and down.
    pub(crate) blocks: [usize; 2],
}

/// DC coefficients of a picture: (units across, units down), and its components.
pub(crate) type DcPlanes = ([usize; 2], Vec<DcPlane>);

impl Tap {
    pub(super) fn new() -> Self {
        Self { decode: None, values: Vec::new(), blocks: 0, by_component: false }
    }

    /// Nothing noted.
    pub(super) fn clear(&mut self) {
        (self.decode, self.blocks, self.by_component) = (None, 0, false);
        self.values.clear();
    }
}

/// # Safety
/// `decompressor` is alive.
unsafe fn tail(decompressor: *mut jpeg_decompress_struct) -> *mut Tail {
    // SAFETY: checked against the struct's size above; it ends with these fields.
    unsafe { decompressor.cast::<u8>().add(TAIL).cast() }
}

/// Begins to note the DC coefficients of a picture of one scan.
///
/// # Safety
/// `jpeg_start_decompress` has been called; `tap` stays where it is until the picture is finished or aborted, and
/// nobody else touches it meanwhile.
pub(super) unsafe fn listen(decompressor: *mut jpeg_decompress_struct, tap: *mut Tap) {
    // SAFETY: by this function's contract; the scan's fields and its entropy decoder are set up by then.
    unsafe {
        let tail = tail(decompressor);
        let entropy = (*tail).entropy;
        let units = (*tail).mcus_per_row as usize * (*tail).mcu_rows_in_scan as usize;
        let blocks = usize::try_from((*tail).blocks_in_mcu).unwrap_or(0);
        (*tap).clear();
        (*tap).blocks = blocks;
        (*tap).values.reserve(units * blocks);
        (*tap).decode = Some((*entropy).decode_mcu);
        (*entropy).decode_mcu = heard;
        (*decompressor).common.client_data = tap.cast();
    }
}

/// `decode_mcu`: the real one, and a note of what it wrote.
unsafe extern "C-unwind" fn heard(decompressor: *mut jpeg_decompress_struct, unit: *mut *mut Block) -> c_int {
    // SAFETY: set up in `listen`, with a tap that outlives the scan; `unit` leads to as many blocks as the scan's units
    // have.
    unsafe {
        let tap = (*decompressor).common.client_data.cast::<Tap>();
        let Some(decode) = (*tap).decode else { return 0 };
        let done = decode(decompressor, unit);
        if done != 0 {
            for at in 0..(*tap).blocks {
                (*tap).values.push((**unit.add(at))[0]);
            }
        }
        done
    }
}

/// Notes the DC coefficients of a picture of several scans.
///
/// # Safety
/// `jpeg_start_decompress` has been called, and has read all scans.
pub(super) unsafe fn collect(decompressor: *mut jpeg_decompress_struct, components: &[ComponentInfo], tap: &mut Tap) {
    tap.clear();
    tap.by_component = true;
    // SAFETY: by this function's contract `coef` has an array a component; each is asked for rows that it has.
    unsafe {
        let coefficients = (*tail(decompressor)).coef;
        let (Some(memory), false) = ((*decompressor).common.mem.as_ref(), (*coefficients).arrays.is_null()) else {
            return;
        };
        let Some(access) = memory.access_virt_barray else { return };
        for (component, info) in components.iter().enumerate() {
            let array = *(*coefficients).arrays.add(component);
            for row in 0..info.height_in_blocks {
                let blocks = *access(&mut (*decompressor).common, array, row, 1, 0).cast::<*const Block>();
                let blocks = std::slice::from_raw_parts(blocks, info.width_in_blocks as usize);
                tap.values.extend(blocks.iter().map(|block| block[0]));
            }
        }
    }
}

/// What was noted, laid out; none where not all of the picture was.
pub(super) fn planes(
    tap: &Tap,
    components: &[ComponentInfo],
    step_of: impl Fn(&ComponentInfo) -> Option<i32>,
) -> Option<DcPlanes> {
    let side = |factor: c_int| usize::try_from(factor).unwrap_or(1).max(1);
    let factors = |info: &ComponentInfo| [side(info.h_samp_factor), side(info.v_samp_factor)];
    // A single component is coded block by block, whatever its factors.
    let alone = components.len() == 1;
    let blocks_of = |info: &ComponentInfo| if alone { [1, 1] } else { factors(info) };
    let units = components.iter().fold([0, 0], |[across, down], info| {
        let [h, v] = blocks_of(info);
        [
            across.max((info.width_in_blocks as usize).div_ceil(h)),
            down.max((info.height_in_blocks as usize).div_ceil(v)),
        ]
    });
    let mut planes: Vec<DcPlane> = components
        .iter()
        .map(|info| {
            let blocks = blocks_of(info);
            let coefficients = vec![0; units[0] * blocks[0] * units[1] * blocks[1]];
            Some(DcPlane { coefficients, step: step_of(info)?, blocks })
        })
        .collect::<Option<_>>()?;
    if tap.by_component {
        let mut values = tap.values.iter().copied();
        for (plane, info) in planes.iter_mut().zip(components) {
            let (width, stored) = (units[0] * plane.blocks[0], info.width_in_blocks as usize);
            let rows = units[1] * plane.blocks[1];
            let mut last = 0;
            for row in 0..rows {
                if row < info.height_in_blocks as usize {
                    for at in 0..width {
                        if at < stored {
                            last = values.next()?;
                        }
                        plane.coefficients[row * width + at] = last;
                    }
                } else {
                    plane.coefficients.copy_within((row - 1) * width..row * width, row * width);
                }
            }
        }
        return Some((units, planes));
    }
    let blocks: usize = planes.iter().map(|plane| plane.blocks[0] * plane.blocks[1]).sum();
    if blocks != tap.blocks || tap.values.len() != units[0] * units[1] * blocks {
        return None;
    }
    for (unit, values) in tap.values.chunks_exact(blocks).enumerate() {
        let (row, column) = (unit / units[0], unit % units[0]);
        let mut values = values.iter();
        for plane in &mut planes {
            let [h, v] = plane.blocks;
            for (y, x) in (0..v).flat_map(|y| (0..h).map(move |x| (y, x))) {
                let at = (row * v + y) * units[0] * h + column * h + x;
                plane.coefficients[at] = values.next().copied()?;
            }
        }
    }
    Some((units, planes))
}
