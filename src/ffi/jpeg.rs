//! JPEG through libjpeg-turbo's classic interface: bytes to planes, and pixels to bytes.
//!
//! libjpeg leaves a fault by calling `error_exit`, which must not return. Here it unwinds with a `Fault` that the
//! Rust side of every call catches, so nothing crosses this module's border but values.
//!
//! ## Decisions
//!
//! - libjpeg's classic interface, by `mozjpeg-sys`, because it alone hands out planes row by row and counts its
//!   warnings. Speeds of the alternatives are in `scripts/bench.md`.
//!
//! ## Surprises
//!
//! - libjpeg keeps tables between files: a still without its own would be decoded with its neighbour's. A component
//!   without a scan is filled with grey in silence. `mozjpeg-sys` declares `format_message` with 80 bytes; libjpeg
//!   writes up to 200.
#![expect(unsafe_code, reason = "libjpeg is C; every unsafe block is inside this module")]

mod decode;
mod encode;
mod error_manager;
mod fault;
mod header;
mod markers;
mod source;
mod tap;

pub(crate) use decode::{Decompressor, Failure, Reading};
pub use encode::{Coding, Colour, Encoding, encode, encode_rgb};
pub(crate) use header::{BLOCK, Component, Header, Space};
pub(crate) use markers::{END_OF_IMAGE, Marker, START_OF_SCAN, next_marker, segments};
pub(crate) use tap::DcPlanes;
