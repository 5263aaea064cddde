//! What touches C, safe on the outside.

pub mod ffmpeg;
pub mod jpeg;
