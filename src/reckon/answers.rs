//! What the knowns come to, said one by one with its arithmetic.

use super::Answer;
use super::amounts::Battery;
use super::exact::{Exact, whole};
use super::knowns::{Knowns, Name};
use super::solve::Found;
use super::words::{counted, data, exposed, figure, fraction, length, percent, spoken};
use crate::units::Size;

/// The frames people deliver most, where none is named.
const FRAMES: [(u32, u32); 5] = [(1920, 1080), (1080, 1920), (1080, 1080), (3840, 2160), (2160, 3840)];
/// Frames a second, where none is named: of film, of 50 Hz and of 60 Hz video.
pub(super) const RATES: [(i128, i128); 7] =
    [(24, 1), (25, 1), (30, 1), (50, 1), (60, 1), (24_000, 1001), (30_000, 1001)];
/// What cards hold, in gigabytes.
const CARDS: [i128; 8] = [16, 32, 64, 128, 256, 512, 1024, 2048];

/// Wide, vertical or square.
pub(super) fn shape(frame: Size) -> &'static str {
    match frame.width.cmp(&frame.height) {
        std::cmp::Ordering::Greater => "wide",
        std::cmp::Ordering::Less => "vertical",
        std::cmp::Ordering::Equal => "square",
    }
}

/// Pixels of the still for one of the frame through the largest window of the frame's shape, which touches two edges of
/// the still: the deepest zoom that enlarges nothing.
pub(super) fn deepest(still: Size, frame: Size) -> Exact {
    let share = |still: u32, frame: u32| Exact::new(still.into(), frame.into());
    share(still.width, frame.width).min(share(still.height, frame.height))
}

/// The frames that are meant.
pub(super) fn frames(knowns: &Knowns) -> Vec<Size> {
    if knowns.frames.is_empty() {
        FRAMES.map(|(width, height)| Size::new(width, height)).to_vec()
    } else {
        knowns.frames.clone()
    }
}

/// Bytes of all stills.
pub(super) fn total(knowns: &Knowns, found: &Found) -> Option<Exact> {
    Some(knowns.still_takes? * whole(found.stills?))
}

/// How many stills a charge lasts, where that follows.
pub(super) fn a_charge(knowns: &Knowns, found: &Found) -> Option<Exact> {
    match knowns.battery? {
        Battery::Stills(stills) => Some(stills),
        Battery::Lasts(seconds) => Some((seconds / found.interval?).floor().max(whole(1))),
    }
}

/// Pulses of the mains' light in an exposure.
pub(super) fn pulses(knowns: &Knowns, found: &Found) -> Option<Exact> {
    Some(knowns.mains? * 2 * found.exposure?)
}

/// From one end of the picture to the other, in stills.
pub(super) fn crossing(knowns: &Knowns, found: &Found) -> Option<Exact> {
    Some(knowns.across? / (knowns.speed? * found.interval?))
}

struct Answers(Vec<Answer>);

impl Answers {
    fn say(
        &mut self,
        name: &str,
        label: &str,
        value: String,
        exact: Exact,
        unit: &'static str,
        how: impl Into<String>,
    ) {
        let (name, label, exact) = (name.to_owned(), label.to_owned(), fraction(exact));
        self.0.push(Answer { name, label, value, exact, unit, how: how.into() });
    }
}

/// Everything that follows, in the order in which it is read.
pub(super) fn answers(knowns: &Knowns, found: &Found) -> Vec<Answer> {
    let mut said = Answers(Vec::new());
    shoot(found, &mut said);
    shutter(knowns, found, &mut said);
    clip(found, &mut said);
    room(knowns, &mut said);
    storage(knowns, found, &mut said);
    subject(knowns, found, &mut said);
    said.0
}

/// Event, interval, stills.
fn shoot(found: &Found, said: &mut Answers) {
    if let (Some(event), Some(how)) = (found.event, found.how(Name::Event)) {
        said.say("event", "event", spoken(event), event, "s", how);
    }
    if let (Some(exact), Some(set), Some(how)) = (found.exact_interval, found.interval, found.how(Name::Interval)) {
        said.say("interval", "interval", spoken(exact), exact, "s", how);
        if set != exact {
            said.say(
                "interval to set",
                "set the timer to",
                spoken(set),
                set,
                "s",
                "rounded down; all below goes by it",
            );
        }
    } else if let (Some(interval), Some(how)) = (found.interval, found.how(Name::Interval)) {
        said.say("interval", "interval", spoken(interval), interval, "s", how);
    }
    if let (Some(pause), Some(how)) = (found.pause, found.how(Name::Pause)) {
        said.say("pause", "pause after an exposure", spoken(pause), pause, "s", how);
    }
    if let (Some(stills), Some(how)) = (found.stills, found.how(Name::Stills)) {
        said.say("stills", "stills", stills.to_string(), whole(stills), "stills", how);
    }
    if let (Some(stills), Some(interval)) = (found.stills, found.interval) {
        let lasts = interval * (stills - 1);
        let how = format!("{} x {}", stills - 1, spoken(interval));
        said.say("first to last", "first to last still", spoken(lasts), lasts, "s", how);
    }
}

fn shutter(knowns: &Knowns, found: &Found, said: &mut Answers) {
    if let (Some(exposure), Some(how)) = (found.exposure, found.how(Name::Exposure)) {
        said.say("exposure", "exposure", exposed(exposure), exposure, "s", how);
    }
    if let (Some(angle), Some(how)) = (found.angle, found.how(Name::Angle)) {
        let how = format!("{how}; 180° blurs movement as the eye expects");
        said.say("angle", "shutter angle", format!("{}°", figure(angle, 1)), angle, "degrees", how);
    }
    if let (Some(pulses), Some(mains), Some(exposure)) = (pulses(knowns, found), knowns.mains, found.exposure) {
        let how = format!("2 x {} Hz x {}", mains.to_integer(), exposed(exposure));
        said.say("pulses", "pulses of mains light", figure(pulses, 2), pulses, "pulses", how);
    }
}

/// The clip, and how fast the event runs in it.
fn clip(found: &Found, said: &mut Answers) {
    let Some(stills) = found.stills.map(whole) else {
        rate_only(found, said);
        return;
    };
    let Some(fps) = found.fps else {
        for (over, under) in RATES {
            let fps = Exact::new(over, under);
            let (rate, clip) = (fraction(fps), stills * found.hold.unwrap_or(whole(1)) / fps);
            let how = format!("{stills} stills / {rate}");
            said.say(&format!("clip at {rate}"), &format!("clip at {rate} a second"), spoken(clip), clip, "s", how);
        }
        return;
    };
    if let Some(how) = found.how(Name::Fps) {
        said.say("fps", "frames a second", figure(fps, 3), fps, "frames a second", how);
    }
    let hold = found.hold.unwrap_or(whole(1));
    if let Some(how) = found.how(Name::FramesPerStill) {
        said.say("frames per still", "frames a still", figure(hold, 3), hold, "frames", how);
    }
    rate_only(found, said);
    let all = stills * hold / fps;
    let each = if hold == whole(1) { "one a frame".to_owned() } else { format!("{} frames each", figure(hold, 3)) };
    let how = format!("{stills} stills, {each}, at {} a second", fraction(fps));
    let (name, label) = if found.clip.is_some() { ("longest clip", "clip of all stills") } else { ("clip", "clip") };
    said.say(name, label, spoken(all), all, "s", how);
    if let Some(interval) = found.interval {
        let times = fps * interval;
        let how = format!("one still a frame: {} x {}", fraction(fps), spoken(interval));
        said.say("slowest", "slowest, no still twice", format!("{} times", figure(times, 2)), times, "times", how);
    }
    if let (Some(clip), Some(frames), None) = (found.clip, found.frames(), found.how(Name::Fps)) {
        said.say(
            "frames",
            "frames",
            frames.to_string(),
            frames,
            "frames",
            format!("{} x {}", spoken(clip), fraction(fps)),
        );
        let pace = stills / frames;
        if found.hold.is_none() {
            let how = format!("{stills} stills / {frames} frames: its slowest parts may run that much slower");
            said.say("pace", "stills a frame, evenly", figure(pace, 3), pace, "stills a frame", how);
            if let Some(event) = found.event {
                let times = event / clip;
                let how = format!("{} / {}", spoken(event), spoken(clip));
                said.say("times", "as fast as the event", format!("{} times", figure(times, 2)), times, "times", how);
            }
        } else if stills > (frames / hold).ceil() {
            let spare = stills - (frames / hold).ceil();
            said.say(
                "spare",
                "stills left over",
                spare.to_string(),
                spare,
                "stills",
                format!("{stills} - {}", (frames / hold).ceil()),
            );
        }
    }
}

/// Different stills a second, where each is shown for several frames.
fn rate_only(found: &Found, said: &mut Answers) {
    if let (Some(fps), Some(hold)) = (found.fps, found.hold) {
        let shown = fps / hold;
        let how = format!("{} / {}", fraction(fps), figure(hold, 3));
        said.say("stills a second", "stills a second", figure(shown, 3), shown, "stills a second", how);
    }
}

/// How far each delivery may zoom in.
fn room(knowns: &Knowns, said: &mut Answers) {
    let Some(still) = knowns.size else { return };
    for frame in frames(knowns) {
        let zoom = deepest(still, frame);
        let by_width = Exact::new(still.width.into(), frame.width.into()) == zoom;
        let (side, over, under) =
            if by_width { ("width", still.width, frame.width) } else { ("height", still.height, frame.height) };
        let how = if zoom >= whole(1) {
            format!("{over} / {under}: the window is then {} of its largest {side}", percent(zoom.recip()))
        } else {
            format!("{over} / {under}: the frame is larger than the still's largest window")
        };
        let label = format!("sharp zoom, {} {frame}", shape(frame));
        said.say(&format!("zoom {frame}"), &label, figure(zoom, 3), zoom, "times", how);
    }
}

/// Bytes, cards, batteries, numbers, folders.
fn storage(knowns: &Knowns, found: &Found, said: &mut Answers) {
    let Some(count) = found.stills else { return };
    if let (Some(takes), Some(total)) = (knowns.still_takes, total(knowns, found)) {
        let how = format!("{} x {}", counted(count, "still"), data(takes));
        said.say("bytes", "all stills take", data(total), total, "bytes", how);
        let card = if knowns.asked == Some(Name::Card) {
            let card = CARDS.into_iter().map(|card| whole(card * 1_000_000_000)).find(|card| *card >= total);
            if let Some(card) = card {
                said.say(
                    "card",
                    "smallest card for all",
                    data(card),
                    card,
                    "bytes",
                    format!("the next size above {}", data(total)),
                );
            }
            card
        } else {
            knowns.get(Name::Card)
        };
        if let Some(card) = card {
            let on_each = (card / takes).floor();
            if on_each >= whole(1) {
                let how = format!("{on_each} stills on {}", data(card));
                let cards = (whole(count) / on_each).ceil();
                said.say("cards", "cards", cards.to_string(), cards, "cards", how);
            }
        }
    }
    if let Some(charge) = a_charge(knowns, found) {
        let charges = (whole(count) / charge).ceil();
        let swaps = charges - 1;
        let how = format!(
            "{} a charge: {} in all",
            counted(charge.to_integer(), "still"),
            counted(charges.to_integer(), "charge")
        );
        said.say("swaps", "battery swaps", swaps.to_string(), swaps, "swaps", how);
    }
    if let Some(number) = knowns.number {
        let left = whole(9999) - number;
        let how = format!("9999 - {}", number.to_integer());
        said.say("numbers left", "file numbers left", left.to_string(), left, "stills", how);
    }
    if let Some(holds) = knowns.folder_holds {
        let folders = (whole(count) / holds).ceil();
        let how = format!("{} / {}, from an empty one", counted(count, "still"), holds);
        said.say("folders", "folders on the card", folders.to_string(), folders, "folders", how);
    }
}

/// How far a subject moves from still to still.
fn subject(knowns: &Knowns, found: &Found, said: &mut Answers) {
    let (Some(speed), Some(interval)) = (knowns.speed, found.interval) else { return };
    let step = speed * interval;
    let how = format!("{} a second x {}", length(speed), spoken(interval));
    said.say("step", "moves, still to still", length(step), step, "m", how);
    let Some(across) = knowns.across else { return };
    let share = step / across;
    let pixels = knowns.size.map_or_else(String::new, |size| {
        format!(", {} px of the still", figure(share * whole(i128::from(size.width)), 1))
    });
    let how = format!("{} / {}{pixels}", length(step), length(across));
    said.say("share", "of the picture's width", percent(share), share, "widths", how);
    if let Some(stills) = crossing(knowns, found) {
        let in_clip = found.fps.map_or_else(String::new, |fps| {
            let seconds = stills * found.hold.unwrap_or(whole(1)) / fps;
            format!(", {} of clip at one still a frame", spoken(seconds))
        });
        let in_clip = if found.hold.is_some() { in_clip.replace(" at one still a frame", "") } else { in_clip };
        said.say(
            "crossing",
            "stills to cross it",
            figure(stills, 1),
            stills,
            "stills",
            format!("{} / {}{in_clip}", length(across), length(step)),
        );
    }
}
