//! The constructors called with a table of fields, but for the shot: sources, keys, tracks, deliveries.

use std::sync::Arc;

use mlua::{Lua, Table, Value};

use super::calls::construct;
use super::chosen;
use super::codec;
use super::extras;
use super::fields::{
    ACTION, DELIVERY, FOLLOW, FOLLOW_FIELDS, FRAMING, FRAMING_FIELDS, KEY, LIVELIEST, PACE, PACE_FIELDS, RECORDING,
    SAFE, SIDE, STILLS,
};
use super::form::{Form, Wants};
use super::gather;
use super::listed;
use super::made::{DraftBlend, DraftDelivery, DraftFraming, DraftKey, DraftPace, DraftSound, Kind, What};
use super::moments::{Axis, DraftMoment};
use super::purposes::{self, Said};
use super::reader::{Named, Reader};
use super::stamps;
use super::tracked;
use super::value::{as_made, seen, sequence};
use crate::curve::flight::Flight;
use crate::diag::{self, Diagnostic, Placed};
use crate::geom::Margins;
use crate::shot::{
    Action, Between, Closeness, Codec, Cut, Delivery, Follow, Light, Lively, Moment, Pairs, Path, Policy, Purpose,
    Sharpness, Sound, Source, StillBox, StillPoint,
};
use crate::units::Size;

/// Makes a global of every constructor called with a table.
pub(super) fn install(lua: &Lua, globals: &Table) -> mlua::Result<()> {
    let one = |form: &'static Form, make: fn(&Reader) -> Option<What>| -> mlua::Result<()> {
        globals.raw_set(form.name, lua.create_function(move |lua, arguments| construct(lua, form, arguments, make))?)
    };
    one(&STILLS, |reader| source(reader, false))?;
    one(&RECORDING, |reader| source(reader, true))?;
    one(&KEY, key)?;
    one(&PACE, pace)?;
    one(&FRAMING, framing)?;
    one(&FOLLOW, follow)?;
    one(&ACTION, action)?;
    one(&LIVELIEST, liveliest)?;
    let delivery = |lua: &Lua, arguments| construct(lua, &DELIVERY, arguments, |reader| delivery(lua, reader));
    globals.raw_set(DELIVERY.name, lua.create_function(delivery)?)
}

fn source(reader: &Reader, recorded: bool) -> Option<What> {
    let paths = reader.items().iter().filter_map(|(path, value)| reader.text_of(path, Wants::Text, value)).collect();
    let policy = |name| match reader.text(name).as_deref() {
        Some("hold") => Policy::Hold,
        Some("skip") => Policy::Skip,
        _ => Policy::Stop,
    };
    let moment = |name| placed_moment(reader, name);
    let source = Arc::new(Source {
        place: reader.place.clone(),
        paths,
        interval: reader.number("interval"),
        missing: policy("missing"),
        damaged: policy("damaged"),
        from: moment("from"),
        to: moment("to"),
        chosen: chosen::chosen(reader),
        across: reader.truth("across").unwrap_or(false),
        cuts: cuts(reader, if recorded { RECORDING.name } else { STILLS.name }),
        obey_orientation: reader.text("orientation").as_deref() != Some("ignore"),
        pairs: reader.text("pairs").and_then(|kind| Pairs::from_keyword(&kind)).unwrap_or_default(),
        camera: reader.text("camera"),
        recorded,
    });
    reader.state.note_source(&source);
    Some(What::Stills(source))
}

/// A moment of the shoot with the line that made it.
pub(super) fn placed_moment(reader: &Reader, name: &str) -> Option<Placed<Moment>> {
    let place = as_made(&reader.raw(name)).map_or_else(|| reader.place.clone(), |made| made.place);
    match reader.moment(name)? {
        DraftMoment::Known(moment) => Some(Placed::new(moment, place)),
        DraftMoment::Timecode(_) => None,
    }
}

fn cuts(reader: &Reader, form: &str) -> Vec<Cut> {
    let value = reader.raw("cuts");
    if value.is_nil() {
        return Vec::new();
    }
    let Some(values) = sequence(&value) else {
        reader.refuse("cuts", as_made(&value).map(|_| "put it in braces: cuts = { cut(still(10), still(20)) }".into()));
        return Vec::new();
    };
    let one = |(index, value): (i64, &Value)| {
        let path = format!("{form}.cuts[{index}]");
        match reader.made_value(&path, Wants::Value(Kind::Cut), value, &[Kind::Cut])?.what {
            What::Cut(cut) => Some(cut),
            _ => None,
        }
    };
    reader.state.count(values.len());
    (1..).zip(&values).filter_map(one).collect()
}

fn key(reader: &Reader) -> Option<What> {
    let rate = match reader.made("rate", Kind::Rate).map(|made| made.what) {
        Some(What::Rate(rate)) => Some(rate),
        _ => None,
    };
    let show = match reader.made("show", Kind::Box).map(|made| made.what) {
        Some(What::Box(area)) => Some(area),
        _ => None,
    };
    let mut key = DraftKey {
        place: reader.place.clone(),
        at: reader.moment("at"),
        ease: reader.ease("ease").unwrap_or_default(),
        rate,
        keep: reader.truth("keep").unwrap_or(false),
        freeze: reader.seconds("freeze"),
        reverse: reader.truth("reverse").unwrap_or(false),
        on: reader.point("on"),
        show,
        zoom: reader.number("zoom"),
        span: reader.number("span"),
        margin: reader.number("margin"),
        hold: reader.seconds("hold").unwrap_or(0.0),
        stop: reader.truth("stop").unwrap_or(false),
        subject: subject(reader),
        roll: reader.number("roll").unwrap_or(0.0),
        given: KEY.fields.iter().map(|field| field.name).filter(|name| reader.has(name)).collect(),
    };
    // A broken key still says which fields it was given, so that a track can tell whether it belongs there.
    if reader.is_broken() {
        key.at = None;
        reader.clear_broken();
    }
    Some(What::Key(Arc::new(key)))
}

/// The box that stands in a key without a name.
fn subject(reader: &Reader) -> Option<StillBox> {
    let items = reader.items();
    let (path, value) = items.first()?;
    if as_made(value).is_none_or(|made| made.what.kind() != Kind::Box) {
        let mistake = Diagnostic::mistake(format!(
            "key takes named fields, and in a follow or a cover a box without a name; seen {} without a name",
            seen(value)
        ));
        let mistake = mistake.word(KEY.name).help(format!("its fields are: {}", KEY.names().join(", ")));
        reader.mistake(match value {
            Value::Boolean(_) => mistake.help("a field takes one '=': zoom = 1.5"),
            _ => mistake,
        });
        return None;
    }
    match reader.made_value(path, Wants::Value(Kind::Box), value, &[Kind::Box])?.what {
        What::Box(area) => Some(area),
        _ => None,
    }
}

/// The keys of a track; those that belong to the other kind of track are recorded at their own lines.
fn keys(reader: &Reader, track: &str, wants: Wants, others: &[&str], other_track: &str) -> Vec<Arc<DraftKey>> {
    let mut keys = Vec::new();
    for (path, value) in reader.items() {
        let Some(made) = reader.made_value(&path, wants, &value, &[Kind::Key]) else { continue };
        let What::Key(key) = made.what else { continue };
        let strangers: Vec<&str> = key.given.iter().copied().filter(|name| others.contains(name)).collect();
        if let Some(first) = strangers.first() {
            reader.set_broken();
            reader.state.record(
                Diagnostic::mistake(format!(
                    "a key of a {track} has no '{}': that belongs to a {other_track}",
                    strangers.join("', '")
                ))
                .at(&key.place)
                .word(*first)
                .with(&reader.place, format!("used in this {track}"))
                .help(match track {
                    "pace" => format!("a key of a pace takes: at, ease, {}", PACE_FIELDS.join(", ")),
                    _ => format!("a key of a framing takes: at, ease, {}", FRAMING_FIELDS.join(", ")),
                }),
            );
            continue;
        }
        if key.at.is_none() {
            reader.set_broken();
            continue;
        }
        if key.subject.is_some() {
            reader.set_broken();
            reader.state.record(
                Diagnostic::mistake(format!(
                    "a key of a {track} takes no box without a name: that belongs to a follow or a cover"
                ))
                .at(&key.place)
                .word("box")
                .with(&reader.place, format!("used in this {track}"))
                .help(match track {
                    "pace" => "leave the box out: a pace says how fast, and no place",
                    _ => "in a framing a box to show is written show = box(x, y, width, height)",
                }),
            );
            continue;
        }
        keys.push(key);
    }
    keys
}

fn pace(reader: &Reader) -> Option<What> {
    let keys = keys(reader, "pace", Wants::Value(Kind::Key), &FRAMING_FIELDS, "framing");
    for key in &keys {
        let complaint = match (key.rate, key.freeze) {
            (None, None) => ("a key of a pace needs a rate", "key"),
            (None, Some(_)) if key.reverse => {
                ("reverse goes with a rate: it says which way the shoot runs to it", "reverse")
            }
            (None, Some(_)) if key.keep => ("keep goes with a rate: a freeze is never scaled", "keep"),
            (None, Some(_)) if key.given.contains(&"ease") => {
                ("ease goes with a rate: a freeze has none to ease to", "ease")
            }
            _ => continue,
        };
        reader.set_broken();
        reader.state.record(
            Diagnostic::mistake(complaint.0)
                .at(&key.place)
                .word(complaint.1)
                .with(&reader.place, "used in this pace")
                .help("write rate = stills_per_frame(1), or frames_per_still, times, percent"),
        );
    }
    if !keys.is_empty() && keys.iter().all(|key| key.rate.is_none() && key.freeze.is_some()) {
        reader.mistake(
            Diagnostic::mistake("a pace needs at least one key with a rate")
                .word("pace")
                .help("key { at = \"start\", rate = stills_per_frame(1) } is one"),
        );
    }
    // In a pace "start" and "end" are the shoot's.
    let on_screen = |key: &&Arc<DraftKey>| key.at.as_ref().is_some_and(|at| at.axis() == Axis::Screen);
    let screen = keys.iter().find(on_screen);
    let shoot = keys.iter().find(|key| !on_screen(key));
    if let (Some(screen), Some(shoot)) = (screen, shoot) {
        reader.set_broken();
        reader.state.record(
            Diagnostic::mistake("the keys of a pace lie on one axis: all on screen time, or all on the shoot's")
                .at(&screen.place)
                .word("at")
                .with(&shoot.place, "this key is on the shoot's axis")
                .help(
                    "seconds and timecode are screen time; still, clock, part, \"start\" and \"end\" are the shoot's",
                ),
        );
    } else if screen.is_some() && reader.has("fit") {
        reader.mistake(
            Diagnostic::mistake(
                "fit needs a pace keyed on the shoot's axis: screen time cannot be scaled to fit itself",
            )
            .word("fit")
            .help("key the pace on still(n), clock, part, \"start\" or \"end\""),
        );
    }
    Some(What::Pace(Arc::new(DraftPace { keys, fit: reader.seconds("fit") })))
}

fn framing(reader: &Reader) -> Option<What> {
    let keys = keys(reader, "framing", Wants::Value(Kind::Key), &PACE_FIELDS, "pace");
    let path = listed::path(reader, path(reader));
    // A drawing that is none has been said: its keys are a drawing's all the same.
    let drawn = as_made(&reader.raw("path")).is_some_and(|made| made.what.kind() == Kind::Drawing);
    for key in &keys {
        let has = |name: &str| key.given.contains(&name);
        let complaint = match (has("on"), has("show")) {
            (true, _) if drawn => Some(("the drawing sets the place: a key along it has no point (on)", "on")),
            (_, true) if drawn => Some(("the drawing sets the place: a key along it has no box (show)", "show")),
            (false, false) if drawn && has("margin") => {
                Some(("margin goes with show, which a key along a drawing does not have", "margin"))
            }
            (false, false) if drawn && !(has("zoom") && has("span")) => None,
            (false, false) if drawn => Some(("use either zoom or span, not both", "span")),
            (false, false) => Some(("a key of a framing needs a point (on) or a box (show)", "key")),
            (true, true) => Some(("a key of a framing has either a point (on) or a box (show), not both", "show")),
            (true, false) if has("margin") => Some(("margin goes with show: a point has none", "margin")),
            (true, false) if has("zoom") && has("span") => Some(("use either zoom or span, not both", "span")),
            (false, true) if has("zoom") => Some(("show sets the closeness on its own: it takes no zoom", "zoom")),
            (false, true) if has("span") => Some(("show sets the closeness on its own: it takes no span", "span")),
            _ => None,
        };
        if let Some((complaint, word)) = complaint {
            reader.set_broken();
            // What stands there may have been a name that nothing set: that has been said.
            if !has("on") && !has("show") && reader.state.has_recorded(&key.place, "there is no '") {
                continue;
            }
            reader.state.record(Diagnostic::mistake(complaint).at(&key.place).word(word).help(if drawn {
                "write key { at = \"start\", zoom = 2 }: along a drawing a key has a moment, and zoom or span"
            } else {
                "write on = point(x, y) with zoom or span, or show = box(x, y, width, height) with margin"
            }));
        }
    }
    Some(What::Framing(Arc::new(DraftFraming { place: reader.place.clone(), path, keys })))
}

fn follow(reader: &Reader) -> Option<What> {
    let keys = boxed_keys(reader, &FOLLOW, "a subject", reader.items());
    if reader.has("zoom") && reader.has("span") {
        reader.mistake(Diagnostic::mistake("use either zoom or span in a follow, not both").word("span"));
    }
    let closeness = reader.number("zoom").map(Closeness::Zoom).or(reader.number("span").map(Closeness::Span));
    let track = tracked::of_follow(reader);
    tracked::check_keys(reader, keys.len(), track.as_ref());
    let path = Path::Follow(Follow { margin: reader.number("margin").unwrap_or(0.0), closeness, track });
    Some(What::Framing(Arc::new(DraftFraming { place: reader.place.clone(), path, keys })))
}

fn action(reader: &Reader) -> Option<What> {
    let (zoom, calm) = (reader.number("zoom").unwrap_or(Action::ZOOM), reader.number("calm").unwrap_or(Action::CALM));
    let path = Path::Action(Action { zoom, calm });
    Some(What::Framing(Arc::new(DraftFraming { place: reader.place.clone(), path, keys: Vec::new() })))
}

fn liveliest(reader: &Reader) -> Option<What> {
    let rate = |name| match reader.made(name, Kind::Rate).map(|made| made.what) {
        Some(What::Rate(rate)) => Some(rate),
        _ => None,
    };
    let (slowest, fastest) = (rate("slowest"), rate("fastest"));
    Some(What::Lively(Lively { seconds: reader.seconds("length")?, slowest, fastest }))
}

/// Keys that say where something is at some stills, each with a box; those that do not are recorded at their own lines.
pub(super) fn boxed_keys(reader: &Reader, form: &Form, what: &str, items: Vec<(String, Value)>) -> Vec<Arc<DraftKey>> {
    let name = form.name;
    let mut keys = Vec::new();
    for (path, value) in items {
        let Some(made) = reader.made_value(&path, Wants::Value(Kind::Key), &value, &[Kind::Key]) else { continue };
        let What::Key(key) = made.what else { continue };
        let Some(at) = &key.at else {
            reader.set_broken();
            continue;
        };
        let stranger = key.given.iter().find(|name| !FOLLOW_FIELDS.contains(name));
        let complaint = match (stranger, key.subject) {
            (Some(&"show"), None) => Some((format!("in a {name} the box is written without a name"), "show")),
            (Some(field), _) => Some((format!("a key of a {name} has no '{field}'"), *field)),
            (None, None) => Some((format!("a key of a {name} needs a box: where {what} is"), "key")),
            (None, Some(_)) if at.axis() == Axis::Screen => Some((
                format!("the place of {what} belongs to a still: a time of the clip does not say which one"),
                "at",
            )),
            (None, Some(_)) => None,
        };
        if let Some((complaint, word)) = complaint {
            reader.set_broken();
            let used = format!("used in this {name}");
            let mistake = Diagnostic::mistake(complaint).at(&key.place).word(word).with(&reader.place, used);
            reader.state.record(match word {
                "at" => {
                    mistake.help("at = still(10), still \"NAME\", clock \"14:32\", part(0.25), \"start\" or \"end\"")
                }
                "show" | "key" => mistake.help("write key { at = still(10), box(x, y, width, height) }"),
                field if form.field(field).is_some() => {
                    mistake.help(format!("{field} belongs to the {name} itself: {name} {{ {field} = …, key {{ … }} }}"))
                }
                _ => mistake.help(format!("a key of a {name} takes: at, ease, and the box without a name")),
            });
            continue;
        }
        keys.push(key);
    }
    keys
}

/// The path of a framing; `rho` goes with a flight alone.
fn path(reader: &Reader) -> Path {
    let rho = reader.number("rho");
    let path = match reader.path("path") {
        Some(Named::Made(drawing)) => Path::Drawing(drawing),
        Some(Named::Name("smooth")) => Path::Smooth,
        Some(Named::Name("flight")) => Path::Flight { rho: rho.unwrap_or(Flight::RHO) },
        _ => Path::Straight,
    };
    if reader.has("rho") && !matches!(path, Path::Flight { .. }) {
        reader.mistake(
            Diagnostic::mistake("rho belongs to a flight: no other path takes it")
                .word("rho")
                .help("write path = \"flight\", or leave it out"),
        );
    }
    path
}

/// A delivery: what the script says, and of the rest what its purpose says, where it has one.
fn delivery(lua: &Lua, reader: &Reader) -> Option<What> {
    // A master is refused a purpose: that is said with the rest of what it has no use for.
    if !reader.has("purpose") || reader.has("every") {
        return delivery_of(reader, None);
    }
    // What is wrong with the rest cannot be told without the row.
    let row = purposes::row(lua, reader, of_row)?;
    let whole = reader.over(row.under(lua, reader).ok()?);
    let made = delivery_of(&whole, Some(row.purpose));
    if whole.is_broken() {
        reader.set_broken();
    }
    made
}

/// What a row of the table of purposes says in a delivery's own words.
pub(super) fn of_row(row: &Reader) -> Said {
    Said {
        frame: row.has("frame").then(|| frame(row, false)).flatten(),
        fps: row.frame_rate("fps"),
        codec: (row.has("codec") || row.has("quality")).then(|| codec::codec(row, false)),
        safe: row.has("safe").then(|| safe(row)),
    }
}

fn delivery_of(reader: &Reader, purpose: Option<Arc<Purpose>>) -> Option<What> {
    let name =
        reader.items().first().and_then(|(_, value)| reader.text_of("delivery[1] (its name)", Wants::Name, value));
    let every_still = reader.text("every").is_some();
    let frame = frame(reader, every_still);
    let codec = codec::codec(reader, every_still);
    if every_still {
        whole_stills_only(reader);
    }
    let safe = safe(reader);
    let subject_at = match reader.point("place") {
        Some(StillPoint::Fraction(x, y)) => (x, y),
        Some(StillPoint::Pixels(..)) => {
            reader.refuse("place", Some("place is in fractions of the frame: write point(0.5, 0.4)".into()));
            (0.5, 0.5)
        }
        None => safe.middle(),
    };
    let framing = match reader.made("framing", Kind::Framing).map(|made| made.what) {
        Some(What::Framing(framing)) => Some(framing),
        _ => None,
    };
    let sharpness = if reader.text("sharpness").as_deref() == Some("full") { Sharpness::Full } else { Sharpness::Even };
    let resample = if reader.text("resample").as_deref() == Some("linear") { Light::Linear } else { Light::Encoded };
    let fps = reader.frame_rate("fps");
    let sound = own_sound(reader, &codec);
    let extras = extras::of_delivery(reader, &codec, purpose);
    Some(What::Delivery(Arc::new(DraftDelivery {
        place: reader.place.clone(),
        name: name?,
        frame: frame?,
        fps,
        subject_at,
        safe,
        framing,
        sharpness,
        resample,
        blend: blend(reader),
        gather: gather::of(reader),
        sound,
        timecode: timecode(reader, &codec),
        codec,
        stamps: stamps::of(reader, DELIVERY.name),
        every_still,
        extras,
    })))
}

/// Fields of a delivery that say what of a still is shown, and when: a master is all of every still.
const NOT_A_MASTERS: [&str; 15] = [
    "framing",
    "place",
    "safe",
    "sharpness",
    "resample",
    "shutter",
    "gather",
    "between",
    "light",
    "sound",
    "stamps",
    "purpose",
    "title",
    "poster",
    "timecode",
];

/// Refuses what a master has no use for.
fn whole_stills_only(reader: &Reader) {
    for field in NOT_A_MASTERS {
        if reader.has(field) {
            reader.mistake(
                Diagnostic::mistake(format!(
                    "delivery.{field} does not go with every = \"still\": a master is all of every still"
                ))
                .word(field)
                .help(format!("leave {field} out, or make a delivery beside the master that has it")),
            );
        }
    }
}

/// What a delivery says of its first frame's timecode.
fn timecode(reader: &Reader, codec: &Codec) -> Option<String> {
    let said = reader.text("timecode")?;
    if !codec.has_timecode() {
        let words = format!("delivery.timecode does not go with codec = {:?}: it has no track for it", codec.name());
        let help = "leave timecode out; MP4 and QuickTime have one: \"h264\", \"hevc\", \"av1\", \"prores\", \"dnxhr\"";
        reader.mistake(Diagnostic::mistake(words).word("timecode").help(help));
    }
    Some(said)
}

/// What a delivery itself says of the recording's sound.
fn own_sound(reader: &Reader, codec: &Codec) -> Option<DraftSound> {
    let said = sound(reader)?;
    if said.is_some() && !codec.has_sound() {
        let why = if codec.is_sequence() { "pictures hold no sound" } else { "its clock is too coarse for sound" };
        let words = format!("delivery.sound does not go with codec = {:?}: {why}", codec.name());
        reader.mistake(Diagnostic::mistake(words).word("sound"));
    }
    Some(said)
}

/// What a shot or a delivery says of the recording's sound; nothing where it does not say.
pub(super) fn sound(reader: &Reader) -> Option<DraftSound> {
    let said = reader.text("sound")?;
    Some((said == "real-time").then(|| Placed::new(Sound::RealTime, reader.place.clone())))
}

/// What a delivery's boxes are kept out of.
fn safe(reader: &Reader) -> Margins {
    match reader.raw("safe") {
        Value::Nil => Margins::default(),
        Value::Table(table) => {
            let own = reader.inner(&SAFE, table);
            let margin = |name| own.number(name).unwrap_or(0.0);
            let margins =
                Margins { left: margin("left"), right: margin("right"), top: margin("top"), bottom: margin("bottom") };
            if own.is_broken() {
                reader.set_broken();
            }
            for (one, other, names) in
                [(margins.left, margins.right, "left and right"), (margins.top, margins.bottom, "top and bottom")]
            {
                if one + other >= 1.0 {
                    reader.mistake(
                        Diagnostic::mistake(format!(
                            "delivery.safe leaves nothing: {names} must be below 1 together; seen {}",
                            diag::number(one + other)
                        ))
                        .word("safe")
                        .help("these are fractions of the frame that are kept free: bottom = 0.2 is its lowest fifth"),
                    );
                }
            }
            margins
        }
        _ => match reader.text("safe").as_deref() {
            Some("action") => Margins::ACTION,
            Some("title") => Margins::TITLE,
            _ => Margins::default(),
        },
    }
}

/// What a shot or a delivery says of frames of several stills.
pub(super) fn blend(reader: &Reader) -> DraftBlend {
    DraftBlend {
        shutter: reader.number("shutter"),
        between: reader.text("between").map(|name| match name.as_str() {
            "mix" => Between::Mix,
            "motion" => Between::Motion,
            _ => Between::Nearest,
        }),
        light: reader.text("light").map(|name| if name == "encoded" { Light::Encoded } else { Light::Linear }),
    }
}

/// What a codec makes of such a frame is for the codec to say, once there is a plan.
fn frame(reader: &Reader, every_still: bool) -> Option<Size> {
    let value = reader.raw("frame");
    let is_full = matches!(&value, Value::String(text) if *text.as_bytes() == *Delivery::FULL_KEYWORD.as_bytes());
    if is_full != every_still && (is_full || value.is_table()) {
        let (said, lacks) =
            if is_full { ("frame = \"full\"", "every = \"still\"") } else { ("every = \"still\"", "frame = \"full\"") };
        reader.mistake(
            Diagnostic::mistake(format!(
                "{said} goes with {lacks}: together they make a master, every still in its own size"
            ))
            .word(if is_full { "frame" } else { "every" })
            .help("write delivery { \"master\", frame = \"full\", every = \"still\" }"),
        );
        return None;
    }
    if is_full {
        return Some(Delivery::FULL);
    }
    let Value::Table(table) = &value else {
        reader.must_have("frame");
        reader.refuse("frame", None);
        return None;
    };
    let parts: Vec<(Value, Value)> = table.pairs().collect::<mlua::Result<_>>().unwrap_or_default();
    let is_side = |name: &Value| matches!(name, Value::Integer(1 | 2));
    // A table has no order of its own: the same script says the same.
    if let Some(name) = parts.iter().filter(|(name, _)| !is_side(name)).map(|(name, _)| seen(name)).min() {
        reader.mistake(
            Diagnostic::mistake(format!("delivery.frame is {}; seen a field {name}", Wants::Frame.words()))
                .word("frame")
                .help("write frame = { 1920, 1080 }"),
        );
        return None;
    }
    let sides = [1, 2].map(|index: i64| {
        let side: Value = table.raw_get(index).unwrap_or(Value::Nil);
        let path = format!("delivery.frame[{index}]");
        let number = reader.number_of(&path, SIDE, &side)?;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and within 16 to 16384")]
        Some(number as u32)
    });
    let [Some(width), Some(height)] = sides else { return None };
    Some(Size::new(width, height))
}

/// The moment of a key at the shot's rate; a timecode the rate does not have is recorded at the key's line.
pub(super) fn moment_of(reader: &Reader, key: &DraftKey, fps: crate::units::FrameRate) -> Option<Moment> {
    match key.at.as_ref()?.at_rate(fps) {
        Ok(moment) => Some(moment),
        Err(why) => {
            reader.set_broken();
            reader.state.record(
                Diagnostic::mistake(why).at(&key.place).word("at").with(&reader.place, "the rate is this shot's"),
            );
            None
        }
    }
}
