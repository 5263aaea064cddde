//! What frames flow into: the sink that every codec implements, and what comes of one.

use std::path::PathBuf;

use crate::picture::{Frame, FrameKind};

/// Takes a delivery's frames in order and makes its file of them.
///
/// A sink writes under a temporary name that starts with a dot. [`Sink::finish`] flushes, counts, and renames to the final
/// name; a sink that is dropped unfinished removes what it wrote.
pub trait Sink: Send {
    /// What kind of frame it takes.
    fn kind(&self) -> FrameKind;

    /// Takes the next frame.
    ///
    /// # Errors
    /// Whatever the encoder or the disk says; the sink is of no use afterwards.
    fn write(&mut self, frame: &Frame) -> Result<(), SinkError>;

    /// Flushes the encoder, checks that as many frames came out as went in, and gives the file its final name.
    ///
    /// # Errors
    /// As [`Sink::write`]; nothing is left under the final name then.
    fn finish(self: Box<Self>) -> Result<Written, SinkError>;
}

/// A finished output.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Written {
    /// The file, or the folder of a sequence.
    pub path: PathBuf,
    /// Frames in it.
    pub frames: u64,
    /// Bytes in all.
    pub bytes: u64,
    /// What a person should know of it, a line each.
    pub remarks: Vec<String>,
}

/// Why an output could not be made.
#[derive(Debug, thiserror::Error)]
pub enum SinkError {
    /// The disk or the folder.
    #[error("{path}: {source}", path = .path.display())]
    Disk {
        /// The file or folder.
        path: PathBuf,
        /// What the operating system said.
        source: std::io::Error,
    },
    /// The codec library.
    #[error("the {codec} encoder: {message}")]
    Encoder {
        /// Which.
        codec: &'static str,
        /// What it said.
        message: String,
    },
    /// The encoder lost or made up frames.
    #[error("{path}: {given} frames were given and {got} came out", path = .path.display())]
    Count {
        /// The output.
        path: PathBuf,
        /// Frames handed in.
        given: u64,
        /// Frames that came out.
        got: u64,
    },
}
