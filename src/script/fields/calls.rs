//! The constructors that are called with plain values: places, moments, rates, eases.

use super::{DIAL_OPTIONS, FRACTION, POSITIVE};
use crate::curve::ease::Jump;
use crate::script::form::{Form, Style, Wants, above_to, from_to, may, must};
use crate::script::made::Kind;

const RATE: Option<Kind> = Some(Kind::Rate);

/// Constructors called with plain values.
pub(in crate::script) static CALLS: [Form; 17] = [
    Form {
        name: "box",
        style: Style::Call,
        fields: &[
            must("x", FRACTION, "left edge, as a fraction of the still's width"),
            must("y", FRACTION, "top edge, as a fraction of the still's height"),
            must("width", Wants::Number(above_to(0.0, 1.0)), "as a fraction of the still's width"),
            must("height", Wants::Number(above_to(0.0, 1.0)), "as a fraction of the still's height"),
        ],
        items: None,
        gives: Some(Kind::Box),
        help: "A box over the upright still, in fractions of it.",
    },
    Form {
        name: "point",
        style: Style::Call,
        fields: &[
            must("x", FRACTION, "across, as a fraction of the width"),
            must("y", FRACTION, "down, as a fraction of the height"),
        ],
        items: None,
        gives: Some(Kind::Point),
        help: "A point over the upright still (or a frame), in fractions of it.",
    },
    Form {
        name: "px",
        style: Style::Call,
        fields: &[
            must("x", Wants::Number(from_to(0.0, 1_000_000.0)), "across, in pixels of the upright still"),
            must("y", Wants::Number(from_to(0.0, 1_000_000.0)), "down, in pixels of the upright still"),
        ],
        items: None,
        gives: Some(Kind::Point),
        help: "A point over the upright still, in continuous pixels: the first pixel's centre is px(0.5, 0.5).",
    },
    Form {
        name: "drawing",
        style: Style::Call,
        fields: &[must(
            "line",
            Wants::Line,
            "an SVG path in fractions of the still, in one stroke: \"M 0.1 0.5 C 0.3 0.2 0.6 0.2 0.9 0.5\"",
        )],
        items: None,
        gives: Some(Kind::Drawing),
        help: "A line drawn over the upright still, followed by the window's centre at even speed.",
    },
    Form {
        name: "still",
        style: Style::Call,
        fields: &[must(
            "which",
            Wants::StillName,
            "counted from 1, missing ones included; -1 is the last; or a file name without extension",
        )],
        items: None,
        gives: Some(Kind::Moment),
        help: "The moment of a still.",
    },
    Form {
        name: "clock",
        style: Style::Call,
        fields: &[must("time", Wants::Clock, "the camera's local time")],
        items: None,
        gives: Some(Kind::Moment),
        help: "The moment of a clock time.",
    },
    Form {
        name: "part",
        style: Style::Call,
        fields: &[must("fraction", FRACTION, "0 is the shoot's beginning, 1 its end")],
        items: None,
        gives: Some(Kind::Moment),
        help: "The moment a fraction of the way through the shoot.",
    },
    Form {
        name: "cut",
        style: Style::Call,
        fields: &[
            must("from", Wants::ShootMoment, "the first moment left out"),
            must("to", Wants::ShootMoment, "the last moment left out, including the still it names"),
        ],
        items: None,
        gives: Some(Kind::Cut),
        help: "A part of the shoot to leave out, both ends included: it takes no time, and no key may lie in it.",
    },
    Form {
        name: "every",
        style: Style::Call,
        fields: &[must("step", Wants::Step, "from one still to the next")],
        items: None,
        gives: Some(Kind::Every),
        help: "A step of the clock, which evens out stills taken at odd times.",
    },
    Form {
        name: "stills_per_frame",
        style: Style::Call,
        fields: &[must("stills", POSITIVE, "stills a frame")],
        items: None,
        gives: RATE,
        help: "How many stills pass in one frame of the shot's rate.",
    },
    Form {
        name: "frames_per_still",
        style: Style::Call,
        fields: &[must("frames", POSITIVE, "frames a still")],
        items: None,
        gives: RATE,
        help: "How many frames of the shot's rate each still is shown for.",
    },
    Form {
        name: "times",
        style: Style::Call,
        fields: &[must("factor", Wants::Number(above_to(0.0, 1_000_000_000.0)), "how many times faster than it was")],
        items: None,
        gives: RATE,
        help: "A multiple of real time; needs capture times or an interval.",
    },
    Form {
        name: "percent",
        style: Style::Call,
        fields: &[must("percent", Wants::Number(above_to(0.0, 100_000_000.0)), "100 is one still a frame")],
        items: None,
        gives: RATE,
        help: "A percentage of one still a frame.",
    },
    Form {
        name: "over",
        style: Style::Call,
        fields: &[must("length", Wants::Seconds, "seconds")],
        items: None,
        gives: Some(Kind::Length),
        help: "The whole shoot, evenly, in this many seconds.",
    },
    Form {
        name: "cubic_bezier",
        style: Style::Call,
        fields: &[
            must("x1", FRACTION, "first control point, across"),
            must("y1", Wants::Number(from_to(-1000.0, 1000.0)), "first control point, up"),
            must("x2", FRACTION, "second control point, across"),
            must("y2", Wants::Number(from_to(-1000.0, 1000.0)), "second control point, up"),
        ],
        items: None,
        gives: Some(Kind::Ease),
        help: "The ease that CSS calls cubic-bezier().",
    },
    Form {
        name: "steps",
        style: Style::Call,
        fields: &[
            must("count", Wants::Whole { low: 1, high: 100_000 }, "how many; at least 2 with \"jump-none\""),
            may("jump", Wants::Choice(&Jump::KEYWORDS), "\"jump-end\"", "where the jumps are"),
        ],
        items: None,
        gives: Some(Kind::Ease),
        help: "The ease that CSS calls steps().",
    },
    Form {
        name: "dial",
        style: Style::Call,
        fields: &[
            must("name", Wants::Name, "what --set calls it"),
            must("default", Wants::DialDefault, "its value when nothing is set; its type is the dial's"),
            may("options", Wants::Options(&DIAL_OPTIONS), "none", "min, max, choices, help"),
        ],
        items: None,
        gives: None,
        help: "A value that whoever runs the script may set with --set name=value.",
    },
];
