//! Drafts: every row of a plan in half its frame, from stills decoded small, quickly encoded.
//!
//! A draft goes the way a render goes, with other frames and another codec: nothing is decided twice. Its outputs have
//! a name that no finished output can have, for names of deliveries hold no full stop.
//!
//! ## Decisions
//!
//! - Half of each side, to the nearest even number, 16 at least; H.264 with preset `superfast` and the delivery's own
//!   `crf`, for PNG deliveries too, because a draft is made to be watched.
//! - A still is divided by the largest of 8, 4 and 2 that leaves one luma sample for each pixel of every frame that
//!   shows it.
//! - A draft writes no table of gains.

use std::borrow::Cow;
use std::path::{Path, PathBuf};

use super::prepare::Prepared;
use crate::decode::{SMALL_STILLS, SmallStills};
use crate::diag::{Diagnostic, Diagnostics};
use crate::encode;
use crate::pipeline::Detail;
use crate::plan::DeliveryPlan;
use crate::shot::{Codec, H264};
use crate::store::{Store, lies_among, user_folder};
use crate::units::Size;

/// The preset that drafts are encoded with: of the two fastest, the one whose files are not much larger than they need
/// be.
const PRESET: &str = "superfast";

/// How to draft.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DraftOptions {
    /// Most bytes of small stills that are kept for the next draft; 0 keeps none.
    pub keep: u64,
}

/// What is rendered of a delivery: itself, or its draft.
pub(super) fn made(plan: &DeliveryPlan, draft: bool) -> Cow<'_, DeliveryPlan> {
    if draft { Cow::Owned(of(plan)) } else { Cow::Borrowed(plan) }
}

/// The draft of a delivery: the same rows in half the frame, as H.264 whatever the delivery is, for it is there to be
/// watched.
fn of(plan: &DeliveryPlan) -> DeliveryPlan {
    let crf = match &plan.codec {
        Codec::H264(codec) => codec.crf,
        _ => H264::default().crf,
    };
    // Sides of H.264 are even, and 16 at least.
    let half = |side: u32| (side / 4 * 2 + if side % 4 > 1 { 2 } else { 0 }).max(16);
    DeliveryPlan {
        frame: Size::new(half(plan.frame.width), half(plan.frame.height)),
        every_still: false,
        codec: Codec::H264(H264 { crf, preset: PRESET.into(), tune: None, most: None, size: None }),
        ..plan.clone()
    }
}

/// Where the output of a delivery goes, or its draft's: `<out>/<stem>-<delivery>.draft.mp4`.
pub(super) fn path(out: &Path, stem: &str, plan: &DeliveryPlan, draft: bool) -> PathBuf {
    if draft { name(&encode::output_path(out, stem, &of(plan))) } else { encode::output_path(out, stem, plan) }
}

/// A draft's file name, by that of the finished file.
pub(super) fn name(of: &Path) -> PathBuf {
    let extension = of.extension().unwrap_or_default().to_string_lossy();
    of.with_extension(format!("draft.{extension}"))
}

/// Whether a draft may take the place of what is there: of an earlier draft, which is a file.
pub(super) fn may_replace(path: &Path) -> bool {
    path.symlink_metadata().is_ok_and(|there| there.is_file())
}

/// The small stills of a run.
#[derive(Debug, Default)]
pub(super) struct Kept(Option<SmallStills>);

impl Kept {
    /// The user's own store of small stills, and what there is to remark about it: a draft goes on without.
    pub(super) fn open(prepared: &Prepared, options: DraftOptions) -> (Self, Diagnostics) {
        if options.keep == 0 {
            return (Self(None), Diagnostics::default());
        }
        let remark = |why: String| {
            let remark = Diagnostic::remark(format!("small stills are not kept for the next draft: {why}"));
            remark.help("--keep 0 turns this off").into()
        };
        let Some(folder) = user_folder().map(|folder| folder.join(SMALL_STILLS.folder)) else {
            return (Self(None), remark("no home folder was found".into()));
        };
        if lies_among(&folder, prepared.shoots.iter().flat_map(|shoot| shoot.paths())) {
            return (Self(None), remark(format!("{} lies among the stills", folder.display())));
        }
        match Store::lasting(&folder, SMALL_STILLS) {
            Ok(store) => (Self(Some(SmallStills::new(store.capped(options.keep)))), Diagnostics::default()),
            Err(error) => {
                let store = Store::read_only(&folder, SMALL_STILLS);
                (Self(Some(SmallStills::new(store))), remark(format!("{}: {error}", folder.display())))
            }
        }
    }

    /// What the pipeline decodes.
    pub(super) fn detail(&self, draft: bool) -> Detail<'_> {
        if draft { Detail::Small(self.0.as_ref()) } else { Detail::Whole }
    }

    /// What the disk had against keeping stills.
    pub(super) fn remarks(self) -> Diagnostics {
        let said = self.0.and_then(SmallStills::trouble).map(|error| {
            Diagnostic::remark(format!("not all small stills could be kept for the next draft: {error}"))
                .help("stillpath cache says how much is kept where; the draft itself is whole")
        });
        Diagnostics(said.into_iter().collect())
    }
}
