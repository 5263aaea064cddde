//! `cover { … }`, and the list of them in a shot.

use std::sync::Arc;

use mlua::{Lua, Table, Value};

use super::calls::construct;
use super::fields::{COVER, SHOT};
use super::form::Wants;
use super::made::{Kind, What};
use super::moments::DraftMoment;
use super::reader::Reader;
use super::tables::{boxed_keys, placed_moment};
use super::tracked;
use super::value::{as_made, count, sequence};
use crate::diag::Diagnostic;
use crate::shot::{Cover, CoverArea, CoverKey, CoverWith};

/// Covers of one shot.
const MOST_COVERS: usize = 1000;

/// Makes `cover` a global.
pub(super) fn install(lua: &Lua, globals: &Table) -> mlua::Result<()> {
    globals.raw_set(COVER.name, lua.create_function(|lua, arguments| construct(lua, &COVER, arguments, cover))?)
}

fn cover(reader: &Reader) -> Option<What> {
    let is = |value: &Value, kind: Kind| as_made(value).is_some_and(|made| made.what.kind() == kind);
    let (boxes, others): (Vec<_>, Vec<_>) = reader.items().into_iter().partition(|(_, value)| is(value, Kind::Box));
    let (keys, strangers): (Vec<_>, Vec<_>) = others.into_iter().partition(|(_, value)| is(value, Kind::Key));
    for (path, value) in &strangers {
        reader.made_value(path, Wants::Boxes, value, &[Kind::Box, Kind::Key]);
    }
    let written = keys.len();
    let refuse = |message: String| {
        let mistake = Diagnostic::mistake(message).word(COVER.name);
        reader.mistake(
            mistake
                .help("write cover { box(x, y, width, height) }, or a key { at = still(10), box(…) } for each place"),
        );
    };
    let track = tracked::of_cover(reader);
    if track.is_some() && !boxes.is_empty() {
        let mistake = Diagnostic::mistake("a tracked cover needs a key: its box belongs to a still").word("track");
        reader.mistake(mistake.help("write cover { key { at = still(10), box(x, y, width, height) }, track = true }"));
    }
    match (boxes.len(), written) {
        (0, 0) | (1, 0) => {}
        (0, 1) if track.is_some() || reader.is_broken() => {}
        (0, 1) => refuse("a cover takes one box, or at least 2 keys; seen 1 key".into()),
        (0, _) => {}
        (boxes, 0) => refuse(format!("a cover takes one box; seen {boxes}: each is a cover of its own")),
        _ => refuse(format!("a cover takes a box or keys, not both; seen {} beside a box", count(written, "key"))),
    }
    let fixed = boxes.first().and_then(|(path, value)| {
        match reader.made_value(path, Wants::Boxes, value, &[Kind::Box])?.what {
            What::Box(area) => Some(area),
            _ => None,
        }
    });
    let keys = boxed_keys(reader, &COVER, "what is covered", keys);
    let one = |key: &Arc<super::made::DraftKey>| match (&key.at, key.subject) {
        (Some(DraftMoment::Known(at)), Some(area)) => {
            Some(CoverKey { place: key.place.clone(), at: at.clone(), area, ease: key.ease.clone() })
        }
        _ => None,
    };
    let keyed = || CoverArea::Keyed(keys.iter().filter_map(one).collect());
    Some(What::Cover(Arc::new(Cover {
        place: reader.place.clone(),
        area: fixed.map_or_else(keyed, CoverArea::Still),
        from: placed_moment(reader, "from"),
        to: placed_moment(reader, "to"),
        with: if reader.text("with").as_deref() == Some("blur") { CoverWith::Blur } else { CoverWith::Fill },
        track,
    })))
}

/// The covers of a shot.
pub(super) fn of_shot(reader: &Reader) -> Vec<Cover> {
    let value = reader.raw("covers");
    if value.is_nil() {
        return Vec::new();
    }
    let Some(values) = sequence(&value) else {
        reader.refuse("covers", as_made(&value).map(|_| "put it in braces: covers = { cover { … } }".into()));
        return Vec::new();
    };
    if values.len() > MOST_COVERS {
        let message = format!("shot.covers holds up to {MOST_COVERS} covers; seen {}", values.len());
        reader.mistake(Diagnostic::mistake(message).word("covers"));
        return Vec::new();
    }
    reader.state.count(values.len());
    let one = |(index, value): (i64, &Value)| {
        let path = format!("{}.covers[{index}]", SHOT.name);
        match reader.made_value(&path, Wants::Value(Kind::Cover), value, &[Kind::Cover])?.what {
            What::Cover(cover) => Some(Cover::clone(&cover)),
            _ => None,
        }
    };
    (1..).zip(&values).filter_map(one).collect()
}
