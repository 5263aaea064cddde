//! Packets in, frames out, as the file codes them: nothing is scaled or converted.

use std::ffi::c_int;
use std::ptr;

use ffmpeg_next::ffi as c;

use super::{ColourCodes, Footage, text};
use crate::ffi::ffmpeg::container::PICTURE_DECODERS;
use crate::ffi::ffmpeg::log::Kept;
use crate::ffi::ffmpeg::reader::name;
use crate::ffi::ffmpeg::{Colour, Fault, Options, Packet, allocated, check};
use crate::shoot::MOST_PIXELS;
use crate::units::Size;

/// The most slices of a frame that are decoded side by side.
const MOST_THREADS: usize = 4;

/// Errors of a frame that mean wrong pixels.
const WRONG: c_int = c::FF_DECODE_ERROR_INVALID_BITSTREAM
    | c::FF_DECODE_ERROR_MISSING_REFERENCE
    | c::FF_DECODE_ERROR_CONCEALMENT_ACTIVE
    | c::FF_DECODE_ERROR_DECODE_SLICES;

/// What FFmpeg's decoder of H.264 says, in part, of a frame made of one that is not there: frames do not tell.
const REFERENCES: [&str; 2] = ["Missing reference picture", "reference picture missing"];

/// An open decoder and the one frame it fills.
#[derive(Debug)]
pub(crate) struct FootageDecoder {
    context: *mut c::AVCodecContext,
    frame: *mut c::AVFrame,
    log: Kept,
    /// Whether frames tell by themselves of every pixel that was made up.
    is_careful: bool,
}

// SAFETY: FFmpeg's contexts are tied to no thread; ours are used by one at a time, through `&mut`.
unsafe impl Send for FootageDecoder {}

/// How stills in a container are coded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum StillCoding {
    /// H.265, each picture an intra picture.
    Hevc,
    /// AV1, each picture an intra picture.
    Av1,
}

/// What comes of asking for a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Received {
    /// One is there.
    Frame,
    /// More packets are needed first.
    Hungry,
    /// All have come.
    End,
}

impl FootageDecoder {
    /// Opens a decoder for a recording's video.
    ///
    /// # Errors
    /// Where FFmpeg has none for it that is allowed.
    pub(crate) fn open(footage: &Footage) -> Result<Self, Fault> {
        Self::of_stream(footage, |_context| ())
    }

    /// As [`FootageDecoder::open`], for H.264 in whole frames: decodes on one thread, as FFmpeg does where it keeps
    /// count of every block of a frame. A slice that is dropped and was not needed is no error then.
    ///
    /// # Errors
    /// As [`FootageDecoder::open`].
    pub(crate) fn open_careful(footage: &Footage) -> Result<Self, Fault> {
        let mut decoder = Self::of_stream(footage, |context| context.thread_count = 1)?;
        decoder.is_careful = true;
        Ok(decoder)
    }

    /// As [`FootageDecoder::open`], with several frames decoded side by side: quicker, and an error is no longer known to
    /// be this or that frame's, but for the marks that frames bear themselves. Frames that no other is predicted from are
    /// not deblocked: they are looked at and not shown, and nothing of it carries over. More frames are under way than
    /// there are cores, so that these have work while a frame is looked at.
    ///
    /// # Errors
    /// As [`FootageDecoder::open`].
    pub(crate) fn open_quick(footage: &Footage) -> Result<Self, Fault> {
        Self::of_stream(footage, |context| {
            context.thread_type = c::FF_THREAD_FRAME | c::FF_THREAD_SLICE;
            context.thread_count += 3;
            context.skip_loop_filter = c::AVDiscard::AVDISCARD_NONREF;
        })
    }

    fn of_stream(footage: &Footage, change: impl FnOnce(&mut c::AVCodecContext)) -> Result<Self, Fault> {
        // SAFETY: the stream is open, and its parameters live as long as it does; the context is fresh.
        unsafe {
            let parameters = (*footage.stream).codecpar;
            Self::of_codec((*parameters).codec_id, |context| {
                check(c::avcodec_parameters_to_context(context, parameters), "describing the stream", None)?;
                (*context).pkt_timebase = (*footage.stream).time_base;
                change(&mut *context);
                Ok(())
            })
        }
    }

    /// As [`FootageDecoder::open`], told nothing of what the container says of colours: frames have the stream's own
    /// tags then.
    ///
    /// # Errors
    /// As [`FootageDecoder::open`].
    pub(crate) fn open_untold(footage: &Footage) -> Result<Self, Fault> {
        Self::of_stream(footage, |context| {
            context.color_primaries = c::AVColorPrimaries::AVCOL_PRI_UNSPECIFIED;
            context.color_trc = c::AVColorTransferCharacteristic::AVCOL_TRC_UNSPECIFIED;
            context.colorspace = c::AVColorSpace::AVCOL_SPC_UNSPECIFIED;
            context.color_range = c::AVColorRange::AVCOL_RANGE_UNSPECIFIED;
        })
    }

    /// Opens a decoder for stills by the configuration their container holds: an `hvcC` box's content, or an `av1C`
    /// box's.
    ///
    /// # Errors
    /// Where FFmpeg has no such decoder, or finds fault with the configuration.
    pub(crate) fn of_stills(coding: StillCoding, configuration: &[u8]) -> Result<Self, Fault> {
        super::super::log::silence();
        let codec = match coding {
            StillCoding::Hevc => c::AVCodecID::AV_CODEC_ID_HEVC,
            StillCoding::Av1 => c::AVCodecID::AV_CODEC_ID_AV1,
        };
        Self::of_codec(codec, |context| {
            let padding = c::AV_INPUT_BUFFER_PADDING_SIZE as usize;
            let size =
                c_int::try_from(configuration.len()).map_err(|_too_long| Fault::refused("a configuration too long"))?;
            // SAFETY: the room is allocated here, zeros after the copy included, and freed with the context.
            unsafe {
                let room = allocated(c::av_mallocz(configuration.len() + padding))?.cast::<u8>();
                ptr::copy_nonoverlapping(configuration.as_ptr(), room, configuration.len());
                (*context).extradata = room;
                (*context).extradata_size = size;
            }
            Ok(())
        })
    }

    fn of_codec(
        id: c::AVCodecID,
        describe: impl FnOnce(*mut c::AVCodecContext) -> Result<(), Fault>,
    ) -> Result<Self, Fault> {
        // SAFETY: every result is checked; the context is fresh; the dictionary is ours.
        unsafe {
            let codec = c::avcodec_find_decoder(id);
            if codec.is_null() {
                let name = text(c::avcodec_get_name(id)).unwrap_or_default();
                return Err(Fault::refused(format!("FFmpeg has no decoder for {name}")));
            }
            let context = allocated(c::avcodec_alloc_context3(codec))?;
            let mut decoder = Self { context, frame: ptr::null_mut(), log: Kept::of(context), is_careful: false };
            let threads = std::thread::available_parallelism().map_or(1, usize::from).min(MOST_THREADS);
            (*context).thread_count = c_int::try_from(threads).unwrap_or(1);
            // Frames side by side would make errors come late, when nobody knows any more whose they are.
            (*context).thread_type = c::FF_THREAD_SLICE;
            describe(context)?;
            (*context).max_pixels = i64::try_from(MOST_PIXELS).unwrap_or(i64::MAX);
            let mut options = Options::new(&[("codec_whitelist", PICTURE_DECODERS.to_owned())])?;
            check(c::avcodec_open2(context, codec, &mut options.0), "opening its decoder", Some(&decoder.log))?;
            decoder.frame = allocated(c::av_frame_alloc())?;
            Ok(decoder)
        }
    }

    /// Decodes a still that stands alone: what is in the packet, and nothing before or after it.
    ///
    /// # Errors
    /// What the decoder says; or that no picture came of it, or one with wrong pixels.
    pub(crate) fn still(&mut self, packet: &Packet) -> Result<DecodedFrame<'_>, Fault> {
        let sent = self.send(Some(packet), true);
        let ended = sent.and_then(|()| self.send(None, true));
        let received = ended.and_then(|()| self.receive());
        self.restart();
        let (mut said, errors) = (self.log.take(), self.log.errors());
        match received? {
            Received::Frame if errors > 0 || self.frame().is_damaged() => {
                said.truncate(1);
                Err(Fault::refused(said.pop().unwrap_or_else(|| "its decoder made up pixels".into())))
            }
            Received::Frame => Ok(self.frame()),
            Received::Hungry | Received::End => Err(Fault::refused("no picture came of its data")),
        }
    }

    /// Hands in the next packet, after all frames there are have been received; none at the end. A frame that is not
    /// `wanted` is decoded only where others are made of it.
    ///
    /// # Errors
    /// What the decoder says: the frame in the packet is lost then, and those made of it are wrong.
    pub(crate) fn send(&mut self, packet: Option<&Packet>, wanted: bool) -> Result<(), Fault> {
        // SAFETY: context and packet are ours; a null packet means the end.
        let code = unsafe {
            (*self.context).skip_frame =
                if wanted { c::AVDiscard::AVDISCARD_DEFAULT } else { c::AVDiscard::AVDISCARD_NONREF };
            c::avcodec_send_packet(self.context, packet.map_or(ptr::null(), |packet| packet.0))
        };
        check(code, "decoding a frame", Some(&self.log)).map(|_| ())
    }

    /// Takes the next frame, in the order of showing.
    ///
    /// # Errors
    /// What the decoder says.
    pub(crate) fn receive(&mut self) -> Result<Received, Fault> {
        // SAFETY: context and frame are ours; the frame is let go of by the call that fills it.
        match unsafe { c::avcodec_receive_frame(self.context, self.frame) } {
            code if code == c::AVERROR(c::EAGAIN) => Ok(Received::Hungry),
            code if code == c::AVERROR_EOF => Ok(Received::End),
            code => check(code, "decoding a frame", Some(&self.log)).map(|_| Received::Frame),
        }
    }

    /// Whether the decoder met errors since it was last asked, be it that it made up pixels for them.
    pub(crate) fn met_errors(&self) -> bool {
        if self.is_careful {
            let is_told = |line: &String| REFERENCES.iter().any(|words| line.contains(words));
            let told = self.log.take().iter().any(is_told);
            return self.log.errors() > 0 && told;
        }
        self.log.errors() > 0
    }

    /// Forgets all that went in: the next packet is a key frame's.
    pub(crate) fn restart(&mut self) {
        // SAFETY: the context is open.
        unsafe { c::avcodec_flush_buffers(self.context) };
    }

    /// The frame received last.
    pub(crate) fn frame(&self) -> DecodedFrame<'_> {
        // SAFETY: allocated by `open`, and nothing is received while it is borrowed.
        DecodedFrame { frame: unsafe { &*self.frame } }
    }
}

impl Drop for FootageDecoder {
    fn drop(&mut self) {
        // SAFETY: ours, freed once; null is allowed.
        unsafe {
            c::av_frame_free(&mut self.frame);
            c::avcodec_free_context(&mut self.context);
        }
    }
}

/// A decoded frame, borrowed from its decoder.
#[derive(Clone, Copy)]
pub(crate) struct DecodedFrame<'a> {
    frame: &'a c::AVFrame,
}

/// How the samples of a frame lie in memory.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct FrameLayout {
    /// Luma, or luma and the two differences, or red, green and blue.
    pub(crate) components: Vec<Component>,
    /// Whether they are red, green and blue.
    pub(crate) rgb: bool,
}

/// One component of a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Component {
    plane: usize,
    /// Bytes from one sample to the next.
    pub(crate) step: usize,
    offset: usize,
    /// Low bits of a sample that mean nothing.
    pub(crate) shift: u32,
    /// Bits of a sample.
    pub(crate) depth: u32,
    /// Samples across.
    pub(crate) width: u32,
    /// Rows.
    pub(crate) height: u32,
    /// Luma samples from one sample to the next, across and down.
    pub(crate) spacing: (u32, u32),
}

impl<'a> DecodedFrame<'a> {
    /// When it is shown, in ticks; nothing where it came without a time.
    pub(crate) fn shown(self) -> Option<i64> {
        (self.frame.pts != c::AV_NOPTS_VALUE).then_some(self.frame.pts)
    }

    /// Whether some of its pixels were lost.
    pub(crate) fn is_damaged(self) -> bool {
        self.frame.flags & c::AV_FRAME_FLAG_CORRUPT != 0 || self.frame.decode_error_flags & WRONG != 0
    }

    /// Samples across and down.
    pub(crate) fn size(self) -> Size {
        Size::new(self.frame.width.unsigned_abs(), self.frame.height.unsigned_abs())
    }

    /// Whether it is two fields, and whether the upper one was taken first.
    pub(crate) fn fields(self) -> Option<bool> {
        (self.frame.interlaced_frame != 0).then_some(self.frame.top_field_first != 0)
    }

    /// What its values mean.
    pub(crate) fn colour(self) -> ColourCodes {
        // SAFETY: numbers that FFmpeg types as enumerations are read as numbers.
        let number = |value: *const u32| unsafe { value.read() };
        ColourCodes {
            primaries: number((&raw const self.frame.color_primaries).cast()),
            transfer: number((&raw const self.frame.color_trc).cast()),
            matrix: number((&raw const self.frame.colorspace).cast()),
            range: number((&raw const self.frame.color_range).cast()),
            siting: number((&raw const self.frame.chroma_location).cast()),
        }
    }

    /// What its values are said to be, by FFmpeg's names.
    pub(crate) fn tags(self) -> Colour {
        // SAFETY: FFmpeg's names are static strings or null.
        unsafe {
            Colour {
                primaries: name(c::av_color_primaries_name(self.frame.color_primaries)),
                transfer: name(c::av_color_transfer_name(self.frame.color_trc)),
                matrix: name(c::av_color_space_name(self.frame.colorspace)),
                range: name(c::av_color_range_name(self.frame.color_range)),
            }
        }
    }

    /// How its samples lie; or the name of its layout where that is none of plain whole numbers of 8 to 16 bits.
    pub(crate) fn layout(self) -> Result<FrameLayout, String> {
        let format = self.frame.format;
        if !(0..c::AVPixelFormat::AV_PIX_FMT_NB as c_int).contains(&format) {
            return Err(format!("number {format}"));
        }
        // SAFETY: one of the enumeration's values, which are without gaps; a description lives for ever.
        let (described, name) = unsafe {
            let format: c::AVPixelFormat = std::mem::transmute(format);
            (c::av_pix_fmt_desc_get(format).as_ref(), text(c::av_get_pix_fmt_name(format)).unwrap_or_default())
        };
        let Some(described) = described else { return Err(name) };
        let strange = [
            c::AV_PIX_FMT_FLAG_BE,
            c::AV_PIX_FMT_FLAG_PAL,
            c::AV_PIX_FMT_FLAG_BITSTREAM,
            c::AV_PIX_FMT_FLAG_HWACCEL,
            c::AV_PIX_FMT_FLAG_BAYER,
            c::AV_PIX_FMT_FLAG_FLOAT,
        ];
        if strange.into_iter().any(|flag| described.flags & u64::from(flag.unsigned_abs()) != 0) {
            return Err(name);
        }
        let alpha = described.flags & u64::from(c::AV_PIX_FMT_FLAG_ALPHA.unsigned_abs()) != 0;
        let count = usize::from(described.nb_components) - usize::from(alpha);
        let size = self.size();
        let component = |(index, described_as): (usize, &c::AVComponentDescriptor)| {
            let (across, down) = if index == 0 {
                (0, 0)
            } else {
                (u32::from(described.log2_chroma_w), u32::from(described.log2_chroma_h))
            };
            let number = |value: c_int| usize::try_from(value).unwrap_or(0);
            Component {
                plane: number(described_as.plane),
                step: number(described_as.step),
                offset: number(described_as.offset),
                shift: described_as.shift.unsigned_abs(),
                depth: described_as.depth.unsigned_abs(),
                width: size.width.div_ceil(1 << across),
                height: size.height.div_ceil(1 << down),
                spacing: (1 << across, 1 << down),
            }
        };
        let components: Vec<Component> = described.comp[..count].iter().enumerate().map(component).collect();
        let whole = |component: &Component| {
            (8..=16).contains(&component.depth)
                && component.depth == components[0].depth
                && component.shift + component.depth <= 16
                && component.step >= component.bytes()
        };
        if !matches!(count, 1 | 3) || !components.iter().all(whole) {
            return Err(name);
        }
        Ok(FrameLayout { components, rgb: described.flags & u64::from(c::AV_PIX_FMT_FLAG_RGB.unsigned_abs()) != 0 })
    }

    /// A row of a component of this frame's layout: the bytes from its first sample to its last, samples `step` bytes
    /// apart.
    ///
    /// # Panics
    /// Where there is no such row, or it does not lie in the frame's memory.
    pub(crate) fn row(self, component: &Component, row: u32) -> &'a [u8] {
        assert!(row < component.height && component.width > 0, "row {row} of {}", component.height);
        let length = (component.width as usize - 1) * component.step + component.bytes();
        let plane = c_int::try_from(component.plane).unwrap_or(-1);
        // SAFETY: the frame is FFmpeg's; the call only looks which of its buffers a plane lies in.
        let (start, memory) = unsafe {
            let buffer = c::av_frame_get_plane_buffer(std::ptr::from_ref(self.frame).cast_mut(), plane).as_ref();
            let memory = buffer.map(|buffer| (buffer.data as usize, buffer.size));
            (self.frame.data[component.plane], memory.expect("a plane with samples"))
        };
        let offset =
            isize::try_from(row).unwrap_or(isize::MAX).saturating_mul(self.frame.linesize[component.plane] as isize);
        // Whatever a component says: nothing is read beside the memory that the plane lies in.
        let first = (start as usize).checked_add_signed(offset).and_then(|first| first.checked_add(component.offset));
        let inside = first.and_then(|first| first.checked_sub(memory.0)).and_then(|from| from.checked_add(length));
        assert!(inside.is_some_and(|end| end <= memory.1), "row {row} lies beside its plane");
        // SAFETY: from its first byte to its last the row lies in a buffer of the frame's, which lives as long as the
        // borrow.
        unsafe { std::slice::from_raw_parts(start.offset(offset).add(component.offset), length) }
    }
}

impl Component {
    /// Bytes of a sample.
    fn bytes(&self) -> usize {
        if self.depth + self.shift > 8 { 2 } else { 1 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A frame of a format and size with memory of its own, freed with it.
    struct Own(*mut c::AVFrame);

    impl Own {
        fn new(format: c::AVPixelFormat, (width, height): (c_int, c_int)) -> Self {
            // SAFETY: the results are checked; the frame is ours.
            unsafe {
                let frame = allocated(c::av_frame_alloc()).unwrap();
                ((*frame).format, (*frame).width, (*frame).height) = (format as c_int, width, height);
                check(c::av_frame_get_buffer(frame, 0), "allocating", None).unwrap();
                for buffer in (*frame).buf.into_iter().filter_map(|buffer| buffer.as_ref()) {
                    ptr::write_bytes(buffer.data, 0, buffer.size);
                }
                Self(frame)
            }
        }

        fn frame(&mut self) -> &mut c::AVFrame {
            // SAFETY: allocated above.
            unsafe { &mut *self.0 }
        }
    }

    impl Drop for Own {
        fn drop(&mut self) {
            // SAFETY: ours, freed once.
            unsafe { c::av_frame_free(&mut self.0) };
        }
    }

    fn read(frame: &c::AVFrame, layout: &FrameLayout) -> bool {
        let every = || {
            for component in &layout.components {
                for row in 0..component.height {
                    std::hint::black_box(
                        DecodedFrame { frame }.row(component, row).iter().map(|byte| u32::from(*byte)).sum::<u32>(),
                    );
                }
            }
        };
        std::panic::catch_unwind(std::panic::AssertUnwindSafe(every)).is_ok()
    }

    #[test]
    fn rows_lie_in_the_memory_of_their_frame_whatever_a_layout_says() {
        let formats = [
            c::AVPixelFormat::AV_PIX_FMT_YUV420P,
            c::AVPixelFormat::AV_PIX_FMT_YUV422P10LE,
            c::AVPixelFormat::AV_PIX_FMT_GBRP,
            c::AVPixelFormat::AV_PIX_FMT_RGB24,
            c::AVPixelFormat::AV_PIX_FMT_YUYV422,
            c::AVPixelFormat::AV_PIX_FMT_GRAY8,
        ];
        for format in formats {
            let mut own = Own::new(format, (35, 21));
            let layout = DecodedFrame { frame: own.frame() }.layout().unwrap();
            assert!(read(own.frame(), &layout), "{format:?}");
            // The layout of a larger frame, and one of other planes.
            let larger = DecodedFrame { frame: Own::new(format, (4000, 2100)).frame() }.layout().unwrap();
            assert!(!read(own.frame(), &larger), "{format:?}");
            for plane in [3, 7, 8, usize::MAX] {
                let component = Component { plane, ..layout.components[0] };
                assert!(
                    !read(own.frame(), &FrameLayout { components: vec![component], ..layout.clone() }),
                    "{format:?} {plane}"
                );
            }
            // Rows from the last one up, as some decoders give them, lie inside; those below the last do not.
            let plane = layout.components[0].plane;
            let (rows, stride) = (own.frame().height, own.frame().linesize[plane]);
            let top = own.frame().data[plane];
            // SAFETY: the last row of the plane.
            own.frame().data[plane] = unsafe { top.offset((rows as isize - 1) * stride as isize) };
            own.frame().linesize[plane] = -stride;
            let luma = FrameLayout { components: vec![layout.components[0]], ..layout.clone() };
            assert!(read(own.frame(), &luma), "{format:?}");
            own.frame().linesize[plane] = stride * 64;
            assert!(!read(own.frame(), &luma), "{format:?}");
        }
    }
}
