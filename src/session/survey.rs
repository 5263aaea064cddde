//! Says what a shoot holds: by its headers, and by its pixels where asked.

use std::path::PathBuf;

use serde::Serialize;

use super::{Failure, Reply, Watch, pretty, progress};
use crate::diag::Diagnostic;
use crate::finding::Finding;
use crate::measures::Measures;
use crate::shoot::{Content, Shoot};
use crate::{finding, look, survey as surveys};

/// What to survey, and how.
#[derive(Debug, Clone)]
pub struct SurveyOptions {
    /// Folders, patterns or files, seen from the working folder.
    pub stills: Vec<String>,
    /// Whether orientation tags are obeyed.
    pub obey_orientation: bool,
    /// Whether the pixels are read too.
    pub look: bool,
    /// No progress.
    pub quiet: bool,
    /// JSON instead of text.
    pub json: bool,
}

/// The catalogue, and what looking found.
#[derive(Serialize)]
struct Surveyed<'a> {
    #[serde(flatten)]
    shoot: &'a Shoot,
    #[serde(flatten)]
    report: &'a surveys::Report,
    /// The worst first.
    findings: &'a [Finding],
    #[serde(skip_serializing_if = "Option::is_none")]
    measures: Option<&'a Measures>,
    #[serde(skip_serializing_if = "Option::is_none")]
    flicker: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    keys: Option<&'a [look::Suggestion]>,
}

/// Says what a folder of stills holds.
///
/// # Errors
/// [`Failure`] where there is no shoot to speak of, and where looking was interrupted.
pub fn survey(options: &SurveyOptions, watch: &Watch) -> Result<Reply, Failure> {
    let paths = options.stills.clone();
    let request = surveys::Request { base: PathBuf::from("."), paths, obey_orientation: options.obey_orientation };
    let mut shoot = super::surveyed(&request, surveys::is_recording(&request)).map_err(Failure::refused)?;
    let measures = match options.look {
        true => Some(looked(&mut shoot, options.quiet, watch)?),
        false => None,
    };
    let report = surveys::report(&shoot);
    let mut findings = surveys::findings(&shoot, &report);
    findings.extend(measures.iter().flat_map(|measures| look::findings(&shoot, measures)));
    findings.sort_by_key(|finding| finding.gravity);
    let keys = measures.as_ref().map(look::suggestions);
    if options.json {
        return Ok(Reply::text(pretty(&Surveyed {
            shoot: &shoot,
            report: &report,
            findings: &findings,
            measures: measures.as_ref(),
            flicker: measures.as_ref().map(look::flicker),
            keys: keys.as_deref(),
        })));
    }
    let mut text = surveys::describe(&shoot) + &surveys::in_words(&report);
    text.extend(measures.as_ref().map(look::in_words));
    if !findings.is_empty() {
        text += "\nfindings, the worst first:\n";
        text += &finding::listed(&findings);
    }
    text.extend(keys.as_deref().map(look::suggestions_in_words));
    Ok(Reply::text(format!("{text}\n{}", surveys::advice(&shoot, &request))))
}

/// Looks at a shoot, and marks as damaged in it what only decoding shows to be.
///
/// # Errors
/// [`Failure`] where it was interrupted, or nothing can be kept on the disk.
pub(super) fn looked(shoot: &mut Shoot, quiet: bool, watch: &Watch) -> Result<Measures, Failure> {
    let request = look::Request { cache: cache(), threads: std::thread::available_parallelism().map_or(1, usize::from) };
    let whole = shoot.slots.iter().filter(|slot| matches!(slot.content, Content::Whole(_))).count() as u64;
    let measures = progress::while_looking(whole, quiet, watch, |seen| look::look(shoot, &request, seen));
    let measures = measures.map_err(|fault| match fault {
        look::Fault::Stopped => Failure::interrupted(),
        look::Fault::Disk(_) => Failure::failed(Diagnostic::mistake(fault.to_string())),
    })?;
    for (slot, damage) in &measures.damaged {
        shoot.mark_damaged(*slot, damage.clone());
    }
    Ok(measures)
}

/// Where what was measured is kept: `$XDG_CACHE_HOME/stillpath/look`, or `~/.cache/stillpath/look`.
fn cache() -> Option<PathBuf> {
    let cache = std::env::var_os("XDG_CACHE_HOME").filter(|folder| !folder.is_empty()).map(PathBuf::from);
    let cache = cache.or_else(|| std::env::home_dir().filter(|home| home.as_os_str() != "").map(|home| home.join(".cache")))?;
    Some(cache.join("stillpath").join("look"))
}
