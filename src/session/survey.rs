//! Says what a shoot holds: by its headers, and by its pixels where asked.

use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use serde::Serialize;

use super::written::{self, Form};
use super::{Failure, Reply, Watch, pretty, progress, put};
use crate::diag::Diagnostic;
use crate::finding::Finding;
use crate::look::TRACKS;
use crate::measures::{LINKED_STILLS, Measures, THUMBNAIL_STATS};
use crate::register::Registered;
use crate::shoot::{Content, Shoot};
use crate::shot::Pairs;
use crate::track::{Found, Tracking};
use crate::units::SlotIndex;
use crate::{finding, look, sheet, store, survey as surveys};

/// What to survey, and how.
#[derive(Debug, Clone)]
pub struct SurveyOptions {
    /// Folders, patterns or files, seen from the working folder.
    pub stills: Vec<String>,
    /// Whether orientation tags are obeyed.
    pub obey_orientation: bool,
    /// Which of two pictures of one name and different kinds is the still.
    pub pairs: Pairs,
    /// The camera whose stills are meant.
    pub camera: Option<String>,
    /// Whether the pixels are read too.
    pub look: bool,
    /// The page to draw of what they show, an SVG or a PNG; reads the pixels whatever `look` says.
    pub picture: Option<PathBuf>,
    /// Whether an existing page may be replaced.
    pub force: bool,
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
    let request = surveys::Request {
        base: PathBuf::from("."),
        paths,
        obey_orientation: options.obey_orientation,
        pairs: options.pairs,
        camera: options.camera.clone(),
    };
    let page = match &options.picture {
        Some(picture) => Some((picture, check_picture(picture, &request, options.force)?)),
        None => None,
    };
    let mut shoot = super::surveyed(&request, surveys::is_recording(&request)).map_err(Failure::refused)?;
    let measures = match options.look || options.picture.is_some() {
        true => {
            let mut measures = looked(&mut shoot, options.quiet, watch)?;
            let spots = look::spots(&shoot, &measures, &|| !watch.stop.load(Ordering::Relaxed));
            measures.spots = spots.map_err(|_| Failure::interrupted())?;
            Some(measures)
        }
        false => None,
    };
    let report = surveys::report(&shoot);
    let mut findings = surveys::findings(&shoot, &report);
    findings.extend(measures.iter().flat_map(|measures| look::findings(&shoot, measures)));
    findings.sort_by_key(|finding| finding.gravity);
    let keys = measures.as_ref().map(|measures| look::suggestions(measures, shoot.size.aspect()));
    if let (Some((picture, form)), Some(measures)) = (page, &measures) {
        let happenings: Vec<SlotIndex> = keys.iter().flatten().map(|key| key.at).collect();
        let request = sheet::Request { shoot: &shoot, measures, findings: &findings, happenings: &happenings };
        put::write_or_fail(picture, &form.bytes(&sheet::draw(&request))?, options.force)?;
    }
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

/// Refuses, before an hour of looking, a page that could not be written or would replace something.
fn check_picture(picture: &Path, request: &surveys::Request, force: bool) -> Result<Form, Failure> {
    let form = Form::of(picture)?;
    written::check_free(picture, force, std::slice::from_ref(request))?;
    Ok(form)
}

/// What to do where looking was interrupted.
pub(super) const LOOK_ON: &str = "give the same command to go on: stills that were measured are not measured again";

/// Looks at a shoot, and marks as damaged in it what only decoding shows to be.
///
/// # Errors
/// [`Failure`] where it was interrupted, or nothing can be kept on the disk.
pub(super) fn looked(shoot: &mut Shoot, quiet: bool, watch: &Watch) -> Result<Measures, Failure> {
    let request = request(THUMBNAIL_STATS);
    let whole = shoot.slots.iter().filter(|slot| matches!(slot.content, Content::Whole(_))).count() as u64;
    let measures = progress::while_looking(whole, quiet, watch, |seen| look::look(shoot, &request, seen));
    let measures = measures.map_err(|fault| match fault {
        look::Fault::Stopped => Failure::interrupted_saying(LOOK_ON),
        look::Fault::Disk(_) => Failure::failed(Diagnostic::mistake(fault.to_string())),
    })?;
    for (slot, damage) in &measures.damaged {
        shoot.mark_damaged(*slot, damage.clone());
    }
    Ok(measures)
}

/// Registers a shoot's stills, and marks as damaged in it what only decoding shows to be.
///
/// # Errors
/// As [`looked`].
pub(super) fn registered(shoot: &mut Shoot, quiet: bool, watch: &Watch) -> Result<Registered, Failure> {
    let request = request(LINKED_STILLS);
    let whole = shoot.slots.iter().filter(|slot| matches!(slot.content, Content::Whole(_))).count() as u64;
    let registered = progress::while_looking(whole, quiet, watch, |seen| look::register(shoot, &request, seen));
    let (registered, damaged) = registered.map_err(|fault| match fault {
        look::Fault::Stopped => Failure::interrupted_saying(LOOK_ON),
        look::Fault::Disk(_) => Failure::failed(Diagnostic::mistake(fault.to_string())),
    })?;
    for (slot, damage) in damaged {
        shoot.mark_damaged(slot, damage);
    }
    Ok(registered)
}

/// Looks for what is tracked in a shoot's stills, and marks as damaged in it what only decoding shows to be.
///
/// # Errors
/// As [`looked`].
pub(super) fn tracked(
    shoot: &mut Shoot,
    tracking: &Tracking,
    quiet: bool,
    watch: &Watch,
) -> Result<Vec<Found>, Failure> {
    let request = request(TRACKS);
    let stills = tracking.sides.iter().map(Vec::len).sum::<usize>() as u64;
    let found = progress::while_looking(stills, quiet, watch, |seen| look::track(shoot, tracking, &request, seen));
    let (found, damaged) = found.map_err(|fault| match fault {
        look::Fault::Stopped => Failure::interrupted_saying("give the same command again; it looks from the beginning"),
        look::Fault::Disk(_) => Failure::failed(Diagnostic::mistake(fault.to_string())),
    })?;
    for (slot, damage) in damaged {
        shoot.mark_damaged(slot, damage);
    }
    Ok(found)
}

/// How stills are looked at, and where what is found is kept.
pub(super) fn request(kind: store::Kind) -> look::Request {
    look::Request {
        cache: store::user_folder().map(|folder| folder.join(kind.folder)),
        threads: std::thread::available_parallelism().map_or(1, usize::from),
    }
}
