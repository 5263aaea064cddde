//! The command line: parsed and validated here, acted on by the session.
//!
//! ## Decisions
//!
//! - A paragraph of help is one line here: clap wraps it to the terminal, at most 100 columns, and would break lines that
//!   are wrapped already a second time. What is indented (commands, tables) has at most 80.

use std::path::PathBuf;
use std::time::Duration;

use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, Parser, Subcommand};
use stillpath::session::{FramesAnew, Share};
use stillpath::shot::Pairs;
use stillpath::units::{FrameRate, Size};

/// What stands below the list of commands.
const FIRST_STEPS: &str = "\
First steps:
  stillpath demo DIR                                a shoot to play with
  stillpath render DIR/harbour.lua --out DIR/clips  its clips

With your own stills:
  stillpath survey FOLDER                       what they hold
  stillpath new FOLDER                          a first script, such as day.lua
  stillpath check day.lua                       mistakes and remarks
  stillpath live day.lua                        the move in your browser, or
  stillpath draw day.lua -o sheet.svg           on paper
  stillpath render day.lua --out clips --draft  quick drafts to judge it by
  stillpath render day.lua --out clips          the clips
  stillpath prove clips/day-receipt.json        whether all is as it was left

`stillpath COMMAND --help` lists a command's options, with examples.

Stills are only ever read.

Exit codes: 0 done, 1 the script or plan was refused, something is not proved, or a clip flashes, 2 the render failed, \
64 wrong usage, 130 interrupted.";

const HOW_TO_CHECK: &str = "\
Examples:
  stillpath check harbour.lua
  stillpath check harbour.lua --set near=1.5

Of stills it reads names, headers and ends, which takes seconds. Only a script with level = true or steady = true makes it \
read pixels, of every still, the first time; what that measures is kept for the next check, and for the render.";
const HOW_TO_PLAN: &str = "\
Examples:
  stillpath plan harbour.lua --delivery vertical
  stillpath plan harbour.lua --csv > plan.csv

Stills are counted from 1; 7<6 means that still 6 is held in place of still 7. \
x, y, width and height are the window in pixels of the upright still. \
Enlarged is how many pixels of the frame one pixel of the still fills.

\
With --csv a frame of several stills has a line for each, with its weight; the window stands there twice, as the script \
moves it (x, y, width, height, roll) and as it lies over that still (still_x, …), which differs where stills are steadied.";
const HOW_TO_DIALS: &str = "\
Example:
  stillpath dials harbour.lua";
const HOW_TO_EXPLAIN: &str = "\
Examples:
  stillpath explain harbour.lua --delivery wide --frame 120
  stillpath explain harbour.lua --delivery wide --at 14:32";
const HOW_TO_DIFF: &str = "\
Examples:
  stillpath diff before.lua after.lua
  stillpath diff before.lua after.lua --delivery wide -o changes.svg

Shots and deliveries are compared by name, frames by number. --set and --source apply to both scripts.";
const HOW_TO_DRAW: &str = "\
Examples:
  stillpath draw harbour.lua -o sheet.svg
  stillpath draw harbour.lua -o sheet.png --delivery wide --at 14:32
  stillpath draw harbour.lua --strip -o strip.png

A sheet shows a still with every delivery's windows, and below it what changes over the clip: zoom, place, \
pace, still, enlargement, speed, and remarks where they occur. A script that returns several shots gets one \
sheet each, sheet-NAME.svg.";
const HOW_TO_SURVEY: &str = "\
Examples:
  stillpath survey stills
  stillpath survey stills --look
  stillpath survey stills --picture sheet.png
  stillpath survey \"stills/*.JPG\"
  stillpath survey day.mov

What --look measures is kept below $XDG_CACHE_HOME/stillpath (else ~/.cache/stillpath), so that the \
next look is quick; the folder may be deleted at any time.";
const HOW_TO_FLASH: &str = "\
Examples:
  stillpath flash clips/harbour-wide.mp4
  stillpath flash harbour.lua --out clips
  stillpath flash clips/harbour-wide.mp4 --white 200 -o flashes.svg
  stillpath flash clips/harbour-frames --fps 24

A flash is a change of light by a tenth of white or more and back, where the darker state is below 0.8 of it, or a change \
to a saturated red and back. More than three within a second, over more than a quarter of a field of 10 degrees (a third \
of the width of a usual screen), are above the limit of WCAG 2.2. With --white also by ITU-R BT.1702: 20 cd/m² and more \
over more than a quarter of the screen.

Nothing is certified. Pictures within the limits can still harm a person who is sensitive; a broadcaster's own check, and \
local rules, come first.

Exit codes: 0 nothing is above a limit, 1 something is, 2 a clip could not be looked at to its end.";
const HOW_TO_FRAME: &str = "\
Examples:
  stillpath frame harbour.lua --delivery wide --frame 120 -o look.png
  stillpath frame harbour.lua --delivery wide --at 5s -o look.png

Frames are counted from 0; `stillpath plan` says which still each of them shows.";
const HOW_TO_RENDER: &str = "\
Examples:
  stillpath render harbour.lua --out clips
  stillpath render harbour.lua --out clips --draft
  stillpath render harbour.lua --out clips --delivery vertical --force
  stillpath render harbour.lua --out clips --set near=1.5
  stillpath render harbour.lua --out tuesday --source /media/card/tuesday

Outputs are clips/harbour-vertical.mp4 and so on: the script's name, then the delivery's. clips/harbour-strip.png beside \
them shows some frames of each. Drafts are clips/harbour-vertical.draft.mp4; they replace earlier drafts without being \
told to, and never a finished file.

clips/harbour-receipt.json records what was made, from which stills, with what: hashes of the script and of every still, \
frame and file. With --delivery it covers only those: clips/harbour-vertical-receipt.json. It replaces an earlier receipt \
of the same script. If only the receipt cannot be written, the clips stay and the exit code is 2; the same command then \
writes it without making a frame again.

An interrupted run (Ctrl-C, a power cut, a lost drive, a full disk) keeps what is whole, in stretches of at most 4 s of the clip, and as short as 1 s where that takes 5 s to make, in \
hidden folders such as clips/.harbour-vertical.mp4.part. The same command goes on from there; after a change to the \
script, only frames that differ are made again. --fresh starts from the beginning. --force is for finished outputs only. \
The folders go when the outputs are complete; you may delete them at any time.";
const HOW_TO_TEND: &str = "\
Examples:
  stillpath tend site.lua --out clips
  stillpath tend site.lua --out clips --every 10m

It renders what is there, then waits for stills and renders again: only stretches whose frames changed are made, so give the \
shot a pace that does not change with the number of stills (pace = stills_per_frame(1)). Between the clips lie, hidden, the \
stretches they are put together from, about as large as the clips. A still that is being written is waited for. When no \
still has come for three intervals, that is said. Clips are never replaced by ones of fewer stills. Ctrl-C stops; the same \
command goes on. It reads the stills' folders and uses no network.";
const HOW_TO_LOOK: &str = "\
Examples:
  stillpath look harbour.lua
  stillpath look harbour.lua --share 3/16

For scripts with level = true or steady = true. Whoever checks or renders the script next finds what was measured, below \
$XDG_CACHE_HOME/stillpath (else ~/.cache/stillpath). Where many machines look, each at its share, set XDG_CACHE_HOME to one \
folder that all of them see. The tables are those that one machine would make.";
const HOW_TO_JOIN: &str = "\
Examples:
  stillpath render harbour.lua --out clips --threads 4 --share 1/2
  stillpath render harbour.lua --out clips --threads 4 --share 2/2
  stillpath join harbour.lua --out clips

Every share may be made on another machine: all see the same stills, the same folder clips, and have the same build of this \
program. Shares may be made in any order, more than once, and again after they were killed; each goes on from what it kept. \
The clips have the bytes that one machine would have given them with the same --threads.

join names the shares that are missing, or were made of other stills, by another script, or by another build. It makes no \
frames itself, but for deliveries with a size, for posters, and where a still turns out damaged between two shares.";
const HOW_TO_PROVE: &str = "\
Examples:
  stillpath prove clips/harbour-receipt.json
  stillpath prove clips/harbour-receipt.json --frames all
  stillpath prove clips/harbour-receipt.json --copy /media/backup/harbour
  stillpath prove clips/harbour-receipt.json --list stills.b3 --list stills.sha256

Every clip is decoded to its end, the script is run again with the same settings, every still is hashed again, and some \
frames are remade from the stills and compared: equal to the bit for PNG, at least 38 dB of luma for H.264 at its default \
quality. The answer says what is proved, and names what is not. Frames that are not remade rest on the receipt's hashes. \
That all is proved does not make the stills safe to delete: keep two verified copies.

Check lists with `b3sum --check stills.b3` and `sha256sum --check stills.sha256`, in their folder.

Exit codes: 0 all is proved, 1 something is not as the receipt says, 2 something could not be found out.";
const HOW_TO_HAND: &str = "\
Examples:
  stillpath hand harbour.lua -o clips/harbour.otio
  stillpath hand harbour.lua -o edit/harbour.otio --clips clips

A timeline of OpenTimelineIO for each delivery: harbour-wide.otio and so on, or the very name where there is one delivery. \
Where a script returns several shots, those of the same frame and rate follow one another in one timeline, named by its \
frame: harbour-1920x1080.otio. Each shot is its finished clip, with markers at keys and over the frames of remarks. The \
move itself (for every frame the still and the window) and the stills stand in metadata called stillpath; no other \
program is promised to repeat it. Clips are looked for beside the timeline; one that is not there yet is named all the same.";
const HOW_TO_RECKON: &str = "\
Examples:
  stillpath reckon --event 8h --interval 5s --fps 30
  stillpath reckon --event 8h --clip 90s --fps 24 --interval '?'
  stillpath reckon --event 8h --fps 24 --interval 2..30
  stillpath reckon --event 8h --interval 5s --exposure 1/50 --mains 50
  stillpath reckon --event 8h --interval 5s --still-takes 12MB --card 64GB
  stillpath reckon --interval 5s --speed 1.4m/s --across 12m
  stillpath reckon stills --fps 24
  stillpath reckon --event 8h --interval 5s --fps 24 --sheet sheet.svg

Give what you know; what follows from it is answered, with the arithmetic. One of event, interval, pause, exposure, angle, \
clip, fps, frames-per-still, stills and card may be asked for with a question mark, in quotes so that your shell leaves it \
alone. One of event, interval, exposure, clip and fps may be a range: that gives a table.

Times carry their units: 8h, 8h30m, 90s, 1/50. The picture's width at the subject (--across) can be paced out. Of a shoot \
that is there its stills, interval and exposure are found, and what you type goes before them.";
const HOW_TO_LEVEL: &str = "\
Examples:
  stillpath level harbour.lua
  stillpath level harbour.lua -o gains.csv

For a shot with level = true. A gain is what a still's linear light is multiplied by; level and target are its light \
before and after, relative to the first still's, for reading only. Use an edited table with \
level = { curve = \"gains.csv\" }. If the stills have not been measured yet, that is done first.";
const HOW_TO_STEADY: &str = "\
Examples:
  stillpath steady harbour.lua
  stillpath steady harbour.lua -o stands.csv

For a shot with steady = true. x and y are how far a still's picture is shifted to the right and down, in pixels of the \
upright still; turn is how far it is turned clockwise about the still's centre, in degrees; all relative to the view that \
the shoot began with. Use an edited table with steady = { curve = \"stands.csv\" }; a still it does not list is \
interpolated from those before and after.";
const HOW_TO_LIVE: &str = "\
Examples:
  stillpath live harbour.lua --open
  stillpath live harbour.lua --port 8642 --set near=1.5

Open the printed address in a browser on this computer; nothing is reachable from outside. Save the script and \
the page updates at once. Nothing on the page writes to the script or the stills. Ctrl-C ends it.

With STILLPATH_EDITOR=\"edit +{line} {file}\" set to your editor's own command, a click on a key opens its line.";
const HOW_TO_NEW: &str = "\
Examples:
  stillpath new stills
  stillpath new /media/card/DCIM -o scripts/yard.lua
  stillpath new day.mov";
const HOW_TO_CACHE: &str = "\
Examples:
  stillpath cache
  stillpath cache --clear

The cache is $XDG_CACHE_HOME/stillpath (else ~/.cache/stillpath). Clearing it costs only the time to make it again.";
const HOW_TO_PURPOSES: &str = "\
Examples:
  stillpath purposes
  stillpath purposes --copy

Example in a script:
  delivery { \"tall\", purpose = \"vertical clip for phones\" }

Your own table is $XDG_CONFIG_HOME/stillpath/deliveries.toml (else ~/.config/stillpath/deliveries.toml). Its rows go \
before the program's of the same name. `stillpath check` says where a delivery does other than its purpose.";
const HOW_TO_DEMO: &str = "\
Examples:
  stillpath demo demo
  stillpath demo small --stills 40 --size 2000x1500";
const HOW_TO_TYPES: &str = "\
Example:
  stillpath types > types/stillpath.lua

Then name the folder `types` in the Lua language server's setting workspace.library.";
const HOW_TO_MOVES: &str = "\
Examples:
  stillpath moves
  stillpath moves push_in
  stillpath moves push_in -o push_in.svg
  stillpath moves --json

Example of a move in a script:
  local moves = require \"moves\"
  … framing = moves.push_in { on = point(0.62, 0.48), to = 2 },";

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
        #[arg(long)]
        force: bool,
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
