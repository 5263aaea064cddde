//! What was probably meant by a value that does not fit, and how that is written.

use mlua::Value;

use super::fields::KEY;
use super::form::{Form, Wants};
use super::made::Kind;
use super::moments;
use super::value::{plain_number, short_text, shorten};
use crate::curve::ease::{Ease, Jump};
use crate::diag;

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
    if form.gives.is_some() && ["pace", "framing", "follow", "cover"].contains(&form.name) && KEY.field(seen).is_some()
    {
        return Some(format!("'{seen}' belongs to a key: {} {{ key {{ {seen} = … }} }}", form.name));
    }
    let called = CALLED.iter().find(|(name, written, _)| *name == form.name && *written == seen);
    called.map(|(_, _, real)| format!("it is called '{real}' here"))
}

/// What to write for a value that a field does not take.
pub(super) fn value(form: &Form, path: &str, wants: Wants, value: &Value) -> Option<String> {
    let text = short_text(value);
    let text = text.as_deref().map(str::trim);
    match (wants, text, plain_number(value)) {
        (Wants::Whole { .. }, None, Some(0.0 | 1.0)) if path == "gather.stills" => {
            Some("write stills = 2, or gather = \"mean\" for one still a frame".into())
        }
        (Wants::Number(_) | Wants::Whole { .. }, Some(text), _) => {
            number_in(form, text).map(|number| format!("write {number}"))
        }
        (Wants::Number(_), _, Some(number)) => number_out_of(form, path, number),
        (Wants::ShootMoment, _, Some(number)) if number.fract() == 0.0 && (1.0..=1e9).contains(&number) => Some(
            format!("write still({number}) for that still; seconds are screen time, and this is a part of the shoot"),
        ),
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
        (Wants::Truth | Wants::Loop | Wants::Tracked, Some(text), _) => match text.to_lowercase().as_str() {
            "true" | "yes" | "on" => Some("write true, without quotes".into()),
            "false" | "no" | "off" => Some("write false, without quotes".into()),
            _ => None,
        },
        (Wants::Pace, Some(text), _) => Some(match moments::spoken_seconds(text) {
            Some(seconds) => format!("write over \"{seconds}s\""),
            None => "over \"20s\" makes the whole shoot last 20 seconds".into(),
        }),
        (Wants::Quality(_), Some(_), _) => Some("75 is usual, 90 is finer and larger, 50 coarser and smaller".into()),
        (Wants::Pace | Wants::Value(Kind::Rate), _, Some(number)) => Some(rate(wants, number)),
        (Wants::Value(Kind::Stills), Some(text), _) => Some(format!("write stills {{ \"{}\" }}", shorten(text))),
        (Wants::Choice(names), ..) if names.contains(&"real-time") && matches!(value, Value::Boolean(true)) => {
            Some("write \"real-time\": elsewhere nothing is kept".into())
        }
        (Wants::Choice(names), Some("mp4"), _) if names.contains(&"h264") => {
            Some("\"h264\" is what makes an MP4".into())
        }
        _ => None,
    }
}

/// What to write for a pace or a rate that is a bare number.
fn rate(wants: Wants, number: f64) -> String {
    let backwards = matches!(wants, Wants::Value(Kind::Rate)) && number < 0.0;
    let reverse = if backwards { ", reverse = true" } else { "" };
    if number.is_finite() && number.abs() >= 1e-6 && number.abs() <= 1_000_000.0 && (backwards || number > 0.0) {
        let number = diag::number(number.abs());
        return format!(
            "write stills_per_frame({number}){reverse} to be faster, frames_per_still({number}){reverse} to be slower"
        );
    }
    match wants {
        Wants::Pace => "over \"20s\" makes the whole shoot last 20 seconds".into(),
        _ => "write stills_per_frame(1); a key rests with freeze = \"2s\" in place of the rate".into(),
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
        return Some(diag::number(if form.name == "percent" { percent } else { percent / 100.0 }));
    }
    let digits = text
        .trim_start_matches(['x', 'X', '×'])
        .trim_end_matches(|letter: char| letter.is_alphabetic() || letter == ' ');
    digits.trim().parse::<f64>().is_ok().then(|| digits.trim().to_owned())
}

/// What a number outside its field's range was probably meant to be, a line each.
fn number_out_of(form: &Form, path: &str, number: f64) -> Option<String> {
    match form.name {
        "part" if number > 1.0 && number <= 100.0 => {
            let fraction = diag::number(number / 100.0);
            Some(format!("this is a fraction, {} % is {fraction}: write part({fraction})", diag::number(number)))
        }
        "key" | "follow" if path.ends_with(".zoom") && (0.0..1.0).contains(&number) => Some(
            "zoom = 1 shows as much as the still and the delivery's shape allow; larger numbers come closer".into(),
        ),
        "stills_per_frame" | "frames_per_still" | "times" | "percent" if (-1_000_000.0..0.0).contains(&number) => {
            let rate = format!("{}({})", form.name, diag::number(-number));
            Some(format!(
                "backwards is written rate = {rate}, reverse = true: the shoot runs backwards on the way to that key\n\
                 all of it backwards: pace {{ key {{ at = \"start\", rate = {rate}, reverse = true }} }}"
            ))
        }
        "stills_per_frame" | "frames_per_still" | "times" | "percent" if number == 0.0 => {
            Some("a key rests with freeze = \"2s\" in place of the rate; the rates of the keys around it go on".into())
        }
        _ => None,
    }
}

/// What to write for the numbers of a `point` or a `box` of which some are above 1.
pub(super) fn fractions(name: &str, values: &[f64]) -> Vec<String> {
    let call = |values: &[f64]| {
        let numbers: Vec<String> = values.iter().map(|value| diag::number(*value)).collect();
        format!("({})", numbers.join(", "))
    };
    let fits = |values: &[f64]| match *values {
        [x, y, width, height] => x + width <= 1.0 && y + height <= 1.0,
        _ => values.iter().all(|value| *value <= 1.0),
    };
    let largest = values.iter().copied().fold(0.0, f64::max);
    let mut said = Vec::new();
    if largest < 2.0 {
        let held: Vec<f64> = values.iter().map(|value| value.min(1.0)).collect();
        said.push(if fits(&held) {
            format!("1 is the still's far edge: write {name}{} at most", call(&held))
        } else {
            "1 is all of the still's width or height".into()
        });
    } else if largest <= 100.0 {
        let shares: Vec<f64> = values.iter().map(|value| if *value > 1.0 { value / 100.0 } else { *value }).collect();
        let (percent, fraction) = (diag::number(largest), diag::number(largest / 100.0));
        if fits(&shares) {
            said.push(format!("these are fractions, {percent} % is {fraction}: write {name}{}", call(&shares)));
        }
    }
    match *values {
        [x, y] if largest <= 1_000_000.0 => {
            said.push(format!("pixels of the still are written px({}, {})", diag::number(x), diag::number(y)))
        }
        [x, y, width, height] if largest >= 2.0 => {
            let size = [(4000.0, 3000.0), (8000.0, 6000.0), (16_000.0, 12_000.0)];
            let size = size.into_iter().find(|(across, down)| x + width <= *across && y + height <= *down);
            let part = |value: f64, whole: f64| format!("{} / {whole}", diag::number(value));
            said.extend(size.map(|(across, down)| {
                let (x, y) = (part(x, across), part(y, down));
                let (width, height) = (part(width, across), part(height, down));
                format!("pixels are divided by the still's size: write box({x}, {y}, {width}, {height}) where that is {across} by {down}")
            }));
        }
        _ => {}
    }
    said
}

/// What to write for a text that another program takes for an ease.
pub(super) fn ease(text: &str) -> Option<String> {
    let text = text.trim();
    if let Some((name, rest)) = text.split_once('(') {
        let inner = rest.trim_end().strip_suffix(')')?;
        let parts: Vec<&str> = inner.split(',').map(str::trim).collect();
        let number = |text: &str| text.parse::<f64>().ok().filter(|number| number.is_finite());
        return match name.trim().to_lowercase().replace(['-', '_'], "").as_str() {
            "cubicbezier" => {
                let numbers: Vec<f64> = parts.iter().map(|part| number(part)).collect::<Option<_>>()?;
                let [x1, _, x2, _] = numbers[..] else { return None };
                let allowed = (0.0..=1.0).contains(&x1) && (0.0..=1.0).contains(&x2);
                let written: Vec<String> = numbers.iter().map(|number| diag::number(*number)).collect();
                allowed.then(|| format!("write cubic_bezier({}), without quotes", written.join(", ")))
            }
            "steps" => {
                let count = parts.first()?.parse::<u32>().ok().filter(|count| *count > 1)?;
                let jump = parts.get(1).copied().filter(|jump| Jump::keyword(jump).is_some());
                let jump = jump.map_or(String::new(), |jump| format!(", {jump:?}"));
                Some(format!("write steps({count}{jump}), without quotes"))
            }
            "linear" => {
                let stop = |part: &&str| {
                    let mut words = part.split_whitespace();
                    let mut stop = vec![number(words.next()?)?];
                    for word in words {
                        stop.push(number(word.strip_suffix('%')?)? / 100.0);
                    }
                    let written: Vec<String> = stop.iter().map(|number| diag::number(*number)).collect();
                    Some(if stop.len() == 1 { written.concat() } else { format!("{{ {} }}", written.join(", ")) })
                };
                let stops: Vec<String> = parts.iter().map(stop).collect::<Option<_>>()?;
                (stops.len() > 1).then(|| format!("write linear {{ {} }}, without quotes", stops.join(", ")))
            }
            _ => None,
        };
    }
    let mut words = String::new();
    for letter in text.chars() {
        if letter.is_uppercase() && !words.is_empty() && !words.ends_with('-') {
            words.push('-');
        }
        words.push(if matches!(letter, '_' | ' ') { '-' } else { letter.to_ascii_lowercase() });
    }
    if let Some(name) = Ease::KEYWORDS.into_iter().find(|name| words == *name) {
        return Some(format!("write {name:?}"));
    }
    if let Some(name) = diag::nearest(text, &Ease::KEYWORDS) {
        return Some(format!("did you mean {name:?}?"));
    }
    // Curves by other names, such as easeInOutCubic, are told the one that runs like them.
    let named = ["ease-in-out", "ease-in", "ease-out", "ease", "linear", "step-start", "step-end"];
    let found = named
        .into_iter()
        .find(|name| words == *name || words.strip_prefix(*name).is_some_and(|rest| rest.starts_with('-')));
    found
        .or(match words.as_str() {
            "in-out" => Some("ease-in-out"),
            "in" => Some("ease-in"),
            "out" => Some("ease-out"),
            _ => None,
        })
        .map(|name| format!("write {name:?}"))
}
