//! Scripts: which stills and recordings they name, and what they make.

use std::path::{Path, PathBuf};

use super::stopped;
use super::walk::{Walked, below};
use crate::script as scripting;
use crate::session::running::request;
use crate::session::{Failure, Watch};
use crate::shot::Source;

/// The longest script that is read; longer ones are refused wherever they are run.
const LONGEST: u64 = 1 << 20;

/// A script.
#[derive(Debug)]
pub(super) struct Script {
    /// Seen from the folder.
    pub(super) path: PathBuf,
    /// What it names, in order, each once.
    pub(super) sources: Vec<Named>,
    /// The deliveries that it makes.
    pub(super) deliveries: Vec<String>,
    /// How many mistakes it has, and the first of them.
    pub(super) mistakes: (usize, Option<String>),
}

/// A path that a script names as a source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Named {
    /// As written.
    pub(super) written: String,
    pub(super) is_recording: bool,
    /// The folder or the file, seen from the folder that is listed, as far as no pattern begins; none where it leads out
    /// of that.
    pub(super) path: Option<PathBuf>,
}

/// Runs every script, each as far as it goes: sources that it has named by then count, whatever else is wrong with it. No
/// shoot is looked at. Modules, which make no shot and name no source, are none.
///
/// # Errors
/// [`Failure`] where it was interrupted.
pub(super) fn scripts(found: &Walked, watch: &Watch) -> Result<Vec<Script>, Failure> {
    let mut scripts = Vec::new();
    for path in &found.scripts {
        stopped(watch)?;
        if found.files.get(path).is_some_and(|bytes| *bytes <= LONGEST) && may_be_one(&found.opened(path)) {
            scripts.extend(script(found, path));
        }
    }
    Ok(scripts)
}

/// Whether a file of Lua says anything of shots or sources: others are modules, or none of ours.
fn may_be_one(path: &Path) -> bool {
    std::fs::read_to_string(path)
        .is_ok_and(|text| ["shot", "stills", "recording"].into_iter().any(|word| text.contains(word)))
}

fn script(found: &Walked, path: &Path) -> Option<Script> {
    let folder = path.parent().unwrap_or(Path::new(""));
    let (sources, deliveries, mistakes) = match scripting::run(&request(&found.opened(path), &[])) {
        Ok(ran) => {
            let deliveries = ran.shots.iter().flat_map(|shot| &shot.deliveries).map(|one| one.name.clone()).collect();
            (ran.sources, deliveries, (0, None))
        }
        Err(refused) => {
            let mistakes: Vec<_> =
                refused.diagnostics.in_order().into_iter().filter(|note| note.is_mistake()).collect();
            let first = mistakes.first().map(|one| match &one.place {
                Some(place) => format!("line {}: {}", place.line, one.message),
                None => one.message.clone(),
            });
            (refused.sources, Vec::new(), (mistakes.len(), first))
        }
    };
    if sources.is_empty() && deliveries.is_empty() {
        return None;
    }
    let mut named: Vec<Named> = Vec::new();
    for one in sources.iter().flat_map(|source| named_by(source, folder)) {
        if !named.contains(&one) {
            named.push(one);
        }
    }
    Some(Script { path: path.to_owned(), sources: named, deliveries, mistakes })
}

fn named_by<'a>(source: &'a Source, folder: &'a Path) -> impl Iterator<Item = Named> + 'a {
    source.paths.iter().map(|written| {
        let is_plain =
            |part: &std::path::Component<'_>| !part.as_os_str().to_string_lossy().contains(['*', '?', '[', '{']);
        let plain: PathBuf = Path::new(written).components().take_while(is_plain).collect();
        Named { written: written.clone(), is_recording: source.recorded, path: below(folder, &plain) }
    })
}

impl Script {
    /// Whether it takes stills of a shoot, by the folder of that.
    pub(super) fn takes(&self, shoot: &Path) -> bool {
        let takes =
            |path: &PathBuf| path == shoot || path.parent() == Some(shoot) || shoot.parent() == Some(path.as_path());
        self.sources.iter().filter(|named| !named.is_recording).filter_map(|named| named.path.as_ref()).any(takes)
    }

    /// Whether it takes a recording.
    pub(super) fn records(&self, video: &Path) -> bool {
        self.sources.iter().any(|named| named.is_recording && named.path.as_deref() == Some(video))
    }
}
