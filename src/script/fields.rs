//! Every constructor a script may call, with its fields: name, what it takes, its default, its help.
//!
//! The one place they are written down. Checks for unknown fields, nearest names, ranges in messages and the editor
//! types all come from here.

mod calls;
mod delivery;
mod marks;
mod source;

use super::form::{Form, Items, Range, Style, Wants, above_to, from_to, may, must};
use super::made::Kind;
use crate::shot::Blend;

pub(super) use calls::CALLS;
pub(super) use delivery::{CODEC, DELIVERY, GATHER, QUALITY, SAFE};
pub(super) use marks::{COVER, OUTLINE, STAMP};
pub(super) use source::{RECORDING, STILLS};

const POLICIES: Wants = Wants::Choice(&["stop", "hold", "skip"]);
const FRACTION: Wants = Wants::Number(from_to(0.0, 1.0));
const POSITIVE: Wants = Wants::Number(above_to(0.0, 1_000_000.0));
const SHUTTER: Wants = Wants::Number(from_to(0.0, Blend::WIDEST));
const SHUTTER_HELP: &str = "degrees: each frame is the mean of the stills that pass while the shutter is open; 360 is one frame's time, 0 is one still";
const GATHER_HELP: &str = "what a frame takes of its stills: their mean, or by channel the brightest (star trails), the darkest, or the median light (passers-by vanish); a table says over how many stills, or that it grows";
const BETWEEN: Wants = Wants::Choice(&["nearest", "mix", "motion"]);
const BETWEEN_HELP: &str = "where the pace is below one still a frame, what a frame between two stills shows: the still whose turn it is, the mean of both, \
     or a frame invented from the motion between them (\"mix\" where the motion is not known)";
const LIGHT: Wants = Wants::Choice(&["linear", "encoded"]);
const LIGHT_HELP: &str = "how stills are averaged: linear adds up light, as a camera's open shutter does; encoded adds up the values of the files";
const SOUND: Wants = Wants::Choice(&["real-time", "none"]);
const SOUND_HELP: &str = "what is kept of a recording's sound: real-time keeps it where the pace runs in real time, with a fade at each end, and is \
     silent elsewhere";
const STAMPS_HELP: &str =
    "what is laid over the frames: lines of text with each still's time, number or name, and pictures";
const HOURS_HELP: &str = "the hours whose stills are used, by their own clock, both ends included; { \"22:00\", \"04:00\" } goes over midnight";
const DAYS_HELP: &str = "the days whose stills are used, by the date that each carries";
const ONLY_HELP: &str = "of the stills that are left, the nearest to each step of the clock, counted from midnight of the first still's day";
const ZOOM: Wants = Wants::Number(from_to(1.0, 1000.0));
const MARGIN: Wants = Wants::Number(Range { low: 0.0, high: 0.5, above: false, below: true });
const SAFE_MARGIN: Wants = Wants::Number(Range { low: 0.0, high: 1.0, above: false, below: true });
const FINITE: Range = from_to(f64::NEG_INFINITY, f64::INFINITY);
/// Pixels of a frame's side.
pub(super) const SIDE: Wants = Wants::Whole { low: 16, high: 16_384 };
/// Our own scale of quality.
pub(super) const SCALE: Wants = Wants::Number(from_to(0.0, 100.0));
/// An output or an input of a `linear` stop.
pub(super) const STOP_NUMBER: Wants = Wants::Number(from_to(-1_000_000.0, 1_000_000.0));

pub(super) static SHOT: Form = Form {
    name: "shot",
    style: Style::Table,
    fields: &[
        may("name", Wants::Name, "none", "tells shots apart where a script returns several"),
        must("source", Wants::Value(Kind::Stills), "where the stills come from"),
        may("fps", Wants::FrameRate, "24", "the frame rate that 'per frame' units and timecodes count in"),
        must("pace", Wants::Pace, "how fast the shoot runs"),
        may("length", Wants::Seconds, "until the shoot ends", "the clip's length in seconds"),
        may(
            "loop",
            Wants::Loop,
            "false",
            "whether the last frame runs into the first: true mixes the stills at the join for a second, a number for that many seconds",
        ),
        may("framing", Wants::Value(Kind::Framing), "the largest window", "where the window goes"),
        may(
            "covers",
            Wants::List(Kind::Cover),
            "none",
            "what is hidden in the stills themselves, such as faces, plates and screens",
        ),
        may("shutter", SHUTTER, "0", SHUTTER_HELP),
        may("gather", Wants::Gather(&GATHER), "\"mean\"", GATHER_HELP),
        may("between", BETWEEN, "\"nearest\"", BETWEEN_HELP),
        may("light", LIGHT, "\"linear\"", LIGHT_HELP),
        may("sound", SOUND, "\"none\"", SOUND_HELP),
        may("stamps", Wants::List(Kind::Stamp), "none", STAMPS_HELP),
        must("deliveries", Wants::List(Kind::Delivery), "the named outputs"),
        may(
            "level",
            Wants::Level(&LEVEL),
            "false",
            "removes flicker from the stills' exposure and keeps what their light really did",
        ),
        may(
            "steady",
            Wants::Steady(&STEADY),
            "false",
            "undoes bumps and sags of the camera: windows move with the picture, measured still by still",
        ),
        may(
            "strict",
            Wants::Truth,
            "false",
            "whether windows that would leave the still are refused instead of moved inside",
        ),
    ],
    items: None,
    gives: Some(Kind::Shot),
    help: "One source, one pace, one framing, and the deliveries cut from it.",
};

pub(super) static REEL: Form = Form {
    name: "reel",
    style: Style::Table,
    fields: &[
        may("name", Wants::Name, "none", "tells it apart where a script returns several shots or reels"),
        may(
            "mix",
            Wants::Seconds,
            "none",
            "how long the end of each shot is mixed with the beginning of the next (8 s and 6 s mixed over 1 s last 13 s), in linear light unless the deliveries say otherwise; without it one follows at once",
        ),
    ],
    items: Some(Items { wants: Wants::Value(Kind::Shot), least: 1, most: 1000, what: "shots" }),
    gives: Some(Kind::Shot),
    help: "Shots that follow one another in one clip. They have the same deliveries; each is a chapter of the file.",
};

pub(super) static LEVEL: Form = Form {
    name: "shot.level",
    style: Style::Inner,
    fields: &[
        may("strength", Wants::Number(above_to(0.0, 1.0)), "1", "how much of the flicker is taken out; 1 is all of it"),
        may(
            "radius",
            Wants::Number(from_to(1.0, 10_000.0)),
            "chosen to suit the shoot",
            "how many stills on each side the light is smoothed over: with more, only slower changes of light stay",
        ),
        may(
            "region",
            Wants::Value(Kind::Box),
            "the whole still",
            "the part of the still that is measured, such as one in which little moves; all of it is corrected",
        ),
        may(
            "steps",
            Wants::Choice(&["join", "cut"]),
            "\"join\"",
            "where the camera's exposure was changed: joined into one even change, or left as a cut",
        ),
        may(
            "colour",
            Wants::Truth,
            "false",
            "colours are held too: what an automatic white balance drifts and jumps by goes, and so does a sunset's red",
        ),
        may("curve", Wants::Text, "none", "a table of gains as `stillpath level` writes it, in place of measuring"),
    ],
    items: None,
    gives: None,
    help: "How stills are levelled.",
};

pub(super) static STEADY: Form = Form {
    name: "shot.steady",
    style: Style::Inner,
    fields: &[
        may(
            "region",
            Wants::Value(Kind::Box),
            "the whole still",
            "the part of the still that is measured, such as one in which nothing moves; the whole picture is steadied",
        ),
        may(
            "undo",
            Wants::Choice(&["all", "bumps"]),
            "\"all\"",
            "what is undone: all movement of the camera, or only sudden movement, so that slow sags stay",
        ),
        may(
            "room",
            Wants::Number(above_to(0.0, 1.0)),
            "0.9",
            "the least part of the still's width and height that all stills must have in common: below it the shot is refused",
        ),
        may("curve", Wants::Text, "none", "a table of stands as `stillpath steady` writes it, in place of measuring"),
    ],
    items: None,
    gives: None,
    help: "How stills are steadied.",
};

pub(super) static PACE: Form = Form {
    name: "pace",
    style: Style::Table,
    fields: &[may(
        "fit",
        Wants::Seconds,
        "none",
        "the length in seconds, freezes included, that all rates but those marked keep are scaled to",
    )],
    items: Some(Items { wants: Wants::Value(Kind::Key), least: 1, most: 10_000, what: "keys" }),
    gives: Some(Kind::Pace),
    help: "How fast the shoot runs: keys with a rate, a freeze or both, all on screen time or all on the shoot's axis.",
};

pub(super) static FRAMING: Form = Form {
    name: "framing",
    style: Style::Table,
    fields: &[
        may(
            "path",
            Wants::Path,
            "\"straight\"",
            "the line from key to key: windows straight to the next, one smooth curve, flights that rise and land, or a drawing",
        ),
        may(
            "rho",
            Wants::Number(from_to(0.01, 10.0)),
            "the square root of 2",
            "with path = \"flight\": how strongly the flight zooms out to pan; larger rises higher",
        ),
        may(
            "table",
            Wants::Text,
            "none",
            "a table of windows in place of keys, comma-separated and relative to the script: keys by seconds or still, or the window of every frame, as `stillpath plan --csv` writes it; see \"A path from a table\"",
        ),
        may(
            "of",
            Wants::Name,
            "each delivery's own lines",
            "with table: the delivery whose lines are taken, of a table with several",
        ),
    ],
    items: Some(Items { wants: Wants::Value(Kind::Key), least: 1, most: 10_000, what: "keys" }),
    gives: Some(Kind::Framing),
    help: "Where the window goes: keys with on and zoom or span, with show, or along a drawing; or as a table says.",
};

pub(super) static FOLLOW: Form = Form {
    name: "follow",
    style: Style::Table,
    fields: &[
        may(
            "margin",
            MARGIN,
            "0",
            "fraction of the frame's side kept free around the subject on each side, within the safe box",
        ),
        may(
            "zoom",
            ZOOM,
            "the window follows the subject's size",
            "how close throughout: 1 is the largest window inside the still",
        ),
        may(
            "span",
            Wants::Number(above_to(0.0, 1.0)),
            "none",
            "how close throughout: the window's width as a fraction of the still's",
        ),
        may(
            "track",
            Wants::Tracked,
            "false",
            "true: one key is enough, and it is looked for in every other still; or a table of boxes, as a render writes it",
        ),
        may(
            "lost",
            Wants::Choice(&["hold", "stop"]),
            "\"hold\"",
            "where a tracked subject is lost: hold its box, wider and wider, or refuse",
        ),
    ],
    items: Some(Items { wants: Wants::Value(Kind::Key), least: 1, most: 10_000, what: "keys" }),
    gives: Some(Kind::Framing),
    help: "The smoothest path that keeps a subject in each delivery's safe box: keys on the shoot's axis say where it is, key { at = still(10), box(…) }.",
};

pub(super) static ACTION: Form = Form {
    name: "action",
    style: Style::Table,
    fields: &[
        may("zoom", ZOOM, "1", "how close throughout: 1 is the largest window inside the still"),
        may(
            "calm",
            FRACTION,
            "0.8",
            "how reluctantly the window moves: 0 goes after whatever moves, 1 goes only where much happens for long",
        ),
    ],
    items: None,
    gives: Some(Kind::Framing),
    help: "The smoothest path that holds the part in which most happens, in each delivery's safe box; it rests where nothing moves. \
           Reads the stills' pixels once.",
};

pub(super) static LIVELIEST: Form = Form {
    name: "liveliest",
    style: Style::Table,
    fields: &[
        must("length", Wants::Seconds, "how long the whole shoot lasts, in seconds"),
        may(
            "slowest",
            Wants::Value(Kind::Rate),
            "a third of the even rate",
            "the slowest the shoot runs, where most happens",
        ),
        may(
            "fastest",
            Wants::Value(Kind::Rate),
            "four times the even rate",
            "the fastest the shoot runs, where nothing happens",
        ),
    ],
    items: None,
    gives: Some(Kind::Pace),
    help: "A pace that runs through what is idle and slows where things happen, within two limits. Reads the stills' pixels once.",
};

pub(super) static KEY: Form = Form {
    name: "key",
    style: Style::Table,
    fields: &[
        must("at", Wants::Moment, "the moment"),
        may("ease", Wants::Ease, "\"linear\"", "the way to this key from the one before"),
        may("rate", Wants::Value(Kind::Rate), "none", "in a pace: how fast the shoot runs there"),
        may("keep", Wants::Truth, "false", "in a pace: fit leaves the way to this key alone"),
        may("freeze", Wants::Seconds, "none", "in a pace: how many seconds the shoot rests at this moment"),
        may(
            "reverse",
            Wants::Truth,
            "false",
            "in a pace: the shoot runs backwards on the way to this key, from its end where this is the first",
        ),
        may("on", Wants::Value(Kind::Point), "none", "in a framing: the point of the still looked at"),
        may(
            "zoom",
            ZOOM,
            "1",
            "in a framing: 1 is the largest window of the delivery's shape and the key's roll inside the still, 2 half as wide",
        ),
        may(
            "span",
            Wants::Number(above_to(0.0, 1.0)),
            "none",
            "in a framing: the window's width as a fraction of the still's",
        ),
        may("show", Wants::Value(Kind::Box), "none", "in a framing: a box to keep in frame"),
        may("margin", MARGIN, "0", "in a framing: fraction of the frame's side kept free around show, on each side"),
        may(
            "hold",
            Wants::Seconds,
            "none",
            "in a framing: seconds of screen time the window rests at this key before it goes on",
        ),
        may("stop", Wants::Truth, "false", "in a framing: the window comes to rest at this key and sets off from rest"),
        may(
            "roll",
            Wants::Number(from_to(-360.0, 360.0)),
            "0",
            "in a framing: degrees the window is turned clockwise about its centre, so that the picture turns the other way",
        ),
    ],
    items: Some(Items { wants: Wants::Value(Kind::Box), least: 0, most: 1, what: "a box, in a follow or a cover" }),
    gives: Some(Kind::Key),
    help: "A value pinned to a moment, for a pace, a framing, a follow or a cover.",
};

/// The fields of a key that a follow or a cover takes, besides the box.
pub(super) const FOLLOW_FIELDS: [&str; 2] = ["at", "ease"];

/// The fields of a key that belong to a pace.
pub(super) const PACE_FIELDS: [&str; 4] = ["rate", "keep", "freeze", "reverse"];
/// The fields of a key that belong to a framing.
pub(super) const FRAMING_FIELDS: [&str; 8] = ["on", "zoom", "span", "show", "margin", "hold", "stop", "roll"];

pub(super) static DIAL_OPTIONS: Form = Form {
    name: "dial.options",
    style: Style::Inner,
    fields: &[
        may("min", Wants::Number(FINITE), "none", "the smallest number allowed"),
        may("max", Wants::Number(FINITE), "none", "the largest number allowed"),
        may("choices", Wants::Table, "none", "the texts or numbers allowed"),
        may("help", Wants::Text, "none", "what it does, in a line"),
    ],
    items: None,
    gives: None,
    help: "What a dial may be.",
};

pub(super) static LINEAR: Form = Form {
    name: "linear",
    style: Style::Table,
    fields: &[],
    items: Some(Items { wants: Wants::Stop, least: 2, most: 10_000, what: "stops" }),
    gives: Some(Kind::Ease),
    help: "The ease that CSS calls linear(): outputs, each on its own or as { output, input } or { output, input, input }.",
};

pub(super) static ARGUMENTS: Form = Form {
    name: "arguments",
    style: Style::Call,
    fields: &[
        must("move", Wants::Text, "the move's name, for messages"),
        may("given", Wants::Table, "reported on the caller's line", "what the move was called with"),
        must("defaults", Wants::Table, "every argument it has, with its default"),
    ],
    items: None,
    gives: None,
    help: "For modules: what a move was called with, over its defaults; unknown arguments are reported on the caller's line.",
};

/// Every form, inner tables included.
pub(super) fn all() -> Vec<&'static Form> {
    let mut forms = vec![
        &SHOT, &REEL, &LEVEL, &STEADY, &STILLS, &RECORDING, &PACE, &FRAMING, &FOLLOW, &ACTION, &LIVELIEST, &COVER,
        &STAMP, &OUTLINE, &KEY, &DELIVERY, &GATHER, &CODEC, &QUALITY, &SAFE, &LINEAR,
    ];
    forms.extend(&CALLS);
    forms.extend([&DIAL_OPTIONS, &ARGUMENTS]);
    forms
}

/// The first constructor that gives values of a kind.
pub(super) fn giving(kind: Kind) -> Option<&'static Form> {
    all().into_iter().find(|form| form.gives == Some(kind))
}

/// The form of a constructor called with plain values.
pub(super) fn call(name: &str) -> &'static Form {
    CALLS.iter().find(|form| form.name == name).unwrap_or(&ARGUMENTS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_field_of_a_key_belongs_to_a_pace_or_a_framing_or_both() {
        for field in KEY.fields {
            let owners =
                usize::from(PACE_FIELDS.contains(&field.name)) + usize::from(FRAMING_FIELDS.contains(&field.name));
            assert_eq!(owners, usize::from(!["at", "ease"].contains(&field.name)), "{}", field.name);
        }
    }

    #[test]
    fn no_two_constructors_share_a_name() {
        let mut names: Vec<_> = all().iter().map(|form| form.name).collect();
        let count = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), count);
    }
}
