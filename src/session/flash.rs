//! `flash`: finished clips looked at for flashes above published limits.
//!
//! ## Decisions
//!
//! - A script stands for the clips that it has made: nothing is rendered here. Where a clip is missing its draft is
//!   looked at, and the answer's path says so.
//! - What is above a limit is code 1, as what `check` refuses and what `prove` does not prove; what could not be looked
//!   at is 2. Nothing is ever called safe.

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use serde_json::{Value, json};

use super::prepare::check_deliveries_wanted;
use super::running::run;
use super::written::{self, Form};
use super::{FAILED, Failure, REFUSED, Reply, Watch, draft, pretty, progress, put};
use crate::decode::clip::ClipError;
use crate::diag::{self, Diagnostic, Diagnostics, plain};
use crate::draw::{Band, flashes};
use crate::flash::{Found, Heard, MOST_AREA, MOST_FLASHES, Unseen, Watched, watch_from};
use crate::units::FrameRate;

/// What to look at, and how.
#[derive(Debug, Clone)]
pub struct FlashOptions {
    /// A clip, the folder of a sequence, or a script.
    pub clip: PathBuf,
    /// A script's folder of outputs.
    pub out: Option<PathBuf>,
    /// Dials of a script to set.
    pub settings: Vec<(String, String)>,
    /// Of a script, the only deliveries wanted; empty for all.
    pub deliveries: Vec<String>,
    /// Frames a second of a folder's frames.
    pub fps: Option<FrameRate>,
    /// A display's white in cd/m², above 0.
    pub white: Option<f64>,
    /// The drawing to write.
    pub output: Option<PathBuf>,
    /// Whether a drawing that is there may be replaced.
    pub force: bool,
    /// No progress.
    pub quiet: bool,
    /// The outcome as JSON.
    pub json: bool,
}

/// What is said under every answer.
const NO_CLEARANCE: &str = "This is a measurement and no clearance: nothing is certified. Pictures within these limits \
can still harm a person who is sensitive to flashes. A broadcaster's own check, and local rules, come first.";

/// What lessens flashes here, in the order in which it is worth trying: what to write, and when it helps.
pub const LESSENS: [(&str, &str); 4] = [
    ("level = true", "in the shot, where single stills are lighter or darker than those beside them"),
    (
        "shutter = 720",
        "in the shot or a delivery, where many stills pass: each frame is the mean of two frames' stills",
    ),
    (
        "between = \"mix\"",
        "in the shot or a delivery, where a still lasts one to two frames: less of each is seen alone",
    ),
    ("rate = frames_per_still(12)", "in a key of the pace, to run slower there: fewer changes a second"),
];

/// A clip to look at.
struct Clip {
    path: PathBuf,
    rate: Option<FrameRate>,
}

/// Looks at clips for flashes.
///
/// # Errors
/// [`Failure`] with code 1 where something is above a limit, 2 where a clip could not be looked at to its end, 130 where
/// it was interrupted.
pub fn flash(options: &FlashOptions, watch: &Watch) -> Result<Reply, Failure> {
    // 1 is for flashes.
    let not_looked = |failure: Failure| Failure { code: FAILED, ..failure };
    let form = options.output.as_deref().map(Form::of).transpose().map_err(not_looked)?;
    if let Some(output) = &options.output {
        written::check_free(output, options.force, &[]).map_err(not_looked)?;
    }
    let (clips, messages) = clips(options)?;
    let mut all = Vec::new();
    let mut notes = Diagnostics::default();
    for clip in &clips {
        let watched = look(clip, options, watch)?;
        if let Some(why) = &watched.short {
            notes.push(
                Diagnostic::mistake(format!(
                    "{}: only {} frames were looked at: {}",
                    diag::path(&clip.path),
                    watched.seen.frames,
                    plain(why)
                ))
                .help("copy it again, or render it again with --force; then look again"),
            );
        }
        all.push((clip, watched));
    }
    if let (Some(output), Some(form)) = (&options.output, form) {
        let name = |clip: &Clip| clip.path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let bands: Vec<Band<'_>> = all
            .iter()
            .map(|(clip, watched)| Band { name: name(clip), rate: rate(watched), seen: &watched.seen })
            .collect();
        put::write_or_fail(output, &form.bytes(&flashes(&bands))?, options.force)?;
    }
    let text = if options.json { as_json(&all, options) } else { as_text(&all, options) };
    let above = all.iter().any(|(_, watched)| watched.seen.is_above());
    let code = if !notes.is_empty() {
        FAILED
    } else if above {
        REFUSED
    } else {
        0
    };
    let reply = Reply { text, messages, notes, closing: None };
    if code == 0 { Ok(reply) } else { Err(Failure { reply, code }) }
}

/// The clips that are meant, and what a script printed.
fn clips(options: &FlashOptions) -> Result<(Vec<Clip>, Vec<String>), Failure> {
    let given = &options.clip;
    if given.extension().is_none_or(|extension| extension != "lua") {
        if options.out.is_some() {
            let mistake = Diagnostic::mistake(format!("--out belongs to a script, and {} is none", diag::path(given)));
            return Err(failed(mistake.help(format!("type: stillpath flash {}", diag::path(given)))));
        }
        return Ok((vec![Clip { path: given.clone(), rate: options.fps }], Vec::new()));
    }
    let shown = diag::path(given);
    let Some(out) = &options.out else {
        let mistake = Diagnostic::mistake(format!(
            "{shown} is a script: its clips are looked at, and where they are is not said"
        ));
        return Err(failed(mistake.help(format!("type: stillpath flash {shown} --out clips"))));
    };
    let ran = run(given, &options.settings).map_err(|refused| Failure { code: FAILED, ..refused })?;
    let mut unknown = Diagnostics::default();
    check_deliveries_wanted(&options.deliveries, &ran.shots, &mut unknown);
    if unknown.refused() {
        return Err(Failure::failed(unknown));
    }
    let stem = given.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let wanted = |name: &str| options.deliveries.is_empty() || options.deliveries.iter().any(|wanted| wanted == name);
    let deliveries =
        ran.shots.iter().flat_map(|shot| &shot.deliveries).filter(|one| wanted(&one.name) && !one.every_still);
    let made = deliveries.filter_map(|delivery| {
        let base = out.join(format!("{stem}-{}", delivery.name));
        let file = |ending: &str| PathBuf::from(format!("{}.{ending}", base.display()));
        let finished = [file("mp4"), file("mov"), file("mkv"), base.clone()];
        let mut all = finished.into_iter().chain([draft::name(&file("mp4"))]);
        Some(Clip { path: all.find(|path| path.exists())?, rate: Some(delivery.fps) })
    });
    let made: Vec<Clip> = made.collect();
    if made.is_empty() {
        let folder = diag::path(out);
        let mistake = Diagnostic::mistake(format!("none of the clips of {shown} is in {folder}"));
        let next = format!("type: stillpath render {shown} --out {folder} --draft; then the same command again");
        return Err(failed(mistake.help(next)));
    }
    Ok((made, ran.messages))
}

fn failed(mistake: Diagnostic) -> Failure {
    Failure::failed(mistake)
}

/// Looks at one clip.
fn look(clip: &Clip, options: &FlashOptions, watch: &Watch) -> Result<Watched, Failure> {
    let watched = watched(&clip.path, clip.rate, options.white, options.quiet || options.json, watch);
    watched.map_err(|why| refused(&clip.path, &why))
}

/// Looks at a clip while saying how far it is.
///
/// # Errors
/// As [`watch_from`].
pub(super) fn watched(
    path: &Path,
    rate: Option<FrameRate>,
    white: Option<f64>,
    quiet: bool,
    watch: &Watch,
) -> Result<Watched, Unseen> {
    watched_from(path, rate, (white, 0), quiet, watch)
}

/// The same from a frame on.
///
/// # Errors
/// As [`watch_from`].
pub(super) fn watched_from(
    path: &Path,
    rate: Option<FrameRate>,
    (white, from): (Option<f64>, u64),
    quiet: bool,
    watch: &Watch,
) -> Result<Watched, Unseen> {
    let heard = Heard::default();
    let work = || {
        std::thread::scope(|scope| {
            let looking = scope.spawn(|| watch_from(path, rate, white, from, &heard));
            while !looking.is_finished() {
                heard.stop.store(watch.stop.load(Ordering::Relaxed), Ordering::Relaxed);
                std::thread::sleep(std::time::Duration::from_millis(5));
            }
            looking.join()
        })
    };
    let done = || heard.frames.load(Ordering::Relaxed);
    match progress::while_watching(quiet, &done, work) {
        Ok(watched) => watched,
        Err(panic) => std::panic::resume_unwind(panic),
    }
}

/// Why a clip could not be looked at, and what to type.
fn refused(path: &Path, why: &Unseen) -> Failure {
    let shown = diag::path(path);
    let mistake = |what: &str| Diagnostic::mistake(format!("{shown}: {}", plain(what)));
    let a_clip = "give a clip that a render has made, such as clips/evening-wide.mp4, or its script with --out clips";
    failed(match why {
        Unseen::Stopped => return Failure::interrupted(),
        Unseen::NoRate => mistake(&why.to_string()).help(format!("type: stillpath flash {shown} --fps 24")),
        Unseen::NoFrames if path.is_dir() => {
            mistake("there are no frames in this folder, 000000.png and so on").help(a_clip)
        }
        Unseen::Clip(ClipError::NoVideo(_)) if is_still(path) => {
            mistake("it is a still picture, and one picture does not flash").help(a_clip)
        }
        Unseen::HighRange(_) => {
            mistake(&why.to_string()).help("look at a clip of standard range made from the same stills")
        }
        Unseen::Clip(ClipError::NoVideo(_)) | Unseen::NoFrames | Unseen::Samples(_) => mistake(&why.to_string())
            .help(a_clip)
            .help("a clip that was cut short cannot be opened: copy it again, or render it again with --force"),
        Unseen::Clip(_) => mistake(&why.to_string()).help(a_clip),
    })
}

/// Whether a file begins as PNG, JPEG or TIFF do.
fn is_still(path: &Path) -> bool {
    let mut head = [0; 4];
    let read = File::open(path).and_then(|mut file| file.read_exact(&mut head));
    read.is_ok() && [&b"\x89PNG"[..], b"\xff\xd8\xff", b"II*\0", b"MM\0*"].iter().any(|start| head.starts_with(start))
}

fn rate(watched: &Watched) -> f64 {
    match watched.rate {
        Some(rate) => rate.per_second(),
        None => watched.seen.frames as f64 / watched.seen.seconds.max(f64::MIN_POSITIVE),
    }
}

fn as_text(all: &[(&Clip, Watched)], options: &FlashOptions) -> String {
    let mut text = String::new();
    for (clip, watched) in all {
        let seen = &watched.seen;
        let rate = watched.rate.map_or_else(|| "no constant rate".to_owned(), |rate| format!("{rate} a second"));
        text += &format!("{}  {} frames of {} at {rate}\n", diag::path(&clip.path), seen.frames, watched.size);
        for found in &seen.kinds {
            text += &lines(found, watched);
        }
    }
    if let Some(white) = options.white {
        text += &format!(
            "a display of {} cd/m² white, whose light goes by the power 2.4 of the values (ITU-R BT.1886, black at 0)\n",
            diag::number(white)
        );
    }
    if all.iter().any(|(_, watched)| watched.seen.is_above()) {
        text += "what lessens it:\n";
        text.extend(LESSENS.iter().map(|(what, when)| format!("  {what:28} {when}\n")));
    }
    text + NO_CLEARANCE + "\n"
}

/// What is said of one kind.
fn lines(found: &Found, watched: &Watched) -> String {
    let (kind, of_what) = (found.kind.words(), found.kind.of_what());
    if !found.is_above() {
        let near = if found.is_near() {
            format!(
                "; {} % of {of_what} flashes more often than that, which is near the limit",
                percent(found.too_often)
            )
        } else {
            String::new()
        };
        let much = percent(MOST_AREA);
        return match found.most {
            0 => format!("  {kind}: none over more than {much} % of {of_what}{near}\n"),
            most => format!(
                "  {kind}: at most {most} a second over more than {much} % of {of_what}, and {MOST_FLASHES} are allowed{near}\n"
            ),
        };
    }
    let mut text =
        format!("  {kind}: ABOVE THE LIMIT of {MOST_FLASHES} a second over {} % of {of_what}:\n", percent(MOST_AREA));
    for span in &found.spans {
        let at = |frame: u64| frame as f64 / rate(watched);
        text += &format!(
            "    frames {} to {} ({:.2} to {:.2} s): {} a second, {} % of {of_what}\n",
            span.first,
            span.last,
            at(span.first),
            at(span.last + 1),
            span.flashes,
            percent(span.area)
        );
    }
    text
}

/// A share in percent, with a decimal where it is near a limit.
fn percent(share: f64) -> String {
    diag::number((share * 1000.0).round() / 10.0)
}

fn as_json(all: &[(&Clip, Watched)], options: &FlashOptions) -> String {
    let clips: Vec<Value> = all
        .iter()
        .map(|(clip, watched)| {
            json!({
                "path": clip.path.display().to_string(), "frames": watched.seen.frames, "seconds": watched.seen.seconds,
                "size": [watched.size.width, watched.size.height],
                "rate": watched.rate.map(|rate| [rate.numerator(), rate.denominator()]),
                "above": watched.seen.is_above(), "short": watched.short, "kinds": watched.seen.kinds,
            })
        })
        .collect();
    pretty(&json!({
        "clips": clips, "white": options.white, "most_flashes": MOST_FLASHES, "most_area": MOST_AREA, "certified": false,
        "note": NO_CLEARANCE,
    }))
}
