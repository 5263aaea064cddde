//! A master as the shoot it was made from: the slots of its sidecar, and the frames of its video where they are.

use crate::decode::recording::Scan;
use crate::master::{SET_ASIDE, Sidecar, State};
use crate::receipt::FilePath;
use crate::shoot::{Content, Damage, Master, Note, Orientation, Recording, SetAside, Shoot, Slot, Still};
use crate::units::{Size, SlotIndex};

/// How far a frame may stand from its time, in ticks: containers that count milliseconds round.
const OFF: f64 = 1.5;

/// The shoot that a master holds, with the names, numbers and times of its stills.
///
/// # Errors
/// Why the sidecar is not this video's, in words.
pub(super) fn shoot(scan: Scan, sidecar: Sidecar) -> Result<Shoot, String> {
    let Scan { recording, packets, .. } = scan;
    let found = found(&recording, &packets, &sidecar)?;
    let mut notes = Vec::new();
    let of = |frame: usize| found.get(frame).copied().flatten();
    let frames = sidecar.video.frames;
    let cut_short = recording.bytes < sidecar.video.bytes;
    // What lies beyond the last frame there is was cut off; what lacks before it was lost.
    let held = (0..frames).rev().find(|frame| of(*frame).is_some()).map_or(0, |last| last + 1);
    let meanings = sidecar.codings.iter().map(crate::master::Coded::meaning).collect::<Result<Vec<_>, _>>()?;
    let mut master = Master {
        frames: Vec::with_capacity(sidecar.stills.len()),
        slots: vec![0; recording.ticks.len()],
        codings: vec![0; recording.ticks.len()],
        meanings,
        lossless: sidecar.video.codec == "ffv1",
    };
    let (mut slots, mut next) = (Vec::with_capacity(sidecar.stills.len()), 0);
    let (mut cut_off, mut left_out) = (Vec::new(), Vec::new());
    for (index, still) in sidecar.stills.into_iter().enumerate() {
        let (mut own, file) = (None, still.file.as_ref());
        let content = match still.state {
            State::Whole(frame) => {
                let (number, coding) = (next, frame.coding);
                next += 1;
                own = of(number);
                match own {
                    Some(at) => {
                        (master.slots[at], master.codings[at]) = (index, coding);
                        Content::Whole(Still {
                            path: recording.path.clone(),
                            format: frame.format,
                            stored: Size::new(frame.stored[0], frame.stored[1]),
                            orientation: frame.orientation,
                            captured: still.captured,
                            settings: frame.settings,
                            bytes: recording.bytes,
                            modified: recording.modified,
                        })
                    }
                    None if cut_short && number >= held => {
                        cut_off.push(SlotIndex(index));
                        Content::Missing
                    }
                    None => Content::Damaged {
                        path: file.and_then(FilePath::beside).unwrap_or_default(),
                        damage: Damage::Corrupt("its frame is not found in the master".into()),
                        captured: still.captured,
                    },
                }
            }
            state => {
                if state == State::LeftOut {
                    left_out.push(SlotIndex(index));
                }
                state.content(file, still.captured)
            }
        };
        master.frames.push(own);
        slots.push(Slot { name: still.name, content });
    }
    let mut note = |message: String, slots: Vec<SlotIndex>| notes.push(Note { message, slots });
    if let Some(first) = cut_off.first() {
        let words = "the master is cut short, the last {} of its stills are not in it: copy it again, or end with to = still({})";
        let words = words.replacen("{}", &cut_off.len().to_string(), 1).replacen("{}", &first.0.to_string(), 1);
        note(words, cut_off);
    }
    if !left_out.is_empty() {
        note(format!("{} of the shoot's stills were left out when the master was made", left_out.len()), left_out);
    }
    let aside =
        |aside: crate::master::SetAside| SetAside { path: aside.file.beside().unwrap_or_default(), reason: SET_ASIDE };
    let [width, height] = sidecar.video.size;
    let [numerator, denominator] = sidecar.video.rate;
    Ok(Shoot {
        slots,
        size: Size::new(width, height),
        interval: sidecar.interval,
        set_aside: sidecar.set_aside.into_iter().map(aside).collect(),
        notes,
        recording: Some(Recording {
            clock: "the stills' own capture times, from the master's sidecar",
            rate: Some((numerator, denominator)),
            master: Some(master),
            ..recording
        }),
        members: Vec::new(),
    })
}

/// By frame of the sidecar, which of the video's it is: by its time, and by the length of its packet.
fn found(recording: &Recording, packets: &[u64], sidecar: &Sidecar) -> Result<Vec<Option<usize>>, String> {
    let video = &sidecar.video;
    let size = Size::new(video.size[0], video.size[1]);
    let plain = recording.aspect.0 == recording.aspect.1 && recording.orientation == Orientation::Upright;
    if recording.stored != size || recording.codec != video.codec || !plain || recording.interlaced {
        return Err(format!(
            "it belongs to another video, of {size} in {}; this one is {} in {}",
            video.codec, recording.stored, recording.codec
        ));
    }
    let another = || Err("it belongs to another video: its frames have other lengths or times".to_owned());
    let cut_short = recording.bytes < video.bytes;
    if recording.bytes > video.bytes || packets.len() > video.frames {
        return another();
    }
    let rate = f64::from(video.rate[0]) / f64::from(video.rate[1]);
    let tick = f64::from(recording.time_base.0) / f64::from(recording.time_base.1);
    let due: Vec<u64> = sidecar.frames().map(|frame| frame.packet).collect();
    let mut found = vec![None; video.frames];
    for (at, (shown, bytes)) in recording.ticks.iter().zip(packets).enumerate() {
        #[expect(clippy::cast_precision_loss, reason = "ticks of a recording of days are far below 2^53")]
        let frame = (*shown as f64 * tick * rate).round();
        #[expect(clippy::cast_precision_loss, reason = "as above")]
        let off = (*shown as f64 - frame / rate / tick).abs();
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "saturates, and is held against the frames"
        )]
        let frame = frame as usize;
        let last = at + 1 == packets.len();
        // The last packet of a file that was cut short may end early.
        let same = due.get(frame).is_some_and(|due| due == bytes || (cut_short && last && bytes < due));
        if off > OFF || !same || found[frame].is_some() {
            return another();
        }
        found[frame] = (due[frame] == *bytes).then_some(at);
    }
    Ok(found)
}
