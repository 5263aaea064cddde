//! What makes a script worth writing once: dials, other shoots, moves, starter scripts, explanations, published forms.

#[path = "../common/mod.rs"]
mod common;
mod dials;
mod explain;
mod moves;
mod pictures;
mod published;
mod sources;
mod starters;
