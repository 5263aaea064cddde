//! A finished file read back: what the container says of its streams, and every packet's place in time. Nothing is
//! decoded but what FFmpeg needs to read the stream's own tags.

use std::ffi::CStr;
use std::path::Path;
use std::ptr;

use ffmpeg_next::ffi as c;

use super::log::{self, Kept};
use super::{Fault, Options, Packet, allocated, c_text, check, file_url};
use crate::units::Size;

/// Colour tags by FFmpeg's names, `None` where there is none.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Colour {
    /// Primaries.
    pub primaries: Option<String>,
    /// Transfer characteristic.
    pub transfer: Option<String>,
    /// Matrix.
    pub matrix: Option<String>,
    /// `tv` (limited) or `pc` (full).
    pub range: Option<String>,
}

/// One packet: one frame's data.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PacketFacts {
    /// When it is shown, in ticks.
    pub pts: i64,
    /// How long, in ticks.
    pub duration: i64,
    /// Bytes.
    pub bytes: u64,
    /// Whether decoding can start with it.
    pub key: bool,
}

/// What a file says of the sound beside its pictures.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SoundTrackFacts {
    /// The codec's name.
    pub codec: String,
    /// Samples a second.
    pub rate: u32,
    /// Channels.
    pub channels: u32,
    /// A tick in seconds, as numerator and denominator.
    pub time_base: (u32, u32),
    /// The first tick.
    pub start: i64,
    /// The track's length in ticks.
    pub duration: i64,
    /// Packets that do not begin where the one before ends.
    pub breaks: usize,
}

/// What a file holds: one video stream, and sound beside it or none.
#[derive(Debug, Clone, PartialEq)]
pub struct StreamFacts {
    /// Frame size in pixels.
    pub size: Size,
    /// The codec's name.
    pub codec: String,
    /// FFmpeg's name of the frames' layout.
    pub layout: String,
    /// The codec's number for its profile (H.264: `profile_idc`).
    pub profile: i32,
    /// The codec's number for its level (H.264: `level_idc`).
    pub level: i32,
    /// A tick in seconds, as numerator and denominator.
    pub time_base: (u32, u32),
    /// The first tick.
    pub start: i64,
    /// The stream's length in ticks.
    pub duration: i64,
    /// Tags in the container.
    pub container: Colour,
    /// Tags in the stream itself.
    pub stream: Colour,
    /// In the file's order, which is the order of decoding.
    pub packets: Vec<PacketFacts>,
    /// The sound beside them.
    pub sound: Option<SoundTrackFacts>,
    /// Whether there is a track of timecode.
    pub timecode: bool,
    /// Its chapters: in seconds when each begins, and its title.
    pub chapters: Vec<(f64, String)>,
}

/// Reads a file's facts.
///
/// # Errors
/// Where it cannot be opened as `format` (FFmpeg's name of the demuxer), is cut short, or does not hold one stream of
/// pictures and then at most one of sound.
pub fn read_back(path: &Path, format: &str) -> Result<StreamFacts, Fault> {
    let mut input = Input::open(path, format)?;
    input.facts()
}

/// What a file's container and the stream itself say of its colours, its packets unread.
///
/// # Errors
/// As [`read_back`].
pub(crate) fn colours(path: &Path, format: &str) -> Result<[Colour; 2], Fault> {
    let input = Input::open(path, format)?;
    // SAFETY: the context is open; its streams live as long as it does.
    unsafe {
        if (*input.context).nb_streams == 0 {
            return Err(Fault::refused("there is no stream in it"));
        }
        let stream = *(*input.context).streams;
        let container = colour((*stream).codecpar);
        check(c::avformat_find_stream_info(input.context, ptr::null_mut()), "reading it back", Some(&input.log))?;
        Ok([container, colour((*stream).codecpar)])
    }
}

struct Input {
    context: *mut c::AVFormatContext,
    log: Kept,
}

impl Input {
    fn open(path: &Path, format: &str) -> Result<Self, Fault> {
        log::silence();
        let (url, format) = (file_url(path)?, c_text(format)?);
        // SAFETY: the name ends with a zero; what is found is static.
        let demuxer = unsafe { c::av_find_input_format(format.as_ptr()) };
        if demuxer.is_null() {
            return Err(Fault::refused(format!("FFmpeg cannot read {}", format.to_string_lossy())));
        }
        // SAFETY: the result is checked.
        let mut context = allocated(unsafe { c::avformat_alloc_context() })?;
        let log = Kept::of(context);
        let mut options = Options::new(&[("protocol_whitelist", "file".to_owned())])?;
        // SAFETY: the context is fresh; on failure FFmpeg frees it and sets the pointer to null.
        let opened = unsafe { c::avformat_open_input(&mut context, url.as_ptr(), demuxer, &mut options.0) };
        check(opened, "reading it back", Some(&log))?;
        Ok(Self { context, log })
    }

    fn facts(&mut self) -> Result<StreamFacts, Fault> {
        // SAFETY: the context is open; its streams live as long as it does.
        unsafe {
            let (timecode, own) = (self.data().any(|tag| tag == *b"tmcd"), self.tracks());
            if !matches!(own, 1 | 2) {
                return Err(Fault::refused(format!("{own} streams where one or two are due")));
            }
            let stream = *(*self.context).streams;
            let container = colour((*stream).codecpar);
            check(c::avformat_find_stream_info(self.context, ptr::null_mut()), "reading it back", Some(&self.log))?;
            let time_base = (*stream).time_base;
            let start = (*stream).start_time;
            let duration = (*stream).duration;
            let parameters = (*stream).codecpar;
            let size = Size::new((*parameters).width.unsigned_abs(), (*parameters).height.unsigned_abs());
            let mut sound = self.sound();
            let packets = self.packets(&mut sound)?;
            Ok(StreamFacts {
                size,
                codec: name(c::avcodec_get_name((*parameters).codec_id)).unwrap_or_default(),
                layout: super::layout_name((*parameters).format),
                profile: (*parameters).profile,
                level: (*parameters).level,
                time_base: (time_base.num.unsigned_abs(), time_base.den.unsigned_abs()),
                start,
                duration,
                container,
                stream: colour(parameters),
                packets,
                sound,
                timecode,
                chapters: self.chapters(),
            })
        }
    }

    fn streams(&self) -> &[*mut c::AVStream] {
        // SAFETY: the context is open; its streams live as long as it does.
        unsafe { std::slice::from_raw_parts((*self.context).streams, (*self.context).nb_streams as usize) }
    }

    /// The four letters of every track that holds no picture and no sound: timecode, or the names of chapters.
    fn data(&self) -> impl Iterator<Item = [u8; 4]> {
        // SAFETY: as above.
        let parameters = self.streams().iter().map(|stream| unsafe { &*(**stream).codecpar });
        let data = parameters.filter(|one| one.codec_type == c::AVMediaType::AVMEDIA_TYPE_DATA);
        data.map(|one| one.codec_tag.to_le_bytes())
    }

    /// How many tracks hold pictures or sound.
    fn tracks(&self) -> usize {
        self.streams().len() - self.data().count()
    }

    /// The chapters: in seconds when each begins, and its title.
    fn chapters(&self) -> Vec<(f64, String)> {
        // SAFETY: the context is open; its chapters live as long as it does, and so do their titles.
        unsafe {
            let count = (*self.context).nb_chapters as usize;
            (0..count)
                .map(|index| {
                    let chapter = &**(*self.context).chapters.add(index);
                    let title = c::av_dict_get(chapter.metadata, c"title".as_ptr(), ptr::null(), 0);
                    let title = title.as_ref().and_then(|entry| name(entry.value)).unwrap_or_default();
                    let base = chapter.time_base;
                    #[expect(clippy::cast_precision_loss, reason = "ticks of a clip of a day are below 2^53")]
                    let ticks = chapter.start as f64;
                    (ticks * f64::from(base.num) / f64::from(base.den), title)
                })
                .collect()
        }
    }

    fn sound(&self) -> Option<SoundTrackFacts> {
        // SAFETY: the context is open; its streams live as long as it does; names are static.
        unsafe {
            let stream = ((*self.context).nb_streams > 1).then(|| &**(*self.context).streams.add(1))?;
            if (*stream.codecpar).codec_type != c::AVMediaType::AVMEDIA_TYPE_AUDIO {
                return None;
            }
            let (parameters, base) = (&*stream.codecpar, stream.time_base);
            Some(SoundTrackFacts {
                codec: name(c::avcodec_get_name(parameters.codec_id)).unwrap_or_default(),
                rate: parameters.sample_rate.unsigned_abs(),
                channels: parameters.ch_layout.nb_channels.unsigned_abs(),
                time_base: (base.num.unsigned_abs(), base.den.unsigned_abs()),
                start: stream.start_time,
                duration: stream.duration,
                breaks: 0,
            })
        }
    }

    /// The packets of the pictures; those of the sound are only followed.
    fn packets(&mut self, sound: &mut Option<SoundTrackFacts>) -> Result<Vec<PacketFacts>, Fault> {
        let packet = Packet::new()?;
        let mut heard_to = None;
        let mut packets = Vec::new();
        loop {
            // SAFETY: context and packet are ours.
            let code = unsafe { c::av_read_frame(self.context, packet.0) };
            if code == c::AVERROR_EOF {
                return Ok(packets);
            }
            check(code, "reading it back", Some(&self.log))?;
            // SAFETY: a packet was read; it is emptied for the next one.
            unsafe {
                if (*packet.0).flags & c::AV_PKT_FLAG_CORRUPT != 0 {
                    return Err(Fault::refused(format!("packet {} is cut short", packets.len())));
                }
                if let (1, Some(sound)) = ((*packet.0).stream_index, sound.as_mut()) {
                    sound.breaks += usize::from(heard_to.is_some_and(|heard| heard != (*packet.0).pts));
                    heard_to = Some((*packet.0).pts.wrapping_add((*packet.0).duration));
                    c::av_packet_unref(packet.0);
                    continue;
                }
                if (*packet.0).stream_index > 0 {
                    c::av_packet_unref(packet.0);
                    continue;
                }
                packets.push(PacketFacts {
                    pts: (*packet.0).pts,
                    duration: (*packet.0).duration,
                    bytes: packet.bytes(),
                    key: (*packet.0).flags & c::AV_PKT_FLAG_KEY != 0,
                });
                c::av_packet_unref(packet.0);
            }
        }
    }
}

impl Drop for Input {
    fn drop(&mut self) {
        // SAFETY: ours, closed once; null is allowed.
        unsafe { c::avformat_close_input(&mut self.context) };
    }
}

/// FFmpeg's names of colour tags by their numbers, which a file may choose freely: not all are values of the
/// enumerations that its own declarations take.
mod names {
    use std::ffi::{c_char, c_uint};

    unsafe extern "C" {
        pub(super) fn av_color_primaries_name(primaries: c_uint) -> *const c_char;
        pub(super) fn av_color_transfer_name(transfer: c_uint) -> *const c_char;
        pub(super) fn av_color_space_name(matrix: c_uint) -> *const c_char;
        pub(super) fn av_color_range_name(range: c_uint) -> *const c_char;
    }
}

/// # Safety
/// `parameters` must be a stream's.
pub(super) unsafe fn colour(parameters: *const c::AVCodecParameters) -> Colour {
    // SAFETY: the caller's; FFmpeg takes any number there and gives static strings or null.
    unsafe {
        let number = |value: *const u32| value.read();
        Colour {
            primaries: name(names::av_color_primaries_name(number((&raw const (*parameters).color_primaries).cast()))),
            transfer: name(names::av_color_transfer_name(number((&raw const (*parameters).color_trc).cast()))),
            matrix: name(names::av_color_space_name(number((&raw const (*parameters).color_space).cast()))),
            range: name(names::av_color_range_name(number((&raw const (*parameters).color_range).cast()))),
        }
    }
}

/// # Safety
/// `text` must be null or a static string that ends with a zero.
pub(super) unsafe fn name(text: *const std::ffi::c_char) -> Option<String> {
    if text.is_null() {
        return None;
    }
    // SAFETY: the caller's.
    let text = unsafe { CStr::from_ptr(text) }.to_string_lossy();
    (text != "unknown").then(|| text.into_owned())
}
