//! What a message says to type, typed: the mistake is gone then, and no new one is there.

use std::collections::BTreeSet;
use std::path::Path;

use stillpath::diag::Diagnostic;
use stillpath::resolve::{self, Known};
use stillpath::shoot::{Content, Format, Orientation, Shoot, Slot, Still};
use stillpath::units::Size;

use super::*;
use cases::{CASES, whole};

#[path = "advice/cases.rs"]
mod cases;

/// What begins a line of help that explains, and leaves what to type to the reader.
const EXPLAINS: [&str; 68] = [
    "give each a name of its own, or none",
    "write the other reel's shots in its place",
    "leave gather out",
    "slowest is where most happens",
    "a smaller zoom",
    "it goes with track = true",
    "leave size out",
    "draw the line with fewer points",
    "make the text shorter",
    "make x smaller",
    "seconds are screen time",
    "seconds and timecode are screen time",
    "a key of a ",
    "its fields are: ",
    "a follow makes its own path",
    "a frame rate is above 0",
    "looked beside the script",
    "these are fractions of the frame",
    "zoom = 1 shows as much",
    "\"25:00\" is not a time of day",
    "\"2026-02-30\" is not a date",
    "a key rests with freeze",
    "it takes no named fields",
    "key the pace on",
    "leave the box out",
    "leave place out",
    "leave shutter out",
    "leave across out",
    "leave hours out",
    "leave only out",
    "\"soon\" is not a date",
    "leave purpose out",
    "leave title out",
    "leave poster out",
    "available: \"vertical clip for phones\"",
    "`stillpath purposes` lists them",
    "entries are separated by commas",
    "a '}' is missing",
    "put texts in straight quotes",
    "end the script with",
    "'at' belongs to a key",
    "'rate' belongs to a key",
    "'roll' belongs to a key",
    "all of it backwards",
    "source = recording",
    "zoom belongs to the follow itself",
    "a second key says where it goes",
    "in a framing a box to show is written",
    "write name = \"morning\"",
    "write require",
    "put that first",
    "or make a master",
    "leave one 'zoom' out",
    "leave stamps out",
    "leave tune out",
    "leave depth out",
    "leave samples out",
    "leave most out",
    "leave timecode out",
    "write \"clock\" for the time of day",
    "make a stamp of each line",
    "a brace that is to be seen is doubled",
    "words in braces",
    "%Y-%m-%d is the date",
    "stills know the camera's local time",
    "%D all days",
    "%h all hours",
    "two digits of 0 to 9 and a to f",
];

/// What comes to light only when another mistake is gone, because that one stood in its way.
const HIDDEN: [&str; 1] = ["two deliveries are called \"wide\""];

/// Every mistake and remark of a script over a shoot of 96 stills, as `line: message`, with what it says.
fn said(path: &Path, text: &str) -> Vec<(String, Diagnostic)> {
    let of = |found: Vec<Diagnostic>| -> Vec<(String, Diagnostic)> {
        let line = |one: &Diagnostic| one.place.as_ref().map_or(0, |place| place.line);
        found.into_iter().map(|one| (format!("{}: {}", line(&one), one.message), one)).collect()
    };
    std::fs::write(path, text).unwrap();
    match script::run(&Request { path: path.to_owned(), settings: Vec::new(), user_moves: None, user_purposes: None }) {
        Err(refused) => of(refused.diagnostics.0),
        Ok(script) => {
            let mut found = script.remarks.0;
            for shot in &script.shots {
                found.extend(match resolve::resolve(shot, &shoot(), Known::default()) {
                    Ok(made) => made.plan.remarks.0,
                    Err(refused) => refused.0,
                });
            }
            of(found)
        }
    }
}

fn shoot() -> Shoot {
    let size = Size::new(4000, 3000);
    let slot = |number| {
        let name = format!("STIL{number:04}");
        let still = Still {
            path: format!("{name}.JPG").into(),
            format: Format::Jpeg,
            stored: size,
            orientation: Orientation::Upright,
            captured: None,
            settings: stillpath::shoot::Settings::default(),
            bytes: 1,
            modified: 0,
        };
        Slot { name, content: Content::Whole(still) }
    };
    let slots = (1..=96).map(slot).collect();
    Shoot {
        slots,
        size,
        interval: Some(5.0),
        set_aside: Vec::new(),
        notes: Vec::new(),
        recording: None,
        members: Vec::new(),
    }
}

/// The text with the first `old` of a line (from 1) replaced.
fn replaced(text: &str, line: u32, old: &str, new: &str) -> Option<String> {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let at = lines.get_mut(line.checked_sub(1)? as usize)?;
    let start = at.find(old)?;
    at.replace_range(start..start + old.len(), new);
    Some(lines.join("\n"))
}

/// The rest of `text` up to where its brackets are closed again and a comma, a closing bracket or the end comes.
fn expression(text: &str) -> &str {
    let mut depth = 0_i32;
    for (at, letter) in text.char_indices() {
        match letter {
            '(' | '{' => depth += 1,
            ')' | '}' if depth == 0 => return text[..at].trim_end(),
            ')' | '}' => depth -= 1,
            ',' if depth == 0 => return &text[..at],
            _ => {}
        }
    }
    text.split("--").next().unwrap_or(text).trim_end()
}

/// What a line of help says to type, put in the place of what it is said of; nothing where it names no text to type.
fn typed(text: &str, one: &Diagnostic, help: &str) -> Option<String> {
    let line = one.place.as_ref()?.line;
    let source = text.lines().nth(line as usize - 1)?;
    let word = one.word.clone().unwrap_or_default();
    let between = |from: &str, to: &str| Some(help.split_once(from)?.1.split_once(to)?.0.to_owned());
    if let Some(name) = between("did you mean '", "'").or_else(|| between("it is called '", "'")) {
        let last = name.rsplit('.').next().unwrap_or(&name);
        return replaced(text, line, &word, last);
    }
    if let Some(name) = between("did you mean \"", "\"") {
        return replaced(text, line, &word, &name);
    }
    if let (Some(names), true) = (help.strip_prefix("available: "), one.message.contains(" must be ")) {
        let name = names.split(", ").next()?;
        return replaced(text, line, &format!("\"{word}\""), &format!("\"{name}\""));
    }
    if help.starts_with("available: ") {
        // A name that is like none of them goes.
        let field = &source[source.find(&format!(" {word} ="))? + 1..];
        let value = expression(field.split_once('=')?.1);
        let whole = field[..field.find('=')? + 1 + value.len()].to_owned();
        let (before, after) = (format!(", {whole}"), format!("{whole}, "));
        let gone = [before, after, whole].into_iter().find(|part| source.contains(part.as_str()))?;
        return replaced(text, line, &gone, "");
    }
    // All of a call is written anew.
    if let Some(call) = help.strip_prefix("put its values in round brackets: ") {
        return replaced(text, line, "point { 0.5, 0.5 }", call);
    }
    if help.starts_with("place is in fractions") || help.starts_with("at is in fractions") {
        let old = &source[source.find("px(")?..];
        return replaced(text, line, &old[..old.find(')')? + 1], &help[help.find("point(")?..]);
    }
    // What stands between the braces of a text.
    if let Some((inner, _)) = help.strip_prefix("write {").and_then(|rest| rest.split_once('}')) {
        return replaced(text, line, &format!("{{{word}}}"), &format!("{{{inner}}}"));
    }
    if let Some(key) = help.strip_suffix(" is one") {
        return replaced(text, line, "pace { ", &format!("pace {{ {key}, "));
    }
    for name in ["point", "box", "drawing", "part"] {
        for (lead, written) in [("write ", name), ("are written ", "px")] {
            let Some((_, call)) = help.split_once(&format!("{lead}{written}(")) else { continue };
            let Some(at) = source.find(&format!("{name}(")) else { continue };
            let old = &source[at + name.len()..];
            let old =
                &format!("{name}({})", expression(&old[1..old.rfind(')')? + 1].replace(',', ";")).replace(';', ","));
            let literal =
                !old.bytes().all(|byte| byte.is_ascii_lowercase() || b"( )".contains(&byte)) || name == "drawing";
            if !literal {
                return None;
            }
            let call = format!("{written}({})", &call[..call.find(')')?]);
            return (!call.contains("x, ")).then(|| replaced(text, line, old, &call))?;
        }
    }
    if help.starts_with("put it in quotes: ") {
        let place = source.find(&format!("= {word}"))? + 2;
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        lines[line as usize - 1].replace_range(place..place + word.len(), help.split(": ").nth(1)?);
        return Some(lines.join("\n"));
    }
    let field = |name: &str| {
        let at = source.find(&format!(" {name} = ")).or_else(|| source.find(&format!("{{ {name} = ")))?;
        let value = source[at..].split_once("= ")?.1;
        Some(expression(value).to_owned())
    };
    if help.starts_with("put it in braces: ") {
        let value = field(&word)?;
        return replaced(text, line, &value, &format!("{{ {value} }}"));
    }
    if let Some(name) = between("write ", " in front of the brace") {
        let at = if word == "{" { "{".to_owned() } else { format!("{word} = {{") };
        let new = if word == "{" { format!("{name} {{") } else { format!("{word} = {name} {{") };
        return replaced(text, line, &at, &new);
    }
    let seen = one.message.rsplit_once("; seen ").map(|(_, seen)| seen.to_owned());
    if let (Some(clock), Some(seen)) = (help.split_once("clock ").filter(|_| help.starts_with("hours run")), &seen) {
        return replaced(text, line, seen, clock.1);
    }
    if let Some(clock) = between("a time of day is written ", ", a time of the clip") {
        return replaced(text, line, &seen?, &clock);
    }
    if let Some(still) = between("the first still is ", ",") {
        return replaced(text, line, "still(0)", &still);
    }
    if help.ends_with("is what makes an MP4") || help.ends_with("write \"30000/1001\"") {
        let new = format!("\"{}\"", help.split('"').nth(1)?);
        return replaced(text, line, &seen?, &new);
    }
    if help.starts_with("\"jump-none\" needs") {
        return replaced(text, line, "steps(1", "steps(2");
    }
    if help.starts_with("backwards is written ") {
        let rate = between("rate = ", ",")?;
        if word.contains('(') {
            return replaced(text, line, &word, &rate);
        }
        let name = rate.split('(').next()?;
        let old = &source[source.find(&format!("{name}("))?..];
        return replaced(text, line, &old[..old.find(')')? + 1], &rate);
    }
    let rest = help.strip_prefix("or ").unwrap_or(help);
    if let Some(new) = rest.strip_prefix("at = ") {
        let old = field("at")?;
        return replaced(text, line, &format!("at = {old}"), &format!("at = {}", new.split(", ").next()?));
    }
    let new = rest.strip_prefix("write ")?;
    let ends =
        [", without", " without", ", or ", " to be faster", ": ", " for that", " with any of", " or \"", ", still \""];
    let new = ends.iter().filter_map(|end| new.find(end)).min().map_or(new, |end| &new[..end]);
    if new.contains('…') || new.contains("(x, y") || new.contains("(from, to)") {
        return None;
    }
    if one.message.starts_with("stills takes one table") {
        return replaced(text, line, "stills(\"stills\")", new);
    }
    if let Some(new) = new.strip_prefix("return shot") {
        return (new.is_empty()).then(|| replaced(text, line, "shot", "return shot"))?;
    }
    // `name = value`, over what the field has or as one more.
    if let Some((name, value)) = new.split_once(" = ")
        && name.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'_')
    {
        if let Some(seen) = seen.filter(|seen| seen.starts_with(&format!("{name} = "))) {
            return replaced(text, line, &seen, new);
        }
        return match field(name) {
            Some(old) => replaced(text, line, &format!("{name} = {old}"), &format!("{name} = {value}")),
            None => replaced(text, line, " }", &format!(", {new} }}")),
        };
    }
    if let Some((form, _)) = new.split_once(" {")
        && let Some(at) = source.find(&format!("{form} {{"))
    {
        let old = source[at..].to_owned();
        let old = &old[..form.len() + 1 + expression(&old[form.len() + 1..]).len()];
        return replaced(text, line, old, new);
    }
    let old = match seen? {
        seen if source.contains(&seen) => seen,
        seen if seen.starts_with('"') => seen.replace('"', "'"),
        _ => return None,
    };
    replaced(text, line, &old, new)
}

#[test]
fn what_the_messages_of_the_test_scripts_say_to_type_mends_them() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scripts");
    let mut scripts: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    scripts.sort();
    let scratch = Folder::new();
    let (mut tried, mut wrong) = (0, Vec::new());
    for script in scripts {
        // The expectations quote what there is to type: they are no part of it.
        let text = std::fs::read_to_string(&script).unwrap();
        let code: Vec<&str> = text.lines().map(|line| line.split("--! ").next().unwrap()).collect();
        let text = code.join("\n");
        let path = scratch.path(&script.file_name().unwrap().to_string_lossy());
        let before = said(&path, &text);
        let known: BTreeSet<&String> = before.iter().map(|(line, _)| line).collect();
        for (line, one) in &before {
            for help in &one.help {
                let name = script.file_name().unwrap().to_string_lossy();
                if EXPLAINS.iter().any(|explains| help.starts_with(explains)) {
                    continue;
                }
                let Some(mended) = typed(&text, one, help) else {
                    let is_form = help.contains('…') || help.contains("(x, y") || help.contains("(from, to)");
                    // A number that came from elsewhere than the call is not typed there.
                    let is_elsewhere = script.ends_with("through_calls.lua");
                    if !(is_form || is_elsewhere || one.message.ends_with("is missing")) {
                        wrong.push(format!("{name}:{line}: not tried: {help}"));
                    }
                    continue;
                };
                tried += 1;
                let after: Vec<String> = said(&path, &mended).into_iter().map(|(line, _)| line).collect();
                if after.contains(line) {
                    wrong.push(format!("{name}:{line}: still there after: {help}"));
                }
                let is_hidden = |new: &&String| HIDDEN.iter().any(|hidden| new.contains(hidden));
                for new in after.iter().filter(|new| !known.contains(new) && !is_hidden(new)) {
                    wrong.push(format!("{name}:{line}: new after {help}: {new}"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} tried\n{}", tried, wrong.join("\n"));
    assert!(tried >= 90, "{tried}");
}

/// What `help` says in the place of the template's `{}`.
fn taken(template: &str, help: &str) -> Option<String> {
    let (before, after) = template.split_once("{}")?;
    help.strip_prefix(before)?.strip_suffix(after).map(str::to_owned)
}

#[test]
fn what_a_message_says_to_type_mends_what_it_is_said_of() {
    let scratch = Folder::new();
    let path = scratch.path("main.lua");
    // Figures of a remark may well be others afterwards.
    let kind =
        |line: &str| line.chars().filter(|letter| !letter.is_ascii_digit() && *letter != '.').collect::<String>();
    let mut wrong = Vec::new();
    for (part, piece, template, old, new) in CASES {
        let before = said(&path, &whole(*part, piece));
        let known: BTreeSet<String> = before.iter().map(|(line, _)| kind(line)).collect();
        let found = before
            .iter()
            .find_map(|(line, one)| one.help.iter().find_map(|help| taken(template, help)).map(|typed| (line, typed)));
        let Some((line, typed)) = found else {
            let all: Vec<String> = before.iter().map(|(line, one)| format!("{line} {:?}", one.help)).collect();
            wrong.push(format!("{piece}: nothing says {template:?}: {all:#?}"));
            continue;
        };
        assert!(piece.contains(old), "{piece}: no {old}");
        let mended = piece.replacen(old, &new.replace("{}", &typed), 1);
        let after = said(&path, &whole(*part, &mended));
        for (new, _) in &after {
            if kind(new) == kind(line) {
                wrong.push(format!("{piece}: still there after {typed}: {new}"));
            } else if !known.contains(&kind(new)) {
                wrong.push(format!("{piece}: new after {typed}: {new}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{} of {}\n{}", wrong.len(), CASES.len(), wrong.join("\n"));
    assert!(CASES.len() >= 60);
}
