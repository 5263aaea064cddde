//! Who surveys a script's shoots: each time anew, or once for as long as nothing on the disk has changed.
//!
//! ## Decisions
//!
//! - A shoot is surveyed (and looked at) again only where its listing changed: names, sizes and times of every file
//!   that a survey would read (`src/survey/listing.rs`). At most once a second all of that is checked unasked, because
//!   a still rewritten in place leaves its folder's time as it was.

use std::sync::{Arc, Mutex, PoisonError};

use super::{Failure, Watch, survey as looking, surveyed};
use crate::diag::Diagnostics;
use crate::measures::Measures;
use crate::register::Registered;
use crate::shoot::{Content, Shoot};
use crate::survey::{self as surveys, Listing, Request};
use crate::track::{Found, Tracking};
use crate::units::SlotIndex;

/// Shoots that are kept: those of the script as it is, and some to go back to.
const KEPT: usize = 8;

/// How the stills are looked at, where a shot asks for it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Looking<'a> {
    pub(super) watch: &'a Watch,
    /// No progress.
    pub(super) quiet: bool,
}

/// Surveys shoots, and looks at them where a shot asks for it.
pub(super) trait Surveyor {
    /// The catalogue of what a request names; `recorded` says that it is one recording.
    ///
    /// # Errors
    /// Mistakes without a place in the script.
    fn survey(&mut self, request: &Request, recorded: bool) -> Result<Shoot, Diagnostics>;

    /// Looks at a shoot that was surveyed for this request, and marks in it what only decoding shows to be damaged.
    ///
    /// # Errors
    /// [`Failure`] where it was interrupted, or nothing can be kept on the disk.
    fn look(&mut self, request: &Request, shoot: &mut Shoot, look: Looking<'_>) -> Result<Measures, Failure>;

    /// Registers the stills of a shoot that was surveyed for this request, and marks in it what only decoding shows to
    /// be damaged.
    ///
    /// # Errors
    /// As [`Surveyor::look`].
    fn register(&mut self, request: &Request, shoot: &mut Shoot, look: Looking<'_>) -> Result<Registered, Failure>;

    /// Looks for what is tracked in a shoot's stills, and marks in it what only decoding shows to be damaged. What was
    /// found before is on the disk.
    ///
    /// # Errors
    /// As [`Surveyor::look`].
    fn track(&mut self, shoot: &mut Shoot, tracking: &Tracking, look: Looking<'_>) -> Result<Vec<Found>, Failure> {
        looking::tracked(shoot, tracking, look.quiet, look.watch)
    }
}

/// Surveys every time.
pub(super) struct Anew;

impl Surveyor for Anew {
    fn survey(&mut self, request: &Request, recorded: bool) -> Result<Shoot, Diagnostics> {
        surveyed(request, recorded)
    }

    fn look(&mut self, _request: &Request, shoot: &mut Shoot, look: Looking<'_>) -> Result<Measures, Failure> {
        looking::looked(shoot, look.quiet, look.watch)
    }

    fn register(&mut self, _request: &Request, shoot: &mut Shoot, look: Looking<'_>) -> Result<Registered, Failure> {
        looking::registered(shoot, look.quiet, look.watch)
    }
}

/// A survey that was asked for.
#[derive(Debug, Clone)]
pub(super) struct Survey {
    pub(super) request: Request,
    /// Whether it is of a recording.
    pub(super) recorded: bool,
    /// What there was to read.
    pub(super) listing: Listing,
}

/// What surveys were asked for; shared with whoever watches the disk.
pub(super) type Asked = Arc<Mutex<Vec<Survey>>>;

/// Surveys once, and again only where the listing of what was surveyed is another.
#[derive(Default)]
pub(super) struct Kept {
    shoots: Vec<One>,
    asked: Asked,
    work: Work,
}

/// How much was read from the disk.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize)]
pub(super) struct Work {
    /// Surveys that were made, and failed ones.
    surveys: usize,
    /// Shoots whose stills were looked at, or registered.
    looks: usize,
}

struct One {
    made: Survey,
    shoot: Shoot,
    /// The shoot as looking left it, and what it measured.
    looked: Option<(Shoot, Measures)>,
    /// The shoot as registering left it, and how its stills lie.
    registered: Option<(Shoot, Registered)>,
}

impl One {
    fn of<'a>(shoots: &'a mut [Self], request: &Request, shoot: &Shoot) -> Option<&'a mut Self> {
        let recorded = shoot.recording.is_some();
        shoots.iter_mut().find(|one| one.made.request == *request && one.made.recorded == recorded)
    }
}

/// Marks in a shoot what another survey of it, with the same slots, has marked as damaged.
fn mark(shoot: &mut Shoot, marked: &Shoot) {
    for (slot, entry) in marked.slots.iter().enumerate() {
        if let Content::Damaged { damage, .. } = &entry.content {
            shoot.mark_damaged(SlotIndex(slot), damage.clone());
        }
    }
}

impl Kept {
    /// What was asked for since [`Kept::begin`].
    pub(super) fn asked(&self) -> Asked {
        Arc::clone(&self.asked)
    }

    /// What was read so far.
    pub(super) fn work(&self) -> Work {
        self.work
    }

    /// Forgets what was asked for: another script may ask for something else.
    pub(super) fn begin(&mut self) {
        self.asked.lock().unwrap_or_else(PoisonError::into_inner).clear();
    }
}

impl Surveyor for Kept {
    fn survey(&mut self, request: &Request, recorded: bool) -> Result<Shoot, Diagnostics> {
        // Before the survey: what changes while it lasts is found the next time.
        let listing = surveys::listing(request, recorded);
        let survey = Survey { request: request.clone(), recorded, listing };
        self.asked.lock().unwrap_or_else(PoisonError::into_inner).push(survey.clone());
        let is_it = |one: &One| one.made.request == *request && one.made.recorded == recorded;
        if let Some(one) = self.shoots.iter().find(|one| is_it(one) && one.made.listing == listing) {
            return Ok(one.shoot.clone());
        }
        self.work.surveys += 1;
        self.shoots.retain(|one| !is_it(one));
        let shoot = surveyed(request, recorded)?;
        self.shoots.insert(0, One { made: survey, shoot: shoot.clone(), looked: None, registered: None });
        self.shoots.truncate(KEPT);
        Ok(shoot)
    }

    fn look(&mut self, request: &Request, shoot: &mut Shoot, look: Looking<'_>) -> Result<Measures, Failure> {
        let one = One::of(&mut self.shoots, request, shoot);
        if let Some((marked, measures)) = one.as_ref().and_then(|one| one.looked.as_ref()) {
            mark(shoot, marked);
            return Ok(measures.clone());
        }
        self.work.looks += 1;
        let measures = looking::looked(shoot, look.quiet, look.watch)?;
        if let Some(one) = one {
            one.looked = Some((shoot.clone(), measures.clone()));
        }
        Ok(measures)
    }

    fn register(&mut self, request: &Request, shoot: &mut Shoot, look: Looking<'_>) -> Result<Registered, Failure> {
        let one = One::of(&mut self.shoots, request, shoot);
        if let Some((marked, registered)) = one.as_ref().and_then(|one| one.registered.as_ref()) {
            mark(shoot, marked);
            return Ok(registered.clone());
        }
        self.work.looks += 1;
        let registered = looking::registered(shoot, look.quiet, look.watch)?;
        if let Some(one) = one {
            one.registered = Some((shoot.clone(), registered.clone()));
        }
        Ok(registered)
    }
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::path::Path;

    use super::super::ScriptOptions;
    use super::super::prepare::{Encoders, prepare_with};
    use super::*;
    use crate::ffi::jpeg;
    use crate::units::Size;

    fn still(folder: &Path, number: u8) {
        let size = Size::new(64, 48);
        let bytes = jpeg::encode_rgb(&vec![number.wrapping_mul(9); 3 * 64 * 48], size, 90, (2, 2), &[]);
        fs::write(folder.join(format!("stills/LAPS{number:04}.JPG")), bytes).unwrap();
    }

    fn script(folder: &Path, fps: u32) -> ScriptOptions {
        let path = folder.join("move.lua");
        let text = format!(
            "return shot {{ source = stills {{ 'stills' }}, fps = {fps}, pace = stills_per_frame(1),
               deliveries = {{ delivery {{ 'wide', frame = {{ 32, 18 }} }} }} }}"
        );
        fs::write(&path, text).unwrap();
        ScriptOptions { script: path, settings: Vec::new(), sources: Vec::new(), deliveries: Vec::new() }
    }

    fn prepared(kept: &mut Kept, options: &ScriptOptions) -> Result<usize, Failure> {
        kept.begin();
        let look = Looking { watch: &Watch::default(), quiet: true };
        prepare_with(options, Encoders::LeftAlone, look, kept).map(|prepared| prepared.shoots[0].slots.len())
    }

    #[test]
    fn a_folder_that_has_not_changed_is_surveyed_once_and_one_that_has_again() {
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path();
        fs::create_dir(at.join("stills")).unwrap();
        (1..=5).for_each(|number| still(at, number));
        let mut kept = Kept::default();
        for fps in [24, 25, 30] {
            assert_eq!(prepared(&mut kept, &script(at, fps)).ok(), Some(5));
        }
        assert_eq!(kept.work.surveys, 1);
        // What is none of the shoot's changes nothing.
        fs::write(at.join("notes.txt"), "dew at five").unwrap();
        assert_eq!(prepared(&mut kept, &script(at, 24)).ok(), Some(5));
        assert_eq!(kept.work.surveys, 1);
        // Another still.
        still(at, 6);
        assert_eq!(prepared(&mut kept, &script(at, 24)).ok(), Some(6));
        assert_eq!(kept.work.surveys, 2);
        // One written again in its place, with the same name and size.
        let path = at.join("stills/LAPS0003.JPG");
        let bytes = fs::read(&path).unwrap();
        fs::write(&path, &bytes).unwrap();
        assert_eq!(prepared(&mut kept, &script(at, 24)).ok(), Some(6));
        assert_eq!(kept.work.surveys, 3);
        // One taken away, the folder taken away, and given back.
        fs::remove_file(&path).unwrap();
        assert!(prepared(&mut kept, &script(at, 24)).is_err(), "still 3 is missing and the script stops");
        assert_eq!(kept.work.surveys, 4);
        fs::rename(at.join("stills"), at.join("elsewhere")).unwrap();
        assert!(prepared(&mut kept, &script(at, 24)).is_err());
        assert_eq!(kept.asked.lock().unwrap().len(), 1);
        fs::rename(at.join("elsewhere"), at.join("stills")).unwrap();
        fs::write(&path, &bytes).unwrap();
        assert_eq!(prepared(&mut kept, &script(at, 24)).ok(), Some(6));
    }
}
