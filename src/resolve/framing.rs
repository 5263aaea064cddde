//! When each key of a framing comes, and the track of windows each delivery follows.

use std::sync::Arc;

use crate::curve::ease::Ease;
use crate::curve::pace::PaceMap;
use crate::curve::track::SLACK;
use crate::diag::{Diagnostic, Diagnostics};
use crate::geom::Window;
use crate::shot::{Delivery, Framing, FramingKey, Moment, Pace, Path, Shot};
use crate::units::{ScreenTime, Size};

use super::acts::{Acting, Acts};
use super::corners;
use super::crossfade;
use super::leg::{Keyed, Leg, Pin, Sight};
use super::listed::ByTable;
use super::moments::Moments;
use super::route::{self, Waypoint};
use super::steady::Bounds;
use super::subject::Followed;
use super::tracked::FoundAt;
use super::views;
use super::words::{self, once};

/// How often keys are slowed down for a turn before it is left as it is; in the second half they are stopped at. The best of
/// these is taken.
const SLOWED: usize = 8;

/// Where a delivery's window is, at any time.
#[derive(Debug)]
pub(super) enum Framed {
    /// The largest one throughout.
    Largest(Window),
    /// From key to key.
    Keyed(Keyed),
    /// After a subject.
    Following(Followed),
    /// As a table says, frame by frame.
    Listed(ByTable),
    /// Where most happens.
    Acting(Acting),
}

impl Framed {
    /// The keys, where it goes by them.
    pub(super) fn keyed(&self) -> Option<&Keyed> {
        match self {
            Self::Keyed(keyed) => Some(keyed),
            Self::Largest(_) | Self::Following(_) | Self::Listed(_) | Self::Acting(_) => None,
        }
    }

    /// What is followed, where anything is.
    pub(super) fn followed(&self) -> Option<&Followed> {
        match self {
            Self::Following(followed) => Some(followed),
            Self::Largest(_) | Self::Keyed(_) | Self::Listed(_) | Self::Acting(_) => None,
        }
    }

    /// The table, where one has a window for every frame.
    pub(super) fn listed(&self) -> Option<&ByTable> {
        match self {
            Self::Listed(listed) => Some(listed),
            Self::Largest(_) | Self::Keyed(_) | Self::Following(_) | Self::Acting(_) => None,
        }
    }

    /// What holds the part in which most happens, where that decides.
    pub(super) fn acting(&self) -> Option<&Acting> {
        match self {
            Self::Acting(acting) => Some(acting),
            Self::Largest(_) | Self::Keyed(_) | Self::Following(_) | Self::Listed(_) => None,
        }
    }
}

/// Every delivery's track; none where `found` says why not. A mistake that several deliveries share is said once.
pub(super) fn tracks(
    shot: &Shot,
    moments: &Moments<'_>,
    windows: &[Option<Vec<Window>>],
    bounds: Bounds,
    (pace, length): (&PaceMap, ScreenTime),
    (acts, known): (Option<&Arc<Acts>>, &[FoundAt]),
    found: &mut Diagnostics,
) -> Vec<Option<Framed>> {
    let mut said: Vec<Diagnostic> = Vec::new();
    let clip = Clip { moments, bounds, pace, length };
    let tracks = shot
        .deliveries
        .iter()
        .zip(windows)
        .map(|(delivery, windows)| {
            let framing = views::framing_of(shot, delivery);
            if let Path::Follow(follow) = &framing.path {
                return Followed::new(framing, follow.clone(), windows.as_deref(), (moments, known), &mut said)
                    .map(Framed::Following);
            }
            if let Path::Table(listed) = &framing.path {
                let (of, over) = ((delivery, shot.strict), (bounds, length));
                return ByTable::new(framing, listed, of, over, &mut said).map(Framed::Listed);
            }
            if let Path::Action(action) = framing.path {
                let (place, acts) = (framing.place.clone(), acts.cloned());
                return Some(Framed::Acting(Acting { place, action, acts }));
            }
            let lap = shot.looped.is_some().then(|| clip.lap(delivery));
            let times = moments_of(shot, delivery, &framing.keys, &clip, &mut said)?;
            let windows = windows.as_ref()?;
            if let (Path::Drawing(_), [key], None) = (&framing.path, &framing.keys[..], lap) {
                once(followed_by_one(framing, key), &mut said);
                return None;
            }
            framed(framing, delivery, (&times, windows), lap, &clip, &mut said)
        })
        .collect();
    for one in said {
        found.push(one);
    }
    tracks
}

fn followed_by_one(framing: &Framing, key: &FramingKey) -> Diagnostic {
    Diagnostic::mistake("a drawing is followed from the first key to the last, and there is only one")
        .at(&key.place)
        .word("key")
        .with(&framing.place, "the framing with the drawing")
        .help("key { at = \"start\" } sets off, key { at = \"end\" } arrives")
}

/// A delivery's track from when and where its keys are.
fn framed(
    framing: &Framing,
    delivery: &Delivery,
    (times, windows): (&[f64], &[Window]),
    lap: Option<f64>,
    clip: &Clip<'_>,
    said: &mut Vec<Diagnostic>,
) -> Option<Framed> {
    let Bounds { still, room } = clip.bounds;
    let mut stands: Vec<Waypoint> = Vec::with_capacity(times.len());
    // In a loop a key at the end is the first one of the next lap.
    let closing = match (lap, &framing.keys[..], times, windows) {
        (Some(lap), [first, .., last], [begins, .., ends], [one, .., other]) if *ends >= begins + lap - SLACK => {
            crossfade::check_end(&framing.path, (first, last), (*one, *other))
                .map_err(|mistake| once(mistake, said))
                .ok()?;
            Some(last)
        }
        _ => None,
    };
    let due = framing.keys.len() - usize::from(closing.is_some());
    for (index, ((at, window), key)) in times.iter().zip(windows).zip(&framing.keys).take(due).enumerate() {
        let reached = closing.filter(|_| index == 0).unwrap_or(key);
        let (ease, stop, hold) = (reached.ease.clone(), key.stop || reached.stop, key.hold.max(reached.hold));
        let arrival =
            Waypoint { at: *at, window: *window, ease, stop, rests: false, passed: 1.0, key: Arc::new(key.clone()) };
        let end = lap.map_or(clip.length.0, |lap| times[0] + lap);
        if lap.is_some() && at + hold > end - SLACK {
            once(held_too_long(*at, end, key, &framing.keys[0]), said);
            return None;
        }
        let until = (at + hold).min(end);
        if until > at + SLACK {
            stands.push(arrival.clone());
            stands.push(Waypoint { at: until, ease: Ease::Linear, rests: true, ..arrival });
        } else {
            stands.push(arrival);
        }
        if at + hold > end + SLACK {
            once(cut_short(key, *at, clip.length.0), said);
        }
    }
    if stands.is_empty() {
        return Some(Framed::Largest(Window::largest(room, delivery.frame.aspect(), 0.0).moved_inside(room)));
    }
    let sight = Sight { place: delivery.subject_at, aspect: delivery.frame.aspect() };
    let mut round = None;
    if let (Some(lap), true) = (lap, stands.len() > 1 || matches!(framing.path, Path::Drawing(_))) {
        if let Path::Drawing(drawing) = &framing.path
            && !drawing.closes()
        {
            once(open_line(framing), said);
            return None;
        }
        round = Some(stands.len());
        stands = crossfade::unrolled(&stands, closing, lap);
    }
    let mut keyed = along(framing, &mut stands, (round, sight), still, said)?;
    // A drawing says itself where it turns, and is passed at one speed.
    if matches!(framing.path, Path::Smooth) {
        let mut worst = f64::INFINITY;
        let mut slower = keyed.clone();
        for tried in 0..=SLOWED {
            let too_fast = corners::too_fast(&slower, delivery);
            let sharpest = too_fast.iter().map(|one| one.times).fold(0.0, f64::max);
            if sharpest < worst {
                (worst, keyed) = (sharpest, slower);
            }
            if too_fast.is_empty() || tried == SLOWED {
                break;
            }
            for corners::TooFast { pin, times } in too_fast {
                // Round a bend acceleration goes by the square of the speed.
                let share = if tried < SLOWED / 2 { times.recip().sqrt() } else { 0.0 };
                let key = Arc::clone(&stands[pin].key);
                // A loop has the same key once in every lap.
                for one in stands.iter_mut().filter(|one| Arc::ptr_eq(&one.key, &key)) {
                    one.passed *= share;
                }
            }
            slower = along(framing, &mut stands, (round, sight), still, said)?;
        }
    }
    Some(Framed::Keyed(keyed))
}

/// The window's way through its stands.
fn along(
    framing: &Framing,
    stands: &mut [Waypoint],
    (round, sight): (Option<usize>, Sight),
    still: Size,
    said: &mut Vec<Diagnostic>,
) -> Option<Keyed> {
    let shapes = route::through(&framing.path, stands, round, sight, still);
    let mut pins = stands.iter().map(|stand| Pin { at: stand.at, window: stand.window, key: Arc::clone(&stand.key) });
    let first = pins.next()?;
    let mut legs: Vec<Leg> = Vec::with_capacity(shapes.len());
    for ((shape, stand), to) in shapes.into_iter().zip(&stands[1..]).zip(pins) {
        let from = legs.last().map_or(&first, |leg| &leg.to).clone();
        let leg = Leg { from, to, ease: stand.ease.clone(), shape };
        if leg.goes_nowhere() {
            once(nowhere(&leg.to.key, &leg.from.key), said);
        }
        legs.push(leg);
    }
    let (placed, straight) = (!matches!(framing.path, Path::Drawing(_)), matches!(framing.path, Path::Straight));
    Some(Keyed::new(first, legs, placed, straight))
}

fn open_line(framing: &Framing) -> Diagnostic {
    Diagnostic::mistake("a loop's window comes back to where it set off, but this drawing ends elsewhere")
        .at(&framing.place)
        .help("a Z at its end leads back to its beginning: drawing(\"M … Z\")")
}

fn cut_short(key: &FramingKey, at: f64, end: f64) -> Diagnostic {
    Diagnostic::remark(format!("this key holds for {} s, but the clip ends before that", words::figure(key.hold)))
        .at(&key.place)
        .word("hold")
        .help(format!("hold = {} is what the clip has left", words::figure_below(end - at)))
}

fn nowhere(key: &FramingKey, before: &FramingKey) -> Diagnostic {
    Diagnostic::remark("the flight to this key goes nowhere: it shows what the key before shows")
        .at(&key.place)
        .with(&before.place, "the key before")
        .help("use another window here; or hold = seconds at the key before, to let the window rest")
}

/// What can be said of the keys' moments where there is no pace to time them.
pub(super) fn check_moments(shot: &Shot, moments: &Moments<'_>, found: &mut Diagnostics) {
    let mut mistakes: Vec<Diagnostic> = Vec::new();
    for key in shot.deliveries.iter().flat_map(|delivery| &views::framing_of(shot, delivery).keys) {
        if let Moment::Still(_) | Moment::StillNamed(_) | Moment::Clock(_) | Moment::Part(_) = key.at
            && let Err(mistake) = moments.position(&key.at)
        {
            once(mistake.at(&key.place), &mut mistakes);
        }
    }
    found.extend(Diagnostics(mistakes));
}

/// A clip whose moments are asked for.
pub(super) struct Clip<'a> {
    pub(super) moments: &'a Moments<'a>,
    pub(super) bounds: Bounds,
    pub(super) pace: &'a PaceMap,
    pub(super) length: ScreenTime,
}

/// Who asks for the time of a moment.
#[derive(Debug, Clone, Copy)]
pub(super) enum Asks {
    /// A key of a framing.
    Key,
    /// A delivery, for its poster.
    Poster,
    /// A gathering that grows from there.
    Gather,
}

impl Asks {
    /// In words.
    fn word(self) -> &'static str {
        match self {
            Self::Key => "key",
            Self::Poster => "poster",
            Self::Gather => "moment",
        }
    }

    /// The field that holds the moment.
    fn field(self) -> &'static str {
        match self {
            Self::Key => "at",
            Self::Poster => "poster",
            Self::Gather => "from",
        }
    }
}

/// The screen times of a delivery's keys, growing; nothing where `mistakes` says why not.
fn moments_of(
    shot: &Shot,
    delivery: &Delivery,
    keys: &[FramingKey],
    clip: &Clip<'_>,
    mistakes: &mut Vec<Diagnostic>,
) -> Option<Vec<f64>> {
    let mut times: Vec<(f64, &FramingKey)> = Vec::with_capacity(keys.len());
    for key in keys {
        match clip.time(shot, delivery, &key.at, Asks::Key) {
            Ok(time) => times.push((time, key)),
            Err(mistake) => once(mistake.at(&key.place), mistakes),
        }
    }
    // One key whose moment cannot be had hides nothing of the others.
    let mut whole = times.len() == keys.len();
    for pair in times.windows(2) {
        let ((before, first), (after, second)) = (pair[0], pair[1]);
        if after <= before + SLACK {
            whole = false;
            once(out_of_order(shot, before, after, first, second), mistakes);
        } else if after <= before + first.hold + SLACK {
            whole = false;
            once(held_too_long(before, after, first, second), mistakes);
        }
    }
    whole.then(|| times.into_iter().map(|(time, _)| time).collect())
}

fn in_the_lead(lead: f64, first: f64, asks: Asks) -> Diagnostic {
    Diagnostic::mistake(format!(
        "this {} comes before the loop's first frame: the shoot's first {} s are only mixed into the clip's end",
        asks.word(),
        words::figure(lead)
    ))
    .help(format!(
        "{} = 0 is the first frame, {} stills into the shoot; a shorter loop = seconds begins earlier",
        asks.field(),
        words::figure(first)
    ))
}

impl Clip<'_> {
    /// A delivery's lap: the seconds after which its first frame comes again.
    fn lap(&self, delivery: &Delivery) -> f64 {
        delivery.fps.time_of(delivery.fps.frames_in(self.length)).0
    }

    /// The screen time of a moment.
    ///
    /// # Errors
    /// A mistake without a place, in the words of who asks.
    pub(super) fn time(
        &self,
        shot: &Shot,
        delivery: &Delivery,
        moment: &Moment,
        asks: Asks,
    ) -> Result<f64, Diagnostic> {
        match moment {
            Moment::Start => Ok(0.0),
            Moment::End if shot.looped.is_some() => Ok(self.lap(delivery)),
            Moment::End => Ok(delivery.fps.time_of(delivery.fps.frames_in(self.length).saturating_sub(1)).0),
            Moment::Screen(seconds) => self.on_screen(*seconds, &format!("{} s", words::figure(*seconds)), asks),
            Moment::Timecode(frames) => {
                let seconds = shot.fps.time_of(*frames).0;
                self.on_screen(
                    seconds,
                    &format!("frame {frames} at {} a second, {} s", shot.fps, words::figure(seconds)),
                    asks,
                )
            }
            Moment::Still(_) | Moment::StillNamed(_) | Moment::Clock(_) | Moment::Part(_) => {
                let from_end = self.pace.begins_at_end();
                let time = self.pace.time(self.moments.arrival(moment, from_end)?);
                if time < -SLACK {
                    return Err(in_the_lead(self.pace.lead(), self.pace.position(0.0), asks));
                }
                let time = time.max(0.0);
                if time <= self.length.0 + SLACK {
                    return Ok(time.min(self.length.0));
                }
                let last = self.pace.furthest(self.length.0);
                if time.is_infinite() {
                    let message = format!("this {} is never reached: the pace turns back before it", asks.word());
                    return Err(Diagnostic::mistake(message).help(format!(
                        "the pace comes {} stills into the shoot: a moment before that, or another turn",
                        words::figure(if from_end { self.pace.stills() - last } else { last })
                    )));
                }
                Err(Diagnostic::mistake(format!(
                    "this {} is never reached: it would come at {} s, and the clip ends at {} s",
                    asks.word(),
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

    fn on_screen(&self, seconds: f64, written: &str, asks: Asks) -> Result<f64, Diagnostic> {
        if seconds.is_nan() || seconds < 0.0 {
            return Err(Diagnostic::mistake(format!("screen time begins at 0 s; seen {written}")));
        }
        if seconds > self.length.0 + SLACK {
            return Err(Diagnostic::mistake(format!(
                "this {} is past the end: it is at {written}, but the clip lasts {} s",
                asks.word(),
                words::figure(self.length.0)
            ))
            .help(format!(
                "{0} = \"end\" is the last frame; {0} = {1} at most",
                asks.field(),
                words::figure_below(self.length.0)
            )));
        }
        Ok(seconds)
    }
}

fn held_too_long(from: f64, to: f64, held: &FramingKey, next: &FramingKey) -> Diagnostic {
    let until = words::figure(from + held.hold);
    Diagnostic::mistake(format!("this key holds until {until} s, but the key below it is at {} s", words::figure(to)))
        .at(&held.place)
        .word("hold")
        .with(&next.place, "the key below it")
        .help(format!(
            "hold = {} at most leaves half the time for the way to the next key",
            words::figure_below((to - from) / 2.0)
        ))
}

fn out_of_order(shot: &Shot, before: f64, after: f64, first: &FramingKey, second: &FramingKey) -> Diagnostic {
    let message = if (before - after).abs() <= SLACK {
        format!("two keys are at the same moment, {} s", words::figure(after))
    } else {
        format!("this key is at {} s, before the key above it at {} s", words::figure(after), words::figure(before))
    };
    let mistake = Diagnostic::mistake(message).at(&second.place).with(&first.place, "the key above it");
    match &shot.pace.value {
        Pace::Keyed { fit: Some(fit), .. } => mistake
            .with(&fit.place, "the fit that times the shoot")
            .help("keys go in order of time: the pace moves those on the shoot's axis and leaves those on the clip's"),
        _ => mistake.help("keys go in order of time, no two at the same moment"),
    }
}
