//! The last bytes of a file, where its end mark should stand.

use std::io::{self, Read};

use super::{Ending, Source, fault};
use crate::shoot::Damage;

/// How much of the end is looked at: more than the padding and the small blocks cameras append.
const LENGTH: u64 = 16 * 1024;

/// The last bytes of a file.
pub(super) struct Tail {
    bytes: Vec<u8>,
}

impl Tail {
    /// The last bytes of `source`, none from before `from`. Moves the source.
    pub(super) fn read(source: &mut Source, from: u64) -> Result<Self, Damage> {
        let start = source.length.saturating_sub(LENGTH).max(from).min(source.length);
        source.go_to(start)?;
        let mut bytes = Vec::new();
        let read = source.reader.by_ref().take(LENGTH).read_to_end(&mut bytes);
        read.map_err(|error: io::Error| fault(&error))?;
        Ok(Self { bytes })
    }

    /// How the file ends, if the last `mark` in the tail is its end.
    pub(super) fn ending(&self, mark: &[u8]) -> Option<Ending> {
        let at = self.bytes.windows(mark.len()).rposition(|window| window == mark)?;
        Some(after(self.bytes.len() - at - mark.len()))
    }

    /// The bytes that follow the last `name`, and the four before it.
    pub(super) fn around(&self, name: &[u8; 4]) -> Option<([u8; 4], &[u8])> {
        let at = self.bytes.windows(4).rposition(|window| window == name)?;
        let before = self.bytes.get(at.checked_sub(4)?..at)?.try_into().ok()?;
        Some((before, &self.bytes[at + 4..]))
    }
}

/// An end mark with so many bytes behind it.
fn after(count: usize) -> Ending {
    if count == 0 { Ending::Whole } else { Ending::Trailing(count as u64) }
}
