//! The one thing changed in a finished MP4 file: the level it declares.
//!
//! Boxes as ISO/IEC 14496-12 has them, the decoder's configuration as ISO/IEC 14496-15 5.3.3.1 (both from memory; the
//! tests read the result with FFmpeg and MediaInfo).

use std::fs::{File, OpenOptions};
use std::io::{self, Read as _, Seek as _, SeekFrom, Write as _};
use std::ops::Range;
use std::path::Path;

/// From the file to the decoder's configuration: boxes by name, and the bytes to skip before the boxes inside.
const TO_CONFIGURATION: [(&[u8; 4], u64); 8] =
    [(b"moov", 0), (b"trak", 0), (b"mdia", 0), (b"minf", 0), (b"stbl", 0), (b"stsd", 8), (b"avc1", 78), (b"avcC", 0)];

/// Declares `level_idc` in the first track of a closed file: in the container, and in the sequence parameter set.
pub(super) fn declare_level(path: &Path, level_idc: u8) -> io::Result<()> {
    let mut file = OpenOptions::new().read(true).write(true).open(path)?;
    let mut inside = 0..file.metadata()?.len();
    for (name, skipped) in TO_CONFIGURATION {
        inside = find(&mut file, inside, name)?;
        inside.start += skipped;
    }
    let mut configuration = vec![0; usize::try_from(inside.end - inside.start).map_err(io::Error::other)?];
    file.seek(SeekFrom::Start(inside.start))?;
    file.read_exact(&mut configuration)?;
    // Version, profile, constraints, level, length size, number of parameter sets, length of the first; then the set:
    // its header, and profile, constraints, level once more.
    let [1, _, _, level, _, sets, _, _, header, _, _, level_in_set, ..] = configuration.as_mut_slice() else {
        return Err(unexpected());
    };
    if *sets & 31 != 1 || *header & 31 != 7 || level != level_in_set {
        return Err(unexpected());
    }
    (*level, *level_in_set) = (level_idc, level_idc);
    file.seek(SeekFrom::Start(inside.start))?;
    file.write_all(&configuration)
}

/// What is inside the first box of a name.
fn find(file: &mut File, within: Range<u64>, name: &[u8; 4]) -> io::Result<Range<u64>> {
    let mut at = within.start;
    while at + 8 <= within.end {
        file.seek(SeekFrom::Start(at))?;
        let mut header = [0; 8];
        file.read_exact(&mut header)?;
        let [a, b, c, d, found @ ..] = header;
        let (length, head) = match u32::from_be_bytes([a, b, c, d]) {
            // Data beyond 4 GiB: the length follows the name.
            1 => {
                let mut long = [0; 8];
                file.read_exact(&mut long)?;
                (u64::from_be_bytes(long), 16)
            }
            length => (u64::from(length), 8),
        };
        if length < head || length > within.end - at {
            return Err(unexpected());
        }
        if found == *name {
            return Ok(at + head..at + length);
        }
        at += length;
    }
    Err(unexpected())
}

fn unexpected() -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, "the finished file is not laid out as expected")
}
