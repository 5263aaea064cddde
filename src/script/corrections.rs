//! What a shot says that its stills' light and stands are corrected by: `level` and `steady`.

use mlua::Value;

use super::fields::{LEVEL, STEADY};
use super::form::Form;
use super::made::{Kind, What};
use super::reader::Reader;
use super::value::as_made;
use crate::diag::Diagnostic;
use crate::level::Steps;
use crate::register::Undo;
use crate::shot::{Level, LevelBy, Steady, SteadyBy, StillBox};

/// What a field says that is true, false or a table of its own: none where the shot says nothing of it, else whether it
/// is asked for, and the table.
fn asked(reader: &Reader, name: &str, form: &'static Form) -> Option<(bool, Option<Reader>)> {
    match reader.raw(name) {
        Value::Nil => None,
        Value::Boolean(truth) => Some((truth, None)),
        Value::Table(table) if as_made(&Value::Table(table.clone())).is_none() => {
            Some((true, Some(reader.inner(form, table))))
        }
        _ => {
            reader.refuse(name, None);
            None
        }
    }
}

/// The table's curve, beside which none of the `others` goes.
fn curve(reader: &Reader, form: &Form, own: Option<&Reader>, others: &[&str]) -> Option<String> {
    let own = own?;
    let curve = own.text("curve")?;
    if let Some(other) = others.iter().find(|other| own.has(other)) {
        let what = format!("{}.{other} does not go with curve, which decides everything", form.name);
        reader.mistake(Diagnostic::mistake(what).word(*other));
    }
    Some(curve)
}

fn region(own: Option<&Reader>) -> Option<StillBox> {
    match own?.made("region", Kind::Box)?.what {
        What::Box(region) => Some(region),
        _ => None,
    }
}

/// How a shot's stills are levelled.
pub(super) fn level(reader: &Reader) -> Option<Level> {
    let (truth, own) = asked(reader, "level", &LEVEL)?;
    let own = own.as_ref();
    let number = |name: &str| own.and_then(|own| own.number(name));
    let text = |name: &str| own.and_then(|own| own.text(name));
    let (strength, radius, region) = (number("strength").unwrap_or(1.0), number("radius"), region(own));
    let steps = if text("steps").as_deref() == Some("cut") { Steps::Cut } else { Steps::Join };
    let colour = own.and_then(|own| own.truth("colour")).unwrap_or(false);
    let curve = curve(reader, &LEVEL, own, &["strength", "radius", "region", "steps", "colour"]);
    if own.is_some_and(Reader::is_broken) {
        reader.set_broken();
    }
    let by = curve.map_or(LevelBy::Measured { strength, radius, region, steps, colour }, LevelBy::Curve);
    truth.then(|| Level { place: reader.place.clone(), by })
}

/// How a shot's stills are steadied.
pub(super) fn steady(reader: &Reader) -> Option<Steady> {
    let (truth, own) = asked(reader, "steady", &STEADY)?;
    let own = own.as_ref();
    let region = region(own);
    let bumps = own.and_then(|own| own.text("undo")).as_deref() == Some("bumps");
    let room = own.and_then(|own| own.number("room")).unwrap_or(Steady::ROOM);
    let curve = curve(reader, &STEADY, own, &["region", "undo"]);
    if own.is_some_and(Reader::is_broken) {
        reader.set_broken();
    }
    let undo = if bumps { Undo::Bumps } else { Undo::All };
    let by = curve.map_or(SteadyBy::Measured { region, undo }, SteadyBy::Table);
    truth.then(|| Steady { place: reader.place.clone(), by, room })
}
