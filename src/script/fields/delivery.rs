//! `delivery`, and the tables that its fields take.

use super::{
    BETWEEN, BETWEEN_HELP, GATHER_HELP, LIGHT, LIGHT_HELP, SAFE_MARGIN, SHUTTER, SHUTTER_HELP, SOUND, SOUND_HELP,
    STAMPS_HELP,
};
use crate::script::form::{Form, Items, Style, Wants, from_to, may};
use crate::script::made::Kind;
use crate::shot::{Codec, Gathering, H264};

pub(in crate::script) static DELIVERY: Form = Form {
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

pub(in crate::script) static GATHER: Form = Form {
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

pub(in crate::script) static CODEC: Form = Form {
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

pub(in crate::script) static QUALITY: Form = Form {
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

pub(in crate::script) static SAFE: Form = Form {
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
