//! Which frame of each delivery is its poster.

use crate::curve::track::SLACK;
use crate::diag::Diagnostics;
use crate::plan::PosterFrame;
use crate::shot::{Moment, Shot};

use super::framing::{Asks, Clip};

/// The poster of each delivery, none for those that have none; a moment that cannot be had is a mistake.
///
/// A moment of the clip means the frame on screen then, a moment of the shoot the first frame at or after it.
pub(super) fn posters(shot: &Shot, clip: &Clip<'_>, found: &mut Diagnostics) -> Vec<Option<PosterFrame>> {
    let one = |delivery: &crate::shot::Delivery| {
        let poster = delivery.extras.poster.as_ref()?;
        let last = delivery.fps.frames_in(clip.length).saturating_sub(1);
        let frame = match &poster.at.value {
            Moment::Start => 0,
            Moment::End => last,
            moment => match clip.time(shot, delivery, moment, Asks::Poster) {
                Ok(seconds) => {
                    let on_clip = matches!(moment, Moment::Screen(_) | Moment::Timecode(_));
                    let time = |frame: u64| delivery.fps.time_of(frame).0;
                    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a time of the clip")]
                    let near = (seconds.max(0.0) * delivery.fps.per_second()) as u64;
                    let first = near.saturating_sub(1);
                    match on_clip {
                        true => (first..=near + 1).take_while(|frame| time(*frame) <= seconds + SLACK).last(),
                        false => (first..=near + 2).find(|frame| time(*frame) >= seconds - SLACK),
                    }
                    .unwrap_or(near)
                    .min(last)
                }
                Err(mistake) => {
                    found.push(mistake.at(&poster.at.place).word("poster"));
                    return None;
                }
            },
        };
        Some(PosterFrame { frame, form: poster.form })
    };
    shot.deliveries.iter().map(one).collect()
}
