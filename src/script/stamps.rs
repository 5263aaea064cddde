//! `stamp { … }`, and the list of them in a shot or a delivery.

use jiff::civil::DateTime;
use jiff::fmt::strtime;
use mlua::{Lua, Table, Value};

use super::calls::construct;
use super::fields::{OUTLINE, STAMP};
use super::form::Wants;
use super::made::{Kind, What};
use super::reader::Reader;
use super::value::{as_made, plain_number, sequence};
use crate::diag::Diagnostic;
use crate::shot::{Colour, Outline, Piece, Pin, Stamp, StampWhat, StillPoint, Wording, elapsed};

/// Stamps of one shot or delivery.
const MOST_STAMPS: usize = 32;

/// Letters of a stamp's text as written.
const LONGEST: usize = 500;

/// How braces are written.
const DOUBLED: &str = "a brace that is to be seen is doubled: {{ and }}";

/// What may stand in braces.
fn words() -> String {
    format!("words in braces: {}", Piece::WORDS.map(|word| format!("{{{word}}}")).join(", "))
}

/// Makes `stamp` a global.
pub(super) fn install(lua: &Lua, globals: &Table) -> mlua::Result<()> {
    globals.raw_set(STAMP.name, lua.create_function(|lua, arguments| construct(lua, &STAMP, arguments, stamp))?)
}

fn stamp(reader: &Reader) -> Option<What> {
    let what = what(reader);
    let at = match reader.point("at") {
        Some(StillPoint::Fraction(x, y)) => (x, y),
        Some(StillPoint::Pixels(..)) => {
            reader.refuse("at", Some("at is in fractions of the frame: write point(0.95, 0.95)".into()));
            Stamp::AT
        }
        None => Stamp::AT,
    };
    let pin = reader.text("pin").and_then(|pin| Pin::from_keyword(&pin)).unwrap_or_else(|| Pin::inwards(at));
    let size = reader.number("size").unwrap_or(Stamp::SIZE);
    Some(What::Stamp(Stamp { place: reader.place.clone(), what: what?, at, pin, size }))
}

fn what(reader: &Reader) -> Option<StampWhat> {
    let (text, picture) = (reader.text("text"), reader.text("picture"));
    let (colour, outline) = (colour(reader, "colour").unwrap_or(Colour::WHITE), outline(reader));
    let refuse = |message: &str, word: &str| {
        reader.mistake(
            Diagnostic::mistake(message)
                .word(word)
                .help("write stamp { text = \"{clock:%H:%M}\" } or stamp { picture = \"logo.png\" }"),
        );
        None
    };
    match (reader.has("text"), reader.has("picture")) {
        (false, false) => refuse("a stamp needs a text or a picture", STAMP.name),
        (true, true) => refuse("a stamp has either a text or a picture, not both", "picture"),
        (true, false) => {
            let (said, font) = (text?, reader.text("font"));
            let pieces = pieces(reader, &said)?;
            Some(StampWhat::Text(Wording { said, pieces, font, colour, outline }))
        }
        (false, true) => {
            let of_text = ["font", "colour", "outline"].into_iter().find(|field| reader.has(field));
            if let Some(field) = of_text {
                return refuse(&format!("{field} goes with text: a picture has its own look"), field);
            }
            picture.map(StampWhat::Picture)
        }
    }
}

/// A colour, `"#rrggbb"`.
fn colour(reader: &Reader, name: &str) -> Option<Colour> {
    let text = reader.text(name)?;
    let colour = Colour::parse(&text);
    if colour.is_none() {
        reader.refuse(name, Some("two digits of 0 to 9 and a to f each for red, green and blue: \"#ffd200\"".into()));
    }
    colour
}

/// The line around the letters: as usual where nothing is said.
fn outline(reader: &Reader) -> Option<Outline> {
    match reader.raw("outline") {
        Value::Nil | Value::Boolean(true) => Some(Outline::USUAL),
        Value::Boolean(false) => None,
        Value::Table(table) if as_made(&Value::Table(table.clone())).is_none() => {
            let own = reader.inner(&OUTLINE, table);
            let width = own.number("width").unwrap_or(Outline::USUAL.width);
            let colour = colour(&own, "colour").unwrap_or(Outline::USUAL.colour);
            if own.is_broken() {
                reader.set_broken();
            }
            (width > 0.0).then_some(Outline { width, colour })
        }
        other => {
            let width = plain_number(&other).filter(|width| (0.0..=Outline::WIDEST).contains(width));
            if width.is_none() {
                reader.refuse("outline", None);
            }
            width.filter(|width| *width > 0.0).map(|width| Outline { width, ..Outline::USUAL })
        }
    }
}

/// A text in its pieces; what is wrong with it is recorded.
fn pieces(reader: &Reader, said: &str) -> Option<Vec<Piece>> {
    let refuse = |mistake: Diagnostic| {
        reader.mistake(mistake);
        None
    };
    let wrong = |message: String| Diagnostic::mistake(message).word("text");
    if said.chars().count() > LONGEST {
        return refuse(wrong(format!("a stamp's text has up to {LONGEST} letters; seen {}", said.chars().count())));
    }
    if said.contains(char::is_control) {
        return refuse(wrong("a stamp's text is one line, without tabs".into()).help("make a stamp of each line"));
    }
    if said.trim().is_empty() {
        return refuse(wrong("a stamp's text shows nothing: all of it is blank".into()));
    }
    let braces = |mistake: Diagnostic| {
        mistake
            .help("a brace that is to be seen is doubled: {{ and }}")
            .help(format!("words in braces: {}", Piece::WORDS.map(|word| format!("{{{word}}}")).join(", ")))
    };
    let mut pieces = Vec::new();
    let mut plain = String::new();
    let mut rest = said;
    while let Some(letter) = rest.chars().next() {
        match rest.as_bytes() {
            [b'{', b'{', ..] | [b'}', b'}', ..] => {
                plain.push(letter);
                rest = &rest[2..];
            }
            [b'{', ..] => {
                let Some(end) = rest.find('}') else {
                    return refuse(braces(wrong(format!("a brace of this text is not closed; seen {said:?}"))));
                };
                if !plain.is_empty() {
                    pieces.push(Piece::Plain(std::mem::take(&mut plain)));
                }
                match piece(&rest[1..end]) {
                    Ok(piece) => pieces.push(piece),
                    Err(mistake) => return refuse(*mistake),
                }
                rest = &rest[end + 1..];
            }
            [b'}', ..] => {
                return refuse(braces(wrong(format!("a brace of this text was never opened; seen {said:?}"))));
            }
            _ => {
                plain.push(letter);
                rest = &rest[letter.len_utf8()..];
            }
        }
    }
    if !plain.is_empty() {
        pieces.push(Piece::Plain(plain));
    }
    Some(pieces)
}

/// What stands between braces.
fn piece(inner: &str) -> Result<Piece, Box<Diagnostic>> {
    let (word, format) = inner.split_once(':').map_or((inner, None), |(word, format)| (word, Some(format)));
    let wrong = |message: String| Box::new(Diagnostic::mistake(message).word(inner));
    match (word, format) {
        (_, Some("")) => Err(Box::new(
            wrong(format!("nothing follows the colon of {{{inner}}}"))
                .help(format!("write {{{word}}}, or what it is to look like after the colon")),
        )),
        ("clock", format) => {
            let format = format.unwrap_or(Piece::CLOCK);
            let shown = strtime::format(format, DateTime::constant(2026, 5, 1, 14, 32, 8, 0));
            match shown {
                Ok(_) => Ok(Piece::Clock(format.to_owned())),
                Err(why) => Err(Box::new(
                    wrong(format!("{{{inner}}} is no way to write a capture time: {why}"))
                        .help("%Y-%m-%d is the date, %H:%M:%S the time, %A the day of the week, %B the month")
                        .help("stills know the camera's local time and no time zone"),
                )),
            }
        }
        ("number", None) => Ok(Piece::Number(0)),
        ("number", Some(format)) => match format.parse() {
            Ok(digits @ 1..=12) => Ok(Piece::Number(digits)),
            _ => Err(Box::new(
                wrong(format!("{{number:{format}}} must have 1 to 12 digits")).help("write {number:4} for 0012"),
            )),
        },
        ("name", None) => Ok(Piece::Name),
        ("name", Some(_)) => Err(Box::new(wrong(format!("{{{inner}}}: a name takes no colon")).help("write {name}"))),
        ("elapsed", format) => {
            let format = format.unwrap_or(Piece::ELAPSED);
            match elapsed(0.0, format) {
                Ok(_) => Ok(Piece::Elapsed(format.to_owned())),
                Err(directive) => Err(Box::new(
                    wrong(format!("{{{inner}}} has no meaning for {directive}"))
                        .help("%D all days, %H hours of the day, %M minutes of the hour, %S seconds of the minute")
                        .help("%h all hours, %m all minutes, %s all seconds, %% a percent sign"),
                )),
            }
        }
        _ => {
            let mistake = Diagnostic::mistake(format!("a stamp's text has no word {{{word}}}")).word(inner);
            let near = crate::diag::nearest(word.trim(), &Piece::WORDS);
            let mistake = match near {
                Some(near) => mistake.help(format!("did you mean '{near}'?")),
                None => mistake.help(words()),
            };
            Err(Box::new(mistake.help(DOUBLED)))
        }
    }
}

/// The stamps of a shot or a delivery; none where it does not say.
pub(super) fn of(reader: &Reader, form: &str) -> Option<Vec<Stamp>> {
    let value = reader.raw("stamps");
    if value.is_nil() {
        return None;
    }
    let Some(values) = sequence(&value) else {
        reader.refuse("stamps", as_made(&value).map(|_| "put it in braces: stamps = { stamp { … } }".into()));
        return None;
    };
    if values.len() > MOST_STAMPS {
        let message = format!("{form}.stamps holds up to {MOST_STAMPS} stamps; seen {}", values.len());
        reader.mistake(Diagnostic::mistake(message).word("stamps"));
        return None;
    }
    reader.state.count(values.len());
    let one = |(index, value): (i64, &Value)| {
        let path = format!("{form}.stamps[{index}]");
        match reader.made_value(&path, Wants::Value(Kind::Stamp), value, &[Kind::Stamp])?.what {
            What::Stamp(stamp) => Some(stamp),
            _ => None,
        }
    };
    Some((1..).zip(&values).filter_map(one).collect())
}
