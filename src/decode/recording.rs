//! What a recording's container and packets say: every frame's time, without decoding one.

use std::fs;
use std::path::Path;

use super::header::{self, Kind, nanoseconds};
use crate::ffi::ffmpeg::{ColourCodes, Fault, Footage, FootageFacts, FootagePacket, Packet, SoundFacts};
use crate::shoot::{Damage, KeyFrame, MOST_PIXELS, Orientation, RecordedSound, Recording};

/// Everything that reading through a recording gives.
#[derive(Debug, Clone, PartialEq)]
pub struct Scan {
    /// The recording itself.
    pub recording: Recording,
    /// Frames at the end that its sample table promises and the file does not hold.
    pub cut_off: usize,
    /// Frames that its header promises, where a container without a sample table holds another number.
    pub promised: Option<u64>,
    /// Seconds that it lasts by its header, where its frames end well before.
    pub lasts: Option<f64>,
    /// By frame, the bytes of the packet that holds it.
    pub packets: Vec<u64>,
    /// Whether it says that it is a master, which has a sidecar.
    pub is_master: bool,
    /// Frames left out by an edit list.
    pub unseen: usize,
    /// Frames shown at the very moment of another, which leaves no time for them.
    pub twins: usize,
    /// Seconds by the container's own clock at which the first frame is shown.
    pub first: f64,
    /// When it was made, in the container's own words (UTC).
    pub created: Option<String>,
    /// When it was made, with the camera's own offset from UTC.
    pub created_locally: Option<String>,
}

/// The picture codes of ITU-T H.273 that are not read.
const PERCEPTUAL_QUANTIZER: u32 = 16;
const HYBRID_LOG_GAMMA: u32 = 18;
const WIDE_GAMUT: u32 = 9;

/// The most frames of a recording, by its packets and by its header's word: a day at 100 a second is less.
const MOST_FRAMES: u64 = 10_000_000;

/// Reads a recording through.
///
/// # Errors
/// What is wrong with it: no video of a kind that is read, no index, high dynamic range, no frame at all.
pub fn scan(path: &Path) -> Result<Scan, Damage> {
    let unreadable = |error: std::io::Error| Damage::Unreadable(error.to_string());
    let metadata = fs::metadata(path).map_err(unreadable)?;
    if !metadata.is_file() {
        return Err(Damage::Unsupported("not a file".into()));
    }
    if metadata.len() == 0 {
        return Err(Damage::Empty);
    }
    let mut footage = Footage::open(path).map_err(|fault| not_opened(path, &fault))?;
    let facts = footage.facts();
    if facts.size.pixels() == 0 || facts.size.pixels() > MOST_PIXELS {
        return Err(Damage::TooLarge(facts.size.to_string()));
    }
    if let Some(promised) = facts.promised.filter(|promised| *promised > MOST_FRAMES && facts.sample_table) {
        return Err(Damage::Corrupt(format!("its index promises {promised} frames; at most {MOST_FRAMES} are read")));
    }
    supported(facts.colour)?;
    let orientation = orientation(&facts)?;
    let mut read = packets(&mut footage)?;
    let reordered = reorder(&mut read);
    let mut seen: Vec<(i64, i64, u64)> = read
        .iter()
        .filter(|packet| !packet.unseen)
        .map(|packet| (packet.shown, packet.decoded, packet.bytes))
        .collect();
    seen.sort_unstable();
    let shown = seen.len();
    seen.dedup_by_key(|(shown, ..)| *shown);
    let (ticks, decoded): (Vec<i64>, Vec<i64>) = seen.iter().map(|(shown, decoded, _)| (*shown, *decoded)).unzip();
    let (Some(first), twins) = (ticks.first().copied(), shown - ticks.len()) else {
        return Err(Damage::Corrupt("it holds no whole frame".into()));
    };
    if ticks.last().is_none_or(|last| last.checked_sub(first).is_none()) {
        return Err(Damage::Corrupt("its frames are farther apart than its clock can count".into()));
    }
    let mut keys: Vec<KeyFrame> = read
        .iter()
        .filter(|packet| packet.key)
        .map(|packet| KeyFrame { shown: packet.shown, decoded: packet.decoded })
        .collect();
    // Where neither index nor bits tell key frames from others, only the first frame is one for certain.
    if !facts.intra_only && read.len() > 1 && read.iter().all(|packet| packet.key && !packet.told) {
        keys.truncate(1);
    }
    if keys.is_empty() {
        keys.extend(read.first().map(|packet| KeyFrame { shown: packet.shown, decoded: packet.decoded }));
    }
    keys.sort_unstable_by_key(|key| key.shown);
    let second = f64::from(facts.time_base.0) / f64::from(facts.time_base.1);
    #[expect(clippy::cast_precision_loss, reason = "ticks of a recording of days are far below 2^53")]
    let seconds = |ticks: i64| ticks as f64 * second;
    let held = read.len() as u64;
    let promised = facts.promised.filter(|promised| *promised != held && (!facts.sample_table || *promised > held));
    let cut_off = promised.filter(|_| facts.sample_table).map_or(0, |promised| promised - held);
    let rate = even_rate(&ticks, &facts);
    Ok(Scan {
        cut_off: usize::try_from(cut_off).unwrap_or(0),
        promised: promised.filter(|_| !facts.sample_table),
        lasts: facts.lasts.filter(|lasts| ends_early(&ticks, second, *lasts, facts.sound.is_some())),
        unseen: read.iter().filter(|packet| packet.unseen).count(),
        twins,
        packets: seen.into_iter().map(|(.., bytes)| bytes).collect(),
        is_master: facts.master,
        first: seconds(first),
        created: facts.created,
        created_locally: facts.created_locally,
        recording: Recording {
            path: path.to_owned(),
            bytes: metadata.len(),
            modified: metadata.modified().map_or(0, nanoseconds),
            codec: facts.codec,
            stored: facts.size,
            aspect: facts.aspect,
            orientation,
            interlaced: facts.interlaced,
            sound: facts.sound.map(|SoundFacts { codec, rate, channels, is_read }| RecordedSound {
                codec,
                rate,
                channels,
                is_read,
            }),
            time_base: facts.time_base,
            clock: "",
            rate,
            seconds: ticks.iter().map(|tick| seconds(tick - first)).collect(),
            ticks,
            decoded,
            reordered,
            keys,
            master: None,
        },
    })
}

/// Refuses what cannot be shown in the right colours.
pub(super) fn supported(colour: ColourCodes) -> Result<(), Damage> {
    let curve = match colour.transfer {
        PERCEPTUAL_QUANTIZER => "PQ",
        HYBRID_LOG_GAMMA => "HLG",
        _ if colour.primaries == WIDE_GAMUT || matches!(colour.matrix, WIDE_GAMUT | 10) => {
            let words = "it is coded for a wide gamut (BT.2020), which is not converted: export it as BT.709 from a grading program";
            return Err(Damage::Unsupported(words.into()));
        }
        _ => return Ok(()),
    };
    Err(Damage::Unsupported(format!(
        "it is coded for high dynamic range ({curve}), which is not read: export it as standard range (BT.709) from \
         a grading program, or record without it"
    )))
}

/// The display matrix as a turn.
fn orientation(facts: &FootageFacts) -> Result<Orientation, Damage> {
    let Some(matrix) = facts.matrix else { return Ok(Orientation::Upright) };
    Orientation::from_matrix(matrix).ok_or_else(|| {
        Damage::Unsupported(format!("its frames are not turned by quarter turns (display matrix {matrix:?})"))
    })
}

/// Every whole packet, in the file's order.
fn packets(footage: &mut Footage) -> Result<Vec<FootagePacket>, Damage> {
    let mut packet = Packet::new().map_err(|fault| damage(&fault))?;
    let mut whole = Vec::new();
    loop {
        match footage.read(&mut packet) {
            Ok(Some(read)) if read.broken => {}
            Ok(Some(read)) => whole.push(read),
            Ok(None) => return Ok(whole),
            Err(fault) if fault.system().is_some() || whole.is_empty() => return Err(damage(&fault)),
            // A file cut short ends in the middle of a packet, or where its index points past the end.
            Err(_) => return Ok(whole),
        }
    }
}

/// Gives packets the times of showing where a container has only those of decoding, though their own bits say that they
/// are shown in another order: the times stay, and go to frames by their places. Whether it had to.
fn reorder(read: &mut [FootagePacket]) -> bool {
    if !read.iter().all(|packet| packet.shown == packet.decoded && packet.place.is_some()) {
        return false;
    }
    let mut reordered = false;
    let mut first = 0;
    while first < read.len() {
        // Places begin anew with a key frame that lies before one that came earlier.
        let mut highest = read[first].place;
        let rest = read[first + 1..].iter().position(|packet| {
            let anew = packet.key && packet.place < highest;
            highest = highest.max(packet.place);
            anew
        });
        let end = rest.map_or(read.len(), |rest| first + 1 + rest);
        let group = &mut read[first..end];
        // What an edit list leaves out keeps its time.
        let mut seen: Vec<usize> = (0..group.len()).filter(|at| !group[*at].unseen).collect();
        let times: Vec<i64> = seen.iter().map(|at| group[*at].decoded).collect();
        seen.sort_by_key(|at| group[*at].place);
        for (at, time) in seen.into_iter().zip(times) {
            reordered |= group[at].shown != time;
            group[at].shown = time;
        }
        first = end;
    }
    reordered
}

/// Whether frames end well before the length that a header gives: by three usual steps and a quarter of a second, or by
/// a second where there is sound, which may go on for longer (common practice, no source).
fn ends_early(ticks: &[i64], second: f64, lasts: f64, has_sound: bool) -> bool {
    let [first, .., last] = ticks else { return false };
    #[expect(clippy::cast_precision_loss, reason = "ticks of a recording of days are far below 2^53")]
    let (end, span) = (*last as f64 * second, (last - first) as f64 * second);
    #[expect(clippy::cast_precision_loss, reason = "counts of frames")]
    let step = span / (ticks.len() - 1) as f64;
    let most: f64 = if has_sound { 1.0 } else { 0.25 };
    lasts - end - step > most.max(3.0 * step)
}

/// Frames a second where the frames' times are even: each within a tick and a half of a line through the first and the
/// last.
fn even_rate(ticks: &[i64], facts: &FootageFacts) -> Option<(u32, u32)> {
    let ([first, .., last], Some(steps)) = (ticks, i64::try_from(ticks.len().saturating_sub(1)).ok()) else {
        return facts.rate.filter(|_| ticks.len() == 1);
    };
    let length = last - first;
    let even = (0..).zip(ticks).all(|(step, tick)| {
        let off = i128::from(tick - first) * i128::from(steps) - i128::from(length) * i128::from(step);
        2 * off.abs() <= 3 * i128::from(steps)
    });
    if !even || length == 0 {
        return None;
    }
    // The container's own rate, where it agrees with the times to what their ticks can tell.
    let (num, den) = facts.time_base;
    #[expect(clippy::cast_precision_loss, reason = "ticks of a recording of days are far below 2^53")]
    let (steps, length) = (steps as f64, length as f64);
    let tick = f64::from(num) / f64::from(den);
    let agrees = |(frames, seconds): &(u32, u32)| {
        let due = steps * f64::from(*seconds) / f64::from(*frames) / tick;
        (due - length).abs() <= 2.0
    };
    facts.rate.filter(agrees).or_else(|| {
        // Else what the times themselves come to.
        let (frames, seconds) = (steps / (length * tick), 1000.0);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a frame rate in thousandths")]
        let thousandths = (frames * seconds).round().clamp(1.0, 4e9) as u32;
        Some((thousandths, 1000))
    })
}

/// Why a file was not opened as a recording.
fn not_opened(path: &Path, fault: &Fault) -> Damage {
    match header::kind(path) {
        Ok(Kind::Picture(_) | Kind::OtherPicture(_)) => {
            return Damage::NotAPicture("a still: stills { … } reads those".into());
        }
        Ok(Kind::Other(what)) if what != header::VIDEO && what != header::UNKNOWN => {
            return Damage::NotAPicture(what.to_owned());
        }
        _ => {}
    }
    let said = fault.to_string();
    if said.contains("moov atom not found") {
        return Damage::Unsupported(
            "its index is missing: the recording was cut off before the camera could write it. Most cameras repair such a file \
             when the card is put back into them; a repair program needs a whole recording from the same camera with the same settings"
                .into(),
        );
    }
    damage(fault)
}

/// A fault of the file or the disk as damage.
pub(super) fn damage(fault: &Fault) -> Damage {
    match fault.system() {
        Some(error) => Damage::Unreadable(error.to_string()),
        None => Damage::Corrupt(fault.to_string()),
    }
}
