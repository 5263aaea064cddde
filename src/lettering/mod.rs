//! Lines of text and pictures as coloured sheets to lay over frames.
//!
//! In come stamps of a delivery and the size of its frames; out go [`Overlay`](crate::sample::Overlay)s at that size.
//! Text is set and drawn by usvg and resvg with the fonts that the plan holds, and no others. [`Supplies`] reads fonts
//! and pictures for plans.
//!
//! ## Decisions
//!
//! - A *line's height* is from the font's ascender to its descender; a stamp's box is the line's, with the outline
//!   around it, so that a text does not jump up and down as its letters change. The baseline stands on a whole pixel.
//! - Digits take equal room, those of a font that has none of equal width too, and text with digits is set without
//!   kerning: a running clock does not wobble.
//! - Letters are the program's own (`src/ink/fonts/sans-semibold.otf`: Latin, Greek, Cyrillic), or a font file's.
//!   Letters that it lacks are taken from the program's own, then from the system's fonts in the order of their names.
//!   One that no font has is a mistake before anything is rendered. A machine without fonts of its own is no hindrance.
//! - Coverage is the mean of 4 x 4 of resvg's own samples of it, finer than its 17 levels: small letters gain by that.
//! - What is larger than the safe box is refused when it is planned. Should it be by rounding, in the small frames of
//!   drafts, it is drawn smaller.

mod letterer;
mod set;
mod supplies;

pub use letterer::Letterer;
pub use set::{Measured, Measurer};
pub use supplies::{Supplies, Trouble};
