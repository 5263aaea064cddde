//! What an earlier run left of an output, and what is left to do.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::ops::Range;
use std::path::{Path, PathBuf};

use super::record::{self, Record, Writer};
use super::temporary::{Placed, Unfinished, before_in, finished_in, folder_of, sizes_in, stretch_in};
use crate::picture::{Frame, FrameKind};
use crate::units::SlotIndex;
use crate::work::{FileRead, Key, Met, Sink, SinkError, Stretches, Written};

/// An output begun, or taken up again.
pub struct Begun {
    /// Takes the frames that are due.
    pub sink: Box<dyn Sink>,
    /// Rows whose frames are due, in order.
    pub due: Vec<Range<usize>>,
    /// What was whole already.
    pub taken: Taken,
}

/// What was whole already of an output.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Taken {
    /// BLAKE3 of every frame's planes, by stretch.
    planes: BTreeMap<usize, Vec<blake3::Hash>>,
    /// What was met in decoding its stills.
    pub met: Met,
}

impl Taken {
    pub(super) fn add<T>(&mut self, index: usize, record: Record<T>) {
        if let Some(planes) = record.planes() {
            self.planes.insert(index, planes);
            self.met.add(record.met);
        }
    }

    pub(super) fn has(&self, index: usize) -> bool {
        self.planes.contains_key(&index)
    }

    /// Whether nothing was.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.planes.is_empty()
    }

    /// Rows whose frames are not there.
    pub(super) fn due(&self, stretches: &Stretches) -> Vec<Range<usize>> {
        let missing = stretches.each.iter().enumerate().filter(|(index, _)| !self.has(*index));
        missing.map(|(_, stretch)| stretch.rows.clone()).collect()
    }

    /// BLAKE3 of the planes of all frames: of those that were whole already and of those `made` since, each in order.
    #[must_use]
    pub fn and_made(&self, made: &[blake3::Hash], stretches: &Stretches) -> Vec<blake3::Hash> {
        let mut made = made.iter().copied();
        let mut all = Vec::with_capacity(stretches.frames());
        for (index, stretch) in stretches.each.iter().enumerate() {
            match self.planes.get(&index) {
                Some(planes) => all.extend(planes),
                None => all.extend(made.by_ref().take(stretch.rows.len())),
            }
        }
        all
    }
}

/// Which stretch a sink is at. A stretch that is whole already gets no turn.
pub(super) struct Turns {
    stretches: Stretches,
    taken: BTreeSet<usize>,
    index: usize,
}

impl Turns {
    pub(super) fn new(stretches: Stretches, taken: &Taken) -> Self {
        let mut turns = Self { stretches, taken: taken.planes.keys().copied().collect(), index: 0 };
        turns.pass_over_taken();
        turns
    }

    /// Gives no turn to stretches but these.
    pub(super) fn only(&mut self, which: &[usize]) {
        self.taken.extend((0..self.stretches.each.len()).filter(|index| !which.contains(index)));
        self.pass_over_taken();
    }

    /// The rate factor of the stretch whose turn it is, where it has one of its own.
    pub(super) fn crf(&self) -> Option<f64> {
        self.stretches.each.get(self.index).and_then(|stretch| stretch.crf)
    }

    fn pass_over_taken(&mut self) {
        while self.taken.contains(&self.index) {
            self.index += 1;
        }
    }

    /// The stretch whose turn it is; how many there are, once it is over.
    pub(super) fn index(&self) -> usize {
        self.index
    }

    /// Ends a stretch's turn.
    pub(super) fn next(&mut self) {
        self.index += 1;
        self.pass_over_taken();
    }

    /// Whether no stretch is left. Where nobody said how many there are, one always is.
    pub(super) fn is_over(&self) -> bool {
        self.due().is_some() && self.index >= self.stretches.each.len()
    }

    /// The stretch's rows.
    pub(super) fn rows(&self) -> Range<usize> {
        let every = self.stretches.every;
        self.stretches
            .each
            .get(self.index)
            .map_or(self.index * every..(self.index + 1) * every, |stretch| stretch.rows.clone())
    }

    pub(super) fn key(&self) -> Key {
        let none = || Key::from(blake3::Hash::from_bytes([0; blake3::OUT_LEN]));
        self.stretches.each.get(self.index).map_or_else(none, |stretch| stretch.key.clone())
    }

    pub(super) fn slots(&self) -> &[SlotIndex] {
        self.stretches.each.get(self.index).map_or(&[], |stretch| &stretch.slots)
    }

    /// Frames of all stretches, where that is known.
    pub(super) fn due(&self) -> Option<u64> {
        (!self.stretches.each.is_empty()).then(|| self.stretches.frames() as u64)
    }

    /// Writes down what the output is that is about to get its name, so that the next run need not make it again should
    /// this one be interrupted before its other outputs are there.
    pub(super) fn mark(
        &self,
        unfinished: &Unfinished,
        planes: &[blake3::Hash],
        met: Met,
        placed: Placed,
    ) -> io::Result<()> {
        if !unfinished.keeps() {
            return Ok(());
        }
        if unfinished.grows() {
            unfinished.set_record_aside()?;
        }
        let record = Record::new(&self.stretches.key(&met), planes, met, placed);
        Writer::create(&unfinished.finished())?.finish(&record)?.sync_all()
    }
}

/// The output that an earlier run finished before it was interrupted among its others, if it stands as that left it.
fn finished(target: &Path, folder: &Path, stretches: &Stretches) -> Option<(Record<Placed>, Placed)> {
    let (record, _nothing) = record::whole::<Placed>(&finished_in(folder))?;
    let stands = !target.is_symlink() && Placed::of(target).is_ok_and(|placed| placed == record.body);
    let placed = record.body.clone();
    let fits = || record.fits(&stretches.key(&Met::default()), stretches.frames());
    (stands && fits()).then_some((record, placed))
}

/// Whether an output is there because an earlier run finished it before it was interrupted among its others.
#[must_use]
pub fn is_finished(target: &Path, stretches: &Stretches) -> bool {
    folder_of(target).is_ok_and(|folder| finished(target, &folder, stretches).is_some())
}

/// Whether an output stands as a render of a shoot that grows has left it, whatever it shows: its next render may take
/// its place.
#[must_use]
pub fn has_grown(target: &Path) -> bool {
    let Ok(folder) = folder_of(target) else { return false };
    let is_of = |path: PathBuf| {
        let record = record::whole::<Placed>(&path);
        record.is_some_and(|(record, _)| !target.is_symlink() && Placed::of(target).is_ok_and(|it| it == record.body))
    };
    is_of(finished_in(&folder)) || is_of(before_in(&folder))
}

/// Whether an interrupted run left anything of an output.
#[must_use]
pub fn is_begun(target: &Path) -> bool {
    folder_of(target).is_ok_and(|folder| folder.is_dir())
}

/// An output that is there already.
pub(super) fn finished_already(unfinished: &Unfinished, stretches: &Stretches) -> Option<Begun> {
    let target = unfinished.target();
    let (record, placed) = finished(target, unfinished.folder(), stretches)?;
    let planes = record.planes()?;
    let by_stretch = stretches.each.iter().map(|stretch| planes.get(stretch.rows.clone()).unwrap_or_default().to_vec());
    let taken = Taken { planes: by_stretch.enumerate().collect(), met: record.met };
    let written = Written {
        path: target.to_owned(),
        frames: planes.len() as u64,
        bytes: placed.bytes,
        remarks: Vec::new(),
        blake3: None,
    };
    Some(Begun { sink: Box::new(There(written)), due: Vec::new(), taken })
}

/// Has nothing to do.
struct There(Written);

impl Sink for There {
    fn kind(&self) -> FrameKind {
        FrameKind::Yuv420
    }

    fn write(&mut self, _frame: &Frame) -> Result<(), SinkError> {
        Err(SinkError::Count { path: self.0.path.clone(), given: self.0.frames + 1, got: self.0.frames })
    }

    fn finish(self: Box<Self>) -> Result<Written, SinkError> {
        Ok(self.0)
    }
}

/// What an unfinished output has kept: how many of its frames, and where.
///
/// It goes by the records alone: whether every byte is there is found when it is taken up again.
#[must_use]
pub fn kept(target: &Path, stretches: &Stretches) -> Option<(usize, PathBuf)> {
    let folder = folder_of(target).ok()?;
    let fits = |(index, stretch): &(usize, &crate::work::Stretch)| {
        let record = record::glance::<serde::de::IgnoredAny>(&stretch_in(&folder, *index));
        record.is_some_and(|record| record.fits(&stretch.key.get(&Met::default()), stretch.rows.len()))
    };
    let frames = match finished(target, &folder, stretches) {
        Some(_) => stretches.frames(),
        None => stretches.each.iter().enumerate().filter(fits).map(|(_, stretch)| stretch.rows.len()).sum(),
    };
    (frames > 0).then_some((frames, folder))
}

/// What is kept of a stretch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kept {
    /// All of it.
    Whole,
    /// Nothing, or nothing that can be read.
    Nothing,
    /// A stretch that was made of something else: of these stills' files, among other things.
    Other(BTreeMap<SlotIndex, FileRead>),
}

/// What is kept of one stretch of an unfinished output: by its record alone, as with [`kept`], or by reading all of it.
#[must_use]
pub fn kept_of(target: &Path, stretches: &Stretches, index: usize, all_of_it: bool) -> Kept {
    let Some((folder, stretch)) = folder_of(target).ok().zip(stretches.each.get(index)) else { return Kept::Nothing };
    let path = stretch_in(&folder, index);
    let record = if all_of_it {
        record::whole::<serde::de::IgnoredAny>(&path).map(|(record, _body)| record)
    } else {
        record::glance::<serde::de::IgnoredAny>(&path)
    };
    match record {
        None => Kept::Nothing,
        Some(record) if record.fits(&stretch.key.get(&Met::default()), stretch.rows.len()) => Kept::Whole,
        Some(record) => Kept::Other(record.met.files),
    }
}

/// Bytes of the packets of those stretches of an unfinished output that are whole and have these keys.
#[must_use]
pub fn stretch_bytes(target: &Path, stretches: &Stretches) -> BTreeMap<usize, u64> {
    let Ok(folder) = folder_of(target) else { return BTreeMap::new() };
    let bytes = |(index, stretch): (usize, &crate::work::Stretch)| {
        let record = record::glance::<super::mux::Packets>(&stretch_in(&folder, index))?;
        record.fits(&stretch.key.get(&Met::default()), stretch.rows.len()).then_some((index, record.body.bytes))
    };
    stretches.each.iter().enumerate().filter_map(bytes).collect()
}

/// What was noted of sizes beside an unfinished output, by a key of what they are of; nothing where there is none.
#[must_use]
pub fn noted_sizes(target: &Path) -> BTreeMap<String, u64> {
    let read = || {
        let path = sizes_in(&folder_of(target).ok()?);
        let regular = path.symlink_metadata().ok()?.is_file();
        serde_json::from_slice(&std::fs::read(path).ok().filter(|_| regular)?).ok()
    };
    read().unwrap_or_default()
}

/// Notes sizes beside an unfinished output. Without them the next run only has more to encode.
pub fn note_sizes(target: &Path, sizes: &BTreeMap<String, u64>) {
    let write = || -> io::Result<()> {
        let folder = folder_of(target).map_err(io::Error::other)?;
        let mut file = tempfile::NamedTempFile::new_in(&folder)?;
        serde_json::to_writer(&mut file, sizes)?;
        file.persist(sizes_in(&folder)).map(drop).map_err(|error| error.error)
    };
    let _more_to_encode = write();
}

/// Bytes on the disk that an interrupted run left of an output.
#[must_use]
pub fn kept_bytes(target: &Path) -> u64 {
    let Ok(folder) = folder_of(target) else { return 0 };
    let files = walkdir::WalkDir::new(folder).into_iter().filter_map(|entry| entry.ok()?.metadata().ok());
    files.filter(std::fs::Metadata::is_file).map(|file| file.len()).sum()
}

/// Removes what is kept of an output: its run is over.
pub fn tidy(target: &Path) {
    if is_begun(target) {
        // What another run has locked is its own; what is not kept goes with this.
        drop(Unfinished::open(target, false));
    }
}
