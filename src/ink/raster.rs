//! From SVG to pixels: the same drawing, the same letters.

use std::sync::Arc;

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

use super::letters::{BOLD, REGULAR, has_all};

/// The longest side of a PNG in pixels: beyond it a picture takes gigabytes.
const LONGEST: f32 = 20_000.0;

/// Why a drawing has no PNG.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the drawing cannot be made a PNG: {0}")]
pub struct RasterError(String);

/// A drawing as PNG, a pixel a unit.
pub(crate) fn png(svg: &str) -> Result<Vec<u8>, RasterError> {
    let refused = |why: &dyn std::fmt::Display| RasterError(why.to_string());
    let mut fonts = fontdb::Database::new();
    // File names may be in any script; the system may have letters that are not among ours. All others are outlines.
    if !has_all(svg) {
        for font in [REGULAR, BOLD] {
            fonts.load_font_source(fontdb::Source::Binary(Arc::new(font)));
        }
        fonts.load_system_fonts();
    }
    let options = Options { fontdb: Arc::new(fonts), ..Options::default() };
    let tree = Tree::from_str(svg, &options).map_err(|error| refused(&error))?;
    let size = tree.size();
    if size.width().max(size.height()) > LONGEST {
        return Err(refused(&format!("{} x {} pixels; an SVG may be that large", size.width(), size.height())));
    }
    let whole = size.to_int_size();
    let mut pixels = Pixmap::new(whole.width(), whole.height()).ok_or_else(|| refused(&"no room for its pixels"))?;
    resvg::render(&tree, Transform::identity(), &mut pixels.as_mut());
    pixels.encode_png().map_err(|error| refused(&error))
}
