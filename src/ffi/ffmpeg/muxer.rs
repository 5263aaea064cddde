//! Packets of pictures, and of the sound beside them, into a container file.

use std::path::Path;
use std::ptr;

use ffmpeg_next::ffi as c;

use super::footage::MASTER;
use super::log::{self, Kept};
use super::{
    Encoder, Fault, Options, Packet, SOUND_RATE, SoundEncoder, allocated, c_text, check, file_url, frame_duration,
    rational,
};
use crate::units::FrameRate;

/// What a container is opened with.
pub(crate) struct MuxerSettings<'a> {
    /// FFmpeg's name of the container, so that the file's name need not tell.
    pub(crate) format: &'static str,
    /// Frames a second.
    pub(crate) fps: FrameRate,
    /// Ticks a second; where a frame does not last a whole number of them, each is shown at the tick nearest to its
    /// time.
    pub(crate) timescale: u32,
    /// The container's own options by name.
    pub(crate) options: &'a [(&'a str, String)],
    /// Whether the file says that it is a master.
    pub(crate) master: bool,
    /// The four letters of the pictures' track, where the container's own choice is another.
    pub(crate) tag: Option<[u8; 4]>,
    /// The first frame's timecode, where there is a track of them.
    pub(crate) timecode: Option<&'a str>,
    /// What the file calls itself. Nothing else that a person wrote is put into it.
    pub(crate) title: Option<&'a str>,
    /// Its chapters, each with its first frame, in order; the last ends with the pictures, `frames` in all.
    pub(crate) chapters: &'a [(u64, String)],
    /// Frames that it is going to hold, where it has chapters.
    pub(crate) frames: u64,
}

/// An open container file.
pub(crate) struct Muxer {
    context: *mut c::AVFormatContext,
    encoder_time_base: c::AVRational,
    stream_time_base: c::AVRational,
    ticks: i64,
    log: Kept,
}

// SAFETY: FFmpeg's contexts are tied to no thread; ours are used by one at a time, through `&mut`.
unsafe impl Send for Muxer {}

impl Muxer {
    /// Opens `path`, emptying what is there, and writes the container's header for what `encoder` makes, and `sound`
    /// where there is any.
    ///
    /// # Errors
    /// Where the file cannot be written, an option is unknown, or the container does not take the time scale.
    pub(crate) fn open(
        path: &Path,
        encoder: &Encoder,
        sound: Option<&SoundEncoder>,
        settings: &MuxerSettings<'_>,
    ) -> Result<Self, Fault> {
        log::silence();
        let (format, url) = (c_text(settings.format)?, file_url(path)?);
        let title = settings.title.map(c_text).transpose()?;
        let (encoder_time_base, timescale) = (frame_duration(settings.fps)?, rational(1, settings.timescale)?);
        let mut context = ptr::null_mut();
        // SAFETY: all strings end with a zero; the result is checked.
        unsafe { c::avformat_alloc_output_context2(&mut context, ptr::null_mut(), format.as_ptr(), url.as_ptr()) };
        let context = allocated(context)?;
        let ticks =
            i64::from(settings.timescale) * i64::from(settings.fps.denominator()) / i64::from(settings.fps.numerator());
        let mut muxer = Self { context, encoder_time_base, stream_time_base: timescale, ticks, log: Kept::of(context) };
        // SAFETY: context and encoder are open; every result is checked.
        unsafe {
            (*context).flags |= c::AVFMT_FLAG_BITEXACT;
            let stream = allocated(c::avformat_new_stream(context, ptr::null()))?;
            check(
                c::avcodec_parameters_from_context((*stream).codecpar, encoder.context()),
                "describing the stream",
                None,
            )?;
            (*stream).time_base = timescale;
            (*stream).avg_frame_rate = c::AVRational { num: encoder_time_base.den, den: encoder_time_base.num };
            (*stream).sample_aspect_ratio = c::AVRational { num: 1, den: 1 };
            if let Some(tag) = settings.tag {
                (*(*stream).codecpar).codec_tag = u32::from_le_bytes(tag);
            }
            if let Some(timecode) = settings.timecode {
                let timecode = c_text(timecode)?;
                let set = c::av_dict_set(&mut (*stream).metadata, c"timecode".as_ptr(), timecode.as_ptr(), 0);
                check(set, "setting the timecode", None)?;
            }
            if settings.master {
                let set = c::av_dict_set(&mut (*context).metadata, MASTER.as_ptr(), c"1".as_ptr(), 0);
                check(set, "tagging the file", None)?;
            }
            if let Some(title) = &title {
                let set = c::av_dict_set(&mut (*context).metadata, c"title".as_ptr(), title.as_ptr(), 0);
                check(set, "giving the file its title", None)?;
            }
            chapters(context, settings, encoder_time_base)?;
            if let Some(sound) = sound {
                let beside = allocated(c::avformat_new_stream(context, ptr::null()))?;
                check(
                    c::avcodec_parameters_from_context((*beside).codecpar, sound.context()),
                    "describing the sound",
                    None,
                )?;
                (*beside).time_base = rational(1, SOUND_RATE)?;
            }
            let opened =
                c::avio_open2(&mut (*context).pb, url.as_ptr(), c::AVIO_FLAG_WRITE, ptr::null(), ptr::null_mut());
            check(opened, "opening the file", Some(&muxer.log))?;
            let mut options = Options::new(settings.options)?;
            check(c::avformat_write_header(context, &mut options.0), "writing the header", Some(&muxer.log))?;
            options.all_taken()?;
            // The container may have put a time base of its own in place of the one asked for.
            muxer.stream_time_base = (*stream).time_base;
        }
        let asked_for = (timescale.num, timescale.den);
        let given = (muxer.stream_time_base.num, muxer.stream_time_base.den);
        if asked_for != given {
            let refused = format!(
                "the container keeps time in {}/{} s, not in {}/{} s",
                given.0, given.1, timescale.num, timescale.den
            );
            return Err(Fault::refused(refused));
        }
        Ok(muxer)
    }

    /// Writes a packet and empties it.
    ///
    /// # Errors
    /// What the container or the disk says.
    pub(crate) fn write(&mut self, packet: &mut Packet) -> Result<(), Fault> {
        // SAFETY: context and packet are ours; the muxer takes the packet's buffer over.
        let code = unsafe {
            c::av_packet_rescale_ts(packet.0, self.encoder_time_base, self.stream_time_base);
            (*packet.0).duration = self.ticks;
            (*packet.0).stream_index = 0;
            c::av_interleaved_write_frame(self.context, packet.0)
        };
        check(code, "writing a packet", Some(&self.log))?;
        self.disk()
    }

    /// Writes a packet of sound and empties it.
    ///
    /// # Errors
    /// What the container or the disk says.
    ///
    /// # Panics
    /// Where it was opened without sound.
    pub(crate) fn write_sound(&mut self, packet: &mut Packet) -> Result<(), Fault> {
        // SAFETY: context and packet are ours; the streams were made by `open`; the muxer takes the packet's buffer
        // over.
        let code = unsafe {
            assert!((*self.context).nb_streams >= 2, "sound for a file without");
            let beside = *(*self.context).streams.add(1);
            c::av_packet_rescale_ts(packet.0, rational(1, SOUND_RATE)?, (*beside).time_base);
            (*packet.0).stream_index = 1;
            c::av_interleaved_write_frame(self.context, packet.0)
        };
        check(code, "writing a packet of sound", Some(&self.log))?;
        self.disk()
    }

    /// Writes the index and closes the file.
    ///
    /// # Errors
    /// What the container or the disk says.
    pub(crate) fn finish(mut self) -> Result<(), Fault> {
        // SAFETY: the header was written, the trailer is written once.
        check(unsafe { c::av_write_trailer(self.context) }, "writing the index", Some(&self.log))?;
        // SAFETY: the file is open.
        unsafe { c::avio_flush((*self.context).pb) };
        self.disk()?;
        // SAFETY: closing sets the pointer to null, so that dropping does not close again.
        let closed = unsafe { c::avio_closep(&mut (*self.context).pb) };
        check(closed, "closing the file", Some(&self.log)).map(|_| ())
    }

    /// What went wrong while buffered bytes were written: FFmpeg keeps that beside the results of its calls.
    fn disk(&mut self) -> Result<(), Fault> {
        // SAFETY: the file is open.
        check(unsafe { (*(*self.context).pb).error }, "writing the file", Some(&self.log)).map(|_| ())
    }
}

/// Gives a file that is not begun its chapters.
///
/// # Safety
/// The context is ours and its header is not written.
unsafe fn chapters(
    context: *mut c::AVFormatContext,
    settings: &MuxerSettings<'_>,
    time_base: c::AVRational,
) -> Result<(), Fault> {
    let ends = settings.chapters.iter().skip(1).map(|(first, _)| *first).chain([settings.frames]);
    for (id, ((first, title), end)) in (0..).zip(settings.chapters.iter().zip(ends)) {
        let (title, time) = (c_text(title)?, |frame: u64| i64::try_from(frame).unwrap_or(i64::MAX));
        // SAFETY: a list of pointers that FFmpeg allocates, grows and, with the context, frees; the chapter is counted
        // only once it stands in it.
        unsafe {
            let count = (*context).nb_chapters as usize;
            let bytes = (count + 1) * size_of::<*mut c::AVChapter>();
            let list = allocated(c::av_realloc((*context).chapters.cast(), bytes))?.cast::<*mut c::AVChapter>();
            (*context).chapters = list;
            let chapter = allocated(c::av_mallocz(size_of::<c::AVChapter>()))?.cast::<c::AVChapter>();
            (*chapter).id = id;
            (*chapter).time_base = time_base;
            ((*chapter).start, (*chapter).end) = (time(*first), time(end));
            list.add(count).write(chapter);
            (*context).nb_chapters += 1;
            let set = c::av_dict_set(&mut (*chapter).metadata, c"title".as_ptr(), title.as_ptr(), 0);
            check(set, "naming a chapter", None)?;
        }
    }
    Ok(())
}

impl Drop for Muxer {
    fn drop(&mut self) {
        // SAFETY: ours, freed once; a file that is still open is closed without its index.
        unsafe {
            c::avio_closep(&mut (*self.context).pb);
            c::avformat_free_context(self.context);
        }
    }
}
