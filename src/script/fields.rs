//! Every constructor a script may call, with its fields: name, what it takes, its default, its help.
//!
//! The one place they are written down. Checks for unknown fields, nearest names, ranges in messages and the editor
//! types all come from here.

use super::form::{Form, Items, Range, Style, Wants, above_to, from_to, may, must};
use super::made::Kind;
use crate::curve::ease::Jump;
use crate::shot::{Blend, Codec, Gathering, H264, Outline, Pairs, Pin};

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

pub(super) static STILLS: Form = Form {
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

pub(super) static RECORDING: Form = Form {
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

pub(super) static COVER: Form = Form {
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

pub(super) static STAMP: Form = Form {
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

pub(super) static OUTLINE: Form = Form {
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

pub(super) static DELIVERY: Form = Form {
    name: "delivery",
    style: Style::Table,
    fields: &[
        may(
            "purpose",
            Wants::Text,
            "none",
            "a row of the table of purposes (`stillpath purposes` lists them): its frame, rate, codec, quality and safe box hold where the delivery says nothing, and its bounds are held against what comes out",
        ),
        may(
            "frame",
            Wants::Frame,
            "the purpose's; else it must be given",
            "frame size in pixels; even for h264; \"full\" in a master: the still's own",
        ),
        may("fps", Wants::FrameRate, "the shot's", "frames a second"),
        may(
            "every",
            Wants::Choice(&["still"]),
            "what the pace shows",
            "makes a master: every whole still of the source as a frame, all of it, regardless of pace and framing; it opens as recording \"NAME.mkv\" with the stills' names, numbers and clock",
        ),
        may(
            "codec",
            Wants::Codec(&CODEC),
            "\"h264\"; in a master \"ffv1\"",
            "a name, or a table of it with what the codec knows; 8-bit H.264, 10-bit HEVC and AV1 in MP4; 10-bit ProRes and DNxHR HQX in QuickTime; FFV1, which loses nothing, in Matroska; PNG, TIFF and JPEG as a folder of files; in a master FFV1 or HEVC, both in Matroska",
        ),
        may(
            "quality",
            Wants::Quality(&QUALITY),
            "75",
            "0 (smallest) to 100 (finest), one scale for all codecs that lose anything; for h264, hevc and av1 also the encoder's own settings",
        ),
        may(
            "size",
            Wants::Bytes,
            "none: the quality says",
            "h264, hevc and av1: what the finished file may have, such as \"95MB\": it has at most that, and at least 97 % of it where the frames need as much; in place of quality",
        ),
        may("most", Wants::Bits, "no cap", "h264, hevc and av1: the most bits a second, such as \"12M\""),
        may(
            "place",
            Wants::Value(Kind::Point),
            "the middle of safe, point(0.5, 0.5)",
            "where in the frame the point looked at, or the box's centre, is placed",
        ),
        may(
            "safe",
            Wants::Safe(&SAFE),
            "all of the frame",
            "the part of the frame that boxes to show or follow are kept in",
        ),
        may("framing", Wants::Value(Kind::Framing), "the shot's", "keys of its own"),
        may(
            "sharpness",
            Wants::Choice(&["even", "full"]),
            "\"even\"",
            "even: sharpness does not come and go in a slow move; full: the plain kernel",
        ),
        may(
            "resample",
            LIGHT,
            "\"encoded\"",
            "linear: stars, wires and lamps in the dark keep their light where the frame is smaller than its window; painting is softer (sharpness has no say) and takes longer",
        ),
        may("shutter", SHUTTER, "the shot's", SHUTTER_HELP),
        may("gather", Wants::Gather(&GATHER), "the shot's", GATHER_HELP),
        may("between", BETWEEN, "the shot's", BETWEEN_HELP),
        may("light", LIGHT, "the shot's", LIGHT_HELP),
        may("sound", SOUND, "the shot's", SOUND_HELP),
        may(
            "timecode",
            Wants::Text,
            "none",
            "MP4 and QuickTime: the first frame's timecode, \"01:00:00:00\" (\"01:00:00;00\" of drop-frame), or \"clock\", the time of day of the first still",
        ),
        may(
            "title",
            Wants::Text,
            "none",
            "what the file calls itself, up to 200 letters; nothing else that you or a camera wrote goes into a file",
        ),
        may(
            "poster",
            Wants::Poster,
            "none",
            "the frame at this moment is kept beside the output as a picture, NAME-poster.png: a 16-bit PNG, the frame to the code; { moment, \"jpeg\" } makes an 8-bit JPEG",
        ),
        may("stamps", Wants::List(Kind::Stamp), "the shot's", STAMPS_HELP),
    ],
    items: Some(Items { wants: Wants::Name, least: 1, most: 1, what: "its name" }),
    gives: Some(Kind::Delivery),
    help: "A named output: frame size, frame rate, encoding.",
};

pub(super) static GATHER: Form = Form {
    name: "gather",
    style: Style::Inner,
    fields: &[
        may(
            "stills",
            Wants::Whole { low: 2, high: Gathering::MOST_STILLS as i64 },
            "those that pass while the shutter is open",
            "how many stills a frame takes: of brightest and darkest those up to the one whose turn it is, of median those around it",
        ),
        may(
            "grow",
            Wants::Truth,
            "false",
            "brightest, darkest: whether every frame takes one still after the other to what the frame before has",
        ),
        may(
            "from",
            Wants::Moment,
            "the first still",
            "where a growing one begins: until then each frame is one still, as without gather",
        ),
    ],
    items: Some(Items { wants: Wants::Choice(&Gathering::KEYWORDS), least: 1, most: 1, what: "its word" }),
    gives: None,
    help: "Light gathered over many stills. Nothing is gathered across a break.",
};

pub(super) static CODEC: Form = Form {
    name: "delivery.codec",
    style: Style::Inner,
    fields: &[
        may(
            "crf",
            Wants::Number(from_to(1.0, 63.0)),
            "by quality",
            "h264, hevc: the constant rate factor of x264 or x265, 1 to 51; av1: that of SVT-AV1, 1 to 63, whole",
        ),
        may("preset", Wants::Preset, "\"medium\"; 8 for av1", "h264, hevc, av1: the encoder's preset"),
        may("tune", Wants::Choice(&H264::TUNES), "none", "h264: x264's tune"),
        may(
            "profile",
            Wants::Text,
            "by quality",
            "prores: \"proxy\", \"lt\", \"standard\", \"hq\" (all 4:2:2) or \"4444\" (4:4:4)",
        ),
        may("samples", Wants::Text, "\"422\"", "ffv1: \"422\" or \"444\" of 10 bits, or \"rgb\" of 16"),
        may("depth", Wants::Whole { low: 8, high: 16 }, "16", "png: bits of a sample, 8 or 16"),
        may("quality", Wants::Whole { low: 1, high: 100 }, "by the delivery's", "jpeg: libjpeg's scale"),
    ],
    items: Some(Items { wants: Wants::Choice(&Codec::NAMES), least: 1, most: 1, what: "its name" }),
    gives: None,
    help: "A codec with what it knows beside the one scale of quality.",
};

pub(super) static QUALITY: Form = Form {
    name: "delivery.quality",
    style: Style::Inner,
    fields: &[
        may(
            "crf",
            Wants::Number(from_to(1.0, 51.0)),
            "18; 21 for hevc, 8 for av1",
            "the constant rate factor of x264, x265 or SVT-AV1",
        ),
        may("preset", Wants::Choice(&H264::PRESETS), "\"medium\"", "the encoder's preset; not for av1"),
        may("tune", Wants::Choice(&H264::TUNES), "none", "x264's tune"),
    ],
    items: None,
    gives: None,
    help: "The encoder's own settings in place of the one scale.",
};

pub(super) static SAFE: Form = Form {
    name: "delivery.safe",
    style: Style::Inner,
    fields: &[
        may("left", SAFE_MARGIN, "0", "kept free on the left, as a fraction of the frame's width"),
        may("right", SAFE_MARGIN, "0", "kept free on the right, as a fraction of the frame's width"),
        may("top", SAFE_MARGIN, "0", "kept free at the top, as a fraction of the frame's height"),
        may("bottom", SAFE_MARGIN, "0", "kept free at the bottom, as a fraction of the frame's height"),
    ],
    items: None,
    gives: None,
    help: "The safe box by its margins, as for captions laid over a picture; \"action\" is 0.035 on every side, \"title\" 0.05.",
};

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

const RATE: Option<Kind> = Some(Kind::Rate);

/// Constructors called with plain values.
pub(super) static CALLS: [Form; 17] = [
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
