//! `look`: the pixels of what a script levels, steadies or goes by, looked at beforehand, all of them or one machine's share.
//!
//! What is measured is kept where every look keeps it, so whoever plans the script next finds it there: on another
//! machine, where both see the folder.

use std::path::Path;

use serde_json::json;

use super::prepare::{goes_by_looking, request_of};
use super::running::run;
use super::survey::{LOOK_ON, request};
use super::{Failure, Reply, ScriptOptions, Share, Watch, pretty, progress};
use crate::diag::{self, Diagnostic};
use crate::look;
use crate::measures::{LINKED_STILLS, THUMBNAIL_STATS};

/// How to look.
#[derive(Debug, Clone, Copy)]
pub struct LookOptions {
    /// One share of the stills, where not all.
    pub share: Option<Share>,
    /// No progress.
    pub quiet: bool,
    /// The outcome as JSON.
    pub json: bool,
}

/// What is measured of stills, and what for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum For {
    Levelling,
    Steadying,
    /// Where most happens.
    Action,
}

/// Looks at the stills of every shot that is levelled or steadied by what they show, and keeps what they measure.
///
/// # Errors
/// [`Failure`] where the script is refused or needs no looking, where it was interrupted, or where nothing can be kept.
pub fn look(script: &ScriptOptions, options: LookOptions, watch: &Watch) -> Result<Reply, Failure> {
    let ran = run(&script.script, &script.settings)?;
    let base = script.script.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."));
    let mut wanted = Vec::new();
    let of_these = |shot: &crate::shot::Shot| {
        script.deliveries.is_empty() || shot.deliveries.iter().any(|one| script.deliveries.contains(&one.name))
    };
    for shot in ran.shots.iter().filter(|shot| of_these(shot)).flat_map(crate::shot::Shot::singles) {
        let (looked, steadied) = goes_by_looking(shot);
        let why = if shot.level.is_some() { For::Levelling } else { For::Action };
        for what in [(looked, why), (steadied, For::Steadying)] {
            let (true, what) = what else { continue };
            let one = (request_of(shot, base, &script.sources), shot.source.recorded, what);
            if !wanted.contains(&one) {
                wanted.push(one);
            }
        }
    }
    if wanted.is_empty() {
        let mistake = Diagnostic::mistake("the script neither levels nor steadies, nor goes where most happens");
        return Err(Failure::refused(mistake.help("level = true or steady = true in its shot { … } does")));
    }
    let part = |count: usize| options.share.map_or(0..count, |share| share.part(count));
    let (mut text, mut all) = (String::new(), Vec::new());
    for (of, recorded, what) in wanted {
        let shoot = super::surveyed(&of, recorded).map_err(Failure::refused)?;
        let kind = if what == For::Steadying { LINKED_STILLS } else { THUMBNAIL_STATS };
        let how = request(kind);
        let due = part(shoot.slots.len()).len() as u64;
        let looked = progress::while_looking(due, options.quiet || options.json, watch, |seen| match what {
            For::Levelling | For::Action => look::look_part(&shoot, &how, part, seen),
            For::Steadying => look::register_part(&shoot, &how, part, seen),
        });
        let stills = looked.map_err(|fault| match fault {
            look::Fault::Stopped => Failure::interrupted_saying(LOOK_ON),
            look::Fault::Disk(_) => Failure::failed(
                Diagnostic::mistake(fault.to_string())
                    .help("set XDG_CACHE_HOME to a folder that can be written, one that all machines see"),
            ),
        })?;
        let word = match what {
            For::Levelling => "levelling",
            For::Steadying => "steadying",
            For::Action => "action",
        };
        let folder = how.cache.as_deref().map(diag::path).unwrap_or_default();
        text += &format!("{}: {stills} stills measured for {word}, kept in {folder}\n", of.paths.join(", "));
        all.push(json!({ "source": of.paths, "for": word, "stills": stills, "kept": folder }));
    }
    if let Some(share) = options.share {
        text += &format!(
            "share {share}; machines that are to find it see that folder, as XDG_CACHE_HOME says where it is\n"
        );
    }
    let text = if options.json {
        pretty(&json!({ "share": options.share.map(|share| share.to_string()), "looked": all }))
    } else if options.quiet {
        String::new()
    } else {
        text
    };
    Ok(Reply { text, messages: ran.messages, notes: ran.remarks, closing: None })
}
