//! JPEG through libjpeg-turbo's classic interface: bytes to planes, and pixels to bytes.
//!
//! libjpeg leaves a fault by calling `error_exit`, which must not return. Here it unwinds with a `Fault` that the
//! Rust side of every call catches, so nothing crosses this module's border but values.
#![expect(unsafe_code, reason = "libjpeg is C; every unsafe block is inside this module")]

mod decode;
mod encode;
mod fault;
mod header;
mod markers;
mod source;
mod tap;

pub(crate) use decode::{Decompressor, Failure, Reading};
pub use encode::{Coding, Colour, Encoding, encode, encode_rgb};
pub(crate) use header::{BLOCK, Component, Header, Space};
pub(crate) use markers::segments;
pub(crate) use tap::DcPlanes;
