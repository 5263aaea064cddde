//! The composition: wires the steps for each command. The only place that imports steps.

mod cache;
mod corrected;
mod dials;
mod diff;
mod draft;
mod draw;
mod explain;
mod flash;
mod flashing;
mod frame;
mod hand;
mod held;
mod list;
mod listed;
mod live;
mod look;
mod moves;
mod new;
mod outcome;
mod outputs;
mod pictures;
mod poster;
mod preflight;
mod prepare;
mod progress;
mod prove;
mod purposes;
mod put;
mod receipt;
mod reckon;
mod render;
mod rendering;
mod resume;
mod running;
mod share;
mod size;
mod starter;
mod starters;
mod strip;
mod survey;
mod surveyor;
mod tables;
mod tend;
mod types;
mod written;

use std::path::PathBuf;
use std::sync::OnceLock;

use serde_json::json;

use crate::decode::{KNOWN_FILES, KnownFiles};
use crate::diag::{self, Diagnostic, Diagnostics, Printed};
use crate::shoot::Shoot;
use crate::units::Size;
use crate::{demo as demo_shoot, plan as plans, script, store, survey as surveys};

pub use crate::pipeline::Watch;
pub use cache::{CacheOptions, cache};
pub use dials::dials;
pub use diff::{DiffOptions, diff};
pub use draft::DraftOptions;
pub use draw::{DrawOptions, draw};
pub use explain::{FrameWanted, explain};
pub use flash::{FlashOptions, LESSENS, flash};
pub use frame::{FrameOptions, frame};
pub use hand::{HandOptions, hand};
pub use list::{ListOptions, list};
pub use live::{LiveOptions, live};
pub use look::{LookOptions, look};
pub use moves::{draw_move, moves};
pub use new::{NewOptions, new};
pub use prove::{FramesAnew, ProveOptions, prove};
pub use purposes::{PurposesOptions, purposes};
pub use reckon::{ReckonOptions, reckon};
pub use render::render;
pub use rendering::{Extent, RenderOptions};
pub use share::number::Share;
pub use survey::{SurveyOptions, survey};
pub use tables::{TableOptions, level, steady};
pub use tend::{TendOptions, tend};
pub use types::{Published, types};

use prepare::{Encoders, prepare};
use surveyor::Looking;

/// What every command that runs a script is given.
#[derive(Debug, Clone)]
pub struct ScriptOptions {
    /// The script.
    pub script: PathBuf,
    /// Dials to set.
    pub settings: Vec<(String, String)>,
    /// Folders, patterns or files that take the place of the script's own, seen from the working folder; empty for its
    /// own.
    pub sources: Vec<String>,
    /// Names of the only deliveries wanted; empty for all.
    pub deliveries: Vec<String>,
}

/// What a command has to say.
#[derive(Debug, Default)]
pub struct Reply {
    /// For standard output, as it is.
    pub text: String,
    /// What the script printed, for standard error.
    pub messages: Vec<String>,
    /// Mistakes and remarks, for standard error.
    pub notes: Diagnostics,
    /// One closing line for standard error, where there is something to add.
    pub closing: Option<String>,
}

/// A command that did not do what it was asked, with its exit code.
#[derive(Debug)]
pub struct Failure {
    /// What it still has to say.
    pub reply: Reply,
    /// 1 refused, 2 failed, 130 interrupted.
    pub code: u8,
}

/// The script or the plan was refused.
const REFUSED: u8 = 1;
/// The render failed.
const FAILED: u8 = 2;
/// Interrupted.
const INTERRUPTED: u8 = 130;

impl Reply {
    fn text(text: impl Into<String>) -> Self {
        Self { text: text.into(), ..Self::default() }
    }

    /// Everything for standard error, as people read it.
    #[must_use]
    pub fn notes_as_text(&self, colour: bool) -> Printed {
        let line = |text: &String| Printed::lines(&format!("{text}\n"));
        let messages = self.messages.iter().map(line).fold(Printed::default(), |all, one| all.and(&one));
        let closing = self.closing.as_ref().map(line).unwrap_or_default();
        messages.and(&diag::render(&self.notes, colour, script::source_text)).and(&closing)
    }
}

impl Failure {
    fn refused(notes: impl Into<Diagnostics>) -> Self {
        Self { reply: Reply { notes: notes.into(), ..Reply::default() }, code: REFUSED }
    }

    fn failed(notes: impl Into<Diagnostics>) -> Self {
        Self { reply: Reply { notes: notes.into(), ..Reply::default() }, code: FAILED }
    }

    fn interrupted() -> Self {
        Self::interrupted_saying("give the same command to start again")
    }

    /// Interrupted, with what to do next.
    fn interrupted_saying(next: &str) -> Self {
        let closing = Some(format!("stillpath: interrupted; {next}"));
        Self { reply: Reply { closing, ..Reply::default() }, code: INTERRUPTED }
    }
}

/// Finds every mistake and remark, without decoding a pixel but where stills are to be levelled or steadied that nobody
/// has looked at yet.
///
/// # Errors
/// [`Failure`] with every mistake found.
pub fn check(options: &ScriptOptions, json: bool, watch: &Watch) -> Result<Reply, Failure> {
    let prepared = prepare(options, Encoders::Asked, Looking { watch, quiet: json });
    if json {
        let (notes, messages, code) = match prepared {
            Ok(prepared) => (prepared.notes_and_estimates(), prepared.messages, 0),
            Err(Failure { reply, code }) => (reply.notes, reply.messages, code),
        };
        let text = pretty(&json!({ "refused": code != 0, "diagnostics": notes }));
        let reply = Reply { text, messages, ..Reply::default() };
        return if code == 0 { Ok(reply) } else { Err(Failure { reply, code }) };
    }
    let prepared = prepared?;
    let text = prepared.parts.iter().map(|part| plans::summary(part.made.plan())).collect();
    let notes = prepared.notes_and_estimates();
    let closing = match notes.0.len() {
        0 => "no mistakes, no remarks",
        1 => "no mistakes, 1 remark",
        count => &format!("no mistakes, {count} remarks"),
    };
    let closing = Some(format!("stillpath: {closing}"));
    Ok(Reply { text, messages: prepared.messages, notes, closing })
}

/// What a plan is printed as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlanForm {
    /// As people read it.
    Text,
    /// All of it.
    Json,
    /// Comma-separated values, a line for each still of each frame.
    Csv,
}

/// Prints the table.
///
/// # Errors
/// [`Failure`] with every mistake found.
pub fn plan(options: &ScriptOptions, form: PlanForm, watch: &Watch) -> Result<Reply, Failure> {
    let prepared = prepare(options, Encoders::LeftAlone, Looking { watch, quiet: form != PlanForm::Text })?;
    let plans = || prepared.parts.iter().map(|part| part.made.plan());
    let text = match form {
        PlanForm::Json => pretty(&plans::Plans { plans: plans().collect() }),
        PlanForm::Csv => plans::csv(prepared.parts.iter().map(|part| (part.made.plan(), &prepared.shoots[part.shoot]))),
        PlanForm::Text => plans().map(plans::text).collect(),
    };
    let notes = prepared.notes();
    Ok(Reply { text, messages: prepared.messages, notes, closing: None })
}

/// Surveys stills, or a recording.
fn surveyed(request: &surveys::Request, recorded: bool) -> Result<Shoot, Diagnostics> {
    if recorded { surveys::recording(request) } else { surveys::survey_known(request, known_files()) }
}

/// What is known of files from before, by this run and by earlier ones.
fn known_files() -> &'static KnownFiles {
    static KNOWN: OnceLock<KnownFiles> = OnceLock::new();
    KNOWN.get_or_init(|| KnownFiles::new(store::user_folder().map(|folder| folder.join(KNOWN_FILES.folder))))
}

/// What to draw, and where.
#[derive(Debug, Clone)]
pub struct DemoOptions {
    /// The folder.
    pub dir: PathBuf,
    /// How many slots.
    pub stills: u32,
    /// Size of a still.
    pub size: Size,
    /// Same seed, same bytes.
    pub seed: u64,
    /// Whether a demo shoot that is there may be replaced.
    pub force: bool,
}

/// Draws the demo shoot and its script.
///
/// # Errors
/// [`Failure`] where the folder holds a shoot already or the disk refuses.
pub fn demo(options: &DemoOptions, watch: &Watch) -> Result<Reply, Failure> {
    let shoot = options.dir.join("shoot");
    let script = options.dir.join("harbour.lua");
    if !options.force && (shoot.exists() || script.exists()) {
        let message = format!("{} already holds a demo", options.dir.display());
        return Err(Failure::refused(
            Diagnostic::mistake(message).help("give another folder, or --force to draw it again"),
        ));
    }
    if shoot.exists() && !shoot.join("truth.json").exists() {
        let message = format!("{} was not drawn by this program; nothing in it is replaced", shoot.display());
        return Err(Failure::refused(Diagnostic::mistake(message).help("give another folder")));
    }
    let failed = |path: &std::path::Path, error: &std::io::Error| {
        Failure::failed(Diagnostic::mistake(format!("{}: {error}", path.display())))
    };
    std::fs::create_dir_all(&options.dir).map_err(|error| failed(&options.dir, &error))?;
    let request = demo_shoot::Request {
        stills: options.stills,
        size: options.size,
        seed: options.seed,
        threads: std::thread::available_parallelism().map_or(1, usize::from),
    };
    progress::while_drawing(u64::from(options.stills), watch, |drawn| demo_shoot::draw(&request, &shoot, drawn))
        .map_err(|(path, error)| failed(&path, &error))?;
    if watch.stop.load(std::sync::atomic::Ordering::Relaxed) {
        return Err(Failure::interrupted());
    }
    std::fs::write(&script, demo_shoot::script()).map_err(|error| failed(&script, &error))?;
    Ok(Reply::text(format!(
        "drew {} stills of {} below {}\nnext: stillpath render {} --out {}\n",
        options.stills,
        options.size,
        diag::path(&shoot),
        diag::path(&script),
        diag::path(&options.dir.join("clips"))
    )))
}

fn pretty(value: &impl serde::Serialize) -> String {
    let made = serde_json::to_string_pretty(value);
    made.map_or_else(|error| format!("{{\"error\": \"{error}\"}}\n"), |text| diag::fit_json(&text) + "\n")
}

/// Bytes in a unit people read.
fn bytes(count: u64) -> String {
    indicatif::DecimalBytes(count).to_string()
}
