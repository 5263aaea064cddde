//! What was probably meant by a value that does not fit, and how that is written.

use mlua::Value;

use super::form::{Form, Wants};
use super::made::Kind;
use super::moments;
use super::value::{plain_number, short_text, shorten};

/// Names that people try first: the constructor, what they write, what it is called.
const CALLED: [(&str, &str, &str); 22] = [
    ("delivery", "size", "frame"),
    ("delivery", "resolution", "frame"),
    ("delivery", "dimensions", "frame"),
    ("delivery", "framerate", "fps"),
    ("delivery", "format", "codec"),
    ("key", "time", "at"),
    ("key", "when", "at"),
    ("key", "center", "on"),
    ("key", "centre", "on"),
    ("key", "position", "on"),
    ("key", "pos", "on"),
    ("key", "point", "on"),
    ("key", "scale", "zoom"),
    ("key", "speed", "rate"),
    ("key", "easing", "ease"),
    ("key", "box", "show"),
    ("shot", "speed", "pace"),
    ("shot", "duration", "length"),
    ("shot", "input", "source"),
    ("shot", "stills", "source"),
    ("shot", "outputs", "deliveries"),
    ("shot", "framerate", "fps"),
];

/// What to write for a field that a constructor does not have under this name.
pub(super) fn field(form: &Form, seen: &str) -> Option<String> {
    if form.name == "follow" && ["path", "rho"].contains(&seen) {
        return Some("a follow makes its own path, the smoothest possible: framing { … } takes one of these".into());
    }
    if form.items.is_some() && ["name", "folder", "path", "dir", "files", "keys"].contains(&seen) {
        let example = match form.name {
            "delivery" => "delivery { \"wide\", frame = { 1920, 1080 } }",
            "stills" => "stills { \"stills\", missing = \"hold\" }",
            "recording" => "recording { \"day.mov\", from = still(100) }",
            _ => return Some("keys stand one after the other, without a name before them".into()),
        };
        return Some(format!("put that first, without a name before it: {example}"));
    }
    let called = CALLED.iter().find(|(name, written, _)| *name == form.name && *written == seen);
    called.map(|(_, _, real)| format!("it is called '{real}' here"))
}

/// What to write for a value that a field does not take.
pub(super) fn value(form: &Form, wants: Wants, value: &Value) -> Option<String> {
    let text = short_text(value);
    let text = text.as_deref().map(str::trim);
    match (wants, text, plain_number(value)) {
        (Wants::Number(_) | Wants::Whole { .. }, Some(text), _) => {
            number_in(form, text).map(|number| format!("write {number}"))
        }
        (Wants::Number(_), _, Some(number)) => number_out_of(form, number),
        (Wants::Number(_), ..) if matches!(value, Value::Table(_)) && form.gives == Some(Kind::Point) => {
            Some("put its values in round brackets: point(0.5, 0.5)".into())
        }
        (Wants::Seconds | Wants::Loop, Some(text), _) if moments::spoken_seconds(text).is_some() => {
            moments::spoken_seconds(text).map(|seconds| format!("write \"{seconds}s\""))
        }
        (Wants::FrameRate, Some(text), _) => {
            let digits = text.trim_end_matches(|letter: char| !letter.is_ascii_digit());
            (digits != text).then(|| digits.parse::<u32>().ok()).flatten().map(|rate| format!("write {rate}"))
        }
        (Wants::Frame, Some(text), _) => {
            let (width, height) = text.split_once(['x', 'X', '×', '*', ':', ','])?;
            let (width, height): (u32, u32) = (width.trim().parse().ok()?, height.trim().parse().ok()?);
            Some(format!("write frame = {{ {width}, {height} }}"))
        }
        (Wants::Name, Some(text), _) => {
            let allowed = |letter: char| letter.is_ascii_alphanumeric() || letter == '_' || letter == '-';
            let words: Vec<&str> = text.split(|letter| !allowed(letter)).filter(|word| !word.is_empty()).collect();
            let name = words.join("-");
            super::value::is_name(&name).then(|| format!("write {name:?}"))
        }
        (Wants::Truth | Wants::Loop, Some(text), _) => match text.to_lowercase().as_str() {
            "true" | "yes" | "on" => Some("write true, without quotes".into()),
            "false" | "no" | "off" => Some("write false, without quotes".into()),
            _ => None,
        },
        (Wants::Pace, Some(text), _) => Some(match moments::spoken_seconds(text) {
            Some(seconds) => format!("write over \"{seconds}s\""),
            None => "over \"20s\" makes the whole shoot last 20 seconds".into(),
        }),
        (Wants::Quality(_), Some(_), _) => Some("75 is usual, 90 is finer and larger, 50 coarser and smaller".into()),
        (Wants::Pace, _, Some(number)) => {
            Some(format!("write stills_per_frame({number}) to be faster, frames_per_still({number}) to be slower"))
        }
        (Wants::Value(Kind::Stills), Some(text), _) => Some(format!("write stills {{ \"{}\" }}", shorten(text))),
        (Wants::Value(Kind::Rate), _, Some(number)) => {
            Some(format!("write stills_per_frame({number}) to be faster, frames_per_still({number}) to be slower"))
        }
        (Wants::Choice(names), ..) if names.contains(&"real-time") && matches!(value, Value::Boolean(true)) => {
            Some("write \"real-time\": elsewhere nothing is kept".into())
        }
        (Wants::Choice(names), Some("mp4"), _) if names.contains(&"h264") => {
            Some("\"h264\" is what makes an MP4".into())
        }
        _ => None,
    }
}

/// The number in a text that should have been one: `"1.5"`, `"1,5"`, `"150%"`, `"60x"`.
fn number_in(form: &Form, text: &str) -> Option<String> {
    if text.parse::<f64>().is_ok() {
        return Some(format!("{} without quotes", shorten(text)));
    }
    let text = text.replacen(',', ".", 1);
    if let Some(percent) = text.strip_suffix('%') {
        let percent: f64 = percent.trim_end().parse().ok()?;
        return Some(if form.name == "percent" { percent.to_string() } else { (percent / 100.0).to_string() });
    }
    let digits = text
        .trim_start_matches(['x', 'X', '×'])
        .trim_end_matches(|letter: char| letter.is_alphabetic() || letter == ' ');
    digits.trim().parse::<f64>().is_ok().then(|| digits.trim().to_owned())
}

/// What a number outside its field's range was probably meant to be.
fn number_out_of(form: &Form, number: f64) -> Option<String> {
    match form.name {
        "point" | "box" if number > 1.0 && number <= 100.0 => {
            let of_pixels = if form.name == "point" { "; pixels are written px(x, y)" } else { "" };
            Some(format!("these are fractions: {number} % is {}{of_pixels}", number / 100.0))
        }
        "point" if number > 100.0 => Some("these are fractions: for pixels of the still write px(x, y)".into()),
        "box" if number > 100.0 => {
            Some("these are fractions of the still: divide pixels by its width or height".into())
        }
        "part" if number > 1.0 && number <= 100.0 => {
            Some(format!("this is a fraction: {number} % is {}", number / 100.0))
        }
        "key" if (0.0..1.0).contains(&number) => Some(
            "zoom = 1 shows as much as the still and the delivery's shape allow; larger numbers come closer".into(),
        ),
        _ => None,
    }
}
