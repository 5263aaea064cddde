//! The sound of a delivery: what the plan's passages take of its recordings, silence between them, encoded as far as the
//! pictures have come.
//!
//! ## Decisions
//!
//! - Sound does not pass the pipeline. A delivery's sink has a tape of its own; as whole stretches of pictures are put
//!   together, the sound up to each is encoded beside it. Only a few blocks are held, however long the clip.
//! - Nothing of the sound is kept for a resumed run: an output with other passages is another output.
//! - Two channels at 48,000 samples a second, AAC-LC of 192 kbit/s, as long as the pictures to half a sample. One
//!   channel goes to both sides as it is; more than two are mixed by ITU-R BS.775's coefficients without being turned
//!   down, and limited at full scale.
//! - The samples an encoder adds in front are taken off by the edit list that FFmpeg writes.
//! - A delivery in which nothing is heard has no sound track, and equals, to the byte, one without the word `sound`.

use std::path::PathBuf;
use std::sync::Arc;

use crate::decode::{RATE, Tape, Unread};
use crate::ffi::ffmpeg::{self, Fault, Muxer, Packet, SOUND_BLOCK, SoundEncoder};
use crate::plan::Passage;
use crate::shoot::Recording;
use crate::shot::Policy;
use crate::units::FrameRate;
use crate::work::SinkError;

/// Bytes a second that sound takes in a file.
pub(super) const BYTES_A_SECOND: u64 = 24_000;

/// Says why sound cannot be made, in one line.
pub(super) fn preflight() -> Result<(), String> {
    if ffmpeg::sound_encoder_exists() {
        return Ok(());
    }
    Err("this FFmpeg has no AAC encoder, which sound needs: install Debian's libavcodec59, which has it".into())
}

/// Why sound cannot be made, as a sink says it.
pub(super) fn unheard(why: impl ToString) -> SinkError {
    SinkError::Encoder { codec: "AAC", message: why.to_string() }
}

/// How many samples last as long as this many frames, to the nearest.
pub(super) fn samples_of(frames: u64, fps: FrameRate) -> u64 {
    let (seconds, rate) = (u128::from(frames) * u128::from(fps.denominator()), u128::from(fps.numerator()));
    u64::try_from((2 * seconds * u128::from(RATE) + rate) / (2 * rate)).unwrap_or(u64::MAX)
}

/// Ticks a second in which the pictures' ticks and samples are both whole numbers.
pub(super) fn ticks_of_both(timescale: u32) -> u32 {
    let (mut divisor, mut rest) = (timescale, RATE);
    while rest > 0 {
        (divisor, rest) = (rest, divisor % rest);
    }
    timescale / divisor.max(1) * RATE
}

/// What a delivery's sound is made from.
#[derive(Clone, Copy)]
pub(super) struct Heard<'a> {
    /// Where it was recorded: by shoot that a reel joins, or the one there is; none where that is of stills.
    pub(super) recordings: &'a [Option<&'a Recording>],
    /// Where it is heard.
    pub(super) passages: &'a Arc<[Passage]>,
    /// What is done where it cannot be read.
    pub(super) unread: Policy,
}

/// Why a sound track could not be made.
#[derive(Debug)]
pub(super) enum Unmade {
    /// FFmpeg, or the disk by way of it.
    Ffmpeg(Fault),
    /// The recording cannot be read, and the policy is to stop.
    Unread(PathBuf, Unread),
}

impl From<Fault> for Unmade {
    fn from(fault: Fault) -> Self {
        Self::Ffmpeg(fault)
    }
}

/// A sound track in the making.
pub(super) struct Soundtrack {
    passages: Arc<[Passage]>,
    /// By the recordings that it is made from.
    tapes: Vec<Option<(PathBuf, Tape)>>,
    unread: Policy,
    encoder: SoundEncoder,
    packet: Packet,
    /// Samples of the clip that have gone to the encoder.
    done: u64,
    block: [Vec<f32>; 2],
    piece: [Vec<f32>; 2],
}

impl Soundtrack {
    /// The sound of recordings in its passages of a clip.
    pub(super) fn open(Heard { recordings, passages, unread }: Heard<'_>) -> Result<Self, Fault> {
        let tape = |recording: &Recording| (recording.path.clone(), Tape::new(recording));
        Ok(Self {
            passages: Arc::clone(passages),
            tapes: recordings.iter().map(|recording| recording.map(tape)).collect(),
            unread,
            encoder: SoundEncoder::open()?,
            packet: Packet::new()?,
            done: 0,
            block: Default::default(),
            piece: Default::default(),
        })
    }

    /// What makes its packets.
    pub(super) fn encoder(&self) -> &SoundEncoder {
        &self.encoder
    }

    /// Writes what is heard before a sample of the clip, as far as that fills whole blocks.
    pub(super) fn write_until(&mut self, sample: u64, muxer: &mut Muxer) -> Result<(), Unmade> {
        while self.done + SOUND_BLOCK as u64 <= sample {
            self.write_block(SOUND_BLOCK, muxer)?;
        }
        Ok(())
    }

    /// Writes the rest of a clip of this many samples; gives the remarks for the user.
    pub(super) fn finish(mut self, samples: u64, muxer: &mut Muxer) -> Result<Vec<String>, Unmade> {
        self.write_until(samples, muxer)?;
        if let Some(rest) = usize::try_from(samples.saturating_sub(self.done)).ok().filter(|rest| *rest > 0) {
            self.write_block(rest, muxer)?;
        }
        self.encoder.flush()?;
        self.write_packets(muxer)?;
        Ok(self.tapes.iter().flatten().flat_map(|(_, tape)| tape.remarks()).collect())
    }

    fn write_block(&mut self, count: usize, muxer: &mut Muxer) -> Result<(), Unmade> {
        self.fill(count);
        let unread = self.tapes.iter().flatten().find_map(|(path, tape)| Some((path, tape.unread()?)));
        if let Some((path, unread)) = unread.filter(|_| self.unread == Policy::Stop) {
            return Err(Unmade::Unread(path.clone(), unread.clone()));
        }
        let [left, right] = &self.block;
        self.encoder.send([left, right])?;
        self.done += count as u64;
        Ok(self.write_packets(muxer)?)
    }

    fn write_packets(&mut self, muxer: &mut Muxer) -> Result<(), Fault> {
        while self.encoder.receive(&mut self.packet)? {
            muxer.write_sound(&mut self.packet)?;
        }
        Ok(())
    }

    /// Fills the block with the next samples of the clip.
    fn fill(&mut self, count: usize) {
        self.block.iter_mut().for_each(|side| {
            side.clear();
            side.resize(count, 0.0);
        });
        let (first, end) = (whole(self.done), whole(self.done + count as u64));
        for passage in self.passages.iter() {
            let (begin, finish) = (at(passage.from).ceil(), at(passage.to).floor());
            #[expect(clippy::cast_possible_truncation, reason = "a clip lasts a day at most")]
            let (from, to) = ((begin as i64).max(first), (finish as i64).min(end));
            let (Ok(into), Ok(length)) = (usize::try_from(from - first), usize::try_from(to - from)) else { continue };
            if length == 0 {
                continue;
            }
            #[expect(clippy::cast_possible_truncation, reason = "a recording is far shorter than 2^63 samples")]
            let later = at(passage.recording - passage.from).round() as i64;
            self.piece.iter_mut().for_each(|side| side.resize(length, 0.0));
            let [left, right] = &mut self.piece;
            let Some(Some((_, tape))) = self.tapes.get_mut(passage.member) else { continue };
            tape.play(from + later, left, right);
            for (side, piece) in self.block.iter_mut().zip(&self.piece) {
                for ((sample, heard), place) in side[into..into + length].iter_mut().zip(piece).zip(from..) {
                    #[expect(clippy::cast_possible_truncation, reason = "a gain of 0 to 1")]
                    let gain = passage.gain(second(place)) as f32;
                    // Several channels mixed to two, or two passages where one shot runs into the next, may come to more
                    // than full scale.
                    *sample = (*sample + heard * gain).clamp(-1.0, 1.0);
                }
            }
        }
    }
}

/// Samples before a second.
fn at(seconds: f64) -> f64 {
    seconds * f64::from(RATE)
}

/// The second of a sample.
fn second(place: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a clip of 2^53 samples does not exist")]
    let place = place as f64;
    place / f64::from(RATE)
}

fn whole(samples: u64) -> i64 {
    i64::try_from(samples).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sound_lasts_as_long_as_the_frames_to_half_a_sample() {
        for (frames, rate, samples) in [
            (24, "24", 48_000),
            (1, "25", 1920),
            (3, "30000/1001", 4805),
            (30_000, "30000/1001", 48_048_000),
            (1, "1/2", 96_000),
        ] {
            assert_eq!(samples_of(frames, rate.parse().unwrap()), samples, "{frames} at {rate}");
        }
    }

    #[test]
    fn pictures_and_samples_have_ticks_in_common() {
        for (timescale, both) in
            [(24_000, 48_000), (25_000, 1_200_000), (30_000, 240_000), (1000, 48_000), (120_000, 240_000)]
        {
            assert_eq!(ticks_of_both(timescale), both, "{timescale}");
            assert_eq!((both % timescale, both % RATE), (0, 0));
        }
    }
}
