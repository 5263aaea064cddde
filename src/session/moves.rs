//! `moves`: the moves that come with the program, in words and in pictures.

use std::path::Path;
use std::sync::Arc;

use serde_json::json;

use super::running::run;
use super::written::{self, Form};
use super::{Failure, Reply, pretty, put};
use crate::demo;
use crate::diag::{self, Diagnostic};
use crate::draw::{self, Backdrop, Measure, Sheet, SheetRow};
use crate::ffi::jpeg;
use crate::measures::Activity;
use crate::resolve;
use crate::script::{self, Move};
use crate::shoot::{Captured, Content, Format, Orientation, Settings, Shoot, Slot, Still};
use crate::units::Size;

/// Lists the embedded moves, or says how the one called `name` is called; as JSON both have one shape.
///
/// # Errors
/// [`Failure`] where no move has that name.
pub fn moves(name: Option<&str>, json: bool) -> Result<Reply, Failure> {
    let moves = script::moves();
    let one = name.map(|name| called(&moves, name)).transpose()?;
    let text = match one {
        _ if json => {
            let told: Vec<_> = moves.iter().filter(|each| one.is_none_or(|one| one == *each)).map(as_json).collect();
            pretty(&json!({ "moves": told }))
        }
        None => listed(&moves),
        Some(one) => format!("{}\n\n{}\n\nThe default stands after each ';'.\n", one.help, one.usage),
    };
    Ok(Reply::text(text))
}

/// A move with its example and its arguments apart.
fn as_json(one: &Move) -> serde_json::Value {
    let arguments: Vec<_> = one
        .usage
        .lines()
        .filter(|line| !line.is_empty() && !line.starts_with(' '))
        .filter_map(|line| {
            let (name, rest) = line.split_once(' ')?;
            let (help, default) = rest.trim_start().rsplit_once("; ")?;
            Some(json!({ "name": name, "help": help, "default": default }))
        })
        .collect();
    json!({ "name": one.name, "gives": one.gives, "help": one.help, "example": example(one), "arguments": arguments })
}

/// The one of that name, `moves.` before it or not.
fn called<'a>(moves: &'a [Move], name: &str) -> Result<&'a Move, Failure> {
    let wanted = name.strip_prefix("moves.").unwrap_or(name);
    moves.iter().find(|one| one.name == wanted).ok_or_else(|| {
        let names: Vec<&str> = moves.iter().map(|one| one.name).collect();
        Failure::refused(Diagnostic::mistake(format!("no move is called '{name}'")).nearest(wanted, &names))
    })
}

/// Draws a move's example over a still of the demo, as its picture in the reference is.
///
/// # Errors
/// [`Failure`] where no move has that name, or the file cannot be written.
pub fn draw_move(name: &str, output: &Path, force: bool) -> Result<Reply, Failure> {
    let form = Form::of(output)?;
    let moves = script::moves();
    let one = called(&moves, name)?;
    written::check_free(output, force, &[])?;
    let drawing = picture(one)?;
    put::write_or_fail(output, &form.bytes(&drawing)?, force)?;
    Ok(Reply::text(format!("{}\n", diag::path(output))))
}

/// The picture of a move's own example, over a shoot that is not there.
fn picture(one: &Move) -> Result<crate::ink::Drawing, Failure> {
    let failed = |error: std::io::Error| Failure::failed(Diagnostic::mistake(error.to_string()));
    let folder = tempfile::tempdir().map_err(failed)?;
    let path = folder.path().join("example.lua");
    std::fs::write(&path, example_script(one)).map_err(failed)?;
    let shots = run(&path, &[])?.shots;
    let shoot = plain_shoot();
    let shot = &shots[0];
    let activity = Arc::new(plain_activity(&shoot));
    let known = resolve::Known { activity: Some(&activity), ..resolve::Known::default() };
    let made = resolve::resolve(shot, &shoot, known).map_err(Failure::refused)?;
    let (plan, keys) = (&made.plan, made.keys());
    let tracks: Vec<SheetRow<'_>> = plan
        .deliveries
        .iter()
        .zip(&keys)
        .map(|(plan, keys)| SheetRow { name: plan.name.clone(), plan, keys })
        .collect();
    let rate = |frame: usize| plan.deliveries[0].rows[frame + 1].position - plan.deliveries[0].rows[frame].position;
    let even = (1..plan.deliveries[0].rows.len() - 1).all(|frame| (rate(frame) - rate(0)).abs() < 1e-6);
    let measures = if even {
        [Measure::Zoom, Measure::Across, Measure::Down]
    } else {
        [Measure::Pace, Measure::Still, Measure::Zoom]
    };
    let title = format!("{}: {}", one.name, one.help);
    let (interval, length) = (shoot.interval, plan.length);
    let (subjects, remarks) = (Vec::new(), Vec::new());
    let sheet = Sheet {
        title,
        shoot: &shoot,
        interval,
        length,
        tracks,
        backdrop: Some(backdrop()),
        subjects,
        covers: &[],
        left_out: Vec::new(),
        breaks: &[],
        remarks,
        compared: false,
    };
    Ok(draw::card(&sheet, &measures))
}

/// A move's example call, on as many lines as it has.
fn example(one: &Move) -> String {
    let lines = one.usage.lines().skip_while(|line| !line.starts_with("  "));
    let example: Vec<&str> = lines.take_while(|line| line.starts_with("  ")).map(str::trim).collect();
    example.join("\n").trim_end_matches(',').to_owned()
}

/// A still of the demo shoot, small, early in its evening: JPEG, as few bytes as leave it clean.
fn backdrop() -> Backdrop {
    let size = Size::new(288, 216);
    let rgb = demo::picture(&demo::Request { stills: 120, size, seed: 1, threads: 1 }, 24);
    Backdrop { jpeg: jpeg::encode_rgb(&rgb, size, 48, (2, 2), &[]), name: "of the demo".into(), slot: None }
}

/// A script around a move's example: its framing, or the fields of a shot that the example names itself.
fn example_script(one: &Move) -> String {
    let example = example(one);
    let names = |field: &str| example.starts_with(&format!("{field} ="));
    let fields = if names("framing") || names("pace") { example.clone() } else { format!("framing = {example}") };
    let pace = if fields.contains("pace =") { "" } else { "pace = over \"12s\"," };
    format!(
        "local moves = require \"moves\"\nreturn shot {{ source = stills {{ \"stills\" }}, fps = 24, {pace} {fields},\n\
         deliveries = {{ delivery {{ \"wide\", frame = {{ 1280, 720 }} }} }} }}\n"
    )
}

/// A shoot of four days, 240 stills from six in the morning, without a file.
fn plain_shoot() -> Shoot {
    let size = Size::new(4000, 3000);
    let begins = jiff::civil::date(2031, 5, 4).at(6, 0, 0, 0);
    let slot = |number: i64| {
        let local = begins.checked_add(jiff::Span::new().minutes(24 * number)).unwrap_or(begins);
        let captured = Some(Captured { local, offset: None });
        let (format, orientation, settings) = (Format::Jpeg, Orientation::Upright, Settings::default());
        let still = Still {
            path: "plain".into(),
            format,
            stored: size,
            orientation,
            captured,
            bytes: 0,
            modified: 0,
            settings,
        };
        Slot { name: format!("PLAIN{:03}", number + 1), content: Content::Whole(still) }
    };
    let (slots, interval) = ((0..240).map(slot).collect(), Some(24.0 * 60.0));
    Shoot { slots, size, interval, set_aside: Vec::new(), notes: Vec::new(), recording: None, members: Vec::new() }
}

/// What happens in that shoot: something at work at the left, then nothing, then something that crosses to the right,
/// then nothing again.
fn plain_activity(shoot: &Shoot) -> Activity {
    const TILES: [usize; 2] = [32, 24];
    let step = |still: usize| {
        let (x, y) = match still {
            10..=90 => (7 + still % 3, 15 + still % 2),
            130..=200 => (8 + (still - 130) / 5, 12),
            _ => return vec![0; TILES[0] * TILES[1]].into(),
        };
        let near = |tile: usize| (tile % TILES[0]).abs_diff(x) <= 1 && (tile / TILES[0]).abs_diff(y) <= 1;
        (0..TILES[0] * TILES[1]).map(|tile| if near(tile) { Activity::FULL } else { 0 }).collect()
    };
    Activity::new(TILES, (0..shoot.slots.len()).map(|still| (still > 0).then(|| step(still))).collect())
}

fn listed(moves: &[Move]) -> String {
    let widest = moves.iter().map(|one| one.name.len()).max().unwrap_or(0);
    let lines: String =
        moves.iter().map(|one| format!("{:widest$}  {:7}  {}\n", one.name, one.gives, one.help)).collect();
    lines
        + "\nlocal moves = require \"moves\", then framing (or pace) = moves.NAME { … }; `stillpath moves NAME` lists its arguments\n"
}
