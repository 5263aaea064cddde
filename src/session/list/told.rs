//! What is told of a folder, as text, JSON and a page have it.

use std::path::PathBuf;

use serde::Serialize;

use super::ListOptions;
use super::receipts::{Render, State};
use super::scripts::Script;
use super::shoots::Found;
use super::walk::{PassedOver, Walked, shown};
use crate::session::bytes;

/// What lies below a folder. Paths are seen from it; `.` is the folder itself.
#[derive(Debug, Serialize)]
pub(super) struct Told {
    /// `"stillpath-list-1"`.
    format: &'static str,
    /// As it was given.
    pub(super) folder: String,
    /// Whether files were held against the hashes in receipts, and not against sizes only.
    pub(super) hashed: bool,
    pub(super) shoots: Vec<Shoot>,
    /// Videos that no receipt names.
    pub(super) videos: Vec<Video>,
    pub(super) scripts: Vec<ScriptTold>,
    pub(super) renders: Vec<Render>,
    /// What was not looked at, and why.
    pub(super) passed_over: Vec<PassedOver>,
}

/// A folder of stills.
#[derive(Debug, Serialize)]
pub(super) struct Shoot {
    pub(super) path: String,
    pub(super) stills: usize,
    pub(super) bytes: u64,
    /// Width and height of the first still, upright; none where no header that was looked at can be read.
    pub(super) size: Option<[u32; 2]>,
    /// Whether another still that was looked at has another size.
    pub(super) other_sizes: bool,
    /// Raw files beside them, which are no stills.
    pub(super) raw: usize,
    /// Days in order, with their stills.
    pub(super) days: Vec<Day>,
    /// Stills that tell no day.
    pub(super) undated: usize,
    /// Whether there were too many changes of day to look for all.
    pub(super) days_cut_short: bool,
    /// Scripts that take its stills.
    pub(super) scripts: Vec<String>,
    /// Receipts of renders that show its stills.
    pub(super) receipts: Vec<String>,
}

/// A day of a shoot.
#[derive(Debug, Serialize)]
pub(super) struct Day {
    /// By the camera's local time.
    pub(super) date: String,
    pub(super) stills: usize,
}

/// A video that is no clip of a receipt.
#[derive(Debug, Serialize)]
pub(super) struct Video {
    pub(super) path: String,
    pub(super) bytes: u64,
    /// Whether it is named as a draft is.
    pub(super) draft: bool,
    /// Scripts that take it as a recording.
    pub(super) scripts: Vec<String>,
}

impl Video {
    /// What it is.
    pub(super) fn words(&self) -> String {
        match self.scripts.as_slice() {
            [] if self.draft => "a draft".into(),
            [] => "a video without a receipt".into(),
            scripts => format!("a recording of {}", scripts.join(", ")),
        }
    }
}

/// A script.
#[derive(Debug, Serialize)]
pub(super) struct ScriptTold {
    pub(super) path: String,
    /// The folders, patterns and files that it names.
    pub(super) sources: Vec<SourceTold>,
    /// The deliveries that it makes; none where it has mistakes.
    pub(super) deliveries: Vec<String>,
    pub(super) mistakes: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) first_mistake: Option<String>,
}

/// What a script takes.
#[derive(Debug, Serialize)]
pub(super) struct SourceTold {
    pub(super) written: String,
    pub(super) recording: bool,
}

impl Told {
    pub(super) fn of(
        options: &ListOptions,
        found: Walked,
        shoots: &[Found],
        scripts: Vec<Script>,
        renders: Vec<Render>,
    ) -> Self {
        let clips: Vec<&str> =
            renders.iter().flat_map(|render| &render.clips).map(|clip| clip.file.path.as_str()).collect();
        let is_clip = |video: &&PathBuf| clips.contains(&shown(video).as_str());
        let video = |path: &PathBuf| Video {
            path: shown(path),
            bytes: found.files.get(path).copied().unwrap_or(0),
            draft: path.to_string_lossy().ends_with(".draft.mp4"),
            scripts: scripts.iter().filter(|script| script.records(path)).map(|script| shown(&script.path)).collect(),
        };
        Self {
            format: "stillpath-list-1",
            folder: options.folder.to_string_lossy().into_owned(),
            hashed: options.hash,
            shoots: shoots.iter().map(|shoot| Shoot::of(shoot, &scripts, &renders)).collect(),
            videos: found.videos.iter().filter(|path| !is_clip(path)).map(video).collect(),
            scripts: scripts.iter().map(ScriptTold::of).collect(),
            renders,
            passed_over: found.passed_over,
        }
    }

    /// Whether there is nothing of ours.
    pub(super) fn is_empty(&self) -> bool {
        self.shoots.is_empty() && self.videos.is_empty() && self.scripts.is_empty() && self.renders.is_empty()
    }

    /// What there is, in a line.
    pub(super) fn summary(&self) -> String {
        let stills: usize = self.shoots.iter().map(|shoot| shoot.stills).sum();
        let size: u64 = self.shoots.iter().map(|shoot| shoot.bytes).sum();
        let clips: usize = self.renders.iter().map(|render| render.clips.len()).sum();
        format!(
            "{} with {} ({}), {}, {}, {}",
            count(self.shoots.len(), "shoot"),
            count(stills, "still"),
            bytes(size),
            count(self.videos.len(), "video"),
            count(self.scripts.len(), "script"),
            count(clips, "finished clip")
        )
    }
}

impl Shoot {
    fn of(found: &Found, scripts: &[Script], renders: &[Render]) -> Self {
        let is_its = |render: &&Render| render.folders.iter().any(|folder| belongs(folder, found));
        Self {
            path: shown(&found.seen),
            stills: found.stills.len(),
            bytes: found.bytes,
            size: found.size.map(|size| [size.width, size.height]),
            other_sizes: found.has_other_sizes,
            raw: found.raw,
            days: found
                .days
                .dated
                .iter()
                .map(|(date, stills)| Day { date: date.to_string(), stills: *stills })
                .collect(),
            undated: found.days.undated,
            days_cut_short: found.days.is_cut_short,
            scripts: scripts.iter().filter(|one| one.takes(&found.seen)).map(|one| shown(&one.path)).collect(),
            receipts: renders.iter().filter(is_its).map(|render| render.receipt.clone()).collect(),
        }
    }
}

/// Whether a folder of stills is a shoot's, or one of those of its card.
fn belongs(folder: &PathBuf, shoot: &Found) -> bool {
    *folder == shoot.seen
        || shoot.stills.iter().any(|still| still.parent().is_some_and(|of| of.ends_with(folder)))
            && folder.parent() == Some(&shoot.seen)
}

impl ScriptTold {
    fn of(script: &Script) -> Self {
        let source = |named: &super::scripts::Named| SourceTold {
            written: named.written.clone(),
            recording: named.is_recording,
        };
        Self {
            path: shown(&script.path),
            sources: script.sources.iter().map(source).collect(),
            deliveries: script.deliveries.clone(),
            mistakes: script.mistakes.0,
            first_mistake: script.mistakes.1.clone(),
        }
    }
}

impl Render {
    /// Its stills, by how they are, in words.
    pub(super) fn stills_in_words(&self) -> String {
        let due: usize = self.stills.values().sum();
        let parts: Vec<String> = self.stills.iter().map(|(state, many)| format!("{many} {}", state.words())).collect();
        match self.stills.len() {
            0 => "names no stills that are files".into(),
            1 if due > 1 => format!("all {}", parts.concat()),
            _ => parts.join(", "),
        }
    }

    /// How all of it is, in a word or two.
    pub(super) fn state(&self) -> &'static str {
        let clips = self.clips.iter().map(|clip| clip.file.state);
        let mut all = clips.chain(self.stills.keys().copied()).chain(self.script.iter().map(|script| script.state));
        match () {
            () if self.wrong.is_some() => "not to be relied on",
            () if all.any(State::is_wrong) => "NOT AS RENDERED",
            () => "as rendered",
        }
    }
}

/// `1 still`, `2 stills`.
pub(super) fn count(number: usize, noun: &str) -> String {
    if number == 1 { format!("1 {noun}") } else { format!("{number} {noun}s") }
}
