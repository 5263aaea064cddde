//! What to look out for before the first still is taken.

use super::Warning;
use super::amounts::Battery;
use super::answers::{a_charge, crossing, deepest, pulses, shape};
use super::exact::{Exact, whole};
use super::knowns::{Knowns, Name};
use super::solve::Found;
use super::words::{counted, exposed, figure, percent, spoken};

/// A lamp that changes less than this from still to still is even enough.
const EVEN: f64 = 0.01;
/// With fewer stills across the picture a subject flashes by.
const FEW: i128 = 3;

struct Warnings(Vec<Warning>);

impl Warnings {
    fn say(&mut self, short: &str, text: String, next: impl Into<String>) {
        self.0.push(Warning { short: short.to_owned(), text, next: next.into() });
    }
}

/// Everything there is to warn of.
pub(super) fn warnings(knowns: &Knowns, found: &Found) -> Vec<Warning> {
    let mut said = Warnings(Vec::new());
    camera(knowns, found, &mut said);
    mains(knowns, found, &mut said);
    runs_out(knowns, found, &mut said);
    files(knowns, found, &mut said);
    picture(knowns, found, &mut said);
    unused(knowns, found, &mut said);
    said.0
}

/// Whether the camera is ready in time, and what its timer counts.
fn camera(knowns: &Knowns, found: &Found, said: &mut Warnings) {
    let (Some(interval), Some(exposure)) = (found.interval, found.exposure) else { return };
    let busy = exposure + knowns.writing.unwrap_or(whole(0));
    if interval <= busy {
        let what = match knowns.writing {
            Some(writing) => format!("{} of exposure and {} of writing", exposed(exposure), spoken(writing)),
            None => format!("{} of exposure", exposed(exposure)),
        };
        let text = format!("{what} do not fit into an interval of {}: stills will be left out", spoken(interval));
        let least = busy.floor().to_integer() + 1;
        said.say("interval too short", text, format!("take a longer interval: --interval {least}s"));
        return;
    }
    // One still in a hundred, at least, would be lost.
    if knowns.get(Name::Pause).is_none() && exposure * 100 >= interval {
        let (round, pause) = (interval + exposure, interval - exposure);
        let lost = found.event.map_or_else(String::new, |event| {
            let count = |step: Exact| counted((event / step).ceil().to_integer(), "still");
            format!(" and takes {}, not {}", count(round), count(interval))
        });
        let text = format!(
            "a timer that counts the pause after each exposure, set to {}, comes round every {}{lost}",
            spoken(interval),
            spoken(round)
        );
        said.say("timer", text, format!("set such a timer to {}", spoken(pause)));
    }
}

/// How much the light of a lamp on the mains may change from still to still: light as `1 - cos`, twice a period, is let
/// in for `pulses` of its own periods, whenever it begins. The mean is then off by at most `|sin(pi x) / (pi x)|`.
fn swing(pulses: Exact) -> f64 {
    if pulses.is_integer() {
        return 0.0;
    }
    #[expect(clippy::cast_precision_loss, reason = "pulses of an exposure: a few digits are enough")]
    let turn = pulses.over() as f64 / pulses.under() as f64 * std::f64::consts::PI;
    (turn.sin() / turn).abs()
}

fn mains(knowns: &Knowns, found: &Found, said: &mut Warnings) {
    let (Some(pulses), Some(exposure), Some(hertz)) = (pulses(knowns, found), found.exposure, knowns.mains) else {
        return;
    };
    let swing = swing(pulses);
    if swing < EVEN {
        return;
    }
    let even = |count: Exact| (count >= whole(1)).then(|| count / (hertz * 2));
    let near: Vec<String> = [even(pulses.floor()), even(pulses.ceil())]
        .into_iter()
        .flatten()
        .map(|exposure| {
            format!("--exposure {}", super::words::fraction(exposure) + if exposure.is_integer() { "s" } else { "" })
        })
        .collect();
    let text = format!(
        "lamps on {} Hz mains pulse {} times in {}: a still may be up to {:.0} % brighter or darker than the next, with bands",
        hertz.to_integer(),
        figure(pulses, 2),
        exposed(exposure),
        100.0 * swing
    );
    said.say("mains flicker", text, format!("whole pulses are even: {}", near.join(" or ")));
}

/// The card or the battery that ends before the event does, the first of them first.
fn runs_out(knowns: &Knowns, found: &Found, said: &mut Warnings) {
    let Some(stills) = found.stills else { return };
    let after = |count: i128| {
        found.interval.map_or_else(String::new, |interval| format!(", {} into the event", spoken(interval * count)))
    };
    let mut ends: Vec<(i128, &str, &str, String, String)> = Vec::new();
    if let (Some(card), Some(takes)) = (knowns.get(Name::Card), knowns.still_takes) {
        let full = (card / takes).floor().to_integer();
        if full < stills {
            let next = if full > 0 {
                let cards = Exact::new(stills, full).ceil().to_integer();
                format!("bring {}, or a larger one: --card '?'", counted(cards, "card"))
            } else {
                "a larger card is needed: --card '?'".to_owned()
            };
            let when = format!("{}{}", counted(full, "still"), after(full));
            ends.push((full, "card full", "the card is full", when, next));
        }
    }
    if let Some(charge) = a_charge(knowns, found).map(|charge| charge.to_integer())
        && charge < stills
    {
        let charges = Exact::new(stills, charge).ceil().to_integer();
        let when = match knowns.battery {
            Some(Battery::Lasts(seconds)) => {
                format!("{}, {} into the event", counted(charge, "still"), spoken(seconds))
            }
            _ => format!("{}{}", counted(charge, "still"), after(charge)),
        };
        let next = format!("bring {charges} charged, or feed the camera from outside; cold shortens a charge");
        ends.push((charge, "battery empty", "the battery is empty", when, next));
    }
    ends.sort_by_key(|(count, ..)| *count);
    let both = ends.len() == 2;
    for (at, (_, short, what, when, next)) in ends.into_iter().enumerate() {
        let first = if both && at == 0 { " first," } else { "" };
        said.say(short, format!("{what}{first} after {when}"), next);
    }
}

/// Numbers and folders of files.
fn files(knowns: &Knowns, found: &Found, said: &mut Warnings) {
    let Some(stills) = found.stills else { return };
    let when = |count: i128| {
        found.interval.map_or_else(String::new, |interval| format!(", {} into the event", spoken(interval * count)))
    };
    if let Some(number) = knowns.number {
        let left = 9999 - number.to_integer();
        if stills > left {
            let text = format!("file numbers go from 9999 back to 0001 after {}{}", counted(left, "still"), when(left));
            said.say("numbers wrap", text, "stillpath reads on across it; other programs may sort them wrongly");
        }
    }
    if let Some(holds) = knowns.folder_holds.map(|holds| holds.to_integer())
        && stills > holds
    {
        let text = format!("a folder of the card is full after {}{}", counted(holds, "still"), when(holds));
        said.say("folder full", text, "copy all folders; numbers may begin again in a new one");
    }
}

/// Frames larger than the still, subjects that flash by.
fn picture(knowns: &Knowns, found: &Found, said: &mut Warnings) {
    if let Some(still) = knowns.size {
        // Of the usual ones, where none is named, the answers say enough.
        for frame in knowns.frames.iter().copied().filter(|frame| deepest(still, *frame) < whole(1)) {
            let times = deepest(still, frame).recip();
            let text =
                format!("a {} frame of {frame} enlarges a still of {still} {} times", shape(frame), figure(times, 2));
            said.say("frame too large", text, "take larger stills or a smaller frame");
        }
    }
    if let (Some(crossing), Some(interval)) = (crossing(knowns, found), found.interval)
        && crossing < whole(FEW)
        && let (Some(across), Some(speed)) = (knowns.across, knowns.speed)
    {
        let text = format!(
            "the subject moves {} of the picture's width in an interval: it flashes by",
            percent(speed * interval / across)
        );
        let slower = (across / speed / 10).min(interval);
        said.say("too fast", text, format!("in ten stills across it would be an interval of {}", spoken(slower)));
    }
}

/// Knowns that nothing was reckoned with.
fn unused(knowns: &Knowns, found: &Found, said: &mut Warnings) {
    let no_stills = found.stills.is_none();
    let size_or_bytes = "--still-takes 12MB, or --format jpeg and --size 6000x4000";
    let stills = "--event 8h and --interval 5s";
    let cases = [
        (
            "card",
            knowns.get(Name::Card).is_some() || knowns.asked == Some(Name::Card),
            knowns.still_takes.is_none(),
            size_or_bytes,
        ),
        ("format", knowns.format.is_some(), knowns.still_takes.is_none(), "--size 6000x4000"),
        ("still-takes", knowns.still_takes.is_some() && knowns.format.is_none(), no_stills, stills),
        ("battery", knowns.battery.is_some(), no_stills || a_charge(knowns, found).is_none(), stills),
        ("number", knowns.number.is_some(), no_stills, stills),
        ("folder-holds", knowns.folder_holds.is_some(), no_stills, stills),
        ("frame", !knowns.frames.is_empty(), knowns.size.is_none(), "--size 6000x4000"),
        ("across", knowns.across.is_some(), knowns.speed.is_none(), "--speed 1.4m/s"),
        ("speed", knowns.speed.is_some(), found.interval.is_none(), "--interval 5s"),
        (
            "writing",
            knowns.writing.is_some(),
            found.interval.is_none() || found.exposure.is_none(),
            "--interval 5s and --exposure 1/50",
        ),
        ("mains", knowns.mains.is_some(), found.exposure.is_none(), "--exposure 1/50"),
        (
            "exposure",
            knowns.get(Name::Exposure).is_some(),
            found.interval.is_none() && knowns.mains.is_none(),
            "--interval 5s",
        ),
        ("angle", knowns.get(Name::Angle).is_some(), found.interval.is_none(), "--interval 5s"),
        ("clip", knowns.get(Name::Clip).is_some(), found.fps.is_none(), "--fps 24"),
    ];
    for (option, is_given, is_idle, with) in cases {
        if is_given && is_idle {
            said.say("unused", format!("--{option} was not used"), format!("it is used together with {with}"));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the light let in, summed in small steps from many beginnings.
    #[test]
    fn a_lamps_swing_is_what_summing_its_light_comes_to() {
        for (over, under) in [(1, 2), (3, 10), (5, 2), (1, 1), (7, 3), (12, 10)] {
            let pulses = f64::from(over) / f64::from(under);
            let steps = 2000;
            let mean = |begins: f64| -> f64 {
                let light = |step: i32| {
                    let at = begins + pulses * (f64::from(step) + 0.5) / f64::from(steps);
                    1.0 - (2.0 * std::f64::consts::PI * at).cos()
                };
                (0..steps).map(light).sum::<f64>() / f64::from(steps)
            };
            let off = (0..500).map(|begin| (mean(f64::from(begin) / 500.0) - 1.0).abs()).fold(0.0, f64::max);
            let said = swing(Exact::new(over.into(), under.into()));
            assert!((off - said).abs() < 1e-3, "{pulses}: {off} and {said}");
        }
    }
}
