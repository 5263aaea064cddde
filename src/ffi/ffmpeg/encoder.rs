//! Frames in, packets out.

use std::ffi::c_int;
use std::ptr;

use ffmpeg_next::ffi as c;

use super::footage::ColourCodes;
use super::log::{self, Kept};
use super::regions::{self, Region};
use super::{Fault, Options, allocated, c_text, check, frame_duration};
use crate::units::{FrameRate, Size};

/// How an encoder's frames are laid out, and what it says of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct FrameFormat<'a> {
    /// FFmpeg's name of the layout.
    pub(crate) layout: &'a str,
    /// What values mean.
    pub(crate) colour: ColourCodes,
}

impl FrameFormat<'_> {
    /// 8-bit 4:2:0 with left-sited chroma, BT.709 in every tag, limited range.
    pub(crate) const BT709: Self =
        Self { layout: "yuv420p", colour: ColourCodes { primaries: 1, transfer: 1, matrix: 1, range: 1, siting: 1 } };
}

/// What an encoder is opened with. Pixels are square, groups of pictures closed.
pub(crate) struct EncoderSettings<'a> {
    /// FFmpeg's name of the encoder.
    pub(crate) codec: &'static str,
    /// What its frames are.
    pub(crate) format: FrameFormat<'a>,
    /// Frame size in pixels.
    pub(crate) size: Size,
    /// Frames a second; timestamps count frames.
    pub(crate) fps: FrameRate,
    /// Most frames from one key frame to the next.
    pub(crate) group: u32,
    /// The level the stream declares and keeps to, as `level_idc` (40 is level 4), or FFV1's version; 0 leaves it to
    /// the encoder.
    pub(crate) level: u8,
    /// Threads the encoder may use, at least 1.
    pub(crate) threads: usize,
    /// The encoder's own options by name.
    pub(crate) options: &'a [(&'a str, String)],
}

/// Whether FFmpeg was built with an encoder.
pub(crate) fn encoder_exists(name: &str) -> bool {
    c_text(name).is_ok_and(|name| {
        // SAFETY: the name ends with a zero.
        !unsafe { c::avcodec_find_encoder_by_name(name.as_ptr()) }.is_null()
    })
}

/// Whether an encoder of FFmpeg's takes frames of a layout, by their names.
pub(crate) fn encoder_takes(name: &str, layout: &str) -> bool {
    let (Ok(name), Ok(layout)) = (c_text(name), layout_of(layout)) else { return false };
    // SAFETY: the name ends with a zero; what is found is static, and its list of layouts, where there is one, ends
    // with none.
    unsafe {
        let codec = c::avcodec_find_encoder_by_name(name.as_ptr());
        let mut known = if codec.is_null() { ptr::null() } else { (*codec).pix_fmts };
        while !known.is_null() && *known != c::AVPixelFormat::AV_PIX_FMT_NONE {
            if *known == layout {
                return true;
            }
            known = known.add(1);
        }
    }
    false
}

fn layout_of(name: &str) -> Result<c::AVPixelFormat, Fault> {
    let text = c_text(name)?;
    // SAFETY: the name ends with a zero.
    match unsafe { c::av_get_pix_fmt(text.as_ptr()) } {
        c::AVPixelFormat::AV_PIX_FMT_NONE => Err(Fault::refused(format!("FFmpeg knows no layout '{name}'"))),
        layout => Ok(layout),
    }
}

/// An open encoder and the one frame buffer it is fed from.
pub(crate) struct Encoder {
    context: *mut c::AVCodecContext,
    frame: *mut c::AVFrame,
    sent: i64,
    /// Whether it is closed only after it was told that no frame follows, and has given out all that it holds.
    ends_first: bool,
    ended: bool,
    log: Kept,
}

/// SVT-AV1 waits for its own threads for ever where it is closed while they wait for frames (seen with 1.4.1).
const ENDS_FIRST: [&str; 1] = ["libsvtav1"];

// SAFETY: FFmpeg's contexts are tied to no thread; ours are used by one at a time, through `&mut`.
unsafe impl Send for Encoder {}

impl Encoder {
    /// Opens an encoder.
    ///
    /// # Errors
    /// Where there is no such encoder, it refuses the settings, does not know one of the options, or warns about any.
    pub(crate) fn open(settings: &EncoderSettings<'_>) -> Result<Self, Fault> {
        log::silence();
        let name = c_text(settings.codec)?;
        // SAFETY: the name ends with a zero; what is found is static.
        let codec = unsafe { c::avcodec_find_encoder_by_name(name.as_ptr()) };
        if codec.is_null() {
            return Err(Fault::refused(format!("FFmpeg has no encoder '{}'", settings.codec)));
        }
        // SAFETY: `codec` is a codec of FFmpeg's; the result is checked.
        let context = allocated(unsafe { c::avcodec_alloc_context3(codec) })?;
        let ends_first = ENDS_FIRST.contains(&settings.codec);
        // One that was never opened has no threads.
        let (frame, sent, ended) = (ptr::null_mut(), 0, true);
        let mut encoder = Self { context, frame, sent, ends_first, ended, log: Kept::of(context) };
        encoder.set_up(settings)?;
        let mut options = Options::new(settings.options)?;
        // SAFETY: the context was allocated for this codec and is open nowhere else; the dictionary is ours.
        check(unsafe { c::avcodec_open2(context, codec, &mut options.0) }, "opening it", Some(&encoder.log))?;
        encoder.ended = false;
        options.all_taken()?;
        // libx264 only warns where a parameter is unknown or cannot be kept, and encodes something else.
        let said = encoder.log.take();
        if !said.is_empty() {
            return Err(Fault::refused(said.join("; ")));
        }
        encoder.allocate_frame()?;
        Ok(encoder)
    }

    fn set_up(&mut self, settings: &EncoderSettings<'_>) -> Result<(), Fault> {
        let whole =
            |value: u32| c_int::try_from(value).map_err(|_too_large| Fault::refused(format!("{value} is too large")));
        let time_base = frame_duration(settings.fps)?;
        let threads = c_int::try_from(settings.threads.max(1)).unwrap_or(c_int::MAX);
        let layout = layout_of(settings.format.layout)?;
        let colour = settings.format.colour;
        let (width, height, group) =
            (whole(settings.size.width)?, whole(settings.size.height)?, whole(settings.group)?);
        // SAFETY: allocated by `open` and not yet handed on.
        let context = unsafe { &mut *self.context };
        context.width = width;
        context.height = height;
        context.pix_fmt = layout;
        context.time_base = time_base;
        context.framerate = c::AVRational { num: time_base.den, den: time_base.num };
        context.sample_aspect_ratio = c::AVRational { num: 1, den: 1 };
        context.color_range =
            if colour.range == 2 { c::AVColorRange::AVCOL_RANGE_JPEG } else { c::AVColorRange::AVCOL_RANGE_MPEG };
        context.color_primaries = match colour.primaries {
            1 => c::AVColorPrimaries::AVCOL_PRI_BT709,
            _ => c::AVColorPrimaries::AVCOL_PRI_UNSPECIFIED,
        };
        context.color_trc = match colour.transfer {
            1 => c::AVColorTransferCharacteristic::AVCOL_TRC_BT709,
            13 => c::AVColorTransferCharacteristic::AVCOL_TRC_IEC61966_2_1,
            _ => c::AVColorTransferCharacteristic::AVCOL_TRC_UNSPECIFIED,
        };
        context.colorspace = match colour.matrix {
            0 => c::AVColorSpace::AVCOL_SPC_RGB,
            1 => c::AVColorSpace::AVCOL_SPC_BT709,
            5 => c::AVColorSpace::AVCOL_SPC_BT470BG,
            _ => c::AVColorSpace::AVCOL_SPC_UNSPECIFIED,
        };
        context.chroma_sample_location = match colour.siting {
            1 => c::AVChromaLocation::AVCHROMA_LOC_LEFT,
            2 => c::AVChromaLocation::AVCHROMA_LOC_CENTER,
            3 => c::AVChromaLocation::AVCHROMA_LOC_TOPLEFT,
            _ => c::AVChromaLocation::AVCHROMA_LOC_UNSPECIFIED,
        };
        context.field_order = c::AVFieldOrder::AV_FIELD_PROGRESSIVE;
        context.gop_size = group;
        if settings.level > 0 {
            context.level = c_int::from(settings.level);
        }
        context.thread_count = threads;
        context.flags |= (c::AV_CODEC_FLAG_GLOBAL_HEADER | c::AV_CODEC_FLAG_CLOSED_GOP).cast_signed();
        Ok(())
    }

    fn allocate_frame(&mut self) -> Result<(), Fault> {
        // SAFETY: every result is checked; the context is open, so its size and format are settled.
        unsafe {
            self.frame = allocated(c::av_frame_alloc())?;
            (*self.frame).width = (*self.context).width;
            (*self.frame).height = (*self.context).height;
            (*self.frame).format = (*self.context).pix_fmt as c_int;
            // ProRes writes what the frame says, not what the encoder was opened with.
            (*self.frame).color_primaries = (*self.context).color_primaries;
            (*self.frame).color_trc = (*self.context).color_trc;
            (*self.frame).colorspace = (*self.context).colorspace;
            (*self.frame).color_range = (*self.context).color_range;
            (*self.frame).chroma_location = (*self.context).chroma_sample_location;
            check(c::av_frame_get_buffer(self.frame, 0), "allocating a frame", None)?;
            // Rows are lent as bytes, which are never without a value.
            for buffer in (*self.frame).buf.into_iter().filter(|buffer| !buffer.is_null()) {
                ptr::write_bytes((*buffer).data, 0, (*buffer).size);
            }
        }
        Ok(())
    }

    /// Says where the next frame is to be quantised finer or coarser, and nothing of those after it.
    ///
    /// # Errors
    /// Where there is no memory.
    pub(crate) fn hint(&mut self, regions: &[Region]) -> Result<(), Fault> {
        // SAFETY: the frame was allocated by `open` and is ours; what it held before, the encoder has copied.
        unsafe { regions::set(self.frame, regions) }
    }

    /// Hands the next frame of 8-bit planes to the encoder, each without padding.
    ///
    /// # Errors
    /// What the encoder says. All packets there are must have been [received](Self::receive) before.
    ///
    /// # Panics
    /// Where a plane does not have the size the encoder was opened for.
    pub(crate) fn send(&mut self, planes: [&[u8]; 3]) -> Result<(), Fault> {
        let mut read = [0; 3];
        let sent = self.send_rows(|plane, row, out| {
            let at = row * out.len();
            assert!(at + out.len() <= planes[plane].len(), "plane {plane} does not have the frame's size");
            out.copy_from_slice(&planes[plane][at..at + out.len()]);
            read[plane] = at + out.len();
        });
        assert_eq!(read, planes.map(<[u8]>::len), "a plane does not have the frame's size");
        sent
    }

    /// Hands the next frame to the encoder: `fill` is called with every row of every plane of its layout, to write its
    /// bytes.
    ///
    /// # Errors
    /// What the encoder says. All packets there are must have been [received](Self::receive) before.
    pub(crate) fn send_rows(&mut self, mut fill: impl FnMut(usize, usize, &mut [u8])) -> Result<(), Fault> {
        // SAFETY: the frame was allocated by `open`; the encoder may still hold its buffer, hence the call.
        check(unsafe { c::av_frame_make_writable(self.frame) }, "reusing a frame", Some(&self.log))?;
        // SAFETY: the frame is writable, so nobody else holds its buffer; the layout is the open context's, which has a
        // description.
        let (frame, layout) = unsafe { (&mut *self.frame, (*self.context).pix_fmt) };
        // SAFETY: as above; a description lives for ever.
        let (planes, described) = unsafe { (c::av_pix_fmt_count_planes(layout), &*c::av_pix_fmt_desc_get(layout)) };
        for index in 0..usize::try_from(planes).unwrap_or(0) {
            // SAFETY: the layout and the plane are real.
            let bytes = unsafe { c::av_image_get_linesize(layout, frame.width, c_int::try_from(index).unwrap_or(0)) };
            let bytes = usize::try_from(bytes).map_err(|_none| Fault::refused("a plane without rows"))?;
            let down = if matches!(index, 1 | 2) { described.log2_chroma_h } else { 0 };
            let rows = (frame.height as usize).div_ceil(1 << down);
            let stride =
                usize::try_from(frame.linesize[index]).map_err(|_negative| Fault::refused("a frame upside down"))?;
            for row in 0..rows {
                // SAFETY: the buffer has so many rows `stride` apart, each at least so many bytes long, and allocated
                // as bytes.
                fill(index, row, unsafe { std::slice::from_raw_parts_mut(frame.data[index].add(row * stride), bytes) });
            }
        }
        frame.pts = self.sent;
        frame.pict_type = c::AVPictureType::AV_PICTURE_TYPE_NONE;
        self.sent += 1;
        // SAFETY: context and frame are ours.
        let sent =
            check(unsafe { c::avcodec_send_frame(self.context, self.frame) }, "encoding a frame", Some(&self.log))
                .map(|_| ());
        self.hint(&[])?;
        sent
    }

    /// Tells the encoder that no frame follows; what it still holds can be received then.
    ///
    /// # Errors
    /// What the encoder says.
    pub(crate) fn flush(&mut self) -> Result<(), Fault> {
        self.ended = true;
        // SAFETY: a null frame means the end.
        check(unsafe { c::avcodec_send_frame(self.context, ptr::null()) }, "ending the stream", Some(&self.log))
            .map(|_| ())
    }

    /// Takes the next packet, where one is ready.
    ///
    /// # Errors
    /// What the encoder says.
    pub(crate) fn receive(&mut self, packet: &mut Packet) -> Result<bool, Fault> {
        // SAFETY: context and packet are ours.
        match unsafe { c::avcodec_receive_packet(self.context, packet.0) } {
            code if code == c::AVERROR(c::EAGAIN) || code == c::AVERROR_EOF => Ok(false),
            code => check(code, "encoding a frame", Some(&self.log)).map(|_| true),
        }
    }

    /// Has it give out all that it holds, which nobody wants.
    fn end(&mut self) {
        // Where it was given nothing, it would wait for a packet of that.
        if self.sent == 0 && self.send_rows(|_, _, _| ()).is_err() {
            return;
        }
        let Ok(mut packet) = Packet::new() else { return };
        while matches!(self.receive(&mut packet), Ok(true)) {}
        if self.flush().is_ok() {
            while matches!(self.receive(&mut packet), Ok(true)) {}
        }
    }

    /// What decoders are told before the first packet (H.264: the parameter sets).
    pub(crate) fn extradata(&self) -> &[u8] {
        // SAFETY: the context is open and its extradata stays as it is until it is freed; never a null slice.
        unsafe {
            let (start, length) = ((*self.context).extradata, (*self.context).extradata_size);
            if start.is_null() { &[] } else { std::slice::from_raw_parts(start, usize::try_from(length).unwrap_or(0)) }
        }
    }

    pub(super) fn context(&self) -> *const c::AVCodecContext {
        self.context
    }
}

impl Drop for Encoder {
    fn drop(&mut self) {
        if self.ends_first && !self.ended {
            self.end();
        }
        // SAFETY: ours, freed once; null is allowed.
        unsafe {
            c::av_frame_free(&mut self.frame);
            c::avcodec_free_context(&mut self.context);
        }
    }
}

/// One reusable packet.
#[derive(Debug)]
pub(crate) struct Packet(pub(super) *mut c::AVPacket);

// SAFETY: a packet is tied to no thread; ours is used by one at a time, through `&mut`.
unsafe impl Send for Packet {}

impl Packet {
    /// An empty packet.
    ///
    /// # Errors
    /// Where there is no memory.
    pub(crate) fn new() -> Result<Self, Fault> {
        // SAFETY: the result is checked.
        Ok(Self(allocated(unsafe { c::av_packet_alloc() })?))
    }

    /// One that holds a copy of these bytes.
    ///
    /// # Errors
    /// Where there is no memory, or more bytes than a packet takes.
    pub(crate) fn of(bytes: &[u8]) -> Result<Self, Fault> {
        let packet = Self::new()?;
        let size =
            c_int::try_from(bytes.len()).map_err(|_too_long| Fault::refused("more bytes than a packet takes"))?;
        // SAFETY: the packet is ours; the call gives it room for that many bytes, and padding.
        unsafe {
            check(c::av_new_packet(packet.0, size), "allocating", None)?;
            ptr::copy_nonoverlapping(bytes.as_ptr(), (*packet.0).data, bytes.len());
        }
        Ok(packet)
    }

    /// Bytes in it.
    pub(crate) fn bytes(&self) -> u64 {
        // SAFETY: never null.
        u64::try_from(unsafe { (*self.0).size }).unwrap_or(0)
    }

    /// What is in it.
    pub(crate) fn data(&self) -> &[u8] {
        // SAFETY: a packet has as many bytes as it says, or none and no buffer.
        unsafe {
            let (start, length) = ((*self.0).data, (*self.0).size);
            if start.is_null() { &[] } else { std::slice::from_raw_parts(start, usize::try_from(length).unwrap_or(0)) }
        }
    }

    /// When it is shown and when it is decoded, in ticks of whoever made it.
    pub(crate) fn times(&self) -> (i64, i64) {
        // SAFETY: never null.
        unsafe { ((*self.0).pts, (*self.0).dts) }
    }

    /// Whether decoding can start with it.
    pub(crate) fn is_key(&self) -> bool {
        // SAFETY: never null.
        unsafe { (*self.0).flags & c::AV_PKT_FLAG_KEY != 0 }
    }

    /// Room for so many bytes in it, in place of what was there.
    ///
    /// # Errors
    /// Where there is no memory.
    pub(crate) fn room(&mut self, bytes: usize) -> Result<&mut [u8], Fault> {
        let size = c_int::try_from(bytes).map_err(|_too_large| Fault::refused("a packet of 2 GiB"))?;
        // SAFETY: ours; emptied before it is given a buffer of so many bytes, which is checked and cleared before it is
        // lent.
        unsafe {
            c::av_packet_unref(self.0);
            check(c::av_new_packet(self.0, size), "allocating a packet", None)?;
            ptr::write_bytes((*self.0).data, 0, bytes);
            Ok(std::slice::from_raw_parts_mut((*self.0).data, bytes))
        }
    }

    /// Says when it is shown and when it is decoded, and whether decoding can start with it.
    pub(crate) fn place(&mut self, (shown, decoded): (i64, i64), key: bool) {
        // SAFETY: never null.
        unsafe {
            ((*self.0).pts, (*self.0).dts) = (shown, decoded);
            (*self.0).flags = if key { c::AV_PKT_FLAG_KEY } else { 0 };
        }
    }

    /// Says when the frame in it is shown, in ticks, whatever its container says.
    pub(crate) fn show_at(&mut self, tick: i64) {
        // SAFETY: the packet is ours.
        unsafe { (*self.0).pts = tick };
    }
}

impl Drop for Packet {
    fn drop(&mut self) {
        // SAFETY: ours, freed once.
        unsafe { c::av_packet_free(&mut self.0) };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn opened_at(size: Size, options: &[(&str, &str)]) -> Result<(), String> {
        let options: Vec<_> = options.iter().map(|(name, value)| (*name, (*value).to_owned())).collect();
        let fps = FrameRate::new(24, 1).unwrap();
        let (format, codec) = (FrameFormat::BT709, "libx264");
        let settings =
            EncoderSettings { codec, format, size, fps, group: 48, level: 30, threads: 1, options: &options };
        Encoder::open(&settings).map(|_| ()).map_err(|fault| fault.to_string())
    }

    fn opened(options: &[(&str, &str)]) -> Result<(), String> {
        opened_at(Size::new(640, 480), options)
    }

    #[test]
    fn an_option_that_nobody_takes_is_an_error() {
        assert_eq!(opened(&[("crf", "18")]), Ok(()));
        assert_eq!(opened(&[("crf", "18"), ("crff", "18")]).unwrap_err(), "no such option: crff = 18");
    }

    #[test]
    fn a_parameter_that_is_only_warned_about_is_an_error() {
        assert_eq!(opened(&[("x264-params", "8x8dct=1")]), Ok(()));
        let said = opened(&[("x264-params", "9x9dct=1")]).unwrap_err();
        assert!(said.contains("9x9dct"), "{said}");
        let said = opened(&[("x264-params", "ref=16")]).unwrap_err();
        assert!(said.contains("DPB size"), "a level that is not kept: {said}");
    }

    #[test]
    fn what_the_encoder_says_is_part_of_the_error() {
        let said = opened_at(Size::new(20_000, 64), &[]).unwrap_err();
        assert!(said.starts_with("opening it: ") && said.contains("invalid width x height (20000x64)"), "{said}");
    }

    #[test]
    fn there_is_no_encoder_by_a_name_that_nobody_has() {
        assert!(encoder_exists("libx264"));
        assert!(!encoder_exists("libx264 "));
        assert!(!encoder_exists(""));
    }
}
