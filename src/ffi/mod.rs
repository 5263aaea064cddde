//! What touches C, safe on the outside.

pub mod jpeg;
