//! The stretches of a file of packets while they are made: each by an encoder of its own, opened alike, whether or not
//! a run was interrupted, so that the bytes of the file do not tell.
//!
//! ## Decisions
//!
//! - A *stretch* is two groups of pictures (about 4 s) of a clip at most, and shorter where it is much work
//!   ([`super::cut()`]). Each has its own encoder, always, so a resumed run gives the same bytes as one that was not
//!   interrupted.
//! - While an encoder gives out what it still holds back, no new frame goes in. With many more processors than encoder
//!   threads that may cost more than was measured (`scripts/bench.md`).

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::thread::{self, JoinHandle};

use super::Goal;
use super::mux::{self, Packets, StillCodings, Trouble};
use super::record::{self, Record, Writer};
use super::resume::{Taken, Turns};
use super::temporary::{Unfinished, disk, sync_parent};
use crate::ffi::ffmpeg::{Encoder, Fault, Packet};
use crate::work::{Known, Met, SinkError, Stretches};

/// What is whole of a file, and the stretch in the making.
pub(super) struct StretchWriter {
    /// How messages name the codec.
    codec: &'static str,
    packet: Packet,
    pub(super) turns: Turns,
    making: Option<Making>,
    settling: Settling,
    pub(super) unfinished: Unfinished,
    /// How frames of stretches taken over are coded, where they are a master's: those of the first.
    pub(super) known: Option<StillCodings>,
}

/// The stretch in the making.
struct Making {
    encoder: Encoder,
    writer: Writer,
    planes: Vec<blake3::Hash>,
    got: u64,
    bytes: u64,
    /// When its first packet is decoded, in frames.
    first: Option<i64>,
    stills: Option<StillCodings>,
}

impl StretchWriter {
    /// Takes over what is whole.
    pub(super) fn open(
        codec: &'static str,
        unfinished: Unfinished,
        stretches: Stretches,
        goal: Goal<'_>,
    ) -> Result<(Self, Taken), SinkError> {
        let target = unfinished.target();
        if target.is_dir() {
            return Err(disk(target, io::Error::other("a folder is in the way of this file")));
        }
        let packet = Packet::new().map_err(|fault| failed(codec, unfinished.target(), &fault))?;
        let (mut taken, mut known) = (Taken::default(), None);
        for (index, stretch) in stretches.each.iter().enumerate().filter(|(index, _)| goal.wants(*index)) {
            if let Some((record, _packets)) = record::whole::<Packets>(&unfinished.stretch(index))
                && record.fits(&stretch.key.get(&Met::default()), stretch.rows.len())
            {
                known = known.or_else(|| record.body.stills.clone());
                taken.add(index, record);
            }
        }
        let mut turns = Turns::new(stretches, &taken);
        if let Some(which) = goal.which() {
            turns.only(which);
        }
        Ok((Self { codec, packet, turns, making: None, settling: Settling(None), unfinished, known }, taken))
    }

    /// Waits until the last stretch that was made is on the disk for good.
    pub(super) fn settle(&mut self) -> Result<(), SinkError> {
        self.settling.wait().map_err(|source| self.disk(source))
    }

    /// Which stretch it is at.
    pub(super) fn turns(&self) -> &Turns {
        &self.turns
    }

    /// Whether the stretch whose turn it is has begun.
    pub(super) fn is_begun(&self) -> bool {
        self.making.is_some()
    }

    /// Which of all frames comes next.
    pub(super) fn row(&self) -> usize {
        self.turns.rows().start + self.making.as_ref().map_or(0, |making| making.planes.len())
    }

    /// Begins the stretch whose turn it is.
    pub(super) fn begin(&mut self, encoder: Encoder) -> Result<(), SinkError> {
        let writer =
            Writer::create(&self.unfinished.beginning(self.turns.index())).map_err(|source| self.disk(source))?;
        let planes = Vec::with_capacity(self.turns.rows().len());
        self.making = Some(Making { encoder, writer, planes, got: 0, bytes: 0, first: None, stills: None });
        Ok(())
    }

    /// How the frames of the stretch in the making are coded, where they are a master's.
    pub(super) fn stills(&mut self) -> Option<&mut StillCodings> {
        self.making.as_mut().map(|making| making.stills.get_or_insert_default())
    }

    /// Adds the next frame to the stretch in the making, by handing it to its encoder.
    pub(super) fn add(
        &mut self,
        known: &Known<'_>,
        send: impl FnOnce(&mut Encoder) -> Result<(), Fault>,
    ) -> Result<(), SinkError> {
        let Some(mut making) = self.making.take() else {
            return Err(SinkError::Encoder { codec: self.codec, message: "no stretch was begun".to_owned() });
        };
        making.planes.push(known.hash);
        send(&mut making.encoder).map_err(|fault| self.failed(&fault))?;
        if making.planes.len() == self.turns.rows().len() {
            return self.end(making, (known.met)());
        }
        self.keep_packets(&mut making)?;
        self.making = Some(making);
        Ok(())
    }

    /// Ends what is in the making: all stretches, in order.
    pub(super) fn finish(&mut self) -> Result<Vec<PathBuf>, SinkError> {
        if let Some(making) = self.making.take().filter(|making| !making.planes.is_empty()) {
            self.end(making, Met::default())?;
        }
        self.settling.wait().map_err(|source| self.disk(source))?;
        let stretches: Vec<_> = (0..self.turns.index()).map(|index| self.unfinished.stretch(index)).collect();
        if stretches.is_empty() {
            return Err(SinkError::Encoder { codec: self.codec, message: "no frame was given".to_owned() });
        }
        Ok(stretches)
    }

    fn keep_packets(&mut self, making: &mut Making) -> Result<(), SinkError> {
        while making.encoder.receive(&mut self.packet).map_err(|fault| self.failed(&fault))? {
            making.first.get_or_insert(self.packet.times().1);
            mux::keep(&self.packet, &mut making.writer).map_err(|source| self.disk(source))?;
            making.got += 1;
            making.bytes += self.packet.data().len() as u64;
        }
        Ok(())
    }

    /// Makes a stretch whole. It is there for the next run at once; that it survives a power cut is seen to aside.
    fn end(&mut self, mut making: Making, met: Met) -> Result<(), SinkError> {
        making.encoder.flush().map_err(|fault| self.failed(&fault))?;
        self.keep_packets(&mut making)?;
        counted(self.unfinished.target(), making.planes.len() as u64, making.got)?;
        let extradata = making.encoder.extradata().to_vec();
        let packets =
            Packets { delay: -making.first.unwrap_or(0), extradata, stills: making.stills, bytes: making.bytes };
        let key = self.turns.key().get(&met);
        let record = Record::new(&key, &making.planes, met.among(self.turns.slots()), packets);
        let file = making.writer.finish(&record).map_err(|source| self.disk(source))?;
        let whole = self.unfinished.stretch(self.turns.index());
        fs::rename(self.unfinished.beginning(self.turns.index()), &whole).map_err(|source| self.disk(source))?;
        self.turns.next();
        self.settling.wait().map_err(|source| self.disk(source))?;
        self.settling = Settling::begin(file, whole).map_err(|source| self.disk(source))?;
        Ok(())
    }

    fn disk(&self, source: io::Error) -> SinkError {
        disk(self.unfinished.target(), source)
    }

    fn failed(&self, fault: &Fault) -> SinkError {
        failed(self.codec, self.unfinished.target(), fault)
    }
}

/// The stretch before, on its way to the disk: it must be there before the folder is let go.
struct Settling(Option<JoinHandle<io::Result<()>>>);

impl Settling {
    fn begin(file: fs::File, path: PathBuf) -> io::Result<Self> {
        let settle = move || {
            file.sync_all()?;
            sync_parent(&path);
            Ok(())
        };
        thread::Builder::new().name("sync".into()).spawn(settle).map(|thread| Self(Some(thread)))
    }

    /// Waits until the stretch is on the disk for good.
    fn wait(&mut self) -> io::Result<()> {
        let Some(thread) = self.0.take() else { return Ok(()) };
        thread.join().unwrap_or_else(|_panic| Err(io::Error::other("a stretch could not be kept")))
    }
}

impl Drop for Settling {
    fn drop(&mut self) {
        let _nobody_to_tell = self.wait();
    }
}

pub(super) fn counted(path: &Path, given: u64, got: u64) -> Result<(), SinkError> {
    if given == got { Ok(()) } else { Err(SinkError::Count { path: path.to_owned(), given, got }) }
}

/// What FFmpeg says, told apart: the disk, or the encoder.
pub(super) fn failed(codec: &'static str, path: &Path, fault: &Fault) -> SinkError {
    match fault.system() {
        Some(source) => disk(path, source),
        None => SinkError::Encoder { codec, message: fault.to_string() },
    }
}

/// Why stretches did not become one file.
pub(super) fn not_put_together(codec: &'static str, target: &Path, trouble: Trouble) -> SinkError {
    match trouble {
        Trouble::Unread(recording, unread) => SinkError::Unheard { recording, second: unread.from, why: unread.why },
        Trouble::Ffmpeg(fault) => failed(codec, target, &fault),
        Trouble::Stretch(path, what) => disk(&path, io::Error::new(io::ErrorKind::InvalidData, what)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fault 71: the last frames.
    #[test]
    fn frames_lost_or_made_up_are_counted() {
        let path = Path::new("clips/harbour-wide.mp4");
        assert!(counted(path, 480, 480).is_ok());
        for got in [479, 481, 0] {
            let words = format!("clips/harbour-wide.mp4: 480 frames were given and {got} came out");
            assert_eq!(counted(path, 480, got).unwrap_err().to_string(), words);
        }
    }
}
