//! Shots and shoots built by hand: what the script and the survey would give.

use std::path::Path;

use jiff::civil::DateTime;
use stillpath::curve::ease::Ease;
use stillpath::diag::{Diagnostics, Place, Placed, Severity};
use stillpath::plan::{Plan, Reasons};
use stillpath::resolve::{self, Known, When};
use stillpath::shoot::{Captured, Content, Damage, Format, Orientation, Shoot, Slot, Still};
use stillpath::shot::{
    Blend, Closeness, Codec, Delivery, Framing, FramingKey, Moment, Pace, PaceKey, Policy, Rate, Sharpness, Shot,
    Source, StillBox, StillPoint, View,
};
use stillpath::units::{FrameRate, Size};

/// Line `line` of the script all these shots pretend to come from.
pub(crate) fn line(line: u32) -> Place {
    Place::new(Path::new("shot.lua"), line)
}

pub(crate) fn fps(rate: &str) -> FrameRate {
    rate.parse().unwrap()
}

/// `stills` whole stills of 4000 by 3000 named STIL0001 and so on, without times.
pub(crate) fn shoot(stills: usize) -> Shoot {
    let size = Size::new(4000, 3000);
    let slots = (1..=stills)
        .map(|number| {
            let name = format!("STIL{number:04}");
            let still = Still {
                path: format!("{name}.JPG").into(),
                format: Format::Jpeg,
                stored: size,
                orientation: Orientation::Upright,
                captured: None,
                settings: stillpath::shoot::Settings::default(),
                bytes: 1,
                modified: 0,
            };
            Slot { name, content: Content::Whole(still) }
        })
        .collect();
    Shoot {
        slots,
        size,
        interval: None,
        set_aside: Vec::new(),
        notes: Vec::new(),
        recording: None,
        members: Vec::new(),
    }
}

/// The same, taken at these local times, one a still.
pub(crate) fn shoot_at(times: &[&str], interval: f64) -> Shoot {
    let mut shoot = shoot(times.len());
    shoot.interval = Some(interval);
    for (slot, time) in shoot.slots.iter_mut().zip(times) {
        let Content::Whole(still) = &mut slot.content else { continue };
        still.captured = Some(Captured { local: time.parse::<DateTime>().unwrap(), offset: None });
    }
    shoot
}

/// `stills` stills taken every `interval` seconds from `first` on.
pub(crate) fn shoot_every(stills: usize, first: &str, interval: f64) -> Shoot {
    let first: DateTime = first.parse().unwrap();
    let times: Vec<String> = (0..stills)
        .map(|still| {
            let gone = jiff::SignedDuration::from_secs_f64(interval * f64::from(u32::try_from(still).unwrap()));
            first.checked_add(gone).unwrap().to_string()
        })
        .collect();
    shoot_at(&times.iter().map(String::as_str).collect::<Vec<_>>(), interval)
}

/// Takes the still of a slot (from 1) away.
pub(crate) fn lose(shoot: &mut Shoot, number: usize) {
    shoot.slots[number - 1].content = Content::Missing;
}

/// Damages the still of a slot (from 1).
pub(crate) fn spoil(shoot: &mut Shoot, number: usize) {
    shoot.mark_damaged(stillpath::units::SlotIndex(number - 1), Damage::CutShort { decoded: 10, due: 3000 });
}

/// A shot of one wide delivery at 24, the largest window throughout, at one still a frame. The pace is on line 3.
pub(crate) fn shot() -> Shot {
    Shot {
        place: line(1),
        name: String::new(),
        source: Source {
            place: line(2),
            paths: vec!["stills".into()],
            interval: None,
            missing: Policy::Stop,
            damaged: Policy::Stop,
            from: None,
            to: None,
            cuts: Vec::new(),
            chosen: stillpath::shot::Chosen::default(),
            across: false,
            obey_orientation: true,
            pairs: stillpath::shot::Pairs::Stop,
            camera: None,
            recorded: false,
        },
        fps: fps("24"),
        pace: Placed::new(Pace::Constant(Rate::StillsPerFrame(1.0)), line(3)),
        length: None,
        looped: None,
        framing: Framing { place: line(1), keys: Vec::new(), path: stillpath::shot::Path::Straight },
        covers: Vec::new(),
        deliveries: vec![delivery("wide", 1920, 1080, "24")],
        level: None,
        steady: None,
        strict: false,
        reel: None,
    }
}

/// A delivery on line 60.
pub(crate) fn delivery(name: &str, width: u32, height: u32, rate: &str) -> Delivery {
    Delivery {
        place: line(60),
        name: name.into(),
        frame: Size::new(width, height),
        fps: fps(rate),
        codec: Codec::PNG,
        subject_at: (0.5, 0.5),
        safe: stillpath::geom::Margins::default(),
        framing: None,
        sharpness: Sharpness::Even,
        resample: stillpath::shot::Light::Encoded,
        blend: Blend::default(),
        gather: None,
        sound: None,
        timecode: None,
        stamps: Vec::new(),
        every_still: false,
        extras: stillpath::shot::Extras::default(),
    }
}

/// A framing key by point and zoom; its way is straight.
pub(crate) fn on(at_line: u32, at: Moment, point: (f64, f64), zoom: f64) -> FramingKey {
    let point = StillPoint::Fraction(point.0, point.1);
    framing_key(at_line, at, View::On { point, closeness: Closeness::Zoom(zoom) })
}

/// A framing key by box and margin.
pub(crate) fn show(at_line: u32, at: Moment, area: (f64, f64, f64, f64), margin: f64) -> FramingKey {
    let area = StillBox { x: area.0, y: area.1, width: area.2, height: area.3 };
    framing_key(at_line, at, View::Show { area, margin })
}

/// A framing key whose way is straight, and which is passed without a rest.
pub(crate) fn framing_key(at_line: u32, at: Moment, view: View) -> FramingKey {
    FramingKey { place: line(at_line), at, view, ease: Ease::Linear, hold: 0.0, stop: false, roll: 0.0 }
}

/// A pace key whose way is straight and not kept.
pub(crate) fn rate(at_line: u32, at: Moment, rate: Rate) -> PaceKey {
    PaceKey {
        place: line(at_line),
        at,
        rate: Some(rate),
        freeze: None,
        ease: Ease::Linear,
        keep: false,
        reverse: false,
    }
}

/// A pace key that only freezes.
pub(crate) fn freeze(at_line: u32, at: Moment, seconds: f64) -> PaceKey {
    PaceKey { rate: None, freeze: Some(seconds), ..rate(at_line, at, Rate::StillsPerFrame(1.0)) }
}

/// A pace key whose way runs backwards.
pub(crate) fn back(at_line: u32, at: Moment, per_frame: f64) -> PaceKey {
    PaceKey { reverse: true, ..rate(at_line, at, Rate::StillsPerFrame(per_frame)) }
}

/// A keyed pace on line 3, with its fit on line 4.
pub(crate) fn keyed(keys: Vec<PaceKey>, fit: Option<f64>) -> Placed<Pace> {
    Placed::new(Pace::Keyed { keys, fit: fit.map(|seconds| Placed::new(seconds, line(4))) }, line(3))
}

/// A moment of the camera's clock: `14:32`, `day 2 14:32` or `2031-05-04 14:32`.
pub(crate) fn clock(text: &str) -> Moment {
    use stillpath::shot::{Clock, ClockDay};
    let words: Vec<&str> = text.split(' ').collect();
    let (day, time) = match words[..] {
        [time] => (ClockDay::Only, time),
        ["day", nth, time] => (ClockDay::Nth(nth.parse().unwrap()), time),
        [date, time] => (ClockDay::On(date.parse().unwrap()), time),
        _ => panic!("{text} is no clock time"),
    };
    Moment::Clock(Clock { day, time: time.parse().unwrap(), text: words[words.len() - 1].into() })
}

pub(crate) fn plan(shot: &Shot, shoot: &Shoot) -> Plan {
    resolve(shot, shoot).unwrap_or_else(|refused| panic!("refused: {}", written(&refused)))
}

pub(crate) fn refused(shot: &Shot, shoot: &Shoot) -> String {
    let found = match resolve(shot, shoot) {
        Ok(plan) => panic!("not refused:\n{}", stillpath::plan::summary(&plan)),
        Err(found) => found,
    };
    assert!(found.refused());
    written(&found)
}

/// Diagnostics a line each: `mistake shot.lua:12: message (shot.lua:11 the key above it) [help]`.
pub(crate) fn written(found: &Diagnostics) -> String {
    let mut out = String::new();
    for one in &found.0 {
        out.push_str(if one.severity == Severity::Mistake { "mistake" } else { "remark" });
        if let Some(place) = &one.place {
            out.push_str(&format!(" {place}"));
        }
        out.push_str(&format!(": {}", one.message));
        for (place, why) in &one.related {
            out.push_str(&format!(" ({place} {why})"));
        }
        for help in &one.help {
            out.push_str(&format!(" [{help}]"));
        }
        out.push('\n');
    }
    out
}

/// The plan of a shot over a shoot of which nothing more is known.
pub(crate) fn resolve(shot: &Shot, shoot: &Shoot) -> Result<Plan, Diagnostics> {
    resolve::resolve(shot, shoot, Known::default()).map(|made| made.plan)
}

/// What decided a frame of it.
pub(crate) fn explain(shot: &Shot, shoot: &Shoot, delivery: usize, when: &When) -> Result<Reasons, Diagnostics> {
    resolve::resolve(shot, shoot, Known::default())?.explain(shot, shoot, delivery, when)
}

/// The rows of the first delivery as `frame position still x,y widthxheight`, rounded.
pub(crate) fn table(plan: &Plan) -> String {
    let mut out = String::new();
    for (frame, row) in plan.deliveries[0].rows.iter().enumerate() {
        let window = row.window;
        let still = if row.shown == row.slot { String::new() } else { format!("<{}", row.shown.0 + 1) };
        out.push_str(&format!(
            "{frame} {:.3} {}{still} {:.1},{:.1} {:.1}x{:.1}\n",
            row.position,
            row.slot.0 + 1,
            window.x,
            window.y,
            window.width,
            window.height
        ));
    }
    out
}

/// The slots (from 1) whose stills the first delivery shows, frame by frame.
pub(crate) fn shown(plan: &Plan) -> Vec<usize> {
    plan.deliveries[0].rows.iter().map(|row| row.shown.0 + 1).collect()
}
