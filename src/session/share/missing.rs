//! Why shares cannot be joined yet, in words that name them.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::super::ScriptOptions;
use super::super::prepare::Prepared;
use super::super::rendering::{RenderOptions, deliveries_of, made};
use super::super::resume::{Identities, stretches_of};
use super::divide::{Piece, divide, pieces};
use super::notes::{MadeWith, Note, Notes};
use super::number::Share;
use super::typed::share_command;
use crate::diag::{Diagnostic, Diagnostics};
use crate::encode::{self, Kept};
use crate::shoot::Shoot;

/// Stills that are named of those that are others by now.
const NAMED: usize = 3;

/// Stretches that no share has made, or not of what they are to show, as mistakes that name the shares and what to type.
/// Nothing is wrong where all is there. `threads` is the number of workers that the join goes by; `all_of_it` reads every
/// stretch to its end.
pub(in super::super) fn missing(
    prepared: &Prepared,
    script: &ScriptOptions,
    options: &RenderOptions,
    notes: &Notes,
    threads: usize,
    all_of_it: bool,
) -> Diagnostics {
    let all = pieces(prepared);
    let of = notes.shares().unwrap_or(1);
    let shares = divide(&all, of as usize);
    let with = MadeWith::of(prepared, script);
    // By share, what of it is not there, and why.
    let mut reasons: BTreeMap<usize, BTreeSet<Why>> = BTreeMap::new();
    for (shoot, seen) in prepared.shoots.iter().enumerate() {
        let identities = Identities::of(seen);
        let plans: Vec<_> = deliveries_of(prepared, shoot).collect();
        for (delivery, plan) in plans.iter().enumerate().filter(|(_, plan)| plan.codec.size().is_none()) {
            let path = encode::output_path(&options.out, &prepared.stem, plan);
            let stretches = stretches_of(plan, &identities, made(plans.len(), options));
            if encode::is_finished(&path, &stretches) {
                continue;
            }
            let of_this = |piece: &Piece| piece.shoot == shoot && piece.delivery == delivery;
            for (piece, share) in all.iter().zip(&shares).filter(|(piece, _)| of_this(piece)) {
                let why = match encode::kept_of(&path, &stretches, piece.stretch, all_of_it) {
                    Kept::Whole => continue,
                    Kept::Nothing => Why::Nothing,
                    Kept::Other(files) => Why::Other(if seen.recordings().all(|(_, recording)| recording.is_none()) {
                        changed(seen, &files)
                    } else {
                        Vec::new()
                    }),
                };
                reasons.entry(*share).or_default().insert(why);
            }
        }
    }
    let mut mistakes = Diagnostics::default();
    for path in notes.unread.iter().filter(|_| !reasons.is_empty()) {
        mistakes.push(Diagnostic::mistake(format!("{} is not a share's note, or was changed", path.display())));
    }
    if notes.all.is_empty() && !reasons.is_empty() {
        let two = share_command(script, options, threads, Share { number: 1, of: 2 });
        let message = format!("no share of this render is in {}", options.out.display());
        mistakes.push(Diagnostic::mistake(message).help("make the first of two, on any machine:").help(two));
        return mistakes;
    }
    for (share, why) in reasons {
        #[expect(clippy::cast_possible_truncation, reason = "there are at most Share::MOST shares")]
        let share = Share { number: share as u32 + 1, of };
        let note = notes.of(share);
        let threads = notes.threads().unwrap_or(threads);
        let said = Diagnostic::mistake(format!("share {share} {}", in_words(note, &with, &why, threads)));
        mistakes.push(said.help(share_command(script, options, threads, share)));
    }
    mistakes
}

/// Why a stretch is not there.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Why {
    /// Nobody made it, or it is damaged.
    Nothing,
    /// It was made of something else: of these stills, which are others now, where any are.
    Other(Vec<String>),
}

/// What is wrong with a share, after its name.
fn in_words(note: Option<&Note>, with: &MadeWith, why: &BTreeSet<Why>, threads: usize) -> String {
    let Some(note) = note else { return "was not made".to_owned() };
    let who = note.who();
    if note.made_with.program != with.program {
        let (theirs, ours) = (&note.made_with.program, &with.program);
        return format!("was made {who} by another build of this program: {theirs}; this is {ours}");
    }
    if note.made_with.libraries != with.libraries {
        let (theirs, ours) = (&note.made_with.libraries, &with.libraries);
        return format!("was made {who} with other libraries: {theirs}; here they are {ours}");
    }
    if note.threads != threads {
        return format!("was made {who} with --threads {}, and others with {threads}", note.threads);
    }
    let names: BTreeSet<&str> = why
        .iter()
        .flat_map(|why| match why {
            Why::Nothing => &[][..],
            Why::Other(stills) => stills,
        })
        .map(String::as_str)
        .collect();
    if !names.is_empty() {
        let named = names.iter().take(NAMED).copied().collect::<Vec<_>>().join(", ");
        let more = if names.len() > NAMED { format!(" and {} more", names.len() - NAMED) } else { String::new() };
        return format!("was made {who} of stills that are others now: {named}{more}");
    }
    if note.made_with.script != with.script {
        return format!("was made {who} by another script or with other settings");
    }
    if note.ended.is_none() {
        return format!("was begun {who} and has not ended; if it no longer runs, begin it again");
    }
    if why.iter().any(|why| matches!(why, Why::Other(_))) {
        return format!(
            "was made {who} by another plan: stills came, went or turned out damaged since, or a table is another"
        );
    }
    format!("was made {who}, and not all of it is there or whole")
}

/// Names of the stills whose files are not as they were read; by slot, what was read.
fn changed(shoot: &Shoot, files: &BTreeMap<crate::units::SlotIndex, crate::work::FileRead>) -> Vec<String> {
    let is_other = |path: &Path, read: &crate::work::FileRead| {
        let now = std::fs::File::open(path).and_then(|file| {
            let mut hasher = blake3::Hasher::new();
            Ok((file.metadata()?.len(), hasher.update_reader(file)?.finalize()))
        });
        now.is_ok_and(|now| now != (read.bytes, read.blake3))
    };
    let others = files.iter().filter_map(|(slot, read)| {
        let still = shoot.slots.get(slot.0).and_then(|_| shoot.still(*slot))?;
        is_other(&still.path, read).then(|| still.path.file_name().unwrap_or_default().to_string_lossy().into_owned())
    });
    let others: Vec<_> = others.collect();
    // All of them are others: slots are counted anew, and no still was replaced.
    if others.len() == files.len() && files.len() > NAMED { Vec::new() } else { others }
}
