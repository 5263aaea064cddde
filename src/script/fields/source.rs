//! Where stills come from: `stills` and `recording`.

use super::{DAYS_HELP, HOURS_HELP, ONLY_HELP, POLICIES};
use crate::script::form::{Form, Items, Style, Wants, above_to, may};
use crate::script::made::Kind;
use crate::shot::Pairs;

pub(in crate::script) static STILLS: Form = Form {
    name: "stills",
    style: Style::Table,
    fields: &[
        may(
            "interval",
            Wants::Number(above_to(0.0, 31_622_400.0)),
            "from capture times",
            "seconds between stills, where there are no capture times",
        ),
        may(
            "missing",
            POLICIES,
            "\"stop\"",
            "what to do about a missing still: refuse, show the one before, or take no time for it",
        ),
        may(
            "damaged",
            POLICIES,
            "\"stop\"",
            "what to do about a damaged still: refuse, show the one before, or take no time for it",
        ),
        may("from", Wants::ShootMoment, "\"start\"", "the first moment of the shoot that is used"),
        may("to", Wants::ShootMoment, "\"end\"", "the last moment of the shoot that is used"),
        may("cuts", Wants::List(Kind::Cut), "none", "parts of the shoot to leave out, such as a night or a passer-by"),
        may("hours", Wants::Hours, "all", HOURS_HELP),
        may("days", Wants::Days, "all", DAYS_HELP),
        may("only", Wants::Value(Kind::Every), "all", ONLY_HELP),
        may(
            "across",
            Wants::Truth,
            "false",
            "whether stills on the two sides of a break (a cut, hours or days left out, a gap of more than ten intervals) are mixed, levelled and steadied as if nothing lay between",
        ),
        may(
            "orientation",
            Wants::Choice(&["obey", "ignore"]),
            "\"obey\"",
            "whether the stills' orientation tags turn them upright",
        ),
        may(
            "pairs",
            Wants::Choice(&Pairs::KEYWORDS),
            "\"stop\"",
            "where two pictures of one name have different kinds, which kind is the still; raw files are never stills",
        ),
        may(
            "camera",
            Wants::Text,
            "the only one",
            "the camera whose stills are meant, by the name that the survey gives it; \"any\" takes all",
        ),
    ],
    items: Some(Items { wants: Wants::Texts, least: 1, most: 10_000, what: "folders, patterns or files" }),
    gives: Some(Kind::Stills),
    help: "The stills of a fixed camera: folders, patterns or files, relative to the script.",
};

pub(in crate::script) static RECORDING: Form = Form {
    name: "recording",
    style: Style::TableOrText,
    fields: &[
        may(
            "missing",
            POLICIES,
            "\"stop\"",
            "what to do about frames that the file promises but does not hold: refuse, show the one before, or take no time for them",
        ),
        may(
            "damaged",
            POLICIES,
            "\"stop\"",
            "what to do about a damaged frame: refuse, show the one before, or take no time for it",
        ),
        may(
            "interval",
            Wants::Number(above_to(0.0, 31_622_400.0)),
            "from capture times",
            "seconds between stills, of a master whose stills have no capture times",
        ),
        may("from", Wants::ShootMoment, "\"start\"", "the first moment of the recording that is used"),
        may("to", Wants::ShootMoment, "\"end\"", "the last moment of the recording that is used"),
        may("cuts", Wants::List(Kind::Cut), "none", "parts of the recording to leave out"),
        may("hours", Wants::Hours, "all", HOURS_HELP),
        may("days", Wants::Days, "all", DAYS_HELP),
        may("only", Wants::Value(Kind::Every), "all", ONLY_HELP),
        may(
            "across",
            Wants::Truth,
            "false",
            "whether stills on the two sides of a break (a cut, hours or days left out, a gap of more than ten intervals) are mixed, levelled and steadied as if nothing lay between",
        ),
        may(
            "orientation",
            Wants::Choice(&["obey", "ignore"]),
            "\"obey\"",
            "whether the recording's display matrix turns its frames upright",
        ),
    ],
    items: Some(Items { wants: Wants::Text, least: 1, most: 1, what: "one file" }),
    gives: Some(Kind::Stills),
    help: "A recorded video (every frame is a still at its own time) or a master: one file, relative to the script.",
};
