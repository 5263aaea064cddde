//! What makes a script worth writing once: dials, other shoots, moves, starter scripts, explanations, the live page,
//! published forms.

mod action;
mod breaks;
#[path = "../common/mod.rs"]
mod common;
mod dials;
mod drawings;
mod explain;
mod flash;
mod flashes;
mod gather;
mod hand;
mod help;
mod list;
mod live;
mod metadata;
mod moves;
mod outputs;
mod painted;
mod paper;
mod path_tables;
mod pictures;
mod posters;
mod published;
mod purposes;
mod readme;
mod receipt;
mod reckon;
mod reel;
mod served;
mod sources;
mod starters;
