//! What all drawings of the program are made with: paper and colours, marks, letters, axes, labels, and the way from SVG
//! to pixels.
//!
//! In: shapes, words and values. Out: a [`Drawing`], as SVG or as PNG. Whoever draws decides what is shown and where; it
//! looks alike because it is made of the same parts: `look` has the colours and marks, `letters` the sizes of type,
//! `space` the distances, `axes` a curve's panel, `labels` what is written over a still; `scale`, `thin` and `svg` are
//! what these stand on, and `raster` makes pixels of it all.
//!
//! ## Decisions
//!
//! - One way to draw: SVG by our own writer, PNG from that SVG by `resvg`.
//! - All panels over one another have the same left and right edge and the same scale across, each with its figures
//!   beneath.

pub(crate) mod axes;
pub(crate) mod labels;
pub(crate) mod letters;
pub(crate) mod look;
mod raster;
pub(crate) mod scale;
pub(crate) mod space;
pub(crate) mod svg;
pub(crate) mod thin;

pub use raster::RasterError;

/// A finished drawing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drawing(pub(crate) String);

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
