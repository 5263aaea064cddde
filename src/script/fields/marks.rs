//! What is hidden in stills, and what is laid over frames: `cover` and `stamp`.

use crate::script::form::{Form, Items, Style, Wants, above_to, from_to, may};
use crate::script::made::Kind;
use crate::shot::{Outline, Pin};

pub(in crate::script) static COVER: Form = Form {
    name: "cover",
    style: Style::Table,
    fields: &[
        may("from", Wants::ShootMoment, "\"start\"", "the first moment of the shoot that is covered"),
        may(
            "to",
            Wants::ShootMoment,
            "\"end\"",
            "the last moment of the shoot that is covered, including the still it names",
        ),
        may(
            "with",
            Wants::Choice(&["fill", "blur"]),
            "\"fill\"",
            "fill: mid grey, nothing of the still; blur: the means of the box's four quarters, blended into one another",
        ),
        may(
            "track",
            Wants::Tracked,
            "false",
            "true: one key is enough, and what it hides is looked for in every other still; or a table of boxes, as a render writes it",
        ),
        may(
            "held",
            Wants::Whole { low: 0, high: 100_000 },
            "0",
            "for how many stills in a row a tracked box may be held, wider and wider, where it is lost; more stop the render",
        ),
    ],
    items: Some(Items { wants: Wants::Boxes, least: 1, most: 10_000, what: "a box, or keys with a box each" }),
    gives: Some(Kind::Cover),
    help: "A box of the still that is hidden in every window: fixed, or moving by keys on the shoot's axis, key { at = still(10), box(…) }.",
};

pub(in crate::script) static STAMP: Form = Form {
    name: "stamp",
    style: Style::Table,
    fields: &[
        may(
            "text",
            Wants::Text,
            "none",
            "a line of text; {clock}, {number}, {name} and {elapsed} are the still's, {clock:%H:%M} written so; {{ and }} are braces",
        ),
        may(
            "picture",
            Wants::Text,
            "none",
            "in place of a text: a picture file, clear parts and all, relative to the script",
        ),
        may(
            "at",
            Wants::Value(Kind::Point),
            "point(0.95, 0.95)",
            "where in the frame it is pinned, in fractions of the frame",
        ),
        may(
            "pin",
            Wants::Choice(&Pin::KEYWORDS),
            "the one from which it grows inwards",
            "which part of it lies at that point; all of it stays inside the delivery's safe part",
        ),
        may(
            "size",
            Wants::Number(above_to(0.0, 1.0)),
            "0.03",
            "the height of the line or the picture, as a fraction of the frame's shorter side",
        ),
        may("font", Wants::Text, "the program's own letters", "a font file (TTF, OTF), relative to the script"),
        may("colour", Wants::Colour, "\"#ffffff\"", "the colour of the letters"),
        may(
            "outline",
            Wants::Outline(&OUTLINE),
            "true",
            "the line around the letters, by which they are read on any picture",
        ),
    ],
    items: None,
    gives: Some(Kind::Stamp),
    help: "A line of text, or a picture, laid over frames: in a shot, or in a delivery, whose own list replaces the shot's.",
};

pub(in crate::script) static OUTLINE: Form = Form {
    name: "stamp.outline",
    style: Style::Inner,
    fields: &[
        may("width", Wants::Number(from_to(0.0, Outline::WIDEST)), "0.06", "as a fraction of the line's height"),
        may("colour", Wants::Colour, "\"#000000\"", "its colour"),
    ],
    items: None,
    gives: None,
    help: "The line around a stamp's letters.",
};
