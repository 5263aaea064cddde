//! Pure maths of motion: eases, keyed tracks, and pace integrals with their inverses. No pixels, no scripts.

pub mod ease;
