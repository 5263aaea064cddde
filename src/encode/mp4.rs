//! The one thing changed in a finished MP4 file: the level it declares.
//!
//! Boxes as ISO/IEC 14496-12 has them, the decoder's configuration as ISO/IEC 14496-15 5.3.3.1 and 8.3.3.1, parameter
//! sets as ITU-T H.264 7.3.2.1 and H.265 7.3.2.1, 7.3.2.2 and 7.3.3 (all from memory; the tests read the result with
//! FFmpeg and MediaInfo).

use std::fs::{File, OpenOptions};
use std::io::{self, Read as _, Seek as _, SeekFrom, Write as _};
use std::ops::Range;
use std::path::Path;

use super::level::Declaration;

/// From the file to the sample's description: boxes by name, and the bytes to skip before the boxes inside.
const TO_DESCRIPTION: [(&[u8; 4], u64); 6] =
    [(b"moov", 0), (b"trak", 0), (b"mdia", 0), (b"minf", 0), (b"stbl", 0), (b"stsd", 8)];
/// Bytes of a description of pictures before the boxes inside.
const BEFORE_CONFIGURATION: u64 = 78;

/// Declares a level in the first track of a closed file: in the container, and in the parameter sets it holds.
pub(super) fn declare(path: &Path, declaration: &Declaration) -> io::Result<()> {
    let mut file = OpenOptions::new().read(true).write(true).open(path)?;
    let names: [&[u8; 4]; 2] = if declaration.high_tier.is_some() { [b"hvc1", b"hvcC"] } else { [b"avc1", b"avcC"] };
    let mut inside = 0..file.metadata()?.len();
    for (name, skipped) in TO_DESCRIPTION.into_iter().chain(names.into_iter().zip([BEFORE_CONFIGURATION, 0])) {
        inside = find(&mut file, inside, name)?;
        inside.start += skipped;
    }
    let mut configuration = vec![0; usize::try_from(inside.end - inside.start).map_err(io::Error::other)?];
    file.seek(SeekFrom::Start(inside.start))?;
    file.read_exact(&mut configuration)?;
    match declaration.high_tier {
        None => in_avc(&mut configuration, declaration.level),
        Some(high) => in_hevc(&mut configuration, declaration.level, high),
    }
    .ok_or_else(unexpected)?;
    file.seek(SeekFrom::Start(inside.start))?;
    file.write_all(&configuration)
}

/// In H.264's configuration.
fn in_avc(configuration: &mut [u8], declared: u8) -> Option<()> {
    // Version, profile, constraints, level, length size, number of parameter sets, length of the first; then the set:
    // its header, and profile, constraints, level once more.
    let [1, _, _, level, _, sets, _, _, header, _, _, level_in_set, ..] = configuration else { return None };
    if *sets & 31 != 1 || *header & 31 != 7 || level != level_in_set {
        return None;
    }
    (*level, *level_in_set) = (declared, declared);
    Some(())
}

/// Bytes of HEVC's configuration before its parameter sets, and of a general profile, tier and level.
const HEVC_HEAD: usize = 22;
/// Where in a general profile, tier and level the level stands.
const LEVEL: usize = 11;
/// The tier's bit in the first byte.
const TIER: u8 = 0x20;
/// Parameter sets of video and of sequences: their types, and the bytes before profile, tier and level.
const HEVC_SETS: [(u8, usize); 2] = [(32, 2 + 4), (33, 2 + 1)];

/// In HEVC's configuration.
fn in_hevc(configuration: &mut [u8], level: u8, high: bool) -> Option<()> {
    let tier = |byte: u8| if high { byte | TIER } else { byte & !TIER };
    let (head, rest) = configuration.split_at_mut_checked(HEVC_HEAD)?;
    if head[0] != 1 {
        return None;
    }
    // What the encoder declares may be more, for the sake of the frames it keeps.
    let level = level.max(head[1 + LEVEL]);
    head[1] = tier(head[1]);
    head[1 + LEVEL] = level;
    let (arrays, mut rest) = rest.split_first_mut()?;
    let mut changed = 0;
    for _ in 0..*arrays {
        let (kind, more) = rest.split_first_mut()?;
        let (count, mut more) = more.split_first_chunk_mut()?;
        let kind = *kind & 63;
        for _ in 0..u16::from_be_bytes(*count) {
            let (length, after) = more.split_first_chunk_mut()?;
            let (set, after) = after.split_at_mut_checked(usize::from(u16::from_be_bytes(*length)))?;
            if let Some((_, before)) = HEVC_SETS.iter().find(|(own, _)| *own == kind) {
                let (at, of_level) = (unescaped(set, *before)?, unescaped(set, before + LEVEL)?);
                set[at] = tier(set[at]);
                set[of_level] = level;
                changed += 1;
            }
            more = after;
        }
        rest = more;
    }
    (changed >= HEVC_SETS.len()).then_some(())
}

/// Where the byte is that is the n-th when those which only keep start codes apart are left out.
fn unescaped(set: &[u8], index: usize) -> Option<usize> {
    let escapes = |at: usize| at >= 2 && set[at] == 3 && set[at - 2..at] == [0, 0];
    (0..set.len()).filter(|at| !escapes(*at)).nth(index)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_that_keep_start_codes_apart_are_not_counted() {
        let set = [0x40, 1, 0, 0, 3, 0, 0, 3, 9];
        assert_eq!((0..7).map(|index| unescaped(&set, index)).collect::<Vec<_>>(), [0, 1, 2, 3, 5, 6, 8].map(Some));
        assert_eq!(unescaped(&set, 7), None);
    }

    #[test]
    fn what_is_no_configuration_is_left_alone() {
        for bytes in [&[][..], &[1; 12], &[1; 30], &[0; 40]] {
            assert_eq!(in_hevc(&mut bytes.to_vec(), 120, true), None, "{bytes:?}");
        }
        assert_eq!(in_avc(&mut [1; 12], 40), None);
    }
}
