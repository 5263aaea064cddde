//! `hand`: finished deliveries as timelines of OpenTimelineIO, for whoever cuts them on.
//!
//! ## Decisions
//!
//! - Names of deliveries are one script's own, so shots are joined by what fits one timeline: frame and rate. A script of
//!   one shot gets a timeline a delivery, a script of several one a shape, with its shots in order.
//! - Clips are looked for beside the timeline, where a render with that folder as `--out` leaves them; `--clips` names
//!   another folder.
//! - A clip that is not there is no reason to refuse: the timeline is written as it will be, says so in its metadata,
//!   and a remark says what to type. An edit can be laid out while the render runs.
//! - A clip whose receipt has another plan than the script makes now is remarked on too: ranges and markers may not fit.

use std::path::{Path, PathBuf};

use super::prepare::{Encoders, Part, Prepared, prepare};
use super::receipt::paths::seen_from;
use super::surveyor::Looking;
use super::{Failure, Reply, ScriptOptions, Watch, draw as sheets, put, written};
use crate::decode::clip::ending_of;
use crate::diag::{self, Diagnostic, Diagnostics};
use crate::encode;
use crate::hand;
use crate::plan::DeliveryPlan;
use crate::receipt::Receipt;
use crate::shot::Codec;

/// Where the timelines go.
#[derive(Debug, Clone)]
pub struct HandOptions {
    /// The file to write; with several timelines one each, with its name in it.
    pub output: PathBuf,
    /// The folder of the finished clips; that of the timeline where none.
    pub clips: Option<PathBuf>,
    /// Whether existing files may be replaced.
    pub force: bool,
}

/// Writes a timeline for every shape that a script delivers.
///
/// # Errors
/// [`Failure`] with every mistake of the script, or where a file cannot be written.
pub fn hand(script: &ScriptOptions, options: &HandOptions, watch: &Watch) -> Result<Reply, Failure> {
    if options.output.extension().is_none_or(|ending| !ending.eq_ignore_ascii_case("otio")) {
        let message = format!("a timeline is written as .otio; seen {}", options.output.display());
        return Err(Failure::refused(Diagnostic::mistake(message).help("name a file that ends in .otio")));
    }
    let prepared = prepare(script, Encoders::LeftAlone, Looking { watch, quiet: false })?;
    let folder = put::folder_of(&options.output);
    let clips = options.clips.as_deref().unwrap_or(folder);
    let timelines = grouped(medias(&prepared, clips));
    let names: Vec<&str> = timelines.iter().map(|(name, _)| name.as_str()).collect();
    let paths = sheets::paths(&options.output, &names);
    for path in &paths {
        written::check_free(path, options.force, &prepared.requests)?;
    }
    let mut notes = Diagnostics::default();
    let receipt = receipt(&prepared, clips);
    let mut text = String::new();
    for ((name, media), path) in timelines.iter().zip(&paths) {
        media.iter().for_each(|media| notes.extend(media.remarks(receipt.as_ref(), script, clips)));
        let timeline = timeline(&prepared, script, (name, media), folder);
        let json = serde_json::to_string_pretty(&timeline).map_err(|error| failed(&error))? + "\n";
        put::write_or_fail(path, json.as_bytes(), options.force)?;
        let frames: usize = media.iter().map(|media| media.plan.rows.len()).sum();
        let clips = if media.len() == 1 { "1 clip".to_owned() } else { format!("{} clips", media.len()) };
        text += &format!("{}  {clips}, {frames} frames at {} a second\n", diag::path(path), media[0].plan.fps);
    }
    Ok(Reply { text, messages: prepared.messages, notes: once_each(notes), ..Reply::default() })
}

fn failed(error: &dyn std::fmt::Display) -> Failure {
    Failure::failed(Diagnostic::mistake(error.to_string()))
}

/// A rendered clip, there or not.
struct Media<'a> {
    part: &'a Part,
    plan: &'a DeliveryPlan,
    /// Which of its shot's deliveries.
    index: usize,
    path: PathBuf,
    is_rendered: bool,
}

/// The clips of a script, shot by shot.
fn medias<'a>(prepared: &'a Prepared, clips: &Path) -> Vec<Media<'a>> {
    let of = |part: &'a Part| {
        part.made.plan().deliveries.iter().enumerate().map(move |(index, plan)| {
            let path = encode::output_path(clips, &prepared.stem, plan);
            let is_rendered = path.exists();
            Media { part, plan, index, path, is_rendered }
        })
    };
    prepared.parts.iter().flat_map(of).collect()
}

/// The clips that make a timeline each, with its name: of every shot one of the same frame and rate, in order. A
/// timeline of one clip is named as its delivery, one of several by their frame.
fn grouped(media: Vec<Media<'_>>) -> Vec<(String, Vec<Media<'_>>)> {
    let mut groups: Vec<Vec<Media<'_>>> = Vec::new();
    for one in media {
        let fits = |group: &&mut Vec<Media<'_>>| {
            let shape = |media: &Media<'_>| (media.plan.frame, media.plan.fps);
            shape(&group[0]) == shape(&one) && !group.iter().any(|other| std::ptr::eq(other.part, one.part))
        };
        match groups.iter_mut().find(fits) {
            Some(group) => group.push(one),
            None => groups.push(vec![one]),
        }
    }
    let mut named: Vec<(String, Vec<Media<'_>>)> = Vec::new();
    for group in groups {
        let first = &group[0].plan;
        let name = if group.len() == 1 { first.name.clone() } else { first.frame.to_string() };
        let is_taken = named.iter().any(|(known, _)| known.eq_ignore_ascii_case(&name));
        let name = if is_taken { format!("{name}-{}", first.name) } else { name };
        named.push((name, group));
    }
    named
}

impl Media<'_> {
    /// What there is to say of it: that it is not there, or not of this script.
    fn remarks(&self, receipt: Option<&Receipt>, script: &ScriptOptions, clips: &Path) -> Diagnostics {
        let mut said = Diagnostics::default();
        if !self.is_rendered {
            let message = format!("{} is not there yet; the timeline names it all the same", self.path.display());
            let render = format!("stillpath render {} --out {}", quoted(&script.script), quoted(clips));
            said.push(Diagnostic::remark(message).help(format!("make it with {render}")));
            return said;
        }
        let name = self.path.file_name().map(Path::new);
        let made = receipt.and_then(|receipt| {
            let is_it = |delivery: &&crate::receipt::Delivery| delivery.path.beside().as_deref() == name;
            Some((receipt, receipt.deliveries.iter().find(is_it)?))
        });
        if let Some((receipt, made)) = made {
            let plan = receipt.shots.get(made.shot).map(|shot| shot.plan.as_str());
            let whole = receipt.deliveries.iter().filter(|delivery| delivery.shot == made.shot).count();
            let is_same = plan == Some(self.part.made.plan().hash().to_hex().as_str());
            // A receipt of other deliveries has another plan whatever the script says.
            if whole == self.part.made.plan().deliveries.len() && !is_same || made.frames != self.plan.rows.len() as u64
            {
                let message = format!("{} was made by another plan than the script makes now", self.path.display());
                let render = format!("stillpath render {} --out {} --force", quoted(&script.script), quoted(clips));
                said.push(Diagnostic::remark(message).help(format!("make it anew with {render}")));
            }
        }
        said
    }
}

/// The receipt beside the clips, where there is one that is whole.
fn receipt(prepared: &Prepared, clips: &Path) -> Option<Receipt> {
    let path = clips.join(format!("{}-receipt.json", prepared.stem));
    let about = path.metadata().ok()?;
    if !about.is_file() || about.len() > crate::receipt::MOST_BYTES {
        return None;
    }
    Receipt::from_json(&std::fs::read_to_string(path).ok()?).ok()
}

fn timeline(
    prepared: &Prepared,
    script: &ScriptOptions,
    (name, media): (&str, &[Media<'_>]),
    folder: &Path,
) -> hand::Timeline {
    let keys: Vec<_> = media.iter().map(|media| media.part.made.keys().swap_remove(media.index)).collect();
    let seen: Vec<PathBuf> = media.iter().map(|media| seen_from(folder, &media.path)).collect();
    let parts = media.iter().zip(&keys).zip(&seen).map(|((media, keys), seen)| hand::Part {
        plan: media.part.made.plan(),
        delivery: media.plan,
        shoot: &prepared.shoots[media.part.shoot],
        keys,
        missing: media.part.shot.source.missing,
        media: seen,
        is_rendered: media.is_rendered,
        frames_end: match media.plan.codec {
            _ if media.plan.every_still => None,
            Codec::Png(_) => Some(ending_of("png")),
            Codec::Tiff => Some(ending_of("tiff")),
            Codec::Jpeg(_) => Some(ending_of("jpeg")),
            _ => None,
        },
    });
    let parts: Vec<hand::Part<'_>> = parts.collect();
    let seen = |path: &Path| seen_from(folder, path);
    hand::timeline(&hand::Script { name: &prepared.stem, path: &script.script, seen: &seen }, name, &parts)
}

/// A path as a shell takes it.
fn quoted(path: &Path) -> String {
    let text = diag::path(path);
    shlex::try_quote(&text).map_or_else(|_nul| text.clone(), std::borrow::Cow::into_owned)
}

/// What several clips have to say alike is said once.
fn once_each(notes: Diagnostics) -> Diagnostics {
    let mut once = Diagnostics::default();
    for note in notes.0 {
        if !once.0.contains(&note) {
            once.push(note);
        }
    }
    once
}
