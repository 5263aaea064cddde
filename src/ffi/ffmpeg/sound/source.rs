//! Packets of a recording's sound in, frames of samples out, each with its time.

use std::path::Path;
use std::ptr;

use ffmpeg_next::ffi as c;

use crate::ffi::ffmpeg::container::{Container, SOUND_DECODERS};
use crate::ffi::ffmpeg::log::Kept;
use crate::ffi::ffmpeg::{Fault, Options, Packet, allocated, check};

/// A recording open for its sound.
#[derive(Debug)]
pub(crate) struct SoundSource {
    container: Container,
    stream: *mut c::AVStream,
    decoder: *mut c::AVCodecContext,
    frame: *mut c::AVFrame,
    packet: Packet,
    log: Kept,
}

// SAFETY: FFmpeg's contexts are tied to no thread; ours are used by one at a time, through `&mut`.
unsafe impl Send for SoundSource {}

/// What comes of asking for a frame of samples.
#[derive(Debug)]
pub(crate) enum Heard {
    /// One is there.
    Frame,
    /// One is lost, that of a packet with this time in seconds of the container's clock, where it has one.
    Lost(Option<f64>),
    /// All have come.
    End,
}

impl SoundSource {
    /// Opens a file and the decoder of its sound.
    ///
    /// # Errors
    /// What the system or FFmpeg says; or that there is no sound in it that is read.
    pub(crate) fn open(path: &Path) -> Result<Self, Fault> {
        let container = Container::open(path)?;
        let sound = container.best(c::AVMediaType::AVMEDIA_TYPE_AUDIO);
        let stream = sound.ok_or_else(|| Fault::refused("there is no sound in it"))?;
        container.leave_out_all_but(stream);
        let packet = Packet::new()?;
        // SAFETY: the stream is open; every result is checked; the dictionary is ours.
        unsafe {
            let parameters = (*stream).codecpar;
            let codec = c::avcodec_find_decoder((*parameters).codec_id);
            if codec.is_null() {
                return Err(Fault::refused("FFmpeg has no decoder for its sound"));
            }
            let decoder = allocated(c::avcodec_alloc_context3(codec))?;
            let mut source =
                Self { container, stream, decoder, frame: ptr::null_mut(), packet, log: Kept::of(decoder) };
            check(c::avcodec_parameters_to_context(decoder, parameters), "describing the sound", None)?;
            // Samples that a codec begins and ends with beside the recording's own are left out by these.
            (*decoder).pkt_timebase = (*stream).time_base;
            (*decoder).thread_count = 1;
            let mut options = Options::new(&[("codec_whitelist", SOUND_DECODERS.to_owned())])?;
            check(
                c::avcodec_open2(decoder, codec, &mut options.0),
                "opening the decoder of its sound",
                Some(&source.log),
            )?;
            source.frame = allocated(c::av_frame_alloc())?;
            Ok(source)
        }
    }

    /// Decodes on until the next frame of samples.
    ///
    /// # Errors
    /// What the system or FFmpeg says where the file cannot be read on.
    pub(crate) fn next(&mut self) -> Result<Heard, Fault> {
        loop {
            // SAFETY: context and frame are ours; the frame is let go of by the call that fills it.
            match unsafe { c::avcodec_receive_frame(self.decoder, self.frame) } {
                code if code == c::AVERROR(c::EAGAIN) => {}
                code if code == c::AVERROR_EOF => return Ok(Heard::End),
                code if code < 0 => {
                    self.log.take();
                    return Ok(Heard::Lost(None));
                }
                // SAFETY: a frame was received.
                _ => unsafe {
                    let corrupt =
                        (*self.frame).flags & c::AV_FRAME_FLAG_CORRUPT != 0 || (*self.frame).decode_error_flags != 0;
                    return Ok(if corrupt { Heard::Lost(self.began()) } else { Heard::Frame });
                },
            }
            if let Some(lost) = self.feed()? {
                return Ok(lost);
            }
        }
    }

    /// Hands the decoder the next packet, or tells it the end.
    fn feed(&mut self) -> Result<Option<Heard>, Fault> {
        // SAFETY: contexts and packet are ours; what a packet held before is let go of by the call that fills it.
        unsafe {
            c::av_packet_unref(self.packet.0);
            let code = c::av_read_frame(self.container.context, self.packet.0);
            if code == c::AVERROR_EOF {
                // A file that could not be read ends like one that ends.
                let error = (*self.container.context).pb.as_ref().map_or(0, |file| file.error);
                if error < 0 && error != c::AVERROR_EOF {
                    check(error, "reading it", Some(&self.container.log))?;
                }
                // The end may have been told already; that is no fault.
                let _told = c::avcodec_send_packet(self.decoder, ptr::null());
                return Ok(None);
            }
            check(code, "reading it", Some(&self.container.log))?;
            let held = &*self.packet.0;
            if held.stream_index != (*self.stream).index || held.size == 0 {
                return Ok(None);
            }
            let broken = held.flags & c::AV_PKT_FLAG_CORRUPT != 0;
            if broken || c::avcodec_send_packet(self.decoder, self.packet.0) < 0 {
                self.log.take();
                return Ok(Some(Heard::Lost(self.seconds(held.pts))));
            }
            Ok(None)
        }
    }

    /// Goes to a second of the container's clock, or before it.
    ///
    /// # Errors
    /// What FFmpeg says.
    pub(crate) fn seek(&mut self, seconds: f64) -> Result<(), Fault> {
        #[expect(clippy::cast_possible_truncation, reason = "saturates, and no recording lasts so long")]
        let microseconds = (seconds * 1e6).floor() as i64;
        // SAFETY: the contexts are open; the video's stream lives as long as its container.
        unsafe {
            // Containers find their way by the video's key frames, and some not by those of a stream that is left out.
            let video = self.container.best(c::AVMediaType::AVMEDIA_TYPE_VIDEO);
            let leave_out = |how| {
                if let Some(video) = video {
                    (*video).discard = how;
                }
            };
            leave_out(c::AVDiscard::AVDISCARD_DEFAULT);
            let code = c::av_seek_frame(self.container.context, -1, microseconds, c::AVSEEK_FLAG_BACKWARD);
            leave_out(c::AVDiscard::AVDISCARD_ALL);
            check(code, "going to a sound", Some(&self.container.log))?;
            c::avcodec_flush_buffers(self.decoder);
        }
        Ok(())
    }

    /// When the frame received last begins, in seconds of the container's clock; nothing where it came without a time.
    pub(crate) fn began(&self) -> Option<f64> {
        // SAFETY: allocated by `open`.
        let frame = unsafe { &*self.frame };
        self.seconds(frame.pts).or_else(|| self.seconds(frame.best_effort_timestamp))
    }

    /// Samples in it on each channel, and how many there are a second.
    pub(crate) fn samples(&self) -> (usize, u32) {
        // SAFETY: allocated by `open`.
        let frame = unsafe { &*self.frame };
        (usize::try_from(frame.nb_samples).unwrap_or(0), frame.sample_rate.unsigned_abs())
    }

    fn seconds(&self, ticks: i64) -> Option<f64> {
        // SAFETY: the stream is open.
        let base = unsafe { (*self.stream).time_base };
        #[expect(clippy::cast_precision_loss, reason = "ticks of a recording of days are far below 2^53")]
        let seconds = ticks as f64 * f64::from(base.num) / f64::from(base.den);
        (ticks != c::AV_NOPTS_VALUE).then_some(seconds)
    }

    pub(super) fn frame(&self) -> &c::AVFrame {
        // SAFETY: allocated by `open`, and nothing is received while it is borrowed.
        unsafe { &*self.frame }
    }
}

impl Drop for SoundSource {
    fn drop(&mut self) {
        // SAFETY: ours, freed once; null is allowed.
        unsafe {
            c::av_frame_free(&mut self.frame);
            c::avcodec_free_context(&mut self.decoder);
        }
    }
}
