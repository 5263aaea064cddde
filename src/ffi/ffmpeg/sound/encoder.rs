//! Samples of two sides in, AAC packets out.

use std::ffi::c_int;
use std::ptr;

use ffmpeg_next::ffi as c;

use super::SOUND_RATE;
use crate::ffi::ffmpeg::log::{self, Kept};
use crate::ffi::ffmpeg::{Fault, Packet, allocated, check};

/// FFmpeg's own encoder, which every build of it has.
const ENCODER: &std::ffi::CStr = c"aac";

/// Bits a second: what people do not tell from the original in most listening tests of AAC (common practice, no
/// source).
const BITS: i64 = 192_000;

/// Samples that the encoder takes at once; the last time it may be fewer.
pub(crate) const SOUND_BLOCK: usize = 1024;

/// Whether FFmpeg was built with the encoder.
pub(crate) fn sound_encoder_exists() -> bool {
    // SAFETY: the name ends with a zero.
    !unsafe { c::avcodec_find_encoder_by_name(ENCODER.as_ptr()) }.is_null()
}

/// An open AAC encoder (low complexity, two sides, [`SOUND_RATE`]). Its first packet comes before time 0, by the
/// samples that a decoder throws away.
#[derive(Debug)]
pub(crate) struct SoundEncoder {
    context: *mut c::AVCodecContext,
    frame: *mut c::AVFrame,
    sent: i64,
    log: Kept,
}

// SAFETY: FFmpeg's contexts are tied to no thread; ours are used by one at a time, through `&mut`.
unsafe impl Send for SoundEncoder {}

impl SoundEncoder {
    /// Opens it.
    ///
    /// # Errors
    /// Where there is no such encoder, or it refuses.
    pub(crate) fn open() -> Result<Self, Fault> {
        log::silence();
        // SAFETY: the name ends with a zero; every result is checked; a layout of a mask owns nothing.
        unsafe {
            let codec = c::avcodec_find_encoder_by_name(ENCODER.as_ptr());
            if codec.is_null() {
                return Err(Fault::refused("FFmpeg has no AAC encoder"));
            }
            let context = allocated(c::avcodec_alloc_context3(codec))?;
            let mut encoder = Self { context, frame: ptr::null_mut(), sent: 0, log: Kept::of(context) };
            let rate = c_int::try_from(SOUND_RATE).unwrap_or(c_int::MAX);
            (*context).sample_rate = rate;
            (*context).sample_fmt = c::AVSampleFormat::AV_SAMPLE_FMT_FLTP;
            (*context).time_base = c::AVRational { num: 1, den: rate };
            (*context).bit_rate = BITS;
            // Without this flag the encoder writes its own version into the stream.
            (*context).flags |= (c::AV_CODEC_FLAG_GLOBAL_HEADER | c::AV_CODEC_FLAG_BITEXACT).cast_signed();
            let two = c::av_channel_layout_from_mask(&mut (*context).ch_layout, c::AV_CH_LAYOUT_STEREO);
            check(two, "naming channels", None)?;
            check(c::avcodec_open2(context, codec, ptr::null_mut()), "opening it", Some(&encoder.log))?;
            if usize::try_from((*context).frame_size) != Ok(SOUND_BLOCK) {
                return Err(Fault::refused(format!("it takes {} samples at once", (*context).frame_size)));
            }
            encoder.frame = allocated(c::av_frame_alloc())?;
            (*encoder.frame).nb_samples = (*context).frame_size;
            (*encoder.frame).format = (*context).sample_fmt as c_int;
            (*encoder.frame).sample_rate = rate;
            let layout = c::av_channel_layout_copy(&mut (*encoder.frame).ch_layout, &(*context).ch_layout);
            check(layout, "naming channels", None)?;
            check(c::av_frame_get_buffer(encoder.frame, 0), "allocating samples", None)?;
            Ok(encoder)
        }
    }

    /// Hands the next samples to the encoder: [`SOUND_BLOCK`] of them, or what is left at the end.
    ///
    /// # Errors
    /// What the encoder says. All packets there are must have been [received](Self::receive) before.
    ///
    /// # Panics
    /// Where the sides are not equally long, or longer than that.
    pub(crate) fn send(&mut self, sides: [&[f32]; 2]) -> Result<(), Fault> {
        let count = sides[0].len();
        assert!(count == sides[1].len() && (1..=SOUND_BLOCK).contains(&count), "{count} samples at once");
        let samples = c_int::try_from(count).unwrap_or(c_int::MAX);
        // SAFETY: the frame was allocated for a whole block of two planes; the encoder may still hold its buffer, hence
        // the first call.
        unsafe {
            (*self.frame).nb_samples = c_int::try_from(SOUND_BLOCK).unwrap_or(c_int::MAX);
            check(c::av_frame_make_writable(self.frame), "reusing samples", Some(&self.log))?;
            for (side, plane) in sides.into_iter().zip((*self.frame).data) {
                ptr::copy_nonoverlapping(side.as_ptr(), plane.cast::<f32>(), count);
            }
            (*self.frame).nb_samples = samples;
            (*self.frame).pts = self.sent;
            self.sent += i64::from(samples);
            check(c::avcodec_send_frame(self.context, self.frame), "encoding sound", Some(&self.log)).map(|_| ())
        }
    }

    /// Tells the encoder that no samples follow; what it still holds can be received then.
    ///
    /// # Errors
    /// What the encoder says.
    pub(crate) fn flush(&mut self) -> Result<(), Fault> {
        // SAFETY: a null frame means the end.
        check(unsafe { c::avcodec_send_frame(self.context, ptr::null()) }, "ending the sound", Some(&self.log))
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
            code => check(code, "encoding sound", Some(&self.log)).map(|_| true),
        }
    }

    pub(in crate::ffi::ffmpeg) fn context(&self) -> *const c::AVCodecContext {
        self.context
    }
}

impl Drop for SoundEncoder {
    fn drop(&mut self) {
        // SAFETY: ours, freed once; null is allowed.
        unsafe {
            c::av_frame_free(&mut self.frame);
            c::avcodec_free_context(&mut self.context);
        }
    }
}
