//! The constructors called with plain values: places, moments, rates, eases.

use std::sync::Arc;

use mlua::{Lua, MultiValue, Table, Value};

use super::chosen;
use super::fields::{self, LINEAR, STOP_NUMBER};
use super::form::{Form, Wants};
use super::hints;
use super::made::{Made, What};
use super::moments::{self, DraftMoment};
use super::reader::Reader;
use super::value::{plain_number, short_text};
use crate::curve::arc_length::Drawing;
use crate::curve::ease::{Ease, Jump};
use crate::diag::{self, Diagnostic};
use crate::shot::{Cut, Moment, Rate, StillBox, StillPoint};

/// How far a box may stick out of the still by rounding of the script's own sums.
const BOX_SLACK: f64 = 1e-9;

/// Makes a global of every constructor called with plain values.
pub(super) fn install(lua: &Lua, globals: &Table) -> mlua::Result<()> {
    let one = |name: &'static str, make: fn(&Reader) -> Option<What>| -> mlua::Result<()> {
        let form = fields::call(name);
        globals.raw_set(name, lua.create_function(move |lua, arguments| construct(lua, form, arguments, make))?)
    };
    one("box", area)?;
    one("point", |reader| {
        are_fractions(reader, ["x", "y"])?;
        let (x, y) = reader.number("x").zip(reader.number("y"))?;
        Some(What::Point(StillPoint::Fraction(x, y)))
    })?;
    one("px", |reader| {
        let (x, y) = reader.number("x").zip(reader.number("y"))?;
        Some(What::Point(StillPoint::Pixels(x, y)))
    })?;
    one("drawing", drawing)?;
    one("still", still)?;
    one("clock", clock)?;
    one("part", |reader| Some(What::Moment(DraftMoment::Known(Moment::Part(reader.number("fraction")?)))))?;
    one("cut", |reader| {
        let ends = (reader.moment("from"), reader.moment("to"));
        let (Some(DraftMoment::Known(from)), Some(DraftMoment::Known(to))) = ends else { return None };
        Some(What::Cut(Cut { place: reader.place.clone(), from, to }))
    })?;
    one("every", chosen::every)?;
    one("stills_per_frame", |reader| Some(What::Rate(Rate::StillsPerFrame(reader.number("stills")?))))?;
    one("frames_per_still", |reader| Some(What::Rate(Rate::FramesPerStill(reader.number("frames")?))))?;
    one("times", |reader| Some(What::Rate(Rate::Times(reader.number("factor")?))))?;
    one("percent", |reader| Some(What::Rate(Rate::Percent(reader.number("percent")?))))?;
    one("over", |reader| Some(What::Length(reader.seconds("length")?)))?;
    one("cubic_bezier", cubic_bezier)?;
    one("steps", steps)?;
    globals.raw_set("linear", lua.create_function(|lua, arguments| construct(lua, &LINEAR, arguments, linear))?)
}

/// Runs one constructor call: opens its values, makes something of them, and hands over a stand-in where that failed.
pub(super) fn construct(
    lua: &Lua,
    form: &'static Form,
    arguments: MultiValue,
    make: impl FnOnce(&Reader) -> Option<What>,
) -> mlua::Result<Value> {
    let state = super::state::State::of(lua);
    let reader = Reader::open(lua, form, arguments);
    state.charge(1 + reader.as_ref().map_or(0, |reader| reader.items().len()))?;
    let made = reader.as_ref().and_then(make).filter(|_| reader.as_ref().is_some_and(|reader| !reader.is_broken()));
    let Some(kind) = form.gives else { return Ok(Value::Nil) };
    let Some(place) = reader.map(|reader| reader.place).or_else(|| state.here(lua)) else { return Ok(Value::Nil) };
    let what = made.unwrap_or(What::Broken(kind));
    Ok(Value::UserData(lua.create_userdata(Made { place, what })?))
}

/// Nothing where fractions were written as something else: pixels, percents or beyond the still's edge. It is said once
/// for all of them.
fn are_fractions<const N: usize>(reader: &Reader, names: [&'static str; N]) -> Option<()> {
    let numbers = names.map(|name| plain_number(&reader.raw(name)));
    let values: Vec<f64> = numbers.iter().copied().collect::<Option<_>>().unwrap_or_default();
    let is_over = |value: &f64| value.is_finite() && *value > 1.0;
    if !values.iter().any(is_over) || values.iter().any(|value| !(value.is_finite() && *value >= 0.0)) {
        return Some(());
    }
    let name = if N == 2 { "point" } else { "box" };
    let over = names.iter().zip(&values).filter(|(_, value)| is_over(value));
    let (over, seen): (Vec<String>, Vec<String>) =
        over.map(|(field, value)| (format!("{name}.{field}"), diag::number(*value))).unzip();
    let must = if over.len() == 1 { "must be a number" } else { "must be numbers" };
    let mut mistake =
        Diagnostic::mistake(format!("{} {must} from 0 to 1; seen {}", listed(&over), listed(&seen))).word(name);
    for help in hints::fractions(name, &values) {
        mistake = mistake.help(help);
    }
    reader.mistake(mistake);
    None
}

/// `a`, `a and b`, `a, b and c`.
fn listed(words: &[String]) -> String {
    match words {
        [firsts @ .., last] if !firsts.is_empty() => format!("{} and {last}", firsts.join(", ")),
        _ => words.concat(),
    }
}

fn area(reader: &Reader) -> Option<What> {
    are_fractions(reader, ["x", "y", "width", "height"])?;
    let sides = [reader.number("x"), reader.number("y"), reader.number("width"), reader.number("height")];
    let [Some(x), Some(y), Some(width), Some(height)] = sides else { return None };
    for (start, extent, from, names) in [(x, width, "x", "x + width"), (y, height, "y", "y + height")] {
        if start + extent > 1.0 + BOX_SLACK {
            reader.mistake(
                Diagnostic::mistake(format!(
                    "a box must lie inside the still: {names} must be at most 1; seen {}",
                    diag::number(start + extent)
                ))
                .word("box")
                .help(format!("make {from} smaller, or the box")),
            );
        }
    }
    Some(What::Box(StillBox { x, y, width: width.min(1.0 - x), height: height.min(1.0 - y) }))
}

fn drawing(reader: &Reader) -> Option<What> {
    match Drawing::parse(&reader.text("line")?) {
        Ok(drawing) => Some(What::Drawing(Arc::new(drawing))),
        Err(why) => {
            reader.mistake(
                Diagnostic::mistake(format!("drawing.line must be one line over the still: {why}")).word("drawing").help(
                    "write drawing(\"M 0.1 0.5 L 0.9 0.5\"): M a first point, then L, Q, C, S, T or A to others, all from 0 to 1",
                ),
            );
            None
        }
    }
}

fn still(reader: &Reader) -> Option<What> {
    let which = reader.raw("which");
    let moment = match (plain_number(&which), short_text(&which)) {
        (Some(number), _) if number.fract() == 0.0 && number != 0.0 && number.abs() <= 1e9 =>
        {
            #[expect(clippy::cast_possible_truncation, reason = "whole and within a thousand million")]
            Some(Moment::Still(number as i64))
        }
        (None, Some(name)) if !name.is_empty() && name.len() <= 255 => Some(Moment::StillNamed(name)),
        _ => None,
    };
    if moment.is_none() {
        let zero = plain_number(&which) == Some(0.0);
        reader.refuse("which", zero.then(|| "the first still is still(1), the last still(-1)".to_owned()));
    }
    Some(What::Moment(DraftMoment::Known(moment?)))
}

fn clock(reader: &Reader) -> Option<What> {
    let time = reader.raw("time");
    match short_text(&time).map(|text| moments::clock(&text)) {
        Some(Ok(clock)) => Some(What::Moment(DraftMoment::Known(Moment::Clock(clock)))),
        Some(Err(why)) => {
            reader.refuse("time", Some(why));
            None
        }
        None => {
            reader.refuse("time", None);
            None
        }
    }
}

fn cubic_bezier(reader: &Reader) -> Option<What> {
    let controls = ["x1", "y1", "x2", "y2"].map(|name| reader.number(name));
    let [Some(x1), Some(y1), Some(x2), Some(y2)] = controls else { return None };
    Some(What::Ease(Ease::CubicBezier { x1, y1, x2, y2 }))
}

fn steps(reader: &Reader) -> Option<What> {
    let count = reader.whole("count");
    let jump = reader.text("jump").map_or(Some(Jump::End), |name| Jump::keyword(&name))?;
    let count = count?;
    if count < jump.fewest_steps() {
        reader.refuse("count", Some("\"jump-none\" needs at least 2 steps".into()));
        return None;
    }
    Some(What::Ease(Ease::Steps { count, jump }))
}

fn linear(reader: &Reader) -> Option<What> {
    let mut stops = Vec::new();
    for (path, value) in reader.items() {
        if let Some(output) = plain_number(&value) {
            reader.number_of(&path, STOP_NUMBER, &Value::Number(output))?;
            stops.push((output, None));
            continue;
        }
        let numbers: Vec<Value> = match &value {
            Value::Table(table) => table.sequence_values().collect::<mlua::Result<_>>().unwrap_or_default(),
            _ => Vec::new(),
        };
        if !(1..=3).contains(&numbers.len()) {
            reader.mistake(
                Diagnostic::mistake(format!(
                    "{path} must be {}; seen {}",
                    Wants::Stop.words(),
                    super::value::seen(&value)
                ))
                .word("linear"),
            );
            continue;
        }
        let parts: Vec<Option<f64>> = numbers
            .iter()
            .enumerate()
            .map(|(index, part)| reader.number_of(&format!("{path}[{}]", index + 1), STOP_NUMBER, part))
            .collect();
        let Some(output) = parts[0] else { continue };
        if parts.len() == 1 {
            stops.push((output, None));
        }
        stops.extend(parts[1..].iter().flatten().map(|input| (output, Some(*input))));
    }
    Ease::from_stops(&stops).map(What::Ease)
}
