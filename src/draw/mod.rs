//! Pictures of a plan.
//!
//! In: plans with their keys, the shoot they are cut from, stills and frames already made small. Out: a drawing, as SVG or as
//! PNG. What it shows is where it is in the plan: the sheet's geometry is the plan's to within 0.25 pixels.
//!
//! `page` says where things stand, `still` draws windows over a still, `boxes` what is followed and
//! covered there, `curves` what changes over the clip, `strip` frames in a
//! row; `scale`, `labels`, `letters`, `look`, `thin` and `svg` are what they draw with, and `raster` makes pixels of it all.

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
pub use sheet::{Backdrop, Remark, Sheet, Subject, Track};
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
