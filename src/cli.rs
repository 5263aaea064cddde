//! The command line: parsed and validated here, acted on by the session.
//!
//! ## Decisions
//!
//! - A paragraph of help is one line here: clap wraps it to the terminal, at most 100 columns, and would break lines that
//!   are wrapped already a second time. What is indented (commands, tables) has at most 80.

// By its path, because the examples read this file in by its own.
#[path = "cli/help.rs"]
mod help;

use std::path::PathBuf;
use std::time::Duration;

use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, Parser, Subcommand};
use help::{
    FIRST_STEPS, HOW_TO_CACHE, HOW_TO_CHECK, HOW_TO_DEMO, HOW_TO_DIALS, HOW_TO_DIFF, HOW_TO_DRAW, HOW_TO_EXPLAIN,
    HOW_TO_FLASH, HOW_TO_FRAME, HOW_TO_HAND, HOW_TO_JOIN, HOW_TO_LEVEL, HOW_TO_LIST, HOW_TO_LIVE, HOW_TO_LOOK,
    HOW_TO_MOVES, HOW_TO_NEW, HOW_TO_PLAN, HOW_TO_PROVE, HOW_TO_PURPOSES, HOW_TO_RECKON, HOW_TO_RENDER, HOW_TO_STEADY,
    HOW_TO_SURVEY, HOW_TO_TEND, HOW_TO_TYPES,
};
use stillpath::session::{FramesAnew, Share};
use stillpath::shot::Pairs;
use stillpath::units::{FrameRate, Size};

/// Cuts moving, reframed clips out of a fixed-camera shoot of full-size stills, as a Lua script says
#[derive(Debug, Parser)]
#[command(version, max_term_width = 100, after_help = FIRST_STEPS)]
pub(crate) struct Cli {
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Find every mistake and remark in a script and its shoot
    #[command(after_help = HOW_TO_CHECK)]
    Check {
        #[command(flatten)]
        script: ScriptArgs,
        /// Print the findings as JSON
        #[arg(long)]
        json: bool,
    },
    /// Print the table: for every frame of every delivery, the window and the still
    #[command(after_help = HOW_TO_PLAN)]
    Plan {
        #[command(flatten)]
        script: ScriptArgs,
        /// Print the whole plan as JSON
        #[arg(long)]
        json: bool,
        /// Print it as comma-separated values: a line for each still of each frame
        #[arg(long, conflicts_with = "json")]
        csv: bool,
    },
    /// Explain one frame: the keys, eases, rates and corrections that decided it, each with its line of the script
    #[command(after_help = HOW_TO_EXPLAIN)]
    Explain {
        #[command(flatten)]
        script: ScriptArgs,
        /// Which frame, counted from 0
        #[arg(long, value_name = "N", required_unless_present = "at", conflicts_with = "at")]
        frame: Option<u64>,
        /// The frame at a moment: 3.5s or 00:00:03:12 of the clip, or the first at or after a time of day, 14:32
        #[arg(long, value_name = "MOMENT")]
        at: Option<String>,
        /// Print it as JSON
        #[arg(long)]
        json: bool,
    },
    /// Draw the move before it is rendered: a motion sheet per shot, or a strip of frames
    #[command(after_help = HOW_TO_DRAW)]
    Draw {
        #[command(flatten)]
        script: ScriptArgs,
        /// The drawing to write, .svg or .png
        #[arg(short, long, value_name = "FILE")]
        output: PathBuf,
        /// Only this shot, of a script that returns several
        #[arg(long, value_name = "NAME")]
        shot: Option<String>,
        /// The still under the windows: the one on screen at 3.5s, or at or after a time of day, 14:32
        #[arg(long, value_name = "MOMENT", conflicts_with = "strip")]
        at: Option<String>,
        /// A strip of frames of each delivery instead: the first, those at keys, the last
        #[arg(long)]
        strip: bool,
        /// This many evenly spaced frames, instead of those at keys
        #[arg(long, value_name = "N", requires = "strip", value_parser = clap::value_parser!(u16).range(1..=60))]
        frames: Option<u16>,
        /// Replace existing files
        #[arg(long)]
        force: bool,
    },
    /// Compare two scripts: which frames of which delivery differ, and by how much
    #[command(after_help = HOW_TO_DIFF)]
    Diff {
        #[command(flatten)]
        before: ScriptArgs,
        /// The Lua script to compare it with
        after: PathBuf,
        /// Also draw both over one still, .svg or .png
        #[arg(short, long, value_name = "FILE")]
        output: Option<PathBuf>,
        /// Replace an existing file
        #[arg(long)]
        force: bool,
        /// Print the differences as JSON
        #[arg(long)]
        json: bool,
    },
    /// List what a script lets its user set: each dial with its range, its value and what it does
    #[command(after_help = HOW_TO_DIALS)]
    Dials {
        #[command(flatten)]
        script: DialArgs,
        /// Print them as JSON
        #[arg(long)]
        json: bool,
    },
    /// Say what a folder of stills or a recording holds: order, times, gaps, damage
    #[command(after_help = HOW_TO_SURVEY)]
    Survey {
        /// A folder, a pattern in quotes, files, or a recorded video
        #[arg(required = true)]
        stills: Vec<String>,
        /// Read the pixels too: light and flicker, shifts, sharpness, damage, where and when things move
        #[arg(long)]
        look: bool,
        /// Draw a page of what looking found: stills, light, steadiness, activity, gaps; as SVG or PNG; implies --look
        #[arg(long, value_name = "FILE")]
        picture: Option<PathBuf>,
        /// Replace an existing picture
        #[arg(long)]
        force: bool,
        /// No progress
        #[arg(long)]
        quiet: bool,
        /// Print the catalogue as JSON
        #[arg(long)]
        json: bool,
        /// Take the stills as stored, whatever their orientation tags say
        #[arg(long)]
        ignore_orientation: bool,
        /// Where two pictures of one name have different kinds, which kind is the still
        #[arg(long, value_name = "KIND", default_value = "stop", value_parser = kinds())]
        pairs: Pairs,
        /// The camera whose stills are meant, where there are several's; "any" takes all
        #[arg(long, value_name = "NAME")]
        camera: Option<String>,
    },
    /// List what lies below a folder: shoots with their days and sizes, recordings, scripts, finished clips
    #[command(after_help = HOW_TO_LIST)]
    List {
        /// The folder that your shoots lie below
        folder: PathBuf,
        /// Read clips and stills to their ends, and hold them against the hashes in receipts
        #[arg(long)]
        hash: bool,
        /// Write it as one page, .html, with some stills of each shoot in small
        #[arg(short, long, value_name = "FILE", conflicts_with = "json")]
        output: Option<PathBuf>,
        /// Replace an existing page
        #[arg(long, requires = "output")]
        force: bool,
        /// No progress
        #[arg(long)]
        quiet: bool,
        /// Print it as JSON
        #[arg(long)]
        json: bool,
    },
    /// Look at finished clips for flashes above published limits, and name the frames; certifies nothing
    #[command(after_help = HOW_TO_FLASH)]
    Flash {
        /// A clip, the folder of a sequence, or a script with --out
        clip: PathBuf,
        /// Of a script, the folder with its clips
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
        /// Of a script, set a dial that it declares, as the render did
        #[arg(long = "set", value_name = "NAME=VALUE", value_parser = parse_setting, requires = "out")]
        settings: Vec<(String, String)>,
        /// Of a script, only this delivery; may be given several times
        #[arg(long = "delivery", value_name = "NAME", requires = "out")]
        deliveries: Vec<String>,
        /// Frames a second of a folder's frames, such as 24 or 30000/1001
        #[arg(long, value_name = "RATE", value_parser = parse_rate)]
        fps: Option<FrameRate>,
        /// The white of the display it is watched on, in cd/m², such as 200: looks by ITU-R BT.1702 too
        #[arg(long, value_name = "CD", value_parser = parse_white, allow_negative_numbers = true)]
        white: Option<f64>,
        /// Draw flashes over the frames into this file, .svg or .png
        #[arg(short, long, value_name = "FILE")]
        output: Option<PathBuf>,
        /// Replace an existing drawing
        #[arg(long)]
        force: bool,
        /// No progress
        #[arg(long)]
        quiet: bool,
        /// Print what was found as JSON
        #[arg(long)]
        json: bool,
    },
    /// Make one frame of a delivery as a 16-bit PNG
    #[command(after_help = HOW_TO_FRAME)]
    Frame {
        #[command(flatten)]
        script: ScriptArgs,
        /// Which frame, counted from 0
        #[arg(long, value_name = "N", required_unless_present = "at", conflicts_with = "at")]
        frame: Option<u64>,
        /// The frame at a moment: 3.5s or 00:00:03:12 of the clip, or the first at or after a time of day, 14:32
        #[arg(long, value_name = "MOMENT")]
        at: Option<String>,
        /// The PNG to write
        #[arg(short, long, value_name = "FILE")]
        output: PathBuf,
        /// Replace an existing file
        #[arg(long)]
        force: bool,
        /// Print the outcome as JSON
        #[arg(long)]
        json: bool,
    },
    /// Render the deliveries, all in one pass over the stills
    #[command(after_help = HOW_TO_RENDER)]
    Render {
        #[command(flatten)]
        script: ScriptArgs,
        /// The folder for the outputs; created if missing
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
        /// Threads that decode and paint [default: one per processor]
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
        threads: Option<u16>,
        /// Replace existing outputs
        #[arg(long)]
        force: bool,
        /// Start from the beginning: make every frame, and use nothing that an interrupted run kept
        #[arg(long)]
        fresh: bool,
        /// How long to wait for stills whose drive is gone [default: 20]
        #[arg(long, value_name = "SECONDS")]
        wait: Option<u32>,
        /// Make drafts, to be watched and thrown away: half the width and height, from stills decoded small
        #[arg(long)]
        draft: bool,
        /// How much of small stills to keep for the next draft, such as 500MB; 0 keeps none [default: $STILLPATH_KEEP,
        /// else 4GB]
        #[arg(long, value_name = "SIZE", requires = "draft", value_parser = parse_bytes)]
        keep: Option<u64>,
        /// No strip of frames beside the outputs
        #[arg(long)]
        no_strip: bool,
        /// No receipt beside the outputs
        #[arg(long)]
        no_receipt: bool,
        /// No progress, no summary, no strip
        #[arg(long, conflicts_with = "json")]
        quiet: bool,
        /// Print the outcome as JSON, with the hash of every frame handed to an encoder
        #[arg(long)]
        json: bool,
        /// Make one of several shares only, such as 3/16, on this machine; `stillpath join` makes outputs of all of them
        #[arg(long, value_name = "K/N", requires = "threads", conflicts_with = "draft", value_parser = Share::read)]
        share: Option<Share>,
        /// The shoot will have more stills: keep what the clips are put together from, so that the next render makes only
        /// what is new, and replace clips that the last such render left
        #[arg(long, conflicts_with_all = ["draft", "share"])]
        growing: bool,
    },
    /// Put together what many machines have made in shares, with render --share
    #[command(after_help = HOW_TO_JOIN)]
    Join {
        #[command(flatten)]
        script: ScriptArgs,
        /// The folder that the shares were made into
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
        /// The shares' --threads [default: as their notes say]
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
        threads: Option<u16>,
        /// Replace existing outputs
        #[arg(long)]
        force: bool,
        /// No strip of frames beside the outputs
        #[arg(long)]
        no_strip: bool,
        /// No receipt beside the outputs
        #[arg(long)]
        no_receipt: bool,
        /// No progress, no summary, no strip
        #[arg(long, conflicts_with = "json")]
        quiet: bool,
        /// Print the outcome as JSON, with the hash of every frame handed to an encoder
        #[arg(long)]
        json: bool,
    },
    /// Stay with a shoot that grows, and render again whenever stills have come
    #[command(after_help = HOW_TO_TEND)]
    Tend {
        #[command(flatten)]
        script: ScriptArgs,
        /// The folder for the outputs; created if missing
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
        /// The least time from one render to the next, such as 30s, 10m or 1h, and how often to look for stills where the
        /// system does not tell of new files
        #[arg(long, value_name = "DURATION", default_value = "1m", value_parser = parse_every)]
        every: Duration,
        /// Threads that decode and paint [default: one per processor]
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
        threads: Option<u16>,
        /// No remarks, no strip
        #[arg(long)]
        quiet: bool,
    },
    /// Check a finished render: its clips against its receipt, the script and the stills
    #[command(after_help = HOW_TO_PROVE)]
    Prove {
        /// The receipt, DIR/<script>-receipt.json
        receipt: PathBuf,
        /// How many random frames to remake, beside the first, the middle and the last; or all
        #[arg(long, value_name = "N|all", default_value = "10", value_parser = parse_frames)]
        frames: FramesAnew,
        /// Seed for choosing the random frames [default: the receipt's hash, so that they repeat]
        #[arg(long, value_name = "N")]
        seed: Option<u64>,
        /// A folder with a second copy of the stills, to check against the same hashes; may be given several times
        #[arg(long = "copy", value_name = "FOLDER")]
        copies: Vec<PathBuf>,
        /// Write a list of the stills' hashes, FILE.b3 or FILE.sha256; may be given several times
        #[arg(long = "list", value_name = "FILE")]
        lists: Vec<PathBuf>,
        /// Replace existing lists
        #[arg(long)]
        force: bool,
        /// Threads that decode and paint [default: one per processor]
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
        threads: Option<u16>,
        /// No progress
        #[arg(long)]
        quiet: bool,
        /// Print what is proved and what is not as JSON
        #[arg(long)]
        json: bool,
    },
    /// Hand deliveries over as OpenTimelineIO timelines: clips, ranges, markers, stills and the move
    #[command(after_help = HOW_TO_HAND)]
    Hand {
        #[command(flatten)]
        script: ScriptArgs,
        /// The timeline to write, .otio; with several deliveries one for each
        #[arg(short, long, value_name = "FILE")]
        output: PathBuf,
        /// The folder of the finished clips [default: the timeline's own]
        #[arg(long, value_name = "DIR")]
        clips: Option<PathBuf>,
        /// Replace existing files
        #[arg(long)]
        force: bool,
    },
    /// Answer what is asked before a camera is set up: stills, clip, interval, cards, batteries, zoom, shutter
    #[command(after_help = HOW_TO_RECKON)]
    Reckon {
        /// A shoot that is there, to reckon with: a folder, a pattern in quotes, or a recorded video
        folder: Option<String>,
        #[command(flatten)]
        known: Box<KnownArgs>,
        /// Draw it on one page to print and take along, .svg or .png
        #[arg(long, value_name = "FILE")]
        sheet: Option<PathBuf>,
        /// Replace an existing sheet
        #[arg(long, requires = "sheet")]
        force: bool,
        /// Print it as JSON, every amount as an exact fraction
        #[arg(long)]
        json: bool,
    },
    /// Print what levelling does to every still, as a table to read, edit and feed back
    #[command(after_help = HOW_TO_LEVEL)]
    Level {
        #[command(flatten)]
        script: ScriptArgs,
        /// The table to write [default: standard output]
        #[arg(short, long, value_name = "FILE")]
        output: Option<PathBuf>,
        /// Replace an existing file
        #[arg(long)]
        force: bool,
    },
    /// Print how far every steadied still is shifted and turned, as a table to read, edit and feed back
    #[command(after_help = HOW_TO_STEADY)]
    Steady {
        #[command(flatten)]
        script: ScriptArgs,
        /// The table to write [default: standard output]
        #[arg(short, long, value_name = "FILE")]
        output: Option<PathBuf>,
        /// Replace an existing file
        #[arg(long)]
        force: bool,
    },
    /// Look at the pixels of what a script levels or steadies beforehand: all of them, or one machine's share
    #[command(after_help = HOW_TO_LOOK)]
    Look {
        #[command(flatten)]
        script: ScriptArgs,
        /// One of several shares of the stills only, such as 3/16
        #[arg(long, value_name = "K/N", value_parser = Share::read)]
        share: Option<Share>,
        /// No progress, no summary
        #[arg(long, conflicts_with = "json")]
        quiet: bool,
        /// Print what was measured as JSON
        #[arg(long)]
        json: bool,
    },
    /// Show the move in a browser on this computer, updated whenever the script is saved
    #[command(after_help = HOW_TO_LIVE)]
    Live {
        #[command(flatten)]
        script: ScriptArgs,
        /// The local port to serve the page on [default: a free one]
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
        port: Option<u16>,
        /// Open the page in the browser
        #[arg(long)]
        open: bool,
    },
    /// Write a commented first script for a shoot, which renders as it is
    #[command(after_help = HOW_TO_NEW)]
    New {
        /// The folder of the stills, or a recorded video
        folder: PathBuf,
        /// The script to write [default: the folder's name with .lua, in the working folder]
        #[arg(short, long, value_name = "SCRIPT")]
        output: Option<PathBuf>,
        /// Replace an existing file
        #[arg(long, conflicts_with = "moves")]
        force: bool,
        /// Look at the pixels, and write three scripts that go where most happens: a push-in, a wide, a vertical
        #[arg(long)]
        moves: bool,
        /// No progress
        #[arg(short, long)]
        quiet: bool,
    },
    /// Show what is kept on the disk to save work: measurements of stills, small stills of drafts
    #[command(after_help = HOW_TO_CACHE)]
    Cache {
        /// Remove it: the program's own files there, and nothing else
        #[arg(long)]
        clear: bool,
        /// Print the outcome as JSON
        #[arg(long)]
        json: bool,
    },
    /// List the purposes a delivery may be given, with the figures and sources of each
    #[command(after_help = HOW_TO_PURPOSES)]
    Purposes {
        /// Copy the table into your configuration folder, to be edited; one that is there is never replaced
        #[arg(long)]
        copy: bool,
        /// Print them as JSON
        #[arg(long, conflicts_with = "copy")]
        json: bool,
    },
    /// Draw the demo shoot (a harbour over a falling tide) and its script into a folder
    #[command(after_help = HOW_TO_DEMO)]
    Demo {
        /// The folder; created if missing
        dir: PathBuf,
        /// How many stills
        #[arg(long, default_value_t = 120, value_parser = clap::value_parser!(u32).range(3..=5000))]
        stills: u32,
        /// Their size in pixels
        #[arg(long, default_value = "4000x3000", value_parser = parse_size)]
        size: Size,
        /// Same seed, same bytes
        #[arg(long, default_value_t = 1)]
        seed: u64,
        /// Replace an existing demo shoot
        #[arg(long)]
        force: bool,
    },
    /// Print definitions for the Lua language server, so that an editor completes and checks scripts
    #[command(after_help = HOW_TO_TYPES)]
    Types {
        /// The reference page instead, in Markdown
        #[arg(long)]
        reference: bool,
        /// The JSON Schema of `plan --json` instead
        #[arg(long, conflicts_with = "reference")]
        plan_schema: bool,
        /// The JSON Schema of receipts instead
        #[arg(long, conflicts_with_all = ["reference", "plan_schema"])]
        receipt_schema: bool,
    },
    /// List the built-in moves, or describe one of them
    #[command(after_help = HOW_TO_MOVES)]
    Moves {
        /// A move, such as push_in
        name: Option<String>,
        /// Draw its example into this file instead, .svg or .png
        #[arg(short, long, value_name = "FILE", requires = "name")]
        output: Option<PathBuf>,
        /// Replace an existing file
        #[arg(long, requires = "output")]
        force: bool,
        /// Print them as JSON: name, example, and each argument with its default
        #[arg(long, conflicts_with = "output")]
        json: bool,
    },
}

/// A script and its dials.
#[derive(Debug, Args)]
pub(crate) struct DialArgs {
    /// The Lua script
    pub(crate) script: PathBuf,
    /// Set a dial the script declares (`stillpath dials SCRIPT` lists them)
    #[arg(long = "set", value_name = "NAME=VALUE", value_parser = parse_setting)]
    pub(crate) settings: Vec<(String, String)>,
}

/// What is known before a shoot.
#[derive(Debug, Args)]
pub(crate) struct KnownArgs {
    /// How long the event lasts: 8h, 8h30m
    #[arg(long, value_name = "TIME")]
    pub(crate) event: Option<String>,
    /// From one still to the next: 5s; a range: 2..30
    #[arg(long, value_name = "TIME")]
    pub(crate) interval: Option<String>,
    /// In place of the interval, for a timer that counts from the end of each exposure
    #[arg(long, value_name = "TIME")]
    pub(crate) pause: Option<String>,
    /// How long the shutter is open: 1/50, 2s
    #[arg(long, value_name = "TIME")]
    pub(crate) exposure: Option<String>,
    /// In place of the exposure, its share of the interval in degrees of 360
    #[arg(long, value_name = "DEGREES")]
    pub(crate) angle: Option<String>,
    /// How long the camera is busy after an exposure
    #[arg(long, value_name = "TIME")]
    pub(crate) writing: Option<String>,
    /// How long the clip shall be: 90s
    #[arg(long, value_name = "TIME")]
    pub(crate) clip: Option<String>,
    /// Frames a second of the clip: 24, 24000/1001
    #[arg(long, value_name = "RATE")]
    pub(crate) fps: Option<String>,
    /// For how many frames each still is shown [default: 1]
    #[arg(long, value_name = "N")]
    pub(crate) frames_per_still: Option<String>,
    /// How many stills
    #[arg(long, value_name = "N")]
    pub(crate) stills: Option<String>,
    /// Pixels of a still: 6000x4000
    #[arg(long, value_name = "WIDTHxHEIGHT")]
    pub(crate) size: Option<String>,
    /// What stills are written as, to guess what they take: jpeg, raw12, raw14 or tiff16
    #[arg(long, value_name = "FORMAT")]
    pub(crate) format: Option<String>,
    /// What a still takes on the card: 12MB
    #[arg(long, value_name = "DATA")]
    pub(crate) still_takes: Option<String>,
    /// What a card holds: 64GB
    #[arg(long, value_name = "DATA")]
    pub(crate) card: Option<String>,
    /// What a charge lasts: 900stills, 4h
    #[arg(long, value_name = "STILLS|TIME")]
    pub(crate) battery: Option<String>,
    /// The number of the last file on the camera: 9500
    #[arg(long, value_name = "N")]
    pub(crate) number: Option<String>,
    /// How many stills a folder of the card takes
    #[arg(long, value_name = "N")]
    pub(crate) folder_holds: Option<String>,
    /// A delivery's frame, 1080x1920; may be given several times [default: wide, vertical and square ones]
    #[arg(long = "frame", value_name = "WIDTHxHEIGHT")]
    pub(crate) frames: Vec<String>,
    /// How wide the picture is where the subject moves: 12m
    #[arg(long, value_name = "LENGTH")]
    pub(crate) across: Option<String>,
    /// How fast the subject is: 1.4m/s, 5km/h, 2cm/h
    #[arg(long, value_name = "SPEED")]
    pub(crate) speed: Option<String>,
    /// The frequency of the mains that lamps run on: 50 or 60
    #[arg(long, value_name = "HERTZ")]
    pub(crate) mains: Option<String>,
}

/// What every command that plans a script over its shoot takes.
#[derive(Debug, Args)]
pub(crate) struct ScriptArgs {
    #[command(flatten)]
    pub(crate) dials: DialArgs,
    /// Another shoot in place of the script's own, relative to the working folder; several folders make one shoot
    #[arg(long = "source", value_name = "FOLDER")]
    pub(crate) sources: Vec<String>,
    /// Only this delivery; may be given several times
    #[arg(long = "delivery", value_name = "NAME")]
    pub(crate) deliveries: Vec<String>,
}

fn parse_setting(text: &str) -> Result<(String, String), String> {
    let (name, value) = text.split_once('=').ok_or("write name=value")?;
    if name.is_empty() {
        return Err("write name=value".into());
    }
    Ok((name.to_owned(), value.to_owned()))
}

fn parse_frames(text: &str) -> Result<FramesAnew, String> {
    match text {
        "all" => Ok(FramesAnew::All),
        _ => text.parse().map(FramesAnew::Some).map_err(|_none| "write a number of frames, or all".into()),
    }
}

fn parse_rate(text: &str) -> Result<FrameRate, String> {
    text.parse().map_err(|error: stillpath::units::FrameRateError| error.to_string())
}

fn parse_white(text: &str) -> Result<f64, String> {
    let white = text.parse::<f64>().ok().filter(|white| white.is_finite() && (1.0..=10_000.0).contains(white));
    white.ok_or_else(|| {
        "a white is 1 to 10000 cd/m²: write --white 200 for a bright screen, --white 100 for a grading monitor".into()
    })
}

fn parse_size(text: &str) -> Result<Size, String> {
    let part = |digits: &str| digits.parse::<u32>().ok().filter(|side| (64..=16_384).contains(side) && side % 2 == 0);
    text.split_once('x')
        .and_then(|(width, height)| Some(Size::new(part(width)?, part(height)?)))
        .ok_or_else(|| "write WIDTHxHEIGHT, both even, 64 to 16384".into())
}

fn kinds() -> impl TypedValueParser<Value = Pairs> {
    PossibleValuesParser::new(Pairs::KEYWORDS).map(|kind| Pairs::from_keyword(&kind).unwrap_or_default())
}

/// How many bytes of small stills are kept where the command line does not say: what `STILLPATH_KEEP` says, or 4 GB.
pub(crate) fn keep_by_environment() -> Result<u64, String> {
    match std::env::var("STILLPATH_KEEP") {
        Ok(text) => parse_bytes(&text).map_err(|why| format!("STILLPATH_KEEP is '{text}': {why}")),
        Err(std::env::VarError::NotPresent) => Ok(stillpath::decode::SMALL_STILLS.most),
        Err(error) => Err(format!("STILLPATH_KEEP: {error}")),
    }
}

/// Reads a duration of one unit.
fn parse_every(text: &str) -> Result<Duration, String> {
    let said = || "write a number of seconds, minutes or hours, such as 30s, 10m or 1h".to_owned();
    let (number, unit) = text.split_at(text.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(text.len()));
    let seconds = match unit {
        "s" => 1,
        "m" | "min" => 60,
        "h" => 3600,
        _ => return Err(said()),
    };
    let seconds = number.parse::<u32>().ok().and_then(|number| number.checked_mul(seconds)).ok_or_else(said)?;
    if seconds == 0 { Err(said()) } else { Ok(Duration::from_secs(seconds.into())) }
}

fn parse_bytes(text: &str) -> Result<u64, String> {
    let said = || "write a number of bytes, or one with kB, MB, GB or TB, such as 4GB".to_owned();
    let digits = text.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(text.len());
    let (number, unit) = text.split_at(digits);
    let thousands = ["", "kb", "mb", "gb", "tb"].iter().position(|known| unit.trim().eq_ignore_ascii_case(known));
    let number = number.parse::<u64>().ok();
    number
        .zip(thousands)
        .and_then(|(number, power)| number.checked_mul(1000_u64.pow(u32::try_from(power).ok()?)))
        .ok_or_else(said)
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_commands_are_well_formed() {
        Cli::command().debug_assert();
    }

    #[test]
    fn sizes_and_settings_say_how_they_are_written() {
        assert_eq!(parse_size("640x480"), Ok(Size::new(640, 480)));
        assert!(parse_size("640").is_err() && parse_size("641x480").is_err() && parse_size("0x0").is_err());
        assert_eq!(parse_setting("far=2=3"), Ok(("far".into(), "2=3".into())));
        assert!(parse_setting("far").is_err() && parse_setting("=2").is_err());
        assert_eq!(
            ["0", "4GB", "500 mb", "12kB"].map(|text| parse_bytes(text).unwrap()),
            [0, 4_000_000_000, 500_000_000, 12_000]
        );
        assert!(["", "GB", "-1", "1.5GB", "4XB", "99999999999TB"].iter().all(|text| parse_bytes(text).is_err()));
    }
}
