//! A recording's frames, decoded in order: forwards in one go, backwards a group of frames at a time.
//!
//! Frames are found by the time they are shown at, never by a count. What no one wants is decoded only where other
//! frames are made of it, and not at all where a key frame lies before the next one wanted.
//!
//! ## Decisions
//!
//! - What lies before a key frame is skipped by the container's index where it has one. Each way through a group
//!   backwards keeps its last wanted frames, up to 256 MiB.
//! - An error while decoding a packet damages its frame and all that are decoded after it from the same key frame. In
//!   H.264 a slice may be dropped that nobody needs: at the first error decoding begins anew the slower way, and from
//!   there on only pixels that were made up count.
//!   Damage that breaks no syntax is not seen: MP4 has no checksums, and frames of recordings are not held against
//!   their neighbours.

mod develop;

use std::collections::BTreeMap;
use std::fs;

use super::header::nanoseconds;
use super::recording::damage;
use crate::ffi::ffmpeg::{Footage, FootageDecoder, FootagePacket, Packet, Received};
use crate::picture::{Picture, Plane, Samples};
use crate::shoot::{Damage, Recording};

/// The most bytes of frames that are kept on the way to an earlier one: what a pass backwards asks for next.
const KEPT: usize = 256 << 20;

/// Decodes a recording's frames as they are asked for, by slot.
#[derive(Debug)]
pub struct SequentialDecoder<'a> {
    recording: &'a Recording,
    /// By frame, whether it will be asked for.
    wanted: Vec<bool>,
    running: Option<Running>,
    /// Whether the container finds key frames by an index.
    seeks: bool,
    /// Frames met on the way to a later one, each with its remarks.
    kept: BTreeMap<usize, (Picture, Vec<String>)>,
    /// Planes as stored, where they have to be turned.
    stored: Vec<Plane>,
    remarks: Vec<String>,
    /// How errors are looked into.
    care: Care,
    /// By the tick that a packet is decoded at, when its frame is shown, where the container does not know.
    shown_at: BTreeMap<i64, i64>,
}

/// How errors are looked into: in H.264 many touch no pixel, and only the slower way of decoding tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Care {
    /// Every error counts.
    Plain,
    /// An error was met: to be decoded again, the slower way.
    Doubt,
    /// The slower way: what counts is pixels that were made up.
    Careful,
}

/// An open recording and where it stands.
#[derive(Debug)]
struct Running {
    footage: Footage,
    decoder: FootageDecoder,
    packet: Packet,
    /// The key frame that went into the decoder last.
    key: Option<usize>,
    /// The key frame to be read up to before the decoder begins anew.
    skip_to: Option<usize>,
    /// When the frame is shown that came out last.
    passed: Option<i64>,
    /// Whether that frame is still to be looked at.
    ahead: bool,
    /// By key frame, when the first frame was decoded that lost pixels: whatever is decoded from the same key frame
    /// after it may be made of it.
    lost: BTreeMap<usize, i64>,
    /// The key frame that the decoder began anew with: what is shown before it and comes after it is made of frames
    /// that it never had.
    begun: i64,
}

impl<'a> SequentialDecoder<'a> {
    /// A sequential decoder that will be asked for the frames of these slots, and others now and then.
    #[must_use]
    pub fn new(recording: &'a Recording, slots: impl IntoIterator<Item = usize>) -> Self {
        let mut wanted = vec![false; recording.ticks.len()];
        for frame in slots.into_iter().filter_map(|slot| recording.frame_of(slot)) {
            wanted[frame] = true;
        }
        let (kept, stored, remarks) = (BTreeMap::new(), Vec::new(), Vec::new());
        let times = recording.decoded.iter().copied().zip(recording.ticks.iter().copied());
        let shown_at = if recording.reordered { times.collect() } else { BTreeMap::new() };
        Self { recording, wanted, running: None, seeks: true, kept, stored, remarks, care: Care::Plain, shown_at }
    }

    /// Decodes the frame of a slot to upright planes of square pixels, all rows of it. `spare` is a picture no longer
    /// needed.
    ///
    /// # Errors
    /// What is wrong with the frame or the file. The sequential decoder can be asked again.
    pub fn show(&mut self, slot: usize, spare: Option<Picture>) -> Result<Picture, Damage> {
        let Some(frame) = self.recording.frame_of(slot) else {
            return Err(Damage::Corrupt("the recording ends before it".into()));
        };
        if let Some((picture, remarks)) = self.kept.remove(&frame) {
            self.remarks = remarks;
            return Ok(picture);
        }
        let shown = self.recording.ticks[frame];
        // What was not expected may have been left out on the way.
        let expected = std::mem::replace(&mut self.wanted[frame], true);
        let passed = self.running.as_ref().and_then(|running| running.passed);
        let ahead = self.running.as_ref().is_some_and(|running| running.ahead);
        let backwards = passed.is_some_and(|passed| if ahead { shown < passed } else { shown <= passed });
        if !backwards {
            self.kept.clear();
        }
        if self.running.is_none() {
            self.running = Some(self.open()?);
        }
        if backwards || !expected {
            self.go_to(self.recording.key_of(shown))?;
        }
        let found = self.find(shown, backwards);
        if let Err(Damage::Unreadable(why)) = found {
            // Opened anew where it is asked again: a drive may have come back.
            self.running = None;
            return Err(Damage::Unreadable(why));
        }
        if found.is_err() && self.running.as_ref().is_some_and(|running| running.lost.is_empty()) {
            // A container may call a frame a key that others before it are needed for: once more from the key before.
            self.go_to(self.recording.key_of(shown).saturating_sub(1))?;
            self.find(shown, false)?;
        } else {
            found?;
        }
        self.remarks.clear();
        self.develop(spare)
    }

    /// What a person should know of the frame last shown, in the same words for every frame of which the same is true.
    #[must_use]
    pub fn remarks(&self) -> &[String] {
        &self.remarks
    }

    fn open(&self) -> Result<Running, Damage> {
        let path = &self.recording.path;
        let seen = fs::metadata(path).map_err(|error| Damage::Unreadable(error.to_string()))?;
        if seen.len() != self.recording.bytes || seen.modified().map_or(0, nanoseconds) != self.recording.modified {
            return Err(Damage::Changed);
        }
        let footage = Footage::open(path).map_err(|fault| damage(&fault))?;
        let decoder = match self.care {
            Care::Plain => FootageDecoder::open(&footage),
            Care::Doubt | Care::Careful => FootageDecoder::open_careful(&footage),
        };
        let decoder = decoder.map_err(|fault| damage(&fault))?;
        let packet = Packet::new().map_err(|fault| damage(&fault))?;
        Ok(Running {
            footage,
            decoder,
            packet,
            key: None,
            skip_to: None,
            passed: None,
            ahead: false,
            lost: BTreeMap::new(),
            begun: i64::MIN,
        })
    }

    /// Makes the decoder begin anew at a key frame, wherever it stands.
    fn go_to(&mut self, key: usize) -> Result<(), Damage> {
        let sought = self.seeks
            && self
                .running
                .as_mut()
                .is_some_and(|running| running.footage.seek(self.recording.keys[key].decoded).is_ok());
        if !sought {
            self.running = Some(self.open()?);
        }
        if let Some(running) = &mut self.running {
            // Nothing that is still in it is wanted, and past the file's end it would take nothing in.
            running.decoder.restart();
            (running.skip_to, running.passed, running.ahead) = (Some(key), None, false);
        }
        Ok(())
    }

    /// Decodes up to the frame shown at a tick, which is the decoder's own then.
    fn find(&mut self, shown: i64, keep: bool) -> Result<(), Damage> {
        loop {
            if self.care == Care::Doubt {
                self.running = Some(self.open()?);
                self.care = Care::Careful;
                self.go_to(self.recording.key_of(shown))?;
            }
            let Some(running) = &mut self.running else {
                return Err(Damage::Corrupt("the recording is not open".into()));
            };
            if !running.ahead {
                match running.decoder.receive() {
                    Ok(Received::Frame) => {}
                    Ok(Received::Hungry) => {
                        self.feed(shown)?;
                        continue;
                    }
                    Ok(Received::End) => return Err(Damage::Corrupt("the decoder never came to its frame".into())),
                    // Whose fault it is was noted when its packet went in.
                    Err(fault) if fault.system().is_some() => return Err(damage(&fault)),
                    Err(_) => continue,
                }
            }
            let frame = running.decoder.frame();
            let Some(came) = frame.shown() else { continue };
            if frame.is_damaged() {
                if doubts(&mut self.care, self.recording) {
                    continue;
                }
                let decoded = self.recording.frame_at(came).map_or(i64::MIN, |frame| self.recording.decoded[frame]);
                lose(&mut running.lost, self.recording.key_of(came), decoded);
            }
            running.ahead = came > shown;
            running.passed = Some(came);
            if came > shown {
                return Err(Damage::Corrupt("its frame did not come out of the decoder".into()));
            }
            if came == shown {
                return match is_lost(&running.lost, self.recording, shown) {
                    true => Err(Damage::Corrupt("its frame, or one that it is made of, is damaged".into())),
                    false => Ok(()),
                };
            }
            if keep && let Some(frame) = self.recording.frame_at(came).filter(|frame| self.wanted[*frame]) {
                self.keep(frame)?;
            }
        }
    }

    /// Keeps the decoder's frame, and lets go of the earliest where there are too many.
    fn keep(&mut self, frame: usize) -> Result<(), Damage> {
        let shown = self.recording.ticks[frame];
        if self.running.as_ref().is_some_and(|running| is_lost(&running.lost, self.recording, shown)) {
            return Ok(());
        }
        self.remarks.clear();
        let picture = self.develop(None)?;
        let most = (KEPT / bytes(&picture).max(1)).max(1);
        self.kept.insert(frame, (picture, std::mem::take(&mut self.remarks)));
        while self.kept.len() > most {
            self.kept.pop_first();
        }
        Ok(())
    }

    /// Hands the decoder its next packet on the way to the frame shown at a tick; from the last key frame before that
    /// on, where it has not come to that yet.
    fn feed(&mut self, shown: i64) -> Result<(), Damage> {
        let key = self.recording.key_of(shown);
        let Some(running) = &mut self.running else { return Ok(()) };
        if running.skip_to.is_none() && running.key.is_none_or(|last| last < key) {
            running.skip_to = Some(key);
            // Where whole groups lie between, they are not even read.
            let far = key > running.key.map_or(0, |last| last + 1);
            if far && self.seeks && running.footage.seek(self.recording.keys[key].decoded).is_err() {
                self.read_along()?;
            }
        }
        loop {
            let Some(running) = &mut self.running else { return Ok(()) };
            let mut read = running.footage.read(&mut running.packet).map_err(|fault| damage(&fault))?;
            if let Some(packet) = &mut read
                && let Some(shown) = self.shown_at.get(&packet.decoded)
            {
                packet.shown = *shown;
                running.packet.show_at(*shown);
            }
            let due = running.skip_to.map(|key| self.recording.keys[key].shown);
            match (read, due) {
                (Some(packet), Some(due)) if !(packet.key && packet.shown == due) => {
                    if packet.key && packet.shown > due {
                        self.landed_late()?;
                    }
                }
                (None, Some(_)) => self.landed_late()?,
                (Some(packet), due) => {
                    if due.is_some() {
                        running.decoder.restart();
                        running.lost.clear();
                        (running.skip_to, running.begun) = (None, packet.shown);
                    }
                    self.send(packet);
                    return Ok(());
                }
                (None, None) => {
                    // The end may have been told already; that is no fault.
                    let _told = running.decoder.send(None, true);
                    return Ok(());
                }
            }
        }
    }

    fn send(&mut self, packet: FootagePacket) {
        let Some(running) = &mut self.running else { return };
        if packet.key {
            running.key = Some(self.recording.key_of(packet.shown));
        }
        // Cut short, it is no slot's; made of frames from before the beginning, it is asked for from an earlier one.
        if packet.broken || packet.shown < running.begun {
            return;
        }
        let wanted = self.recording.frame_at(packet.shown).is_some_and(|frame| self.wanted[frame]);
        let sent = running.decoder.send(Some(&running.packet), wanted);
        if (sent.is_err() | running.decoder.met_errors()) && !doubts(&mut self.care, self.recording) {
            lose(&mut running.lost, self.recording.key_of(packet.shown), packet.decoded);
        }
    }

    /// A seek went past its key frame: from here on the file is read along from its beginning.
    fn landed_late(&mut self) -> Result<(), Damage> {
        if self.seeks {
            self.read_along()
        } else {
            Err(Damage::Corrupt("a key frame is no longer where it was".into()))
        }
    }

    fn read_along(&mut self) -> Result<(), Damage> {
        self.seeks = false;
        let skip_to = self.running.as_ref().and_then(|running| running.skip_to);
        self.running = Some(Running { skip_to, ..self.open()? });
        Ok(())
    }
}

/// Whether an error just met is to be looked into first. Of frames in two fields the slower way tells no more.
fn doubts(care: &mut Care, recording: &Recording) -> bool {
    if *care == Care::Plain && recording.codec == "h264" && !recording.interlaced {
        *care = Care::Doubt;
    }
    *care == Care::Doubt
}

fn lose(lost: &mut BTreeMap<usize, i64>, key: usize, decoded: i64) {
    let first = lost.entry(key).or_insert(decoded);
    *first = decoded.min(*first);
}

/// Whether a frame may be made of one that lost pixels.
fn is_lost(lost: &BTreeMap<usize, i64>, recording: &Recording, shown: i64) -> bool {
    let first = lost.get(&recording.key_of(shown));
    let decoded = recording.frame_at(shown).map_or(i64::MAX, |frame| recording.decoded[frame]);
    first.is_some_and(|first| decoded >= *first)
}

/// Bytes of a picture's samples.
fn bytes(picture: &Picture) -> usize {
    let of = |plane: &Plane| match &plane.samples {
        Samples::Eight(samples) => samples.len(),
        Samples::Sixteen(samples) => 2 * samples.len(),
    };
    picture.planes.iter().map(of).sum()
}
