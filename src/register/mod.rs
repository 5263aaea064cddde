//! Where every still stands: how far the camera had moved, against where it stood at first, when the still was taken.
//!
//! Pure maths: pictures in, shifts and turns out. Nothing here knows of shoots, scripts or plans.

mod stand;

pub use stand::Stand;
