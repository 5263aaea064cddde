//! What the sampler must show, measured on the frames as the encoder takes them: steady moves, even sharpness, no
//! shimmer, right colours, no banding. Stills are drawn from formulas; every bar prints what was measured before it
//! asserts.
//!
//! `STILLPATH_EVERY_FRAME=1` measures all 300 frames of every move; without it, evenly chosen triples of neighbours.
#![expect(clippy::print_stdout, reason = "the figures are the point")]
#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss, reason = "pixels")]

mod blend;
mod blobs;
mod breathing;
mod colour;
mod deep;
mod draft;
mod identities;
mod motion;
mod night;
mod peer;
mod pillow;
mod rolled;
mod scipy;
mod shimmer;
mod stills;
mod texture;
mod zoom;
