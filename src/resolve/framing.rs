//! When each key of a framing comes, and the track of windows each delivery follows.

use crate::curve::pace::PaceMap;
use crate::curve::track::{Key, SLACK, Track};
use crate::diag::{Diagnostic, Diagnostics};
use crate::geom::Window;
use crate::shot::{Delivery, FramingKey, Moment, Pace, Shot};
use crate::units::ScreenTime;

use super::moments::Moments;
use super::views;
use super::words;

/// A delivery's track, with the keys it was made of; no keys means the largest window throughout.
pub(super) struct Framed<'a> {
    pub(super) track: Track<Window>,
    pub(super) keys: &'a [FramingKey],
}

/// Every delivery's track; none where `found` says why not. A mistake that several deliveries share is said once.
pub(super) fn tracks<'a>(
    shot: &'a Shot,
    moments: &Moments<'_>,
    windows: &[Option<Vec<Window>>],
    pace: &PaceMap,
    length: ScreenTime,
    found: &mut Diagnostics,
) -> Vec<Option<Framed<'a>>> {
    let mut mistakes: Vec<Diagnostic> = Vec::new();
    let tracks = shot
        .deliveries
        .iter()
        .zip(windows)
        .map(|(delivery, windows)| {
            let keys = views::keys_of(shot, delivery);
            let times = moments_of(shot, delivery, keys, &Clip { moments, pace, length }, &mut mistakes)?;
            let windows = windows.as_ref()?;
            let track = if keys.is_empty() {
                let largest = Window::largest(moments.shoot.size, delivery.frame.aspect()).moved_inside(moments.shoot.size);
                Track::new(vec![Key { at: 0.0, value: largest, ease: crate::curve::ease::Ease::Linear }])
            } else {
                let keyed = times.iter().zip(windows).zip(keys);
                Track::new(keyed.map(|((at, window), key)| Key { at: *at, value: *window, ease: key.ease.clone() }).collect())
            };
            track.map(|track| Framed { track, keys })
        })
        .collect();
    for mistake in mistakes {
        found.push(mistake);
    }
    tracks
}

/// What can be said of the keys' moments where there is no pace to time them.
pub(super) fn check_moments(shot: &Shot, moments: &Moments<'_>, found: &mut Diagnostics) {
    let mut mistakes: Vec<Diagnostic> = Vec::new();
    for key in shot.deliveries.iter().flat_map(|delivery| views::keys_of(shot, delivery)) {
        if let Moment::Still(_) | Moment::StillNamed(_) | Moment::Clock(_) | Moment::Part(_) = key.at
            && let Err(mistake) = moments.position(&key.at)
        {
            once(mistake.at(&key.place), &mut mistakes);
        }
    }
    found.extend(Diagnostics(mistakes));
}

fn once(mistake: Diagnostic, mistakes: &mut Vec<Diagnostic>) {
    if !mistakes.contains(&mistake) {
        mistakes.push(mistake);
    }
}

struct Clip<'a> {
    moments: &'a Moments<'a>,
    pace: &'a PaceMap,
    length: ScreenTime,
}

/// The screen times of a delivery's keys, growing; nothing where `mistakes` says why not.
fn moments_of(
    shot: &Shot,
    delivery: &Delivery,
    keys: &[FramingKey],
    clip: &Clip<'_>,
    mistakes: &mut Vec<Diagnostic>,
) -> Option<Vec<f64>> {
    let mut times = Vec::with_capacity(keys.len());
    for key in keys {
        match clip.time(shot, delivery, &key.at) {
            Ok(time) => times.push(time),
            Err(mistake) => once(mistake.at(&key.place), mistakes),
        }
    }
    if times.len() < keys.len() {
        return None;
    }
    let mut ordered = true;
    for (pair, keys) in times.windows(2).zip(keys.windows(2)) {
        if pair[1] <= pair[0] + SLACK {
            ordered = false;
            once(out_of_order(shot, pair[0], pair[1], &keys[0], &keys[1]), mistakes);
        }
    }
    ordered.then_some(times)
}

impl Clip<'_> {
    fn time(&self, shot: &Shot, delivery: &Delivery, moment: &Moment) -> Result<f64, Diagnostic> {
        match moment {
            Moment::Start => Ok(0.0),
            Moment::End => Ok(delivery.fps.time_of(delivery.fps.frames_in(self.length).saturating_sub(1)).0),
            Moment::Screen(seconds) => self.on_screen(*seconds, &format!("{} s", words::figure(*seconds))),
            Moment::Timecode(frames) => {
                let seconds = shot.fps.time_of(*frames).0;
                self.on_screen(seconds, &format!("frame {frames} at {} a second, {} s", shot.fps, words::figure(seconds)))
            }
            Moment::Still(_) | Moment::StillNamed(_) | Moment::Clock(_) | Moment::Part(_) => {
                let from_end = self.pace.begins_at_end();
                let time = self.pace.time(self.moments.arrival(moment, from_end)?);
                if time <= self.length.0 + SLACK {
                    return Ok(time.min(self.length.0));
                }
                let last = self.pace.furthest(self.length.0);
                if time.is_infinite() {
                    let message = "this key is never reached: the pace turns back before it";
                    return Err(Diagnostic::mistake(message).help(format!(
                        "the pace comes {} stills into the shoot: a moment before that, or another turn",
                        words::figure(if from_end { self.pace.stills() - last } else { last })
                    )));
                }
                Err(Diagnostic::mistake(format!(
                    "this key is never reached: it would come at {} s, and the clip ends at {} s",
                    words::figure(time),
                    words::figure(self.length.0)
                ))
                .help(format!(
                    "the clip ends {} stills into the shoot: an earlier moment, or a longer length",
                    words::figure(if from_end { self.pace.stills() - last } else { last })
                )))
            }
        }
    }

    fn on_screen(&self, seconds: f64, written: &str) -> Result<f64, Diagnostic> {
        if seconds.is_nan() || seconds < 0.0 {
            return Err(Diagnostic::mistake(format!("screen time begins at 0 s; seen {written}")));
        }
        if seconds > self.length.0 + SLACK {
            return Err(Diagnostic::mistake(format!(
                "this key is past the end: it is at {written}, and the clip lasts {} s",
                words::figure(self.length.0)
            ))
            .help(format!("at = \"end\" is the last frame; at = {} at most", words::figure_below(self.length.0))));
        }
        Ok(seconds)
    }
}

fn out_of_order(shot: &Shot, before: f64, after: f64, first: &FramingKey, second: &FramingKey) -> Diagnostic {
    let message = if (before - after).abs() <= SLACK {
        format!("two keys are at one moment, {} s", words::figure(after))
    } else {
        format!("this key is at {} s, before the key above it at {} s", words::figure(after), words::figure(before))
    };
    let mistake = Diagnostic::mistake(message).at(&second.place).with(&first.place, "the key above it");
    match &shot.pace.value {
        Pace::Keyed { fit: Some(fit), .. } => mistake
            .with(&fit.place, "the fit that times the shoot")
            .help("keys stand in order of time: the pace moves those on the shoot's axis and leaves those on the clip's"),
        _ => mistake.help("keys stand in order of time, each at a moment of its own"),
    }
}
