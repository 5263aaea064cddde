//! The survey of whole shoots: order, gaps, damage and what is set aside, on cards written by the tests themselves.

#[path = "../common/mod.rs"]
mod common;

mod camera;
mod cameras;
mod fainter;
mod faults;
mod footage;
mod found;
mod headers;
mod known;
mod look;
mod many;
mod missing;
mod planted;
mod runs;
mod scene;
mod shoots;
mod spots;
mod stand;
mod sums;
mod twelve;
