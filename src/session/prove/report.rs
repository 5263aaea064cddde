//! What was proved and what was not, as people and programs read it.

use serde_json::json;

use super::anew::Proved;
use super::files::{ClipFile, WholeCopy};
use super::{FramesAnew, ProveOptions, named, shown};
use crate::diag::plain;
use crate::prove::{Finding, Part, Verdict};
use crate::receipt::Receipt;
use crate::session::{FAILED, REFUSED, pretty};

/// The findings of a part that are told; the rest are counted.
const TOLD: usize = 6;

/// Everything that is to be said.
pub(super) struct Report<'a> {
    options: &'a ProveOptions,
    receipt: &'a Receipt,
    /// In the order of telling.
    pub(super) parts: Vec<Part>,
    /// Folders with a whole second copy of the stills.
    pub(super) whole_copies: Vec<WholeCopy>,
    /// Lists that were written, a line each.
    pub(super) lists: Vec<String>,
    /// Frames of all deliveries, and how many of them were made anew.
    frames: (u64, u64),
}

impl<'a> Report<'a> {
    /// Of a receipt whose own hash fits.
    pub(super) fn of(options: &'a ProveOptions, receipt: &'a Receipt) -> Self {
        let mut own = Part { proved: vec!["it was not edited: its own hash matches".into()], ..Part::new("receipt") };
        if receipt.deliveries.is_empty() {
            own.findings.push(Finding::unknown("no-deliveries", "it has no delivery: there is nothing to prove"));
        }
        Self { options, receipt, parts: vec![own], whole_copies: Vec::new(), lists: Vec::new(), frames: (0, 0) }
    }

    /// Adds the deliveries.
    pub(super) fn clips(&mut self, proved: Vec<Proved>, files: &[ClipFile]) {
        for ((delivery, proved), file) in self.receipt.deliveries.iter().zip(proved).zip(files) {
            self.frames.0 += delivery.frames;
            self.frames.1 += proved.anew;
            let mut part = Part {
                proved: proved.judged.proved,
                findings: proved.judged.findings,
                ..Part::new(named(&delivery.path))
            };
            match file.same {
                _ if file.bytes.is_some_and(|bytes| bytes != delivery.bytes) => {
                    let (seen, due) = (file.bytes.unwrap_or_default(), delivery.bytes);
                    let words = format!("it is not the file that was delivered: it has {seen} bytes, expected {due}");
                    part.findings.push(Finding::wrong("other-bytes", words));
                }
                Some(true) => part.proved.push("byte for byte what was delivered, by its hash".into()),
                Some(false) => {
                    let words = "it is not the file that was delivered: its hash differs";
                    part.findings.push(Finding::wrong("other-bytes", words));
                }
                None => {}
            }
            self.parts.push(part);
        }
    }

    fn verdict(&self) -> Verdict {
        self.parts.iter().map(Part::verdict).max().unwrap_or(Verdict::Proved)
    }

    /// The text for standard output, and the exit code.
    pub(super) fn finish(&self) -> (String, u8) {
        let text = if self.options.json { self.as_json() } else { self.as_text() };
        let code = match self.verdict() {
            Verdict::Proved => 0,
            Verdict::Wrong => REFUSED,
            Verdict::Unknown => FAILED,
        };
        (text, code)
    }

    fn as_json(&self) -> String {
        let parts: Vec<_> = self
            .parts
            .iter()
            .map(|part| json!({ "name": part.name, "verdict": part.verdict(), "proved": part.proved, "findings": part.findings }))
            .collect();
        pretty(&json!({
            "receipt": self.options.receipt.to_string_lossy(),
            "verdict": self.verdict(),
            "parts": parts,
            "frames": self.frames.0,
            "frames_made_anew": self.frames.1,
            "rests_on": self.rests_on(),
            "whole_copies": self.whole_copies,
            "lists": self.lists,
        }))
    }

    fn as_text(&self) -> String {
        let made = plain(&self.receipt.made);
        let mut text = format!("{}, of a render that ended {made}\n", shown(&self.options.receipt));
        for part in &self.parts {
            text += &lines(part);
        }
        text += "\n";
        text += match self.verdict() {
            Verdict::Proved => "PROVED. All of it is as the receipt says.\n",
            Verdict::Wrong => "NOT PROVED. What is marked so is not as the receipt says.\n",
            Verdict::Unknown => "NOT ALL CHECKED. Nothing is wrong, but what is marked could not be checked.\n",
        };
        for line in self.rests_on() {
            text += &format!("  {line}\n");
        }
        for copy in &self.whole_copies {
            let WholeCopy { folder, one_drive } = copy;
            let drive = if *one_drive { "; both lie on one drive" } else { "" };
            text += &format!(
                "For information: there are two copies of the stills with these hashes, the shoot's and {folder}{drive}.\n"
            );
        }
        for list in &self.lists {
            text += &format!("{list}\n");
        }
        text
    }

    /// What the statements rest on.
    fn rests_on(&self) -> Vec<String> {
        let (frames, anew) = self.frames;
        if anew == 0 {
            return Vec::new();
        }
        let right = self.verdict() != Verdict::Wrong;
        match self.options.frames {
            _ if frames == anew => {
                vec![format!("Every one of the {frames} frames was made anew from the stills and compared.")]
            }
            FramesAnew::All => vec![format!("{anew} of {frames} frames were made anew from the stills and compared.")],
            FramesAnew::Some(_) if right => vec![
                format!("{anew} of {frames} frames were made anew from the stills and compared."),
                "The others rest on the receipt's hashes of files and frames.".into(),
                format!(
                    "`stillpath prove {} --frames all` makes all of them anew.",
                    quoted(&shown(&self.options.receipt))
                ),
            ],
            FramesAnew::Some(_) => vec![
                format!("{anew} of {frames} frames were made anew from the stills and compared."),
                format!(
                    "`stillpath prove {} --frames all` tells which frames exactly.",
                    quoted(&shown(&self.options.receipt))
                ),
            ],
        }
    }
}

/// A path as a shell takes it.
fn quoted(path: &str) -> String {
    let plain = |letter: char| letter.is_ascii_alphanumeric() || "/._-+".contains(letter);
    if path.chars().all(plain) { path.to_owned() } else { format!("'{}'", path.replace('\'', "'\\''")) }
}

/// A part's lines: its verdict, its name, and what there is to say.
fn lines(part: &Part) -> String {
    let mut said: Vec<(&str, &str)> = Vec::new();
    for finding in part.findings.iter().take(TOLD) {
        let mark = if finding.verdict == Verdict::Wrong { "NOT PROVED" } else { "not known" };
        said.push((mark, &finding.words));
    }
    let more = part.findings.len().saturating_sub(TOLD);
    let more = format!("and {more} findings more: --json lists them");
    if part.findings.len() > TOLD {
        said.push(("", &more));
    }
    said.extend(part.proved.iter().map(|words| ("proved", words.as_str())));
    let (mut text, mut last) = (format!("{}\n", part.name), "");
    for (mark, words) in said {
        let shown = if mark == last { "" } else { mark };
        text += &format!("  {shown:<11} {words}\n");
        last = mark;
    }
    text
}
