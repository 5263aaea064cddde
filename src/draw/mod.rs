//! Pictures of a plan.
//!
//! In: plans with their keys, the shoot they are cut from, stills and frames already made small. Out: a drawing, as SVG
//! or as PNG. What it shows is where it is in the plan: the sheet's geometry is the plan's to within 0.25 pixels.
//!
//! `page` says where things stand, `still` draws windows over a still, `boxes` what is followed and covered there,
//! `legend` says what deliveries come to, `keys` lists keys, `remarks` what is worth knowing, `curves` what `measure`
//! measures over the clip, `strip` frames in a row, `flashes` where clips flash, `reckoning` what is known before there is
//! a shoot. All of it is drawn with what is in [`crate::ink`].
//!
//! ## Decisions
//!
//! - Words: a *sheet* is a drawing of a shot (windows over a still, curves over the clip); a *track* is one delivery's
//!   part of it, told apart by its dashes and its *mark*. A *strip* is frames of each delivery in a row.
//! - Keys have one number each on the whole sheet: at their windows, on the curves of windows, in the list of keys.
//! - Deliveries that show the same are drawn once, with all their names; so is a curve that several deliveries share.
//! - Zoom counts from the largest window of the roll that a window has, in words as on the curve.
//! - Lines are thinned to 0.05 px. The window drawn at a key is that of the frame on screen then. A sheet reads pace
//!   from rows, so it shows what is shown.
//! - Remarks name their frames (`Diagnostic::over`) and stand over them; those that name none stand at the keys of
//!   their line. What a sheet shows is not printed too. Drawings show windows over the first view.
//! - To add a curve: a variant of `Measure` in `measure.rs` with its value at a frame and its scale, its place in
//!   `measures` of `page.rs`, and the same from the plan's JSON in `tests/reuse/pictures.rs`.

mod boxes;
mod curves;
mod flashes;
mod keys;
mod legend;
mod measure;
mod page;
mod reckoning;
mod remarks;
mod sheet;
mod still;
mod strip;

pub use flashes::Band;
pub use measure::Measure;
pub use reckoning::Noted;
pub use sheet::{Backdrop, Remark, Sheet, SheetRow, Subject};
pub use strip::{Strip, StripFrame, StripRow};

use crate::ink::Drawing;

/// The motion sheet of a shot.
#[must_use]
pub fn sheet(sheet: &Sheet<'_>) -> Drawing {
    Drawing(page::sheet(sheet))
}

/// A small picture of a move: a still with the window over it, and what changes.
#[must_use]
pub fn card(sheet: &Sheet<'_>, measures: &[Measure]) -> Drawing {
    Drawing(page::card(sheet, measures))
}

/// A reckoning on paper to take along.
#[must_use]
pub fn reckoning(noted: &Noted<'_>) -> Drawing {
    Drawing(reckoning::draw(noted))
}

/// Flashes over the frames of clips.
#[must_use]
pub fn flashes(bands: &[Band<'_>]) -> Drawing {
    Drawing(flashes::draw(bands))
}

/// Frames of deliveries in rows.
#[must_use]
pub fn strip(strip: &Strip) -> Drawing {
    Drawing(strip::draw(strip))
}
