//! A recorded video read: what its container says of it, its packets in the file's order, its frames decoded.
//!
//! ## Surprises
//!
//! - Decoding frames side by side (FFmpeg's frame threads) reports errors frames late and by contexts of its own;
//!   slices side by side report them with the packet that was sent. `decode_error_flags` alone miss much of what the
//!   decoder says it made up pixels for.
//! - A decoder that has been told the end gives no more frames until it is flushed, whatever the demuxer seeks to.

mod decoder;
mod entry;

use std::ffi::CStr;
use std::path::Path;
use std::ptr;

use ffmpeg_next::ffi as c;

use super::container::Container;
use super::sound::SoundFacts;
use super::{Colour, Fault, Packet, check};
use crate::units::Size;

use entry::Entries;

pub(crate) use decoder::{Component, DecodedFrame, FootageDecoder, FrameLayout, Received, StillCoding};

/// The tag of a master.
pub(super) const MASTER: &CStr = c"STILLPATH_MASTER";

/// What the container says of the recording.
#[derive(Debug, Clone)]
pub(crate) struct FootageFacts {
    /// The codec's name.
    pub(crate) codec: String,
    /// Frames as stored, in samples.
    pub(crate) size: Size,
    /// A sample's width by its height, 1 by 1 where nothing is said.
    pub(crate) aspect: (u32, u32),
    /// The display matrix's `a`, `b`, `c`, `d` (ISO/IEC 14496-12, 6.2.2), in units of 2⁻¹⁶: a stored point `(x, y)` is
    /// shown at `(a x + c y, b x + d y)`, but for a shift.
    pub(crate) matrix: Option<[i32; 4]>,
    /// Whether frames are two fields.
    pub(crate) interlaced: bool,
    /// A tick in seconds, as numerator and denominator.
    pub(crate) time_base: (u32, u32),
    /// The frame rate that the container gives, as numerator and denominator.
    pub(crate) rate: Option<(u32, u32)>,
    /// Frames that the header promises.
    pub(crate) promised: Option<u64>,
    /// When it was made, in the container's own words.
    pub(crate) created: Option<String>,
    /// The same with the camera's offset from UTC, which some write beside it.
    pub(crate) created_locally: Option<String>,
    /// Whether it says that it is a master, which has a sidecar.
    pub(crate) master: bool,
    /// The sound beside it, where there is any.
    pub(crate) sound: Option<SoundFacts>,
    /// Whether every sample has its place in an index, so that one left out can be told from one that never was.
    pub(crate) sample_table: bool,
    /// Whether no frame of its codec is made of others.
    pub(crate) intra_only: bool,
    /// Seconds that it lasts by its header, where the header says so itself.
    pub(crate) lasts: Option<f64>,
    /// What its values mean.
    pub(crate) colour: ColourCodes,
}

/// What a stream's values mean, by the numbers of ITU-T H.273 (2 is "unspecified"), and FFmpeg's own for range (1
/// limited, 2 full) and chroma location (0 unspecified, 1 left, 2 centre, 3 top left, 4 top, 5 bottom left, 6 bottom).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ColourCodes {
    pub(crate) primaries: u32,
    pub(crate) transfer: u32,
    pub(crate) matrix: u32,
    pub(crate) range: u32,
    pub(crate) siting: u32,
}

/// What a packet says of the frame in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct FootagePacket {
    /// When it is shown, in ticks.
    pub(crate) shown: i64,
    /// When it is decoded, in ticks.
    pub(crate) decoded: i64,
    /// How long it is shown, in ticks; 0 where nothing is said.
    pub(crate) duration: i64,
    /// Whether decoding can start with it: neither its container nor its own bits say otherwise.
    pub(crate) key: bool,
    /// Whether its own bits tell.
    pub(crate) told: bool,
    /// Its frame's place in the order of showing, by its own bits: it begins anew with some key frames.
    pub(crate) place: Option<i32>,
    /// Whether it is decoded and not shown: an edit list leaves it out.
    pub(crate) unseen: bool,
    /// Whether it is cut short.
    pub(crate) broken: bool,
    /// Bytes in it.
    pub(crate) bytes: u64,
}

/// An open recording.
#[derive(Debug)]
pub(crate) struct Footage {
    container: Container,
    stream: *mut c::AVStream,
    entries: Entries,
}

// SAFETY: FFmpeg's contexts are tied to no thread; ours are used by one at a time, through `&mut`.
unsafe impl Send for Footage {}

impl Footage {
    /// Opens a file and finds the video in it.
    ///
    /// # Errors
    /// What the system or FFmpeg says; or that there is no video in it.
    pub(crate) fn open(path: &Path) -> Result<Self, Fault> {
        let container = Container::open(path)?;
        let video = container.best(c::AVMediaType::AVMEDIA_TYPE_VIDEO);
        let stream = video.ok_or_else(|| Fault::refused("there is no video in it"))?;
        container.leave_out_all_but(stream);
        // SAFETY: the stream lives as long as the container.
        if unsafe { (*stream).disposition } & c::AV_DISPOSITION_ATTACHED_PIC != 0 {
            return Err(Fault::refused("the only picture in it is a cover"));
        }
        // SAFETY: the stream is open.
        let entries = unsafe { Entries::of(stream) }?;
        Ok(Self { container, stream, entries })
    }

    /// FFmpeg's name of how its samples lie.
    pub(crate) fn layout_name(&self) -> String {
        // SAFETY: the stream is open, and stays so as long as `self`.
        super::layout_name(unsafe { (*(*self.stream).codecpar).format })
    }

    /// What the container says.
    pub(crate) fn facts(&self) -> FootageFacts {
        // SAFETY: context and stream are open, and stay so as long as `self`; numbers that FFmpeg types as enumerations
        // are read as numbers, for a file may hold any.
        unsafe {
            let stream = &*self.stream;
            let parameters = &*stream.codecpar;
            let aspect = c::av_guess_sample_aspect_ratio(self.container.context, self.stream, ptr::null_mut());
            let aspect = positive(aspect).unwrap_or((1, 1));
            let number = |value: *const u32| value.read();
            let order = number((&raw const parameters.field_order).cast());
            let (kind, mut bytes) = (c::AVPacketSideDataType::AV_PKT_DATA_DISPLAYMATRIX, 0);
            let matrix = c::av_stream_get_side_data(self.stream, kind, &mut bytes);
            let matrix = (!matrix.is_null() && bytes >= 9 * size_of::<i32>()).then(|| {
                let entries = matrix.cast::<i32>();
                [0, 1, 3, 4].map(|entry| entries.add(entry).read_unaligned())
            });
            let format = text((*(*self.container.context).iformat).name).unwrap_or_default();
            FootageFacts {
                codec: text(c::avcodec_get_name(parameters.codec_id)).unwrap_or_default(),
                size: Size::new(parameters.width.unsigned_abs(), parameters.height.unsigned_abs()),
                aspect,
                matrix,
                interlaced: order > c::AVFieldOrder::AV_FIELD_PROGRESSIVE as u32,
                time_base: positive(stream.time_base).unwrap_or((1, 1)),
                rate: positive(stream.avg_frame_rate).or(positive(stream.r_frame_rate)),
                promised: u64::try_from(stream.nb_frames).ok().filter(|frames| *frames > 0),
                created: tag((*self.container.context).metadata, c"creation_time")
                    .or_else(|| tag(stream.metadata, c"creation_time")),
                created_locally: tag((*self.container.context).metadata, c"com.apple.quicktime.creationdate"),
                master: tag((*self.container.context).metadata, MASTER).is_some(),
                sound: SoundFacts::of(&self.container),
                sample_table: format.starts_with("mov"),
                intra_only: c::avcodec_descriptor_get(parameters.codec_id)
                    .as_ref()
                    .is_some_and(|codec| codec.props & c::AV_CODEC_PROP_INTRA_ONLY != 0),
                // Elsewhere FFmpeg works it out from what is there.
                lasts: format.starts_with("matroska").then(|| self.lasts()[1]).flatten(),
                colour: ColourCodes {
                    primaries: number((&raw const parameters.color_primaries).cast()),
                    transfer: number((&raw const parameters.color_trc).cast()),
                    matrix: number((&raw const parameters.color_space).cast()),
                    range: number((&raw const parameters.color_range).cast()),
                    siting: number((&raw const parameters.chroma_location).cast()),
                },
            }
        }
    }

    /// Colour tags and frame size as the container gives them, whatever the stream says; no size is 0 by 0.
    pub(crate) fn told(&self) -> (Colour, Size) {
        self.container.told(self.stream)
    }

    /// Seconds that the video lasts by the container's header: by its track, and by the whole file.
    pub(crate) fn lasts(&self) -> [Option<f64>; 2] {
        // SAFETY: context and stream are open.
        let (track, base, file) =
            unsafe { ((*self.stream).duration, (*self.stream).time_base, (*self.container.context).duration) };
        let known = |ticks: i64, tick: f64| (ticks != c::AV_NOPTS_VALUE && ticks > 0).then_some(ticks as f64 * tick);
        let tick = positive(base).map_or(0.0, |(numerator, denominator)| f64::from(numerator) / f64::from(denominator));
        [known(track, tick), known(file, 1.0 / f64::from(c::AV_TIME_BASE))]
    }

    /// Reads the video's next packet, or nothing at the end.
    ///
    /// # Errors
    /// What the system or FFmpeg says; or that a packet has no time.
    pub(crate) fn read(&mut self, packet: &mut Packet) -> Result<Option<FootagePacket>, Fault> {
        loop {
            // SAFETY: context and packet are ours; what a packet held before is let go of by the call that fills it.
            let code = unsafe {
                c::av_packet_unref(packet.0);
                c::av_read_frame(self.container.context, packet.0)
            };
            if code == c::AVERROR_EOF {
                // SAFETY: the context is open; a file that could not be read ends like one that ends.
                let error = unsafe { (*self.container.context).pb.as_ref().map_or(0, |file| file.error) };
                if error < 0 && error != c::AVERROR_EOF {
                    check(error, "reading it", Some(&self.container.log))?;
                }
                return Ok(None);
            }
            check(code, "reading it", Some(&self.container.log))?;
            // SAFETY: a packet was read.
            let held = unsafe { &mut *packet.0 };
            // SAFETY: the stream is open.
            if held.stream_index != unsafe { (*self.stream).index } || held.size == 0 {
                continue;
            }
            let known = |time: i64| (time != c::AV_NOPTS_VALUE).then_some(time);
            let Some(shown) = known(held.pts).or(known(held.dts)) else {
                return Err(Fault::refused("its packets do not say when they are shown"));
            };
            // Frames come out with the time of the packet they went in by.
            held.pts = shown;
            let (flagged, entry) = (held.flags & c::AV_PKT_FLAG_KEY != 0, self.entries.read(packet));
            // SAFETY: as above.
            let held = unsafe { &*packet.0 };
            return Ok(Some(FootagePacket {
                shown,
                decoded: known(held.dts).unwrap_or(shown),
                duration: held.duration,
                key: flagged && entry.begins.unwrap_or(true),
                told: entry.begins.is_some(),
                place: entry.place,
                unseen: held.flags & c::AV_PKT_FLAG_DISCARD != 0,
                broken: held.flags & c::AV_PKT_FLAG_CORRUPT != 0,
                bytes: u64::try_from(held.size).unwrap_or(0),
            }));
        }
    }

    /// Goes to the key frame that is decoded at a tick, or to one before it.
    ///
    /// # Errors
    /// What FFmpeg says.
    pub(crate) fn seek(&mut self, decoded: i64) -> Result<(), Fault> {
        // SAFETY: context and stream are open.
        let code =
            unsafe { c::av_seek_frame(self.container.context, (*self.stream).index, decoded, c::AVSEEK_FLAG_BACKWARD) };
        check(code, "going to a frame", Some(&self.container.log)).map(|_| ())
    }
}

/// A ratio of two numbers above 0.
fn positive(ratio: c::AVRational) -> Option<(u32, u32)> {
    let part = |value: i32| u32::try_from(value).ok().filter(|value| *value > 0);
    part(ratio.num).zip(part(ratio.den))
}

/// # Safety
/// `text` must be null or end with a zero.
unsafe fn text(text: *const std::ffi::c_char) -> Option<String> {
    // SAFETY: the caller's.
    (!text.is_null()).then(|| unsafe { CStr::from_ptr(text) }.to_string_lossy().into_owned())
}

/// # Safety
/// `tags` must be null or a dictionary.
unsafe fn tag(tags: *const c::AVDictionary, name: &CStr) -> Option<String> {
    // SAFETY: the name ends with a zero; null dictionaries are allowed; an entry's value ends with a zero.
    unsafe {
        let entry = c::av_dict_get(tags, name.as_ptr(), ptr::null(), 0);
        if entry.is_null() { None } else { text((*entry).value) }
    }
}
