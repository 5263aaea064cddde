//! Puts a reel together: shots that follow one another in one clip.

use std::collections::BTreeMap;
use std::sync::Arc;

use mlua::{Lua, Table};

use super::calls::construct;
use super::fields::REEL;
use super::form::Wants;
use super::made::{Kind, What};
use super::reader::Reader;
use crate::diag::{Diagnostic, Placed};
use crate::shot::{Delivery, Reel, Shot};

/// Makes `reel` a global.
pub(super) fn install(lua: &Lua, globals: &Table) -> mlua::Result<()> {
    globals.raw_set(REEL.name, lua.create_function(|lua, arguments| construct(lua, &REEL, arguments, reel))?)
}

fn reel(reader: &Reader) -> Option<What> {
    let name = reader.text("name").unwrap_or_default();
    let mix = Placed::new(reader.seconds("mix").unwrap_or(0.0), reader.place.clone());
    let mut shots = Vec::new();
    for (path, value) in reader.items() {
        let made = reader.made_value(&path, Wants::Value(Kind::Shot), &value, &[Kind::Shot]);
        if let Some(What::Shot(shot)) = made.map(|made| made.what) {
            shots.push(Arc::unwrap_or_clone(shot));
        }
    }
    if reader.is_broken() {
        return None;
    }
    let first = shots.first()?.clone();
    for shot in &shots {
        refuse_what_cannot_be_joined(reader, shot);
    }
    for (number, shot) in (1..).zip(&mut shots) {
        if shot.name.is_empty() {
            shot.name = number.to_string();
        }
    }
    refuse_names_in_common(reader, &shots);
    for shot in &mut shots[1..] {
        if let Some(deliveries) = alike(reader, &first, shot) {
            shot.deliveries = deliveries;
        }
    }
    let (place, reel) = (reader.place.clone(), Some(Reel { shots, mix }));
    let (covers, level, steady, length, looped) = (Vec::new(), None, None, None, None);
    Some(What::Shot(Arc::new(Shot { place, name, covers, level, steady, length, looped, reel, ..first })))
}

/// Records a mistake at a line that it brings with it.
fn elsewhere(reader: &Reader, mistake: Diagnostic) {
    reader.set_broken();
    reader.state.record(mistake);
}

/// A reel in a reel, and a master.
fn refuse_what_cannot_be_joined(reader: &Reader, shot: &Shot) {
    if shot.reel.is_some() {
        reader.mistake(
            Diagnostic::mistake("a reel is made of shots; this one holds another reel")
                .word("reel")
                .with(&shot.place, "the other reel")
                .help("write the other reel's shots in its place"),
        );
    }
    if let Some(master) = shot.deliveries.iter().find(|delivery| delivery.every_still) {
        elsewhere(
            reader,
            Diagnostic::mistake(format!("'{}' is a master of one shoot, and no part of a reel", master.name))
                .at(&master.place)
                .word("delivery")
                .help("return the shot that has it by itself: return { shot { … }, reel { … } }"),
        );
    }
}

/// Chapters and sheets are named after shots.
fn refuse_names_in_common(reader: &Reader, shots: &[Shot]) {
    let mut names: BTreeMap<String, &Shot> = BTreeMap::new();
    for shot in shots {
        if let Some(first) = names.insert(shot.name.to_lowercase(), shot) {
            elsewhere(
                reader,
                Diagnostic::mistake(format!("two shots of the reel are called {:?}", shot.name))
                    .at(&shot.place)
                    .word("shot")
                    .with(&first.place, "the other one")
                    .help("give each a name of its own, or none: they are counted then"),
            );
        }
    }
}

/// The deliveries of a later shot in the order of the first one's, whose clips they go on in.
fn alike(reader: &Reader, first: &Shot, shot: &Shot) -> Option<Vec<Delivery>> {
    let names =
        |shot: &Shot| shot.deliveries.iter().map(|one| format!("'{}'", one.name)).collect::<Vec<_>>().join(", ");
    let same = |due: &Delivery| shot.deliveries.iter().find(|one| one.name == due.name);
    let found: Option<Vec<&Delivery>> = first.deliveries.iter().map(same).collect();
    let Some(found) = found.filter(|found| found.len() == shot.deliveries.len()) else {
        elsewhere(
            reader,
            Diagnostic::mistake(format!(
                "the shots of a reel have the same deliveries; '{}' has {}, and the first shot {}",
                shot.name,
                names(shot),
                names(first)
            ))
            .at(&shot.place)
            .word("shot")
            .with(&first.place, "the first shot")
            .help("write them once, local clips = { delivery { … } }, and deliveries = clips in every shot"),
        );
        return None;
    };
    let mut fits = true;
    for (one, other) in first.deliveries.iter().zip(&found) {
        let figures = |delivery: &Delivery| {
            let Delivery { frame, fps, codec, sharpness, resample, blend, extras, .. } = delivery;
            let purpose = extras.purpose.as_ref().map(|purpose| purpose.value.name.clone());
            [
                ("frame", format!("{frame}")),
                ("fps", format!("{fps}")),
                ("codec", format!("{codec:?}")),
                ("sharpness", format!("{sharpness:?}").to_lowercase()),
                ("resample", format!("{resample:?}").to_lowercase()),
                ("light", format!("{:?}", blend.light).to_lowercase()),
                ("purpose", purpose.unwrap_or_else(|| "none".into())),
            ]
        };
        for ((field, due), (_, seen)) in
            figures(one).into_iter().zip(figures(other)).filter(|(one, other)| one != other)
        {
            fits = false;
            let values = if field == "codec" {
                String::new()
            } else {
                format!(": {due} in the first, {seen} in '{}'", shot.name)
            };
            elsewhere(
                reader,
                Diagnostic::mistake(format!(
                    "'{}' is one clip, and {field} differs between its shots{values}",
                    one.name
                ))
                .at(&other.place)
                .word(field)
                .with(&one.place, "the first shot's")
                .help(
                    "write the deliveries once, local clips = { delivery { … } }, and deliveries = clips in every shot",
                ),
            );
        }
    }
    fits.then(|| found.into_iter().cloned().collect())
}
