//! The recording's sound in a clip: the passages in which it is heard.

use std::fmt::Write as _;

use schemars::JsonSchema;
use serde::Serialize;

/// A stretch of the clip that runs in real time, with the recording's sound. Second for second, what is heard is what
/// was recorded.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Passage {
    /// Where it begins, in seconds of the clip.
    pub from: f64,
    /// Where it ends, in seconds of the clip.
    pub to: f64,
    /// What is heard at its beginning, in seconds of the recording after its first frame is shown.
    pub recording: f64,
    /// Seconds within which it rises from silence.
    pub fade_in: f64,
    /// Seconds within which it falls to silence again, before its end.
    pub fade_out: f64,
    /// Of a reel, which of its shots' recordings it is, from 0.
    #[serde(skip_serializing_if = "super::is_none")]
    pub member: usize,
}

impl Passage {
    /// The second of the recording that is heard at a second of the clip.
    #[must_use]
    pub fn recorded(&self, seconds: f64) -> f64 {
        self.recording + (seconds - self.from)
    }

    /// What samples are multiplied by at a second of the clip, 0 to 1: half a cosine up, half a cosine down, 1 between,
    /// and 0 outside.
    #[must_use]
    pub fn gain(&self, seconds: f64) -> f64 {
        let rising = (seconds - self.from) / self.fade_in;
        let falling = (self.to - seconds) / self.fade_out;
        if rising < 0.0 || falling < 0.0 {
            return 0.0;
        }
        let gone = rising.min(falling).min(1.0);
        0.5 - 0.5 * (std::f64::consts::PI * gone).cos()
    }
}

/// The passage that a second of the clip lies in.
#[must_use]
pub fn heard_at(passages: &[Passage], seconds: f64) -> Option<&Passage> {
    let begun = passages.partition_point(|passage| passage.from <= seconds);
    passages[..begun].last().filter(|passage| seconds < passage.to)
}

/// `sound of 2 passages, 4.250 s in all`.
#[must_use]
pub fn heard(passages: &[Passage]) -> String {
    let seconds: f64 = passages.iter().map(|passage| passage.to - passage.from).sum();
    match passages.len() {
        1 => format!("sound of 1 passage, {seconds:.3} s"),
        count => format!("sound of {count} passages, {seconds:.3} s in all"),
    }
}

/// A line a passage.
pub(super) fn table(passages: &[Passage]) -> String {
    let mut out = String::new();
    for Passage { from, to, recording, fade_in, fade_out, .. } in passages {
        let _infallible = writeln!(
            out,
            "  sound {from:>9.3} {to:>10.3} s, the recording's from {recording:.3} s on; fades in for {fade_in} s, out for {fade_out} s"
        );
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const PASSAGE: Passage = Passage { from: 2.0, to: 5.0, recording: 60.0, fade_in: 0.25, fade_out: 0.5, member: 0 };

    #[test]
    fn gains_rise_and_fall_evenly_within_the_passage_and_are_one_between() {
        let gains: Vec<f64> = (0..=4000).map(|step| PASSAGE.gain(1.5 + f64::from(step) / 1000.0)).collect();
        assert_eq!(
            (PASSAGE.gain(1.9999), PASSAGE.gain(2.0), PASSAGE.gain(5.0), PASSAGE.gain(5.0001)),
            (0.0, 0.0, 0.0, 0.0)
        );
        assert!((PASSAGE.gain(2.125) - 0.5).abs() < 1e-12 && (PASSAGE.gain(4.75) - 0.5).abs() < 1e-12);
        assert!(gains[750..=3000].iter().all(|gain| *gain == 1.0));
        assert!(gains[..=750].is_sorted() && gains[3000..].iter().rev().is_sorted());
        // No step: the steepest is pi / 2 of the fade's length.
        assert!(gains.windows(2).all(|pair| (pair[1] - pair[0]).abs() < 0.0016 / 0.25 + 1e-9));
    }

    #[test]
    fn a_second_of_the_clip_is_a_second_of_the_recording() {
        assert_eq!((PASSAGE.recorded(2.0), PASSAGE.recorded(3.5)), (60.0, 61.5));
        let later = Passage { from: 7.0, to: 9.0, ..PASSAGE };
        let heard = |seconds| heard_at(&[PASSAGE, later], seconds).map(|passage| passage.from);
        assert_eq!([1.0, 2.0, 4.999, 5.0, 7.5, 9.0].map(heard), [None, Some(2.0), Some(2.0), None, Some(7.0), None]);
    }
}
