//! What touches C, safe on the outside.
//!
//! **What a hostile file can reach.** Every `unsafe` block below was gone over with one question: which lengths, counts
//! and enumerations in it come from the file? *Rows of a decoded frame* ([`ffmpeg`], `footage/decoder.rs`) are checked
//! against the buffer that the plane lies in, whatever layout asks, negative strides included. *Sound* is mixed by a
//! matrix of a column for each channel: a frame whose channels are not as many as its mask has places (65 and more
//! never are) is refused before FFmpeg is told of it, and a frame of another kind than the last gets a resampler of its
//! own. *Side data* (the display matrix) is read only where it is as long as it has to be. *Numbers that FFmpeg types
//! as enumerations* (colour tags, field order, channel order, formats of pixels and samples) are read as numbers and
//! turned into values only within ranges without gaps; names of colour tags are asked for by number.
//! *Strings* are FFmpeg's own or end with a zero by its contract. *Streams* that a demuxer finds later are told apart
//! by their index; pointers to streams stay true while the container is open. *JPEG*: planes have room for whole blocks
//! and their rows are made from slices of that length; a file of more than four components, for which libjpeg would
//! read more lists of rows than there are, is refused; scans are limited to 500; `skip` and `padding` keep within the
//! file; sizes are held against the surveyed header before anything is allocated; faults unwind through C frames that
//! are compiled for it. *What is encoded* comes from this program alone. Outside this module, containers of HEIF cannot
//! ask for more memory than a small multiple of their own length, nor an index of a recording for more than ten million
//! frames. `scripts/sanitize` runs the tests of all this under a memory checker, and `cargo run --example mutate`
//! spoils real files at random.

pub mod ffmpeg;
pub mod jpeg;
