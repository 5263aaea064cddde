//! Frames of samples of any rate, depth and number of channels to two sides at one rate.

use std::ffi::c_int;
use std::ptr;

use ffmpeg_next::ffi as c;

use super::{SOUND_RATE, SoundSource};
use crate::ffi::ffmpeg::{Fault, allocated, check};
use crate::shoot::MOST_CHANNELS;

/// The square root of a half: 3 dB less.
const THREE_DB: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Converts frames that follow one another without a gap: the first sample out is at the time of the first one in.
#[derive(Debug)]
pub(crate) struct Resampler {
    context: *mut c::SwrContext,
    /// What it was set up for: format, rate, channels and their mask.
    takes: (c_int, c_int, c_int, u64),
}

// SAFETY: FFmpeg's contexts are tied to no thread; ours are used by one at a time, through `&mut`.
unsafe impl Send for Resampler {}

impl Resampler {
    /// One for frames like that which the source received last.
    ///
    /// # Errors
    /// Where FFmpeg does not take such frames.
    pub(crate) fn of(source: &SoundSource) -> Result<Self, Fault> {
        let frame = source.frame();
        let takes = kind(frame);
        let (format, rate, channels, mask) = takes;
        if !(0..c::AVSampleFormat::AV_SAMPLE_FMT_NB as c_int).contains(&format) || rate <= 0 || channels <= 0 {
            return Err(Fault::refused("samples of no kind that is known"));
        }
        // The matrix has a column for each place of the mask, and FFmpeg reads one for each channel.
        if mask.count_ones() != channels.unsigned_abs() {
            return Err(Fault::refused(format!(
                "{channels} channels, where {MOST_CHANNELS} at most, each in a place of its own, are mixed"
            )));
        }
        let mut context: *mut c::SwrContext = ptr::null_mut();
        // SAFETY: the format is one of the enumeration's values, which are without gaps; a layout of a mask owns
        // nothing; the matrix has two rows of as many columns as there are channels; every result is checked, and what
        // fails is freed.
        unsafe {
            let format: c::AVSampleFormat = std::mem::transmute(format);
            let (mut two, mut given) = (std::mem::zeroed(), std::mem::zeroed());
            check(c::av_channel_layout_from_mask(&mut two, c::AV_CH_LAYOUT_STEREO), "naming channels", None)?;
            check(c::av_channel_layout_from_mask(&mut given, mask), "naming channels", None)?;
            let rate_out = c_int::try_from(SOUND_RATE).unwrap_or(c_int::MAX);
            let planar = c::AVSampleFormat::AV_SAMPLE_FMT_FLTP;
            let code = c::swr_alloc_set_opts2(
                &mut context,
                &mut two,
                planar,
                rate_out,
                &mut given,
                format,
                rate,
                0,
                ptr::null_mut(),
            );
            check(code, "converting sound", None)?;
            let resampler = Self { context: allocated(context)?, takes };
            let matrix = matrix(mask);
            check(c::swr_set_matrix(context, matrix.as_ptr(), channels), "mixing sound", None)?;
            check(c::swr_init(context), "converting sound", None)?;
            Ok(resampler)
        }
    }

    /// Whether it takes frames like that which the source received last.
    pub(crate) fn takes(&self, source: &SoundSource) -> bool {
        self.takes == kind(source.frame())
    }

    /// Converts the frame that the source received last; what is ready goes to the ends of `left` and `right`.
    ///
    /// # Errors
    /// What FFmpeg says.
    pub(crate) fn convert(
        &mut self,
        source: &SoundSource,
        left: &mut Vec<f32>,
        right: &mut Vec<f32>,
    ) -> Result<(), Fault> {
        let frame = source.frame();
        self.run(frame.extended_data.cast(), frame.nb_samples, left, right)
    }

    /// Converts what is held back until more comes, where no more does.
    ///
    /// # Errors
    /// What FFmpeg says.
    pub(crate) fn finish(&mut self, left: &mut Vec<f32>, right: &mut Vec<f32>) -> Result<(), Fault> {
        self.run(ptr::null_mut(), 0, left, right)
    }

    fn run(
        &mut self,
        from: *mut *const u8,
        count: c_int,
        left: &mut Vec<f32>,
        right: &mut Vec<f32>,
    ) -> Result<(), Fault> {
        // SAFETY: the context is set up; both sides have room for all that may come, and no more is declared to be
        // there than came.
        unsafe {
            let most = check(c::swr_get_out_samples(self.context, count), "converting sound", None)?;
            let room = usize::try_from(most).unwrap_or(0);
            left.reserve(room);
            right.reserve(room);
            let mut sides =
                [left.as_mut_ptr().add(left.len()).cast::<u8>(), right.as_mut_ptr().add(right.len()).cast::<u8>()];
            let came =
                check(c::swr_convert(self.context, sides.as_mut_ptr(), most, from, count), "converting sound", None)?;
            let came = usize::try_from(came).unwrap_or(0).min(room);
            left.set_len(left.len() + came);
            right.set_len(right.len() + came);
        }
        Ok(())
    }
}

impl Drop for Resampler {
    fn drop(&mut self) {
        // SAFETY: ours, freed once.
        unsafe { c::swr_free(&mut self.context) };
    }
}

/// Format, rate, channels and their mask; channels whose places are not said have those that are usual for their
/// number.
fn kind(frame: &c::AVFrame) -> (c_int, c_int, c_int, u64) {
    let layout = &frame.ch_layout;
    // SAFETY: numbers that FFmpeg types as enumerations are read as numbers; a mask is what a layout in the native
    // order holds.
    let mask = unsafe {
        let order = (&raw const layout.order).cast::<u32>().read();
        if order == c::AVChannelOrder::AV_CHANNEL_ORDER_NATIVE as u32 {
            layout.u.mask
        } else {
            let mut usual: c::AVChannelLayout = std::mem::zeroed();
            c::av_channel_layout_default(&mut usual, layout.nb_channels);
            let order = (&raw const usual.order).cast::<u32>().read();
            // More than any usual arrangement has: the first of the places there are.
            let first = 1_u64.checked_shl(layout.nb_channels.unsigned_abs()).map_or(u64::MAX, |above| above - 1);
            if order == c::AVChannelOrder::AV_CHANNEL_ORDER_NATIVE as u32 { usual.u.mask } else { first }
        }
    };
    (frame.format, frame.sample_rate, layout.nb_channels, mask)
}

/// What each channel has of the left side, then what it has of the right one.
///
/// One channel alone goes to both sides as it is; two stay two. More are mixed as ITU-R BS.775-3 mixes 3/2, 3/1 and 2/2
/// channels to 2/0 (from memory): front left and right whole, the centre and each surround 3 dB down, a lone surround 6
/// dB down on either side, the low-frequency channel not at all. Channels that it does not know count as the surround
/// of their side.
fn matrix(mask: u64) -> Vec<f64> {
    let channels = (0..64).filter(|bit| mask >> bit & 1 == 1).map(|bit| 1_u64 << bit);
    let alone = mask.count_ones() == 1;
    let parts: Vec<(f64, f64)> = channels.map(|channel| if alone { (1.0, 1.0) } else { part(channel) }).collect();
    parts.iter().map(|part| part.0).chain(parts.iter().map(|part| part.1)).collect()
}

fn part(channel: u64) -> (f64, f64) {
    const LEFT: [u32; 3] = [0, 29, 31];
    const RIGHT: [u32; 3] = [1, 30, 32];
    const LEFT_SURROUND: [u32; 6] = [4, 6, 9, 12, 15, 36];
    const RIGHT_SURROUND: [u32; 6] = [5, 7, 10, 14, 17, 37];
    let bit = channel.trailing_zeros();
    match bit {
        _ if LEFT.contains(&bit) => (1.0, 0.0),
        _ if RIGHT.contains(&bit) => (0.0, 1.0),
        _ if LEFT_SURROUND.contains(&bit) => (THREE_DB, 0.0),
        _ if RIGHT_SURROUND.contains(&bit) => (0.0, THREE_DB),
        2 => (THREE_DB, THREE_DB),
        3 | 35 => (0.0, 0.0),
        _ => (0.5, 0.5),
    }
}

#[cfg(test)]
mod tests {
    use super::super::Heard;
    use super::*;

    /// An AVI of nothing but sound: so many channels of 16-bit samples, none of which says where it belongs.
    fn avi(channels: u16) -> Vec<u8> {
        let chunk = |name: &[u8; 4], body: Vec<u8>| {
            let length = u32::try_from(body.len()).unwrap().to_le_bytes();
            [name.as_slice(), &length, &body].concat()
        };
        let list = |name: &[u8; 4], parts: &[Vec<u8>]| chunk(b"LIST", [name.to_vec(), parts.concat()].concat());
        let numbers = |numbers: &[u32]| -> Vec<u8> { numbers.iter().flat_map(|number| number.to_le_bytes()).collect() };
        let (rate, a_sample, samples) = (48_000, 2 * u32::from(channels), 256);
        let main = numbers(&[0, rate * a_sample, 0, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0, 0]);
        let stream =
            [b"auds".to_vec(), numbers(&[0, 0, 0, 0, a_sample, rate * a_sample, 0, samples, 0, 0, a_sample, 0, 0])]
                .concat();
        // PCM, channels, samples a second, bytes a second, bytes of a sample of all channels, bits.
        let format = [1_u16.to_le_bytes(), channels.to_le_bytes()].concat();
        let format = [format, numbers(&[rate, rate * a_sample]), numbers(&[a_sample | 16 << 16])].concat();
        let head =
            list(b"hdrl", &[chunk(b"avih", main), list(b"strl", &[chunk(b"strh", stream), chunk(b"strf", format)])]);
        let data = chunk(b"00wb", vec![1; (samples * a_sample) as usize]);
        chunk(b"RIFF", [b"AVI ".to_vec(), head, list(b"movi", &[data])].concat())
    }

    #[test]
    fn more_channels_than_there_are_places_are_refused_and_as_many_as_places_are_mixed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("day.avi");
        let made = |channels: u16| {
            std::fs::write(&path, avi(channels)).unwrap();
            let mut source = SoundSource::open(&path).unwrap();
            assert!(matches!(source.next(), Ok(Heard::Frame)));
            assert_eq!(source.frame().ch_layout.nb_channels, i32::from(channels));
            Resampler::of(&source).map(|mut resampler| {
                let (mut left, mut right) = (Vec::new(), Vec::new());
                resampler.convert(&source, &mut left, &mut right).unwrap();
                resampler.finish(&mut left, &mut right).unwrap();
                assert_eq!((left.len(), right.len()), (source.samples().0, source.samples().0), "{channels}");
            })
        };
        for channels in [1, 2, 6, 9, 64] {
            assert_eq!(made(channels), Ok(()), "{channels}");
        }
        for channels in [65, 66, 200, 300] {
            let said = made(channels).unwrap_err().to_string();
            assert!(said.starts_with(&format!("{channels} channels, where 64 at most")), "{said}");
        }
    }

    #[test]
    fn five_channels_and_the_low_one_are_mixed_as_broadcasters_do() {
        // L, R, C, LFE, Ls, Rs: 5.1 with surrounds at the sides (0x60F) and at the back (0x3F).
        let due = [1.0, 0.0, THREE_DB, 0.0, THREE_DB, 0.0, 0.0, 1.0, THREE_DB, 0.0, 0.0, THREE_DB];
        assert_eq!(matrix(0x60F), due);
        assert_eq!(matrix(0x3F), due);
    }

    #[test]
    fn one_channel_goes_to_both_sides_and_two_stay_two() {
        assert_eq!(matrix(0x4), [1.0, 1.0]);
        assert_eq!(matrix(0x1), [1.0, 1.0]);
        assert_eq!(matrix(0x3), [1.0, 0.0, 0.0, 1.0]);
        // 3/1: a lone surround behind.
        assert_eq!(matrix(0x107), [1.0, 0.0, THREE_DB, 0.5, 0.0, 1.0, THREE_DB, 0.5]);
    }
}
