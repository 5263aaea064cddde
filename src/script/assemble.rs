//! Puts a shot together, and checks what a script returns.

use std::collections::BTreeMap;
use std::sync::Arc;

use mlua::{Lua, Table, Value};

use super::calls::construct;
use super::corrections::{level, steady};
use super::covers;
use super::fields::SHOT;
use super::form::Wants;
use super::gather;
use super::made::{DraftDelivery, DraftFraming, DraftGather, DraftKey, DraftPace, Kind, What};
use super::reader::Reader;
use super::stamps;
use super::state::State;
use super::tables::{blend, moment_of, sound};
use super::tokens;
use super::value::{as_made, seen, sequence};
use crate::diag::{Diagnostic, Place, Placed};
use crate::shot::{
    Blend, Closeness, Delivery, Framing, FramingKey, Moment, Pace, PaceKey, Path, Sharpness, Shot, Sound, Source,
    Stamp, StillPoint, Timecode, View,
};
use crate::units::{FrameRate, parse_timecode};

/// Deliveries of one shot.
const MOST_DELIVERIES: usize = 64;

/// Makes `shot` a global.
pub(super) fn install(lua: &Lua, globals: &Table) -> mlua::Result<()> {
    globals.raw_set(SHOT.name, lua.create_function(|lua, arguments| construct(lua, &SHOT, arguments, shot))?)
}

fn shot(reader: &Reader) -> Option<What> {
    let fps = reader.frame_rate("fps");
    // Where the rate itself is wrong, timecodes are read at one that has most labels: they are not to blame.
    let rate =
        if reader.has("fps") { fps.or_else(|| FrameRate::new(60_000, 1001).ok()) } else { FrameRate::new(24, 1).ok() }?;
    let name = reader.text("name").unwrap_or_default();
    let source = match reader.made("source", Kind::Stills).map(|made| made.what) {
        Some(What::Stills(source)) => Some(Arc::unwrap_or_clone(source)),
        _ => None,
    };
    let pace = pace(reader, rate);
    let length = reader.seconds("length").map(|seconds| Placed::new(seconds, reader.place.clone()));
    let looped = reader.lap("loop").map(|seconds| Placed::new(seconds, reader.place.clone()));
    let framing = match reader.made("framing", Kind::Framing).map(|made| made.what) {
        Some(What::Framing(draft)) => track(reader, &draft, rate),
        _ => Framing { place: reader.place.clone(), keys: Vec::new(), path: Path::Straight },
    };
    let covers = covers::of_shot(reader);
    let sound = sound(reader).flatten();
    let stamps = stamps::of(reader, SHOT.name).unwrap_or_default();
    let (blend, gather) = (blend(reader).or(Blend::default()), gather::of(reader));
    let own = Own { fps: rate, blend, gather: gather.as_ref(), sound: &sound, stamps: &stamps };
    let deliveries = deliveries(reader, own);
    if let Some(source) = source.as_ref().filter(|source| !source.recorded) {
        refuse_sound(
            reader,
            source,
            sound.iter().chain(deliveries.iter().filter_map(|delivery| delivery.sound.as_ref())),
        );
    }
    let (level, steady) = (level(reader), steady(reader));
    let strict = reader.truth("strict").unwrap_or(false);
    let (place, source, pace) = (reader.place.clone(), source?, pace?);
    let fps = rate;
    let reel = None;
    let shot = Shot {
        place,
        name,
        source,
        fps,
        pace,
        length,
        looped,
        framing,
        covers,
        deliveries,
        level,
        steady,
        strict,
        reel,
    };
    Some(What::Shot(Arc::new(shot)))
}

/// Stills have no sound to be kept: refuses the first that asks for it.
fn refuse_sound<'a>(reader: &Reader, source: &Source, mut asked: impl Iterator<Item = &'a Placed<Sound>>) {
    let Some(Placed { place, .. }) = asked.next() else { return };
    reader.set_broken();
    reader.state.record(
        Diagnostic::mistake("sound is a recording's, and this shot's source is stills")
            .at(place)
            .word("sound")
            .with(&source.place, "the source")
            .help("source = recording \"day.mov\" has sound, where it was recorded; or leave sound out"),
    );
}

fn pace(reader: &Reader, fps: FrameRate) -> Option<Placed<Pace>> {
    let value = reader.raw("pace");
    if value.is_nil() {
        return None;
    }
    let made = reader.made_value("shot.pace", Wants::Pace, &value, &[Kind::Rate, Kind::Length, Kind::Pace])?;
    let pace = match made.what {
        What::Rate(rate) => Pace::Constant(rate),
        What::Length(seconds) => Pace::Over(seconds),
        What::Lively(lively) => Pace::Lively(lively),
        What::Pace(draft) => keyed(reader, &draft, &made.place, fps),
        _ => return None,
    };
    Some(Placed::new(pace, made.place))
}

fn keyed(reader: &Reader, draft: &DraftPace, place: &Place, fps: FrameRate) -> Pace {
    let keys = timed(reader, &draft.keys, fps, |key, at| {
        let (rate, freeze, keep, reverse) = (key.rate, key.freeze, key.keep, key.reverse);
        Some(PaceKey { place: key.place.clone(), at, rate, freeze, ease: key.ease.clone(), keep, reverse })
    });
    Pace::Keyed { keys, fit: draft.fit.map(|seconds| Placed::new(seconds, place.clone())) }
}

fn track(reader: &Reader, draft: &DraftFraming, fps: FrameRate) -> Framing {
    let keys = timed(reader, &draft.keys, fps, |key, at| {
        let closeness = key.span.map_or(Closeness::Zoom(key.zoom.unwrap_or(1.0)), Closeness::Span);
        let view = match (key.show, key.on) {
            _ if matches!(draft.path, Path::Follow(_)) => View::Subject { area: key.subject? },
            _ if matches!(draft.path, Path::Drawing(_)) => View::Along { closeness },
            (Some(area), _) => View::Show { area, margin: key.margin.unwrap_or(0.0) },
            (None, on) => View::On { point: on.unwrap_or(StillPoint::Fraction(0.5, 0.5)), closeness },
        };
        Some(FramingKey {
            place: key.place.clone(),
            at,
            view,
            ease: key.ease.clone(),
            hold: key.hold,
            stop: key.stop,
            roll: key.roll,
        })
    });
    Framing { place: draft.place.clone(), keys, path: draft.path.clone() }
}

/// The keys of a track with their moments at the shot's rate; those that have none there are recorded.
fn timed<K>(
    reader: &Reader,
    keys: &[Arc<DraftKey>],
    fps: FrameRate,
    make: impl Fn(&DraftKey, Moment) -> Option<K>,
) -> Vec<K> {
    reader.state.count(keys.len());
    keys.iter().filter_map(|key| make(key, moment_of(reader, key, fps)?)).collect()
}

/// What a shot says for deliveries that do not say themselves.
#[derive(Clone, Copy)]
struct Own<'a> {
    fps: FrameRate,
    blend: Blend,
    gather: Option<&'a DraftGather>,
    sound: &'a Option<Placed<Sound>>,
    stamps: &'a [Stamp],
}

fn deliveries(reader: &Reader, own: Own<'_>) -> Vec<Delivery> {
    let value = reader.raw("deliveries");
    if !value.is_table() {
        reader
            .refuse("deliveries", as_made(&value).map(|_| "put it in braces: deliveries = { delivery { … } }".into()));
        return Vec::new();
    }
    let Some(values) = sequence(&value) else {
        reader.mistake(
            Diagnostic::mistake("shot.deliveries must be a list, without names or gaps")
                .word("deliveries")
                .help("write deliveries = { delivery { … }, delivery { … } }"),
        );
        return Vec::new();
    };
    if values.is_empty() || values.len() > MOST_DELIVERIES {
        reader.mistake(
            Diagnostic::mistake(format!(
                "shot.deliveries must hold 1 to {MOST_DELIVERIES} deliveries; seen {}",
                values.len()
            ))
            .word("deliveries")
            .help("write deliveries = { delivery { \"wide\", frame = { 1920, 1080 } } }"),
        );
        return Vec::new();
    }
    let mut deliveries = Vec::new();
    for (index, value) in (1..).zip(&values) {
        let path = format!("shot.deliveries[{index}]");
        let Some(made) = reader.made_value(&path, Wants::Value(Kind::Delivery), value, &[Kind::Delivery]) else {
            continue;
        };
        if let What::Delivery(draft) = made.what {
            deliveries.push(finished(reader, &draft, own));
        }
    }
    if !unique_deliveries(&reader.state, &deliveries) {
        reader.set_broken();
    }
    deliveries
}

fn finished(reader: &Reader, draft: &DraftDelivery, own: Own<'_>) -> Delivery {
    let Own { fps, blend, gather, sound, stamps } = own;
    // Pictures hold no sound, whatever the shot says, nor do masters, which are the stills as they are.
    let stamps = if draft.every_still { &[] } else { draft.stamps.as_deref().unwrap_or(stamps) };
    let sound = if !draft.codec.has_sound() || draft.every_still { &None } else { sound };
    // All of every still, whatever the shot's framing says.
    let whole = || Framing { place: draft.place.clone(), keys: Vec::new(), path: Path::Straight };
    let framing = draft.framing.as_ref().map(|framing| track(reader, framing, fps)).or(draft.every_still.then(whole));
    let blend = if draft.every_still { Blend::default() } else { draft.blend.or(blend) };
    let gather = if draft.every_still {
        None
    } else {
        gather::finished(reader, draft.gather.as_ref(), gather, (blend, &draft.name, fps))
    };
    let fps = draft.fps.unwrap_or(fps);
    let timecode = draft.timecode.as_deref().and_then(|said| timecode(reader, draft, said, fps));
    Delivery {
        place: draft.place.clone(),
        name: draft.name.clone(),
        frame: draft.frame,
        fps,
        codec: draft.codec.clone(),
        subject_at: draft.subject_at,
        safe: draft.safe,
        framing,
        // Nothing is softened that is painted in its own size.
        sharpness: if draft.every_still { Sharpness::Full } else { draft.sharpness },
        resample: draft.resample,
        blend,
        gather,
        sound: draft.sound.clone().unwrap_or_else(|| sound.clone()),
        timecode,
        stamps: stamps.to_vec(),
        every_still: draft.every_still,
        extras: draft.extras.at_rate(reader, fps),
    }
}

/// What a delivery's timecode is at its rate; what the rate does not have is recorded at the delivery.
fn timecode(reader: &Reader, draft: &DraftDelivery, said: &str, fps: FrameRate) -> Option<Timecode> {
    let checked = if said == "clock" { "00:00:00:00" } else { said };
    match parse_timecode(checked, fps) {
        Ok(_) if said == "clock" => Some(Timecode::Clock),
        Ok(_) => Some(Timecode::Label(said.to_owned())),
        Err(why) => {
            reader.set_broken();
            let mistake = Diagnostic::mistake(why).at(&draft.place).word("timecode");
            reader
                .state
                .record(mistake.help("write \"clock\" for the time of day of the first still, or \"01:00:00:00\""));
            None
        }
    }
}

/// The line of a shot that a script makes and forgets to return.
fn shot_not_returned(last_line: &Place) -> Option<u32> {
    let text = super::source_text(&last_line.file)?;
    let tokens = tokens::tokens(&text);
    let made = tokens.iter().find(|token| token.text == SHOT.name)?;
    tokens.iter().all(|token| token.text != "return").then_some(made.line)
}

/// The shots of what a script returned; what is not one is recorded at the script's last line.
pub(super) fn returned(state: &State, value: &Value, last_line: &Place) -> Vec<Shot> {
    let refuse = |message: String| {
        let mistake = Diagnostic::mistake(message);
        state.record(match value.is_nil().then(|| shot_not_returned(last_line)).flatten() {
            Some(line) => {
                let place = Place { line, ..last_line.clone() };
                mistake.at(&place).word(SHOT.name).help("write return in front of it: return shot { … }")
            }
            None => mistake
                .at(last_line)
                .help("end the script with return shot { … }, or return { shot { … }, shot { … } }"),
        });
        Vec::new()
    };
    let values = match value {
        Value::Table(_) => match sequence(value) {
            Some(values) if !values.is_empty() => values,
            _ => return refuse("a script returns a shot or a list of shots; seen a table that holds neither".into()),
        },
        other => vec![other.clone()],
    };
    let mut shots = Vec::new();
    for (index, value) in (1..).zip(&values) {
        match as_made(value).map(|made| made.what) {
            Some(What::Shot(shot)) => shots.push(Shot::clone(&shot)),
            Some(What::Broken(Kind::Shot)) => {}
            _ if values.len() == 1 => {
                return refuse(format!("a script returns a shot or a list of shots; seen {}", seen(value)));
            }
            _ => {
                return refuse(format!(
                    "a script returns a shot or a list of shots; the list's value {index} is {}",
                    seen(value)
                ));
            }
        }
    }
    unique_names(state, &shots, values.len() > 1);
    shots
}

/// Shots of a list are told apart by name, and so are the deliveries of them all.
fn unique_names(state: &State, shots: &[Shot], several: bool) {
    let mut names: BTreeMap<String, &Shot> = BTreeMap::new();
    for shot in shots.iter().filter(|_| several) {
        if shot.name.is_empty() {
            state.record(
                Diagnostic::mistake("where a script returns several shots, each needs a name")
                    .at(&shot.place)
                    .word("shot")
                    .help("write name = \"morning\""),
            );
        } else if let Some(first) = names.insert(shot.name.to_lowercase(), shot) {
            state.record(
                Diagnostic::mistake(format!("two shots are called {:?}", shot.name))
                    .at(&shot.place)
                    .word(&shot.name)
                    .with(&first.place, "the other one"),
            );
        }
    }
    unique_deliveries(state, shots.iter().flat_map(|shot| &shot.deliveries));
}

/// Whether deliveries are told apart by name, whatever the case; those that are not are recorded.
fn unique_deliveries<'a>(state: &State, deliveries: impl IntoIterator<Item = &'a Delivery>) -> bool {
    let mut names: BTreeMap<String, &Delivery> = BTreeMap::new();
    let mut unique = true;
    for delivery in deliveries {
        if let Some(first) = names.insert(delivery.name.to_lowercase(), delivery) {
            unique = false;
            state.record(
                Diagnostic::mistake(format!(
                    "two deliveries are called {:?} (case does not tell them apart)",
                    delivery.name
                ))
                .at(&delivery.place)
                .word(&delivery.name)
                .with(&first.place, "the other one"),
            );
        }
    }
    unique
}
