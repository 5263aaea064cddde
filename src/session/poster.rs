//! Posters: a frame of a delivery kept as a picture beside its output, painted in the same pass over the stills.
//!
//! ## Decisions
//!
//! - `DIR/<script>-<delivery>-poster.png` is what `stillpath frame` writes of that frame: 16 bits, undithered by any
//!   encoder. A JPEG has 8 bits, quality 95 and full chroma (our choice): a picture for a page.
//! - Posters are written once the outputs have their names, and made anew by every run that comes so far. So one that
//!   stands beside outputs which an interrupted run has finished is that run's own, and is replaced.
//! - A draft has none.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::Failure;
use super::pictures::{self, Keep};
use super::written;
use crate::diag::Diagnostic;
use crate::encode;
use crate::pipeline::Output;
use crate::plan::DeliveryPlan;
use crate::shot::PosterForm;

/// Where the poster of a delivery goes, where it has one.
pub(super) fn path(out: &Path, stem: &str, plan: &DeliveryPlan) -> Option<PathBuf> {
    let poster = plan.extras.poster?;
    Some(out.join(format!("{stem}-{}-poster.{}", plan.name, poster.form.extension())))
}

/// A poster in the making.
pub(super) struct Poster<'a> {
    plan: &'a DeliveryPlan,
    row: usize,
    form: PosterForm,
    path: PathBuf,
    kept: Keep,
}

/// The posters of these deliveries.
pub(super) fn begin<'a>(
    deliveries: impl IntoIterator<Item = &'a DeliveryPlan>,
    out: &Path,
    stem: &str,
) -> Vec<Poster<'a>> {
    let one = |plan: &'a DeliveryPlan| {
        let (poster, path) = (plan.extras.poster?, path(out, stem, plan)?);
        let row = usize::try_from(poster.frame).ok().filter(|row| *row < plan.rows.len())?;
        Some(Poster { plan, row, form: poster.form, path, kept: Keep(Arc::default()) })
    };
    deliveries.into_iter().filter_map(one).collect()
}

impl<'a> Poster<'a> {
    /// What the pipeline is to paint for it.
    pub(super) fn output(&self) -> Output<'a> {
        Output { plan: self.plan, rows: self.row..self.row + 1, sink: Box::new(self.kept.clone()) }
    }

    /// Writes it, now that it is painted.
    ///
    /// # Errors
    /// [`Failure`] where the disk refuses: the outputs are whole by then, and stay.
    pub(super) fn write(&self) -> Result<(), Failure> {
        let failed = |why: String| {
            let mistake =
                Diagnostic::mistake(why).help("the outputs are complete and stay; only this poster is missing");
            Failure::failed(mistake.help("the same command, without --fresh, makes it again and no other frame"))
        };
        let frame = self.kept.take().pop().ok_or_else(|| failed(format!("{} was not painted", self.path.display())))?;
        match self.form {
            PosterForm::Png => encode::write_png(&self.path, &frame).map_err(|error| failed(error.to_string())),
            PosterForm::Jpeg => written::write(&self.path, &pictures::as_fine_jpeg(&frame), true)
                .map_err(|error| failed(format!("{}: {error}", self.path.display()))),
        }
    }
}
