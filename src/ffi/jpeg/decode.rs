//! A JPEG file in memory to planes, or to interleaved pixels where planes will not do.

use std::ffi::c_int;
use std::marker::PhantomData;
use std::ops::Range;
use std::ptr::NonNull;

use mozjpeg_sys::{
    J_COLOR_SPACE, JSAMPARRAY_MUT, JSAMPROW_MUT, jpeg_CreateDecompress, jpeg_abort_decompress,
    jpeg_calc_output_dimensions, jpeg_decompress_struct, jpeg_destroy_decompress, jpeg_error_mgr,
    jpeg_finish_decompress, jpeg_has_multiple_scans, jpeg_progress_mgr, jpeg_read_header, jpeg_read_raw_data,
    jpeg_read_scanlines, jpeg_start_decompress,
};

use super::error_manager::manager;
use super::fault::{Fault, caught};
use super::header::{ComponentInfo, Header, Space};
use super::markers;
use super::source::Source;
use super::tap::{self, DcPlanes, Tap};
use crate::units::Size;

/// The most scans read: a small file of many scans can keep a decoder busy for hours. The limit libjpeg-turbo's own
/// fuzzers use.
const MOST_SCANS: c_int = 500;

/// A libjpeg decompressor, used for one file after another.
#[derive(Debug)]
pub(crate) struct Decompressor(NonNull<State>);

/// What libjpeg points into: never moved, and only ever reached through the one raw pointer, because libjpeg reaches
/// its parts behind Rust's back.
struct State {
    decompressor: jpeg_decompress_struct,
    errors: jpeg_error_mgr,
    progress: jpeg_progress_mgr,
    source: Source,
    tap: Tap,
    /// Of the picture last decoded to its end.
    dc: Option<DcPlanes>,
}

// SAFETY: the state is owned, and the pointers inside lead to itself and to libjpeg's own heap; libjpeg keeps nothing a
// thread.
unsafe impl Send for Decompressor {}

/// Why a file could not be read as asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Failure {
    /// What libjpeg met.
    pub(crate) fault: Fault,
    /// Whether the file had ended.
    pub(crate) ended: bool,
    /// Pixel rows, from the top, that were decoded whole.
    pub(crate) rows: u32,
}

impl Decompressor {
    /// One without a file.
    pub(crate) fn new() -> Self {
        // SAFETY: an all-zero struct is what jpeg_CreateDecompress expects.
        let decompressor = unsafe { std::mem::zeroed() };
        let progress = jpeg_progress_mgr {
            progress_monitor: Some(count_scans),
            pass_counter: 0,
            pass_limit: 0,
            completed_passes: 0,
            total_passes: 0,
        };
        let state =
            State { decompressor, errors: manager(), progress, source: Source::new(), tap: Tap::new(), dc: None };
        let state = Box::new(state);
        let this = Self(NonNull::from(Box::leak(state)));
        this.create();
        this
    }

    /// Makes the zeroed or destroyed decompressor a new one.
    fn create(&self) {
        let state = self.0.as_ptr();
        // SAFETY: the state is alive and does not move. Creation fails for a wrong version or size only: a bug.
        unsafe {
            (*state).decompressor.common.err = &raw mut (*state).errors;
            let target = &raw mut (*state).decompressor;
            caught(|| {
                jpeg_CreateDecompress(target, mozjpeg_sys::JPEG_LIB_VERSION, size_of::<jpeg_decompress_struct>())
            })
            .expect("libjpeg matches its bindings");
            (*state).decompressor.common.progress = &raw mut (*state).progress;
            (*state).decompressor.src = (&raw mut (*state).source).cast();
        }
    }

    /// Reads a file's header.
    ///
    /// # Errors
    /// [`Failure`] with no rows.
    pub(crate) fn open<'a>(&'a mut self, file: &'a [u8]) -> Result<Reading<'a>, Failure> {
        // Anew for every file: libjpeg keeps tables, and a file that lost its own would be decoded with the last one's.
        // SAFETY: the state is alive; destroying frees pools only.
        unsafe {
            jpeg_destroy_decompress(&mut (*self.0.as_ptr()).decompressor);
            self.create();
            (*self.0.as_ptr()).source.set(file, markers::arithmetic(file));
            (*self.0.as_ptr()).dc = None;
        }
        let mut reading = Reading { state: self.0, header: Header::NONE, multiple: false, file: PhantomData };
        reading.attempt(|d| unsafe { jpeg_read_header(d, 1) })?;
        // SAFETY: libjpeg does not run while the header is taken over.
        reading.header = unsafe { Header::of(&(*self.0.as_ptr()).decompressor, reading.components()) };
        Ok(reading)
    }

    /// The DC coefficients of the picture last decoded, where it was decoded to its end.
    pub(crate) fn dc(&mut self) -> Option<DcPlanes> {
        // SAFETY: the state is alive, and libjpeg does not run: reading borrows this.
        unsafe { (*self.0.as_ptr()).dc.take() }
    }
}

impl Default for Decompressor {
    fn default() -> Self {
        Self::new()
    }
}

impl Drop for Decompressor {
    fn drop(&mut self) {
        // SAFETY: created in `new`, and boxed there; destroying frees pools only.
        unsafe {
            jpeg_destroy_decompress(&mut (*self.0.as_ptr()).decompressor);
            drop(Box::from_raw(self.0.as_ptr()));
        }
    }
}

/// A file whose header has been read.
#[derive(Debug)]
pub(crate) struct Reading<'a> {
    state: NonNull<State>,
    /// What the header says.
    pub(crate) header: Header,
    multiple: bool,
    file: PhantomData<&'a mut [u8]>,
}

impl Drop for Reading<'_> {
    fn drop(&mut self) {
        // SAFETY: aborting frees the image's pools and is allowed in every state, after an unwound error too
        // (libjpeg.txt).
        unsafe { jpeg_abort_decompress(self.decompressor()) };
    }
}

impl Reading<'_> {
    fn decompressor(&mut self) -> &mut jpeg_decompress_struct {
        // SAFETY: alive as long as the borrowed `Decompressor`; libjpeg runs only in calls that borrow it from here.
        unsafe { &mut (*self.state.as_ptr()).decompressor }
    }

    /// Whether libjpeg has asked for more than the file holds.
    fn ended(&self) -> bool {
        // SAFETY: as above, read while libjpeg does not run.
        unsafe { (*self.state.as_ptr()).source.ended }
    }

    /// Makes [`Reading::planes`] decode at one `denominator`-th of the size (1, 2, 4 or 8): every block of luma becomes
    /// 8, 4, 2 samples or 1 a side, each the mean of its square of pixels. Of subsampled components blocks may become
    /// more ([`super::Component::side`] says how many), so that they end up with as many samples as luma.
    ///
    /// # Errors
    /// Any fault.
    pub(crate) fn shrink(&mut self, denominator: u32) -> Result<(), Failure> {
        assert!(matches!(denominator, 1 | 2 | 4 | 8), "libjpeg halves, quarters and divides by eight");
        let decompressor = self.decompressor();
        (decompressor.scale_num, decompressor.scale_denom) = (1, denominator);
        // SAFETY: the header has been read, and decoding has not begun.
        self.attempt(|d| unsafe { jpeg_calc_output_dimensions(d) })?;
        // SAFETY: libjpeg does not run while the header is taken over.
        self.header = unsafe { Header::of(&(*self.state.as_ptr()).decompressor, self.components()) };
        Ok(())
    }

    /// Decodes to planes, one a component in stored order, laid out as [`super::Component`] says. At least the pixel
    /// rows `rows` of the full picture are decoded, and what is returned says which were: whole rows of blocks. The
    /// other rows of the planes are left as they were; their data are read all the same, since what went wrong above
    /// them often shows at the data's end alone.
    ///
    /// # Errors
    /// Any fault or warning, also data left over.
    pub(crate) fn planes(mut self, rows: Range<u32>, planes: &mut [&mut [u8]]) -> Result<Range<u32>, Failure> {
        let header = self.header;
        assert_eq!(planes.len(), header.count, "one plane a component");
        // libjpeg reads a list of rows for each component of the file, of which there may be ten.
        assert_eq!(self.components().len(), header.count, "components that have no place in the lists of rows");
        for (plane, component) in planes.iter().zip(header.components()) {
            assert!(plane.len() >= component.stride * component.rows, "a plane with room for whole blocks");
        }
        let step = header.step();
        let steps = rows.start / step..rows.end.min(header.size.height).div_ceil(step);
        self.decompressor().raw_data_out = 1;
        self.start()?;
        self.need_all(steps.contains(&0));
        for at in 0..header.size.height.div_ceil(step) {
            if at == steps.start || at == steps.end {
                self.need_all(steps.contains(&at));
            }
            // Room for four times eight row pointers a component; libjpeg takes `down × side` of them.
            let mut pointers: [[JSAMPROW_MUT; 32]; 4] = [[std::ptr::null_mut(); 32]; 4];
            let mut arrays: [JSAMPARRAY_MUT; 4] = [std::ptr::null_mut(); 4];
            for ((pointers, plane), component) in pointers.iter_mut().zip(planes.iter_mut()).zip(header.components()) {
                let down = (component.down * component.side) as usize;
                let lines = plane.chunks_exact_mut(component.stride).skip(at as usize * down);
                pointers.iter_mut().zip(lines.take(down)).for_each(|(pointer, line)| *pointer = line.as_mut_ptr());
            }
            arrays.iter_mut().zip(&mut pointers).for_each(|(array, pointers)| *array = pointers.as_mut_ptr());
            // SAFETY: every pointer leads to a row of `stride` samples, whole blocks wide, alive and borrowed mutably.
            self.attempt(|d| unsafe { jpeg_read_raw_data(d, arrays.as_mut_ptr(), step) })?;
        }
        self.finish()?;
        Ok(steps.start * step..(steps.end * step).min(header.size.height))
    }

    /// Decodes the whole picture to interleaved samples at full size: three a pixel as R'G'B', four as inks.
    ///
    /// # Errors
    /// Any fault or warning, also data left over.
    pub(crate) fn pixels(mut self, samples: &mut Vec<u8>) -> Result<(), Failure> {
        let size = self.header.size;
        let (space, given) = match self.header.space {
            Space::Inks => (J_COLOR_SPACE::JCS_CMYK, 4),
            _ => (J_COLOR_SPACE::JCS_RGB, 3),
        };
        self.decompressor().out_color_space = space;
        self.start()?;
        let row = size.width as usize * given;
        samples.resize(row * size.height as usize, 0);
        for line in samples.chunks_exact_mut(row) {
            let mut line = line.as_mut_ptr();
            // SAFETY: one row of `width × given` samples, alive and borrowed mutably.
            self.attempt(|d| unsafe { jpeg_read_scanlines(d, &raw mut line, 1) })?;
        }
        self.finish()
    }

    /// Decodes the whole picture at one `denominator`-th of its size (1, 2, 4 or 8; sides rounded up), where the cost
    /// is little more than that of reading the entropy-coded data: every block becomes 8, 4, 2 samples or 1 a side.
    /// Samples come as from [`Reading::pixels`], grey as R'G'B' too. Gives the size.
    ///
    /// # Errors
    /// Any fault or warning, also data left over.
    pub(crate) fn scaled(self, denominator: u32, samples: &mut Vec<u8>) -> Result<Size, Failure> {
        let (space, given) = match self.header.space {
            Space::Inks => (J_COLOR_SPACE::JCS_CMYK, 4),
            _ => (J_COLOR_SPACE::JCS_RGB, 3),
        };
        self.scaled_to(denominator, (space, given), samples)
    }

    /// As [`Reading::scaled`], but luma alone (BT.601), one sample a pixel: chroma is read over and never decoded.
    ///
    /// # Errors
    /// As [`Reading::scaled`]; of inks too.
    pub(crate) fn scaled_luma(self, denominator: u32, samples: &mut Vec<u8>) -> Result<Size, Failure> {
        self.scaled_to(denominator, (J_COLOR_SPACE::JCS_GRAYSCALE, 1), samples)
    }

    fn scaled_to(
        mut self,
        denominator: u32,
        (space, given): (J_COLOR_SPACE, usize),
        samples: &mut Vec<u8>,
    ) -> Result<Size, Failure> {
        assert!(matches!(denominator, 1 | 2 | 4 | 8), "libjpeg halves, quarters and divides by eight");
        let decompressor = self.decompressor();
        (decompressor.scale_num, decompressor.scale_denom) = (1, denominator);
        decompressor.out_color_space = space;
        self.start()?;
        let decompressor = self.decompressor();
        let size = Size::new(decompressor.output_width, decompressor.output_height);
        let row = size.width as usize * given;
        samples.resize(row * size.height as usize, 0);
        for line in samples.chunks_exact_mut(row) {
            let mut line = line.as_mut_ptr();
            // SAFETY: one row of `width × given` samples, alive and borrowed mutably.
            self.attempt(|d| unsafe { jpeg_read_scanlines(d, &raw mut line, 1) })?;
        }
        self.finish()?;
        Ok(size)
    }

    /// Begins decoding. Where there are several scans this reads them all.
    fn start(&mut self) -> Result<(), Failure> {
        // Smoothing makes up what an unfinished progressive file does not hold.
        self.decompressor().do_block_smoothing = 0;
        // SAFETY: the header has been read.
        self.multiple = unsafe { jpeg_has_multiple_scans(self.decompressor()) } != 0;
        self.attempt(|d| unsafe { jpeg_start_decompress(d) })?;
        // A missing scan is no warning to libjpeg: colour that is absent, or detail.
        if self.multiple && (!self.every_component_came() || (self.ended() && !self.complete())) {
            let text = "whole scans are missing".to_owned();
            let fault = Fault { code: mozjpeg_sys::JWRN_HIT_MARKER, text, at: None };
            return Err(Failure { fault, ended: self.ended(), rows: 0 });
        }
        let (state, multiple) = (self.state.as_ptr(), self.multiple);
        if multiple {
            let mut tap = Tap::new();
            // SAFETY: decoding has begun, and all scans have been read.
            self.attempt(|d| unsafe { tap::collect(d, components_of(d), &mut tap) })?;
            // SAFETY: libjpeg does not run, and nothing else looks at the tap.
            unsafe { (*state).tap = tap };
        } else {
            // SAFETY: decoding has begun; the tap lies beside the decompressor, and only libjpeg's calls reach it until
            // the end.
            unsafe { tap::listen(&raw mut (*state).decompressor, &raw mut (*state).tap) };
        }
        Ok(())
    }

    /// Reads what follows the last row up to the end marker: picture data left over means that some went astray.
    fn finish(&mut self) -> Result<(), Failure> {
        let state = self.state.as_ptr();
        // SAFETY: libjpeg does not run; its components are there until the picture is finished.
        unsafe {
            (*state).dc = tap::planes(&(*state).tap, components_of(&mut (*state).decompressor), ComponentInfo::dc_step)
        };
        self.attempt(|d| unsafe { jpeg_finish_decompress(d) }).map(|_| ())
    }

    /// One call into libjpeg. A non-suspending source is never out of data, so results need no look.
    fn attempt<T>(&mut self, call: impl FnOnce(&mut jpeg_decompress_struct) -> T) -> Result<T, Failure> {
        let decompressor = self.decompressor();
        caught(|| call(decompressor)).map_err(|fault| {
            let whole = fault.at.filter(|(scan, _)| *scan > 0 && (!self.multiple || self.complete()));
            let rows = whole.map_or(0, |(_, steps)| (steps * self.header.step()).min(self.header.size.height));
            Failure { fault, ended: self.ended(), rows }
        })
    }

    /// Says whether the next rows of blocks are to become samples or only to be read over.
    fn need_all(&mut self, needed: bool) {
        for component in self.components() {
            component.component_needed = c_int::from(needed);
        }
    }

    /// Whether every component has been in a scan: libjpeg then has its quantisation table.
    fn every_component_came(&mut self) -> bool {
        self.components().iter().all(|component| !component.quant_table.is_null())
    }

    /// Whether the scans begun so far, if whole, give every coefficient to its last bit.
    fn complete(&mut self) -> bool {
        let count = self.header.count;
        let bits = self.decompressor().coef_bits.cast::<[c_int; 64]>();
        if bits.is_null() {
            return self.every_component_came();
        }
        // SAFETY: of a progressive file this is an array of 64 numbers a component (jpeglib.h), alive until the abort.
        let bits = unsafe { std::slice::from_raw_parts(bits, count) };
        bits.iter().flatten().all(|missing| *missing == 0)
    }

    fn components(&mut self) -> &mut [ComponentInfo] {
        components_of(self.decompressor())
    }
}

/// What libjpeg knows of the components: none before the header has been read.
fn components_of(decompressor: &mut jpeg_decompress_struct) -> &mut [ComponentInfo] {
    let count = usize::try_from(decompressor.num_components).unwrap_or(0);
    if decompressor.comp_info.is_null() {
        return &mut [];
    }
    // SAFETY: libjpeg allocated `num_components` of them, alive until the abort; the mirror has the same layout.
    unsafe { std::slice::from_raw_parts_mut(decompressor.comp_info.cast(), count) }
}

/// `progress_monitor`: called at least once a row of blocks.
unsafe extern "C-unwind" fn count_scans(common: &mut mozjpeg_sys::jpeg_common_struct) {
    // SAFETY: set on decompressors only, and those begin with the common part.
    let scan = unsafe { (*std::ptr::from_mut(common).cast::<jpeg_decompress_struct>()).input_scan_number };
    if scan > MOST_SCANS {
        let text = format!("more than {MOST_SCANS} scans");
        std::panic::resume_unwind(Box::new(Fault { code: mozjpeg_sys::JERR_NOTIMPL, text, at: None }));
    }
}
