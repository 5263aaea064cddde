//! A clip decoded to its end while frames made anew from the stills come by, each held against the decoded one and its
//! neighbours.
//!
//! ## Decisions
//!
//! - While the pipeline remakes rows, each sink decodes its clip alongside and compares every row with the frame in its
//!   place and two on each side. All frames of a PNG sequence are checked against the receipt's own hashes.
//! - Frames that are far away are found by the means of 24 × 24 blocks.
//! - Two frames are told apart only where one has twice the error of the other plus a quarter of a code squared (our
//!   choice): what an encoder carries over from the frame before must not count as that frame.
//! - A row whose planes are not those in the receipt says nothing about the clip, and is reported as such.

use std::collections::{BTreeMap, VecDeque};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use super::bar::Bar;
use super::compare::{self, Fit, Thumb};
use super::guess::{Guess, guess};
use super::places::Evidence;
use crate::decode::clip::{Clip, ClipError, ClipFacts, Tags};
use crate::picture::{Frame, FrameKind};

/// Places on each side of a row's own that its frame is held against.
const AROUND: u64 = 2;
/// Errors, in codes squared, that no two frames are told apart by.
const NOISE: f64 = 0.25;
/// Frames that are far apart are taken for the same where their small pictures differ by this little, in codes squared,
const FAR: f64 = 1.0;
/// and by at least this many times less than what is in their places.
const FAR_CLEARLY: f64 = 4.0;
/// The share of frames below the bar from which on the whole clip is called coarse.
const MOST: f64 = 0.8;
/// Frames, from the first on, that guesses are tried on; and such as do not fit beyond them.
const GUESSED: usize = 16;
/// Frames that fit nowhere that are kept, to look for the still that they show.
const KEPT: usize = 6;

/// What is to be looked at.
#[derive(Debug, Clone)]
pub struct Clue {
    /// The file, or a sequence's folder.
    pub path: PathBuf,
    /// What its encoder took.
    pub kind: FrameKind,
    /// How near its frames have to be.
    pub bar: Bar,
    /// Hashes of the planes of all frames due.
    pub planes: Arc<[Option<blake3::Hash>]>,
    /// Whether it is a folder of files.
    pub sequence: bool,
}

/// Who hears how far it is, and says when to stop.
#[derive(Debug, Default)]
pub struct Heard {
    /// Frames decoded so far, over all clips.
    pub decoded: AtomicU64,
    /// Set to stop.
    pub stop: AtomicBool,
}

/// A clip being looked at.
#[derive(Debug)]
pub struct Looking {
    clue: Clue,
    heard: Arc<Heard>,
    clip: Option<Clip>,
    /// The decoded frames around the row in turn, by place.
    ring: VecDeque<(u64, Frame)>,
    /// How far places are ahead of rows by now.
    drift: i64,
    looked: Looked,
}

/// What looking at a clip gave.
#[derive(Debug)]
pub struct Looked {
    /// What its container says; or why it cannot be opened.
    pub facts: Result<ClipFacts, ClipError>,
    /// The frames decoded, in order.
    pub places: Vec<Place>,
    /// The rows made anew, in order, whose planes are those that were handed to the encoder.
    pub rows: Vec<Row>,
    /// The rows made anew that came out otherwise: they say nothing of the clip.
    pub unlike: Vec<u64>,
    /// Why it could not be decoded to its end.
    pub broken: Option<String>,
    /// Frames on the way to which data was found to be damaged: the first, with what the decoder said, and how many.
    pub damaged: Option<(u64, String, u64)>,
    /// Colour tags of the stream's first frame, and the first place where they change.
    pub tags: (Tags, Option<u64>),
    /// The first frame that is of another kind or size, with what it is.
    pub odd: Option<(u64, String)>,
    /// Whether it holds too many frames to be read to its end.
    pub endless: bool,
    /// Decoded frames that fit nowhere, by their rows.
    pub strange: Vec<(u64, Frame)>,
}

/// A decoded frame.
#[derive(Debug)]
pub struct Place {
    /// When it is shown, in ticks.
    pub shown: Option<i64>,
    thumb: Option<Thumb>,
    hash: Option<blake3::Hash>,
}

#[cfg(test)]
impl Place {
    /// One of which only its time is known.
    pub(super) fn at(shown: Option<i64>) -> Self {
        Self { shown, thumb: None, hash: None }
    }
}

/// A row made anew.
#[derive(Debug)]
pub struct Row {
    /// Which.
    pub row: u64,
    /// What the frames at the places around its own differ by.
    pub near: Vec<Near>,
    /// What seems to have been done to the frame in its place.
    pub guess: Option<Guess>,
    thumb: Thumb,
}

/// What a row differs by from a frame near its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Near {
    /// Which frame.
    pub place: u64,
    /// By how much.
    pub fit: Fit,
    /// Whether that is near enough.
    pub holds: bool,
}

impl Looking {
    /// Opens the clip.
    #[must_use]
    pub fn open(clue: Clue, heard: Arc<Heard>) -> Self {
        let opened = Clip::open(&clue.path, clue.kind, clue.sequence);
        let (facts, clip) = match opened {
            Ok(clip) => (Ok(clip.facts().clone()), Some(clip)),
            Err(error) => (Err(error), None),
        };
        let looked = Looked {
            facts,
            places: Vec::new(),
            rows: Vec::new(),
            unlike: Vec::new(),
            broken: None,
            damaged: None,
            tags: (Tags::default(), None),
            odd: None,
            endless: false,
            strange: Vec::new(),
        };
        Self { clue, heard, clip, ring: VecDeque::new(), drift: 0, looked }
    }

    /// Decodes the next frame; whether there was one.
    fn advance(&mut self) -> bool {
        let Some(clip) = &mut self.clip else { return false };
        let place = self.looked.places.len() as u64;
        if place > 2 * self.clue.planes.len() as u64 + 1000 {
            (self.looked.endless, self.clip) = (true, None);
            return false;
        }
        let came = match clip.next() {
            Ok(Some(came)) => came,
            Ok(None) => {
                self.clip = None;
                return false;
            }
            Err(why) => {
                (self.looked.broken, self.clip) = (Some(why), None);
                return false;
            }
        };
        self.heard.decoded.fetch_add(1, Ordering::Relaxed);
        let looked = &mut self.looked;
        if let Some(why) = came.damage {
            looked.damaged.get_or_insert((place, why, 0)).2 += 1;
        }
        if place == 0 {
            looked.tags.0 = came.tags;
        } else if looked.tags.1.is_none() && came.tags != looked.tags.0 {
            looked.tags.1 = Some(place);
        }
        let frame = match came.frame {
            Ok(frame) => Some(frame),
            Err(what) => {
                looked.odd.get_or_insert((place, what));
                None
            }
        };
        looked.places.push(Place {
            shown: came.shown,
            thumb: frame.as_ref().map(Thumb::of),
            hash: frame.as_ref().filter(|_| self.clue.bar == Bar::Exact).map(Frame::hash),
        });
        if let Some(frame) = frame {
            self.ring.push_back((place, frame));
            if self.ring.len() as u64 > 2 * AROUND + 1 {
                self.ring.pop_front();
            }
        }
        true
    }

    /// Decodes up to a place, that included.
    fn advance_past(&mut self, place: u64) {
        while self.looked.places.len() as u64 <= place {
            if self.heard.stop.load(Ordering::Relaxed) || !self.advance() {
                return;
            }
        }
    }

    /// Holds the next row made anew, whose number and hash are these, against what the clip shows.
    pub fn see(&mut self, row: u64, planes: blake3::Hash, due: &Frame) {
        let index = usize::try_from(row).unwrap_or(usize::MAX);
        if self.clue.planes.get(index) != Some(&Some(planes)) {
            self.looked.unlike.push(row);
            return;
        }
        let around = if self.clue.bar == Bar::Exact { 0 } else { AROUND };
        let own = u64::try_from(i64::try_from(row).unwrap_or(i64::MAX).saturating_add(self.drift)).unwrap_or(0);
        self.advance_past(own + around);
        let detail = compare::detail(due);
        let near = self.ring.iter().filter(|(place, _)| place.abs_diff(own) <= around).filter_map(|(place, frame)| {
            let fit = compare::fit(due, frame)?;
            Some(Near { place: *place, fit, holds: self.clue.bar.holds(fit, detail) })
        });
        let near: Vec<Near> = near.collect();
        let at_own = near.iter().find(|near| near.place == own);
        let best = near.iter().min_by(|one, other| one.fit.all().total_cmp(&other.fit.all()));
        let holds = at_own.is_some_and(|near| near.holds);
        let nowhere = !near.iter().any(|near| near.holds);
        let seen = self.ring.iter().find(|(place, _)| *place == own).map(|(_, frame)| frame);
        let tried = self.looked.rows.iter().filter(|row| row.guess.is_some()).count();
        let worth = self.looked.rows.len() < GUESSED || !holds && tried < GUESSED;
        let guess = seen.filter(|_| worth).and_then(|seen| guess(due, seen, at_own.map(|near| near.fit)));
        if let Some(seen) = seen.filter(|_| nowhere && guess.is_none() && self.looked.strange.len() < KEPT) {
            self.looked.strange.push((row, seen.clone()));
        }
        if let Some(best) = best.filter(|best| best.holds && !holds) {
            self.drift += i64::try_from(best.place).unwrap_or(0) - i64::try_from(own).unwrap_or(0);
        }
        self.looked.rows.push(Row { row, near, guess, thumb: Thumb::of(due) });
    }

    /// Decodes what is left of it.
    #[must_use]
    pub fn finish(mut self) -> Looked {
        self.ring.clear();
        while !self.heard.stop.load(Ordering::Relaxed) && self.advance() {
            self.ring.clear();
        }
        self.looked
    }
}

impl Looked {
    /// The guess that most of the rows made anew agree on.
    #[must_use]
    pub fn guessed(&self) -> Option<Guess> {
        let mut votes: BTreeMap<Guess, usize> = BTreeMap::new();
        self.rows.iter().filter_map(|row| row.guess).for_each(|guess| *votes.entry(guess).or_default() += 1);
        let (guess, votes) = votes.into_iter().max_by_key(|(_, votes)| *votes)?;
        let asked = self.rows.len().min(GUESSED);
        (2 * votes > asked).then_some(guess)
    }

    /// What the rows differ by from the frames in their places, the worst of them; nothing where none was held against
    /// one.
    #[must_use]
    pub fn worst(&self) -> Option<(u64, Fit)> {
        let own = self.rows.iter().filter_map(|row| Some((row.row, row.own()?.fit)));
        own.max_by(|(_, one), (_, other)| one.luma.total_cmp(&other.luma))
    }

    /// Whether most frames are the right ones and further from those due than the bar allows.
    #[must_use]
    pub fn is_coarse(&self, bar: Bar) -> bool {
        let coarse = self.rows.iter().filter(|row| {
            let near =
                self.places.get(usize::try_from(row.row).unwrap_or(usize::MAX)).and_then(|place| place.thumb.as_ref());
            row.own().is_some_and(|own| !own.holds) && near.is_some_and(|thumb| thumb.error(&row.thumb) <= FAR)
        });
        bar != Bar::Exact && coarse.count() as f64 >= MOST * self.rows.len().max(1) as f64
    }

    /// What is known of where rows are, by how frames look.
    #[must_use]
    pub fn by_sight(&self, bar: Bar) -> BySight<'_> {
        let mut by_place: BTreeMap<u64, Vec<Choice>> = BTreeMap::new();
        for row in &self.rows {
            for Near { place, fit, holds } in &row.near {
                by_place.entry(*place).or_default().push(Choice { which: row.row, error: fit.all(), holds: *holds });
            }
        }
        BySight { looked: self, by_place, coarse: self.is_coarse(bar), clearly: bar.clearly() }
    }

    /// What is known of where rows are, by hashes.
    #[must_use]
    pub fn by_hash<'a>(&'a self, planes: &'a [Option<blake3::Hash>]) -> ByHash<'a> {
        let of = |hash: blake3::Hash| *hash.as_bytes();
        let mut known = ByHash { looked: self, planes, rows: BTreeMap::new(), places: BTreeMap::new() };
        for (row, hash) in (0..).zip(planes) {
            if let Some(hash) = hash {
                known.rows.entry(of(*hash)).or_default().push(row);
            }
        }
        for (place, seen) in (0..).zip(&self.places) {
            if let Some(hash) = seen.hash {
                known.places.entry(of(hash)).or_default().push(place);
            }
        }
        known
    }

    fn row(&self, row: u64) -> Option<&Row> {
        self.rows.binary_search_by_key(&row, |known| known.row).ok().map(|at| &self.rows[at])
    }

    fn thumb(&self, place: u64) -> Option<&Thumb> {
        self.places.get(usize::try_from(place).ok()?)?.thumb.as_ref()
    }
}

impl Row {
    /// What the frame in its own place differs by.
    #[must_use]
    pub fn own(&self) -> Option<Near> {
        self.near.iter().find(|near| near.place == self.row).copied()
    }
}

/// Where rows are, by how frames look.
#[derive(Debug)]
pub struct BySight<'a> {
    looked: &'a Looked,
    /// By place, the rows that were held against it.
    by_place: BTreeMap<u64, Vec<Choice>>,
    /// Whether frames are too far from those due for the bar to tell anything.
    coarse: bool,
    /// How many times another's error one has to have.
    clearly: f64,
}

/// A place for a row, or a row for a place.
#[derive(Debug, Clone, Copy)]
struct Choice {
    which: u64,
    error: f64,
    holds: bool,
}

impl BySight<'_> {
    /// The one that clearly fits best, where it is not `expected`.
    fn best(&self, choices: &[Choice], expected: u64) -> Best {
        let holds = |choice: &Choice| self.coarse || choice.holds;
        let own = choices.iter().find(|choice| choice.which == expected);
        let Some(best) = choices.iter().min_by(|one, other| one.error.total_cmp(&other.error)) else {
            return Best::Unknown;
        };
        match own {
            Some(own) if holds(own) && own.error <= self.clearly * best.error + NOISE => Best::Expected,
            _ if holds(best) && best.which != expected => Best::Other(best.which),
            _ => Best::Unknown,
        }
    }
}

enum Best {
    Expected,
    Other(u64),
    Unknown,
}

/// The one of these whose small picture is like `wanted`, and much more so than that of `expected`.
fn far<'a>(wanted: &Thumb, all: impl Iterator<Item = (u64, &'a Thumb)>, expected: Option<&Thumb>) -> Option<u64> {
    let (which, error) =
        all.map(|(which, thumb)| (which, thumb.error(wanted))).min_by(|(_, one), (_, other)| one.total_cmp(other))?;
    let clearly = expected.is_none_or(|expected| FAR_CLEARLY * error < expected.error(wanted));
    (error <= FAR && clearly).then_some(which)
}

impl Evidence for BySight<'_> {
    fn place(&self, row: u64, expected: u64) -> Option<u64> {
        let known = self.looked.row(row)?;
        let choice = |near: &Near| Choice { which: near.place, error: near.fit.all(), holds: near.holds };
        match self.best(&known.near.iter().map(choice).collect::<Vec<_>>(), expected) {
            Best::Expected => Some(expected),
            Best::Other(place) => Some(place),
            Best::Unknown => {
                let thumbs =
                    (0..).zip(&self.looked.places).filter_map(|(place, seen)| Some((place, seen.thumb.as_ref()?)));
                far(&known.thumb, thumbs, self.looked.thumb(expected))
            }
        }
    }

    fn shows(&self, place: u64, expected: u64) -> Option<u64> {
        match self.best(self.by_place.get(&place).map_or(&[][..], |choices| choices), expected) {
            Best::Expected => None,
            Best::Other(row) => Some(row),
            Best::Unknown => {
                let thumbs = self.looked.rows.iter().map(|row| (row.row, &row.thumb));
                far(self.looked.thumb(place)?, thumbs, self.looked.row(expected).map(|row| &row.thumb))
            }
        }
    }
}

/// Where rows are, by hashes.
#[derive(Debug)]
pub struct ByHash<'a> {
    looked: &'a Looked,
    planes: &'a [Option<blake3::Hash>],
    rows: BTreeMap<[u8; 32], Vec<u64>>,
    places: BTreeMap<[u8; 32], Vec<u64>>,
}

impl ByHash<'_> {
    fn nearest(all: Option<&Vec<u64>>, to: u64) -> Option<u64> {
        all?.iter().copied().min_by_key(|which| which.abs_diff(to))
    }
}

impl Evidence for ByHash<'_> {
    fn place(&self, row: u64, expected: u64) -> Option<u64> {
        let hash = (*self.planes.get(usize::try_from(row).ok()?)?)?;
        Self::nearest(self.places.get(hash.as_bytes()), expected)
    }

    fn shows(&self, place: u64, expected: u64) -> Option<u64> {
        let hash = self.looked.places.get(usize::try_from(place).ok()?)?.hash?;
        let rows = self.rows.get(hash.as_bytes())?;
        if rows.contains(&expected) { None } else { Self::nearest(Some(rows), expected) }
    }
}
