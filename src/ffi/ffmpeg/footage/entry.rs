//! Whether decoding can begin with a packet, and in what order frames are shown, by what their own bits say.
//!
//! A container's word is not enough: a demuxer without an index calls every frame a key frame, and a container may give
//! the times of decoding for those of showing.

use std::ffi::c_int;
use std::ptr;

use ffmpeg_next::ffi as c;

use crate::ffi::ffmpeg::{Fault, Packet, allocated, check};

/// Reads the headers of one stream's packets.
#[derive(Debug)]
pub(super) struct Entries {
    codec: c::AVCodecID,
    /// Null where FFmpeg has no parser for the codec.
    parser: *mut c::AVCodecParserContext,
    /// Never opened: it tells the parser what stands before the first packet.
    context: *mut c::AVCodecContext,
}

impl Entries {
    /// For the packets of a stream, which come whole.
    ///
    /// # Errors
    /// Where there is no memory.
    ///
    /// # Safety
    /// The stream must be open.
    pub(super) unsafe fn of(stream: *const c::AVStream) -> Result<Self, Fault> {
        // SAFETY: the caller's; what is allocated is freed with the value.
        unsafe {
            let parameters = (*stream).codecpar;
            let codec = (*parameters).codec_id;
            let parser = c::av_parser_init(codec as c_int);
            let mut entries = Self { codec, parser, context: ptr::null_mut() };
            entries.context = allocated(c::avcodec_alloc_context3(ptr::null()))?;
            check(c::avcodec_parameters_to_context(entries.context, parameters), "describing the stream", None)?;
            if let Some(parser) = entries.parser.as_mut() {
                parser.flags |= c::PARSER_FLAG_COMPLETE_FRAMES;
            }
            Ok(entries)
        }
    }

    /// What this packet says, which must be handed in in the file's order.
    pub(super) fn read(&mut self, packet: &Packet) -> Entry {
        // SAFETY: a packet's data is as long as it says, and padded as parsers need it; the contexts are ours.
        unsafe {
            let held = &*packet.0;
            if held.data.is_null() {
                return Entry::default();
            }
            let bytes = std::slice::from_raw_parts(held.data, usize::try_from(held.size).unwrap_or(0));
            if let Some(told) = by_its_first_bits(self.codec, bytes) {
                return Entry { begins: Some(told), place: None };
            }
            let Some(parser) = self.parser.as_mut() else { return Entry::default() };
            (parser.key_frame, parser.pict_type) = (-1, c::AVPictureType::AV_PICTURE_TYPE_NONE as c_int);
            let (mut out, mut length) = (ptr::null_mut(), 0);
            let (none, size) = (c::AV_NOPTS_VALUE, held.size);
            c::av_parser_parse2(parser, self.context, &mut out, &mut length, held.data, size, none, none, -1);
            let begins = match (parser.key_frame, parser.pict_type) {
                (0 | 1, _) => Some(parser.key_frame == 1),
                (_, kind) if kind == c::AVPictureType::AV_PICTURE_TYPE_NONE as c_int => None,
                (_, kind) => Some(kind == c::AVPictureType::AV_PICTURE_TYPE_I as c_int),
            };
            let counts = matches!(self.codec, c::AVCodecID::AV_CODEC_ID_H264 | c::AVCodecID::AV_CODEC_ID_HEVC);
            Entry { begins, place: counts.then_some(parser.output_picture_number) }
        }
    }
}

/// What a packet says.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Entry {
    /// Whether decoding can begin with it; none where its bits are not understood.
    pub(super) begins: Option<bool>,
    /// Its frame's place in the order of showing (H.264's and H.265's picture order count): it begins anew with some
    /// key frames.
    pub(super) place: Option<i32>,
}

impl Drop for Entries {
    fn drop(&mut self) {
        // SAFETY: ours, freed once; null is allowed.
        unsafe {
            c::av_parser_close(self.parser);
            c::avcodec_free_context(&mut self.context);
        }
    }
}

/// What the first bits of a packet say where FFmpeg has no parser that does. MS-MPEG-4, versions 2 and 3: the picture's
/// type, two bits, 0 for intra. FFV1 (RFC 9043, 4.4): the keyframe bit, range coded from an even state.
fn by_its_first_bits(codec: c::AVCodecID, bytes: &[u8]) -> Option<bool> {
    let [first, second, ..] = *bytes else { return None };
    match codec {
        c::AVCodecID::AV_CODEC_ID_MSMPEG4V2 | c::AVCodecID::AV_CODEC_ID_MSMPEG4V3 => Some(first >> 6 == 0),
        c::AVCodecID::AV_CODEC_ID_FFV1 => Some(u16::from_be_bytes([first, second]) >= 0x7F80),
        _ => None,
    }
}
