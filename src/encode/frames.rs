//! The frames of a sequence that is not whole yet, and the records of their stretches.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use serde::{Deserialize, Serialize};

use super::Goal;
use super::record::{self, Record, Writer};
use super::resume::{Taken, Turns};
use super::temporary::{Beginnings, Unfinished, disk, numbered};
use crate::decode::clip::frame_in;
use crate::work::{Key, Met, SinkError, Stretches};

/// What is known of a stretch's files: BLAKE3 of each, in hexadecimal, in the order of the frames.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Files(Vec<String>);

/// The folder of frames; what is not whole in it goes when it is dropped, or all of it where nothing is to be kept.
pub(super) struct Frames {
    unfinished: Unfinished,
    /// How names of its files end.
    ending: &'static str,
    /// The rows of every stretch.
    rows: Vec<std::ops::Range<usize>>,
}

impl Frames {
    /// Makes the folder, or takes over what an interrupted run left in it.
    pub(super) fn open(
        unfinished: Unfinished,
        ending: &'static str,
        stretches: &Stretches,
        goal: Goal<'_>,
    ) -> Result<(Self, Taken), SinkError> {
        if !unfinished.is_among() {
            unfinished.settle_folder()?;
        }
        let rows = stretches.each.iter().map(|stretch| stretch.rows.clone()).collect();
        let frames = Self { unfinished, ending, rows };
        let folder = frames.folder();
        match fs::create_dir(&folder) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            made => made.map_err(|source| disk(&folder, source))?,
        }
        if frames.unfinished.grows() {
            frames.link_those_there(stretches);
        }
        let mut taken = Taken::default();
        for (index, stretch) in stretches.each.iter().enumerate().filter(|(index, _)| goal.wants(*index)) {
            if let Some((record, _nothing)) = record::whole::<Files>(&frames.unfinished.stretch(index))
                && record.fits(&stretch.key.get(&Met::default()), stretch.rows.len())
                && record.body.0.len() == stretch.rows.len()
                && stretch
                    .rows
                    .clone()
                    .zip(&record.body.0)
                    .all(|(row, hash)| is_whole(&frame_in(&folder, row as u64, ending), hash))
            {
                taken.add(index, record);
            }
        }
        if !frames.unfinished.is_among() {
            frames.clear(|index| taken.has(index))?;
        }
        Ok((frames, taken))
    }

    /// Where a frame's file is before it is whole.
    pub(super) fn beginnings(&self) -> Beginnings {
        self.unfinished.beginnings()
    }

    /// Links the frames of the sequence that is to be replaced into the one that is made: those that still are right are
    /// taken over. What cannot be linked is made again.
    fn link_those_there(&self, stretches: &Stretches) {
        let (folder, there) = (self.folder(), self.target());
        for row in stretches.each.iter().flat_map(|stretch| stretch.rows.clone()) {
            let [from, to] = [there, &folder].map(|folder| frame_in(folder, row as u64, self.ending));
            let _made_again = fs::hard_link(from, to);
        }
    }

    /// Where frames go.
    pub(super) fn folder(&self) -> PathBuf {
        self.unfinished.output()
    }

    /// What they will be.
    pub(super) fn target(&self) -> &Path {
        self.unfinished.target()
    }

    /// The stretch whose turn it is, no frame in it yet.
    pub(super) fn pile(&self, turns: &Turns) -> Pile {
        let kept = self
            .unfinished
            .keeps()
            .then(|| (turns.key(), self.unfinished.beginning(turns.index()), self.unfinished.stretch(turns.index())));
        Pile { kept, ending: self.ending, state: Mutex::default() }
    }

    /// Gives the folder its final name; its size in bytes, and the hash of its files' hashes in order, where those were
    /// kept.
    pub(super) fn place(&self, turns: &Turns, frames: u64) -> Result<(u64, Option<blake3::Hash>), SinkError> {
        let (mut planes, mut met) = (Vec::new(), Met::default());
        let mut hashes = blake3::Hasher::new();
        for index in 0..self.rows.len() {
            let path = self.unfinished.stretch(index);
            let record = record::glance::<Files>(&path).and_then(|record| {
                let files =
                    record.body.0.iter().map(|hex| blake3::Hash::from_hex(hex).ok()).collect::<Option<Vec<_>>>()?;
                Some((record.planes()?, record.met, files))
            });
            let changed = || disk(&path, io::Error::new(io::ErrorKind::InvalidData, "it was changed"));
            let (of_stretch, of_stills, files) = record.ok_or_else(changed)?;
            planes.extend(of_stretch);
            met.add(of_stills);
            for file in files {
                hashes.update(file.as_bytes());
            }
        }
        let bytes =
            self.unfinished.place_folder(frames, |placed| turns.mark(&self.unfinished, &planes, met, placed))?;
        Ok((bytes, (!self.rows.is_empty()).then(|| hashes.finalize())))
    }

    /// Removes the frames of stretches that are not whole, and the records that are none of those.
    fn clear(&self, is_whole: impl Fn(usize) -> bool) -> Result<(), SinkError> {
        let folder = self.folder();
        let whole_row =
            |row: usize| self.rows.iter().enumerate().any(|(index, rows)| rows.contains(&row) && is_whole(index));
        let clear = || -> io::Result<()> {
            for frame in numbered(&folder)? {
                let row = frame.file_stem().and_then(|name| name.to_str()?.parse().ok());
                if !row.is_some_and(whole_row) {
                    fs::remove_file(frame)?;
                }
            }
            Ok(())
        };
        self.unfinished.remove_stretches(|index| !is_whole(index));
        clear().map_err(|source| disk(self.target(), source))
    }
}

impl Drop for Frames {
    fn drop(&mut self) {
        if self.folder().is_dir() && !self.unfinished.is_among() {
            let fits = |index: usize| record::glance::<Files>(&self.unfinished.stretch(index)).is_some();
            let _nothing_to_be_done_about_it = self.clear(|index| self.unfinished.keeps() && fits(index));
            // Gone only if it is empty.
            let _kept_where_it_holds_anything = fs::remove_dir(self.folder());
        }
    }
}

/// Whether a frame's file is what was written.
fn is_whole(path: &Path, hash: &str) -> bool {
    let seen = || -> io::Result<blake3::Hash> {
        if !path.symlink_metadata()?.is_file() {
            return Err(io::ErrorKind::InvalidData.into());
        }
        Ok(blake3::Hasher::new().update_reader(File::open(path)?)?.finalize())
    };
    seen().is_ok_and(|seen| seen.to_hex().as_str() == hash)
}

/// The frames of a stretch in the making, which several workers write.
pub(super) struct Pile {
    /// Its key, and its record's place before and after it is whole; none where nothing is kept.
    kept: Option<(Key, PathBuf, PathBuf)>,
    /// How names of its files end.
    ending: &'static str,
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    /// BLAKE3 of the files written, by frame.
    files: BTreeMap<u64, blake3::Hash>,
    /// What else its record says, once the last frame is on its way.
    closed: Option<(Vec<blake3::Hash>, Met)>,
}

impl Pile {
    /// The last frame is on its way: there are these.
    pub(super) fn close(&self, planes: &[blake3::Hash], met: Met) {
        self.state.lock().unwrap_or_else(PoisonError::into_inner).closed = Some((planes.to_vec(), met));
    }

    /// A frame's file is written. When it was the last to be, they are put on the disk for good, and then their record.
    pub(super) fn add(&self, index: u64, hash: blake3::Hash, folder: &Path) -> io::Result<()> {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.files.insert(index, hash);
        let (Some((key, beginning, whole)), Some((planes, met))) = (&self.kept, &state.closed) else { return Ok(()) };
        if state.files.len() < planes.len() {
            return Ok(());
        }
        for index in state.files.keys() {
            File::open(frame_in(folder, *index, self.ending))?.sync_all()?;
        }
        let files = Files(state.files.values().map(|hash| hash.to_hex().to_string()).collect());
        Writer::create(beginning)?.finish(&Record::new(&key.get(met), planes, met.clone(), files))?.sync_all()?;
        fs::rename(beginning, whole)
    }
}
