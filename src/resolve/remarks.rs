//! What a person should know about a plan before it is rendered, with the frames concerned: one remark a kind and
//! delivery.
//!
//! ## Decisions
//!
//! - An uneven cadence is not remarked on above ten frames a still or ten stills a frame. "Shown for long" is more than
//!   four times the median and at least half a second.
//! - A clip of more than three hours, and a rate below `percent(5)`, are remarked on: 120 was meant by `percent(1.2)`.
//!   A jump made by a step ease is a cut, not a pan.

use crate::curve::ease::Ease;
use crate::curve::pace::ConstantRate;
use crate::diag::{Diagnostic, Diagnostics, Place};
use crate::geom::{SECONDS_A_WIDTH, Window};
use crate::plan::DeliveryPlan;
use crate::shot::{Between, Closeness, Delivery, Pace, Rate, View};

use super::axis::OnAxis;
use super::corners;
use super::framing::Framed;
use super::leg::{Keyed, Leg, Spot};
use super::resolved::Seen;
use super::words::{self, Ranges};

/// Beyond this many frames a still, or stills a frame, one more or less is not seen (common practice, no source).
const SEEN_UNEVEN: f64 = 10.0;

/// A still shown for more than this many times the median, and for at least [`LONG_SECONDS`], is shown for long (our
/// choice: a plain ramp between two rates of the trade stays below it, a stuck still does not).
const LONG: usize = 4;
const LONG_SECONDS: f64 = 0.5;

/// A zoom this large was probably meant as a percentage (our choice).
const LIKE_PERCENT: f64 = 50.0;

/// A clip longer than this many seconds was probably not meant (our choice): nobody looks at three hours of it.
const LONG_CLIP: f64 = 3.0 * 3600.0;

/// A rate of so few percent, twenty frames a still and more, was probably meant as a multiple (our choice).
const LIKE_MULTIPLE: f64 = 5.0;

/// One delivery among what is seen.
struct One<'a> {
    seen: &'a Seen<'a>,
    delivery: &'a Delivery,
    plan: &'a DeliveryPlan,
    framed: &'a Framed,
}

/// Adds every remark on finished rows.
pub(super) fn of_rows(seen: &Seen<'_>, found: &mut Diagnostics) {
    found.0.extend(never_reached(seen));
    found.0.extend(passed_over(seen));
    found.0.extend(like_multiples(seen));
    found.0.extend(very_long(seen));
    let made = seen.made;
    for ((delivery, plan), framed) in seen.shot.deliveries.iter().zip(&made.plan.deliveries).zip(&made.tracks) {
        if delivery.every_still {
            continue;
        }
        let one = One { seen, delivery, plan, framed };
        let turns = framed.keyed().and_then(|keyed| corners::remark(keyed, delivery, &plan.rows));
        let remarks = [one.enlarged(), one.fast(), turns, one.uneven(), one.long(), one.invented()];
        found.0.extend(remarks.into_iter().flatten());
    }
}

/// Rates in percent that were probably meant as stills a frame: `percent(1.2)` for `percent(120)`.
fn like_multiples(seen: &Seen<'_>) -> Vec<Diagnostic> {
    let rates: Vec<(Rate, &Place)> = match &seen.shot.pace.value {
        Pace::Constant(rate) => vec![(*rate, &seen.shot.pace.place)],
        Pace::Keyed { keys, .. } => keys.iter().filter_map(|key| Some((key.rate?, &key.place))).collect(),
        Pace::Lively(lively) => {
            [lively.slowest, lively.fastest].into_iter().flatten().map(|rate| (rate, &seen.shot.pace.place)).collect()
        }
        Pace::Over(_) => Vec::new(),
    };
    let one = |(rate, place): (Rate, &Place)| match rate {
        Rate::Percent(percent) if percent < LIKE_MULTIPLE && seen.made.axis.places.len() > 1 => {
            let frames = 100.0 / percent;
            let message = format!(
                "percent({}) shows each still for {} frames, {} s",
                words::figure(percent),
                words::figure(frames),
                words::figure(frames / seen.shot.fps.per_second())
            );
            let meant = words::figure(percent * 100.0);
            let help = format!("percent({meant}) is {} stills a frame; 100 is one", words::figure(percent));
            Some(Diagnostic::remark(message).at(place).word(format!("percent({})", words::figure(percent))).help(help))
        }
        _ => None,
    };
    rates.into_iter().filter_map(one).collect()
}

/// A clip of hours.
fn very_long(seen: &Seen<'_>) -> Option<Diagnostic> {
    let hours = seen.made.length.0 / 3600.0;
    let place = seen.shot.length.as_ref().map_or(&seen.shot.pace.place, |limit| &limit.place);
    (seen.made.length.0 > LONG_CLIP).then(|| {
        Diagnostic::remark(format!("the clip lasts {} hours", words::figure(hours)))
            .at(place)
            .help("a faster rate; pace = over \"60s\" makes the whole shoot last a minute")
    })
}

/// Stills that the clip ends before, or the pace turns back before.
fn never_reached(seen: &Seen<'_>) -> Option<Diagnostic> {
    let left: Vec<&OnAxis> =
        seen.made.axis.places[unreached(seen)].iter().filter(|place| place.shown == place.slot).collect();
    let name = |place: &OnAxis| &seen.shoot.slots[place.slot.0].name;
    let (first, last) = (left.first()?, left.last()?);
    let which = if seen.made.pace.begins_at_end() {
        format!("up to {}", name(last))
    } else {
        format!("from {} on", name(first))
    };
    let stills = words::count(left.len(), "still");
    Some(match &seen.shot.length {
        Some(limit) => Diagnostic::remark(format!(
            "the clip ends at {} s, before the shoot does: {stills} {which} are never reached",
            words::figure(seen.made.length.0)
        ))
        .at(&limit.place)
        .word("length"),
        None => Diagnostic::remark(format!(
            "the pace turns back before the shoot's end: {stills} {which} are never reached"
        ))
        .at(&seen.shot.pace.place),
    })
}

/// The places beyond what the pace comes to. Where a length cuts the clip short, those after the last still shown are
/// never reached either: the clip ends before their first frame.
fn unreached(seen: &Seen<'_>) -> std::ops::Range<usize> {
    let furthest = seen.made.pace.furthest(seen.made.length.0);
    let all = seen.made.axis.places.len();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a position on the axis")]
    let whole = |position: f64| (position.max(0.0) as usize).min(all);
    let backwards = seen.made.pace.begins_at_end();
    let beyond = if backwards { 0..whole((furthest + 1e-9).floor()) } else { whole((furthest - 1e-9).ceil())..all };
    if beyond.is_empty() || seen.shot.length.is_none() {
        return beyond;
    }
    let rows = seen.made.plan.deliveries.iter().filter(|plan| !plan.every_still).flat_map(|plan| &plan.rows);
    let shown = rows.flat_map(|row| row.shares().map(|share| share.shown).chain([row.slot]));
    let shown: Vec<usize> = shown.map(|slot| seen.made.axis.place_of(slot)).collect();
    match (backwards, shown.iter().min(), shown.iter().max()) {
        (true, Some(last), _) => 0..*last,
        (false, _, Some(last)) => last + 1..all,
        _ => beyond,
    }
}

/// Stills the pace steps over in every delivery.
fn passed_over(seen: &Seen<'_>) -> Option<Diagnostic> {
    let mut shown = vec![false; seen.shoot.slots.len()];
    // A master shows every still, and says nothing about the pace.
    let paced = || seen.made.plan.deliveries.iter().filter(|plan| !plan.every_still);
    paced().next()?;
    for row in paced().flat_map(|plan| &plan.rows) {
        row.shares().for_each(|share| shown[share.shown.0] = true);
    }
    let beyond = unreached(seen);
    let mut passed =
        if seen.made.pace.begins_at_end() { beyond.end..seen.made.axis.places.len() } else { 0..beyond.start };
    if seen.made.pace.lead() > 0.0 {
        // The stills that lead a loop in are mixed into its end, the very first with no weight at all.
        let first = paced().flat_map(|plan| &plan.rows).map(|row| seen.made.axis.place_of(row.slot)).min();
        passed.start = first.unwrap_or(0).max(passed.start);
    }
    let own = seen.made.axis.places[passed].iter().filter(|place| place.shown == place.slot);
    let (mut never, mut due) = (Ranges::default(), 0);
    for place in own {
        due += 1;
        if !shown[place.slot.0] {
            never.add(place.slot.0);
        }
    }
    if never.is_empty() {
        return None;
    }
    let plan = paced().rev().max_by_key(|plan| plan.rows.len())?;
    let (mut frames, mut most) = (Ranges::default(), 0);
    for (frame, pair) in plan.rows.windows(2).enumerate() {
        let stepped_over =
            seen.made.axis.place_of(pair[1].slot).abs_diff(seen.made.axis.place_of(pair[0].slot)).saturating_sub(1);
        if stepped_over > 0 {
            frames.add_run(frame, frame + 1);
            most = most.max(stepped_over);
        }
    }
    let at_once = if frames.is_empty() {
        String::new()
    } else {
        format!("; '{}' passes over up to {most} at once in {}", plan.name, frames.frames())
    };
    let named = never.named(|slot| seen.shoot.slots[slot].name.clone());
    let message = format!("{} of {due} stills are shown in no frame ({named}){at_once}", never.len());
    let remark = Diagnostic::remark(message).at(&seen.shot.pace.place);
    Some(if frames.is_empty() { remark } else { remark.over(&plan.name, frames.runs()) })
}

impl One<'_> {
    /// The key to name for what happens at a frame: the one the way leads to, or the one that holds.
    fn key_at(&self, frame: usize) -> (Place, Option<&Leg>) {
        let keyed = match self.framed {
            Framed::Largest(_) => return (self.delivery.place.clone(), None),
            Framed::Following(followed) => return (followed.place.clone(), None),
            Framed::Listed(listed) => return (listed.line_of(frame), None),
            Framed::Acting(acting) => return (acting.place.clone(), None),
            Framed::Keyed(keyed) => keyed,
        };
        match keyed.spot(self.plan.fps.time_of(frame as u64).0) {
            Spot::Pin(pin) => (keyed.pin(pin).key.place.clone(), None),
            Spot::Leg(_, leg, _) => (leg.to.key.place.clone(), Some(leg)),
        }
    }

    /// Windows smaller than the frame.
    fn enlarged(&self) -> Option<Diagnostic> {
        let (mut frames, mut most, mut deepest) = (Ranges::default(), 1.0, 0);
        for (frame, row) in self.plan.rows.iter().enumerate() {
            let enlargement = row.window.enlargement(self.plan.frame);
            if enlargement > 1.0 + 1e-6 {
                frames.add(frame);
            }
            if enlargement > most {
                (most, deepest) = (enlargement, frame);
            }
        }
        if frames.is_empty() {
            return None;
        }
        let message = format!(
            "'{}' enlarges the still up to {} times in {}: its window is smaller than its frame of {}",
            self.plan.name,
            words::figure_above(most),
            frames.frames(),
            self.plan.frame
        );
        let roll = self.plan.rows[deepest].window.roll;
        let largest = Window::largest(self.seen.made.bounds.room, self.plan.frame.aspect(), roll);
        let sharp = largest.width / f64::from(self.plan.frame.width);
        let help = if sharp >= 1.0 {
            format!(
                "zoom {} at most keeps a pixel of the still for every pixel of '{}'",
                words::figure_below(sharp),
                self.plan.name
            )
        } else {
            let (width, height) = (largest.width.floor(), largest.height.floor());
            format!(
                "even the largest window has only {width} x {height} pixels of the still: a smaller frame keeps it sharp"
            )
        };
        let place = self.key_at(deepest).0;
        let remark = Diagnostic::remark(message).at(&place).over(&self.plan.name, frames.runs()).help(help);
        let mut keys = self.framed.keyed().into_iter().flat_map(Keyed::pins).map(|pin| &pin.key);
        let as_percent = keys.find(|key| key.place == place).and_then(|key| match key.view {
            View::On { closeness: Closeness::Zoom(zoom), .. } if zoom >= LIKE_PERCENT => Some(zoom),
            _ => None,
        });
        Some(match as_percent {
            Some(zoom) => remark.help(format!("zoom is a factor: {zoom} % is zoom = {}", words::figure(zoom / 100.0))),
            None => remark,
        })
    }

    /// Moves faster than the rule of thumb, measured at the fastest corner.
    fn fast(&self) -> Option<Diagnostic> {
        let limit = f64::from(self.plan.frame.width) / (SECONDS_A_WIDTH * self.plan.fps.per_second());
        let (mut frames, mut most, mut fastest) = (Ranges::default(), 0.0, 0);
        for (frame, pair) in self.plan.rows.windows(2).enumerate() {
            let speed = pair[0].window.fastest_corner(pair[1].window, self.plan.frame);
            if speed <= limit * (1.0 + 1e-9) || self.cuts(frame + 1) {
                continue;
            }
            frames.add(frame + 1);
            if speed > most {
                (most, fastest) = (speed, frame + 1);
            }
        }
        if frames.is_empty() {
            return None;
        }
        let (place, leg) = self.key_at(fastest);
        let message = format!(
            "'{}' moves up to {} pixels a frame in {}; a picture width in {SECONDS_A_WIDTH} s, the rule of thumb, is {}",
            self.plan.name,
            words::figure(most),
            frames.frames(),
            words::figure(limit)
        );
        let mut remark = Diagnostic::remark(message).at(&place).over(&self.plan.name, frames.runs());
        if let Some(leg) = leg {
            let seconds = leg.to.at - leg.from.at;
            remark = remark.help(format!(
                "about {} s for the way to this key, instead of {} s, would stay within it",
                words::figure((seconds * most / limit * 10.0 - 1e-6).ceil() / 10.0),
                words::figure(seconds)
            ));
        }
        Some(remark)
    }

    /// Frames that show what no still does.
    fn invented(&self) -> Option<Diagnostic> {
        let (mut frames, invented) = (Ranges::default(), self.plan.invented());
        for (frame, _) in self.plan.rows.iter().enumerate().filter(|(_, row)| row.layers.are_invented()) {
            frames.add(frame);
        }
        (invented > 0).then(|| {
            Diagnostic::remark(format!(
                "{invented} of the {} of '{}' will be invented by motion and are no evidence of what was there: {}",
                words::count(self.plan.rows.len(), "frame"),
                self.plan.name,
                frames.frames()
            ))
            .at(&self.delivery.place)
            .help("between = \"mix\" shows only what stills show, and \"nearest\" one still at a time")
        })
    }

    /// Whether the window at a frame got there by a step ease, which cuts and does not move.
    fn cuts(&self, frame: usize) -> bool {
        let time = |frame: usize| self.plan.fps.time_of(frame as u64).0;
        let stepped = |frame: usize| match self.framed.keyed().map(|keyed| keyed.spot(time(frame))) {
            Some(Spot::Leg(_, leg, _)) => matches!(leg.ease, Ease::Steps { .. }),
            Some(Spot::Pin(_)) | None => false,
        };
        stepped(frame) || stepped(frame - 1)
    }

    /// Stills shown for 2, 3, 2, 3 frames, or passed 2, 3, 2, 3 at a time, where the pace does not change.
    fn uneven(&self) -> Option<Diagnostic> {
        let rows = &self.plan.rows;
        let blend = self.delivery.blend;
        let rate = self.plan.fps.per_second();
        let (mut frames, mut longest): (Ranges, Option<(usize, ConstantRate, Vec<usize>)>) = (Ranges::default(), None);
        for stretch in self.seen.made.pace.constant_stretches() {
            let frames_a_still = rate / stretch.rate;
            if frames_a_still.max(1.0 / frames_a_still) > SEEN_UNEVEN {
                continue;
            }
            // Every moment of the shoot is in one frame or another then, in its measure.
            if blend.shutter >= 360.0 || blend.between != Between::Nearest && frames_a_still >= 1.0 {
                continue;
            }
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "frames of this clip")]
            let frame = |time: f64| ((time * rate - 1e-9).ceil().max(0.0) as usize).min(rows.len());
            let (first, end) = (frame(stretch.from), frame(stretch.to));
            let counts = if frames_a_still >= 1.0 { self.holds(first, end) } else { self.strides(first, end) };
            let (Some(least), Some(most)) = (counts.iter().min(), counts.iter().max()) else { continue };
            if least == most {
                continue;
            }
            frames.add_run(first, end - 1);
            if longest.as_ref().is_none_or(|(length, ..)| end - first > *length) {
                longest = Some((end - first, stretch, counts));
            }
        }
        let (_, stretch, counts) = longest?;
        let unlike = counts.iter().position(|count| *count != counts[0]).unwrap_or(0);
        let from = (unlike + 2).saturating_sub(4);
        let sample: Vec<String> = counts.iter().skip(from).take(4).map(usize::to_string).collect();
        let frames_a_still = rate / stretch.rate;
        let shown = if frames_a_still >= 1.0 {
            format!("shows stills for {}, … frames", sample.join(", "))
        } else {
            format!("goes on by {}, … stills a frame", sample.join(", "))
        };
        let message = format!("'{}' {shown} at an even pace: an uneven cadence in {}", self.plan.name, frames.frames());
        let remark = Diagnostic::remark(message).at(&self.seen.shot.pace.place).over(&self.plan.name, frames.runs());
        Some(remark.help(self.even_pace(frames_a_still)))
    }

    /// How many frames each still is shown for, of those begun and ended in these frames.
    fn holds(&self, first: usize, end: usize) -> Vec<usize> {
        let rows = &self.plan.rows;
        let changes: Vec<usize> =
            (first.max(1)..end.max(1)).filter(|frame| rows[*frame].slot != rows[frame - 1].slot).collect();
        let mut holds: Vec<usize> = changes.windows(2).map(|pair| pair[1] - pair[0]).collect();
        if let (0, Some(change), true) = (first, changes.first(), self.seen.made.pace.lead() == 0.0) {
            holds.insert(0, *change);
        }
        if let (true, Some(change)) = (end == rows.len() && self.whole_end(), changes.last()) {
            holds.push(end - change);
        }
        holds
    }

    /// Whether the last still of the clip has its whole share.
    fn whole_end(&self) -> bool {
        let end = self.seen.made.pace.position(self.seen.made.length.0);
        (end - end.round()).abs() < 1e-9
    }

    /// How many stills each frame goes on by.
    fn strides(&self, first: usize, end: usize) -> Vec<usize> {
        let place = |frame: usize| self.seen.made.axis.place_of(self.plan.rows[frame].slot);
        (first + 1..end).map(|frame| place(frame).abs_diff(place(frame - 1))).collect()
    }

    /// What to type for an even cadence near this one.
    fn even_pace(&self, frames_a_still: f64) -> String {
        let per_shot_frame = self.plan.fps.per_second() / self.seen.shot.fps.per_second();
        let name = &self.plan.name;
        let (unit, whole, exact, even) = if frames_a_still >= 1.0 {
            let whole = frames_a_still.round();
            ("frames_per_still", whole, whole / per_shot_frame, whole)
        } else {
            let whole = (1.0 / frames_a_still).round();
            ("stills_per_frame", whole, whole * per_shot_frame, 1.0 / whole)
        };
        let written = words::figure(exact);
        let as_written = written.parse().is_ok_and(|value: f64| (value - exact).abs() <= 1e-12 * exact);
        let mut rate = format!("{unit}({written})");
        if !as_written {
            rate = format!("fps = \"{}\" in the shot, and {unit}({}),", self.plan.fps, words::figure(whole));
        }
        match self.seen.shot.pace.value {
            Pace::Constant(_) | Pace::Keyed { fit: None, .. } => format!("{rate} is even in '{name}'"),
            Pace::Keyed { .. } => format!("{rate} with keep = true, out of the fit's reach, is even in '{name}'"),
            Pace::Over(_) | Pace::Lively(_) => {
                let seconds =
                    self.seen.made.pace.stills() * even / self.plan.fps.per_second() - self.seen.made.pace.lead();
                format!("{rate} is even in '{name}' and lasts {} s", words::figure(seconds))
            }
        }
    }

    /// Stills shown far longer than the others, but for a freeze.
    fn long(&self) -> Option<Diagnostic> {
        let rows = &self.plan.rows;
        let mut runs: Vec<(usize, usize)> = vec![(0, 1)];
        for frame in 1..rows.len() {
            match runs.last_mut() {
                Some(run) if rows[frame].shown == rows[run.0].shown => run.1 += 1,
                _ => runs.push((frame, 1)),
            }
        }
        let mut lengths: Vec<usize> = runs.iter().map(|run| run.1).collect();
        lengths.sort_unstable();
        let median = lengths[lengths.len() / 2];
        let seconds = |frames: usize| self.plan.fps.time_of(frames as u64).0;
        let frozen = |run: &(usize, usize)| {
            self.seen.made.pace.rests().any(|(from, to)| from < seconds(run.0 + run.1) && to > seconds(run.0))
        };
        let long: Vec<&(usize, usize)> =
            runs.iter().filter(|run| run.1 > LONG * median && seconds(run.1) >= LONG_SECONDS && !frozen(run)).collect();
        if long.is_empty() {
            return None;
        }
        let mut said: Vec<String> = long
            .iter()
            .take(3)
            .map(|(first, length)| {
                let name = &self.seen.shoot.slots[rows[*first].shown.0].name;
                format!("{name} in frames {first} to {}", first + length - 1)
            })
            .collect();
        if long.len() > said.len() {
            said.push(format!("{} more", long.len() - said.len()));
        }
        let message = format!(
            "'{}' shows some stills for more than {LONG} times as long as most, which it shows for {}: {}",
            self.plan.name,
            words::count(median, "frame"),
            words::list(&said)
        );
        let runs: Vec<(usize, usize)> = long.iter().map(|(first, length)| (*first, first + length - 1)).collect();
        Some(Diagnostic::remark(message).at(&self.seen.shot.pace.place).over(&self.plan.name, &runs))
    }
}
