//! Pictures of a plan.
//!
//! In: plans with their keys, the shoot they are cut from, stills and frames already made small. Out: a drawing, as SVG
//! or as PNG. What it shows is where it is in the plan: the sheet's geometry is the plan's to within 0.25 pixels.
//!
//! `page` says where things stand, `still` draws windows over a still, `boxes` what is followed and
//! covered there, `curves` what changes over the clip, `strip` frames in a
//! row; `scale`, `labels`, `letters`, `look`, `thin` and `svg` are what they draw with, and `raster` makes pixels of it
//! all.
//!
//! ## Decisions
//!
//! - Words: a *sheet* is a drawing of a shot (windows over a still, curves over the clip); a *track* is one delivery's
//!   part of it, told apart by its dashes and its *mark*. A *strip* is frames of each delivery in a row.
//! - One way to draw: SVG by our own writer, PNG from that SVG by `resvg`.
//! - Lines are thinned to 0.05 px. The window drawn at a key is that of the frame on screen then. A sheet reads pace
//!   from rows, so it shows what is shown.
//! - Remarks name their frames (`Diagnostic::over`) and stand over them; those that name none stand at the keys of
//!   their line. What a sheet shows is not printed too. Drawings show windows over the first view.
//! - To add a curve: a variant of `Measure` in `curves.rs` with its value at a frame and its scale, its place in
//!   `MEASURES` of `page.rs`, and the same from the plan's JSON in `tests/reuse/pictures.rs`.

mod boxes;
mod curves;
mod labels;
mod letters;
mod look;
mod page;
mod raster;
mod scale;
mod sheet;
mod still;
mod strip;
mod svg;
mod thin;

pub use curves::Measure;
pub use raster::RasterError;
pub use sheet::{Backdrop, Remark, Sheet, SheetRow, Subject};
pub use strip::{Strip, StripFrame, StripRow};

/// A finished drawing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drawing(String);

impl Drawing {
    /// As an SVG document.
    #[must_use]
    pub fn svg(&self) -> &str {
        &self.0
    }

    /// As a PNG, a pixel a unit of the SVG.
    ///
    /// # Errors
    /// [`RasterError`] where it would be larger than a PNG is made.
    pub fn png(&self) -> Result<Vec<u8>, RasterError> {
        raster::png(&self.0)
    }
}

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

/// Frames of deliveries in rows.
#[must_use]
pub fn strip(strip: &Strip) -> Drawing {
    Drawing(strip::draw(strip))
}
