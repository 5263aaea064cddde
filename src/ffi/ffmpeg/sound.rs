//! A recording's sound: packets in, samples out; samples in, a delivery's packets out.

mod encoder;
mod resampler;
mod source;

use ffmpeg_next::ffi as c;

use super::container::{Container, SOUND_DECODERS};
use crate::shoot::MOST_CHANNELS;

pub(crate) use encoder::{SOUND_BLOCK, SoundEncoder, sound_encoder_exists};
pub(crate) use resampler::Resampler;
pub(crate) use source::{Heard, SoundSource};

/// Samples a second, on each of two sides, of all sound that is delivered.
pub(crate) const SOUND_RATE: u32 = 48_000;

/// What the container says of a recording's sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct SoundFacts {
    /// The codec's name.
    pub(crate) codec: String,
    /// Samples a second.
    pub(crate) rate: u32,
    /// Channels.
    pub(crate) channels: u32,
    /// Whether there is a decoder for it among those that are allowed, and no more channels than can be mixed.
    pub(crate) is_read: bool,
}

impl SoundFacts {
    /// Of the sound that goes with the video.
    pub(super) fn of(container: &Container) -> Option<Self> {
        let stream = container.best(c::AVMediaType::AVMEDIA_TYPE_AUDIO)?;
        // SAFETY: a stream lives as long as its container; names are static.
        unsafe {
            let parameters = &*(*stream).codecpar;
            let name = |text: *const std::ffi::c_char| std::ffi::CStr::from_ptr(text).to_string_lossy().into_owned();
            let decoder = c::avcodec_find_decoder(parameters.codec_id).as_ref().map(|codec| name(codec.name));
            let allowed = decoder.is_some_and(|decoder| SOUND_DECODERS.split(',').any(|allowed| allowed == decoder));
            let channels = parameters.ch_layout.nb_channels.unsigned_abs();
            Some(Self {
                codec: name(c::avcodec_get_name(parameters.codec_id)),
                rate: parameters.sample_rate.unsigned_abs(),
                channels,
                is_read: allowed && channels <= MOST_CHANNELS,
            })
        }
    }
}
