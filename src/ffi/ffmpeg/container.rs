//! A recorded file opened for reading.
//!
//! Demuxers, decoders and protocols are allow-lists: nothing but a plain file in one of the containers that cameras
//! write is ever opened, and no other file by way of it.

use std::ffi::c_int;
use std::path::Path;
use std::ptr;

use ffmpeg_next::ffi as c;

use super::log::{self, Kept};
use super::reader::{Colour, colour};
use super::{Fault, Options, allocated, check, file_url};
use crate::units::Size;

/// FFmpeg's demuxers for MP4 and QuickTime, Matroska and WebM, AVI, MPEG's transport and program streams, MXF.
const CONTAINERS: &str = "mov,matroska,avi,mpegts,mpeg,mxf";

/// FFmpeg's decoders, by name, for what cameras and general-purpose tools record as pictures.
pub(super) const PICTURE_DECODERS: &str = "h264,hevc,av1,libdav1d,vp8,libvpx,vp9,libvpx-vp9,mpeg4,mpeg2video,mpeg1video,h263,\
    msmpeg4,msmpeg4v2,mjpeg,prores,dnxhd,cfhd,ffv1,huffyuv,ffvhuff,utvideo,rawvideo,v210,dvvideo,cinepak,qtrle,png";

/// FFmpeg's decoders, by name, for what they record as sound.
pub(super) const SOUND_DECODERS: &str = "aac,mp3,mp3float,mp2,mp2float,opus,libopus,vorbis,ac3,eac3,flac,alac,dca,truehd,s302m,\
    pcm_s16le,pcm_s16be,pcm_s24le,pcm_s24be,pcm_s32le,pcm_s32be,pcm_f32le,pcm_f32be,pcm_f64le,pcm_f64be,pcm_u8,pcm_s8,pcm_alaw,\
    pcm_mulaw,pcm_bluray,pcm_dvd,adpcm_ms,adpcm_ima_wav,adpcm_ima_qt,dvaudio";

/// An open file, and what FFmpeg says of it.
#[derive(Debug)]
pub(super) struct Container {
    pub(super) context: *mut c::AVFormatContext,
    pub(super) log: Kept,
    /// Colour tags and frame sizes by stream, of the container alone: streams are looked into afterwards.
    told: Vec<(Colour, Size)>,
}

impl Container {
    /// Opens a file and looks into its streams.
    ///
    /// # Errors
    /// What the system or FFmpeg says.
    pub(super) fn open(path: &Path) -> Result<Self, Fault> {
        log::silence();
        let url = file_url(path)?;
        // SAFETY: the result is checked.
        let mut context = allocated(unsafe { c::avformat_alloc_context() })?;
        let log = Kept::of(context);
        let mut options = Options::new(&[
            ("protocol_whitelist", "file".to_owned()),
            ("format_whitelist", CONTAINERS.to_owned()),
            ("codec_whitelist", format!("{PICTURE_DECODERS},{SOUND_DECODERS}")),
            ("fflags", "+genpts".to_owned()),
        ])?;
        // SAFETY: the context is fresh; on failure FFmpeg frees it and sets the pointer to null.
        let opened = unsafe { c::avformat_open_input(&mut context, url.as_ptr(), ptr::null_mut(), &mut options.0) };
        let mut container = Self { context, log, told: Vec::new() };
        check(opened, "opening it", Some(&container.log))?;
        // SAFETY: the context is open; its streams live as long as it does.
        container.told = unsafe {
            let of_stream = |index| {
                let parameters = &*(**(*context).streams.add(index)).codecpar;
                (colour(parameters), Size::new(parameters.width.unsigned_abs(), parameters.height.unsigned_abs()))
            };
            (0..(*context).nb_streams as usize).map(of_stream).collect()
        };
        // SAFETY: the context is open.
        let looked = unsafe { c::avformat_find_stream_info(context, ptr::null_mut()) };
        check(looked, "looking into it", Some(&container.log))?;
        // Warnings of a file that opened are not the cause of what may go wrong later.
        container.log.take();
        Ok(container)
    }

    /// The stream of a kind that people are meant to see or hear; of sound, the one that goes with the video.
    pub(super) fn best(&self, kind: c::AVMediaType) -> Option<*mut c::AVStream> {
        let find = |kind, beside: c_int| {
            // SAFETY: the context is open.
            unsafe { c::av_find_best_stream(self.context, kind, -1, beside, ptr::null_mut(), 0) }
        };
        let beside = match kind {
            c::AVMediaType::AVMEDIA_TYPE_AUDIO => find(c::AVMediaType::AVMEDIA_TYPE_VIDEO, -1).max(-1),
            _ => -1,
        };
        let best = usize::try_from(find(kind, beside)).ok()?;
        // SAFETY: what was found is the number of a stream.
        Some(unsafe { *(*self.context).streams.add(best) })
    }

    /// The colour tags and the frame size that the container itself gives of a stream; none where streams are only
    /// found in the data.
    pub(super) fn told(&self, stream: *mut c::AVStream) -> (Colour, Size) {
        // SAFETY: the stream is this container's.
        let index = usize::try_from(unsafe { (*stream).index }).unwrap_or(usize::MAX);
        self.told.get(index).cloned().unwrap_or_else(|| (Colour::default(), Size::new(0, 0)))
    }

    /// Has the packets of all other streams left out.
    pub(super) fn leave_out_all_but(&self, stream: *mut c::AVStream) {
        // SAFETY: the context is open; its streams live as long as it does.
        unsafe {
            for index in 0..(*self.context).nb_streams as usize {
                let other = *(*self.context).streams.add(index);
                if other != stream {
                    (*other).discard = c::AVDiscard::AVDISCARD_ALL;
                }
            }
        }
    }
}

impl Drop for Container {
    fn drop(&mut self) {
        // SAFETY: ours, closed once; null is allowed.
        unsafe { c::avformat_close_input(&mut self.context) };
    }
}
