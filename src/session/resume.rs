//! Renders that go on where another was interrupted: what each stretch of each delivery depends on, what is taken over,
//! what is kept.
//!
//! ## Decisions
//!
//! - A stretch's key is BLAKE3 over all that its bytes depend on: its rows' windows, shares and stand-ins; every still
//!   in them by name, size, time, four pieces of the file and orientation (for a recording, file and tick); gains and
//!   covers; stamps and what they say; frame size, rate, codec options, kernel, light and encoder threads; the program's
//!   file and the versions of libraries. libx264's version is not included because FFmpeg does not report it; another version's
//!   parameter sets would be noticed.
//! - Rows of stretches that still fit are not handed to the pipeline, so none of their stills is decoded.
//! - The pieces of a still are asked for only when a key is compared or written (`Key` in `src/work.rs`); by then the
//!   decoder has cut them out of what it read, so a fresh run reads no still twice.
//! - A stretch is kept until another replaces it: a still found damaged late may bring back the plan it was made for.
//! - An output that is finished before the run's others leaves a record until the run is over, so that the next run
//!   neither refuses nor remakes it. Records go last. A lock on the folder keeps two runs apart.
//! - H.264's stretches need the room of the clip a second time; the estimate before a render counts that.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use super::{Failure, known_files};
use crate::decode::key;
use crate::diag::{self, Diagnostic};
use crate::encode::{self, Goal, Taken};
use crate::pipeline::{Outcome, Output};
use crate::plan::{DeliveryPlan, Gathered, Row, Stamped};
use crate::shoot::Shoot;
use crate::units::SlotIndex;
use crate::work::{Key, Met, Sink, Stretch, Stretches};

/// The stills of a shoot by what they hold: by what was read of them to decode them, or by a few pieces of their files,
/// read the first time that they are asked for.
pub(super) struct Identities {
    shoot: Shoot,
    known: Mutex<Known>,
}

#[derive(Default)]
struct Known {
    stills: BTreeMap<SlotIndex, blake3::Hash>,
    /// Recordings whose frames stills are.
    files: BTreeMap<PathBuf, blake3::Hash>,
}

impl Identities {
    pub(super) fn of(shoot: &Shoot) -> Arc<Self> {
        Arc::new(Self { shoot: shoot.clone(), known: Mutex::default() })
    }

    fn get(&self, slot: SlotIndex, met: &Met) -> blake3::Hash {
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        let Known { stills, files } = &mut *known;
        *stills.entry(slot).or_insert_with(|| self.identity(slot, met, files))
    }

    fn identity(&self, slot: SlotIndex, met: &Met, files: &mut BTreeMap<PathBuf, blake3::Hash>) -> blake3::Hash {
        let mut hasher = blake3::Hasher::new();
        // Of what cannot be read the reason is part of the identity: what could be is another still.
        let held = match self.shoot.still(slot) {
            None => "no whole still".to_owned(),
            Some(still) => {
                let name = still.path.file_name().unwrap_or_default();
                hasher.update(name.as_encoded_bytes());
                hasher.update(
                    format!("{:?}", (still.format, still.stored, still.orientation, still.bytes, still.modified))
                        .as_bytes(),
                );
                let read = met.files.get(&slot).and_then(|file| file.pieces);
                let recording = self.shoot.recording_at(slot);
                let content = match recording {
                    Some((recording, _)) => files.get(&recording.path).copied().map_or_else(|| key::quick(still), Ok),
                    None => match read {
                        Some(read) => {
                            known_files().note_pieces(still, &read);
                            Ok(read)
                        }
                        None => known_files().pieces(still),
                    },
                };
                match (recording, content) {
                    (_, Err(damage)) => damage.to_string(),
                    (None, Ok(content)) => content.to_string(),
                    (Some((recording, own)), Ok(content)) => {
                        files.insert(recording.path.clone(), content);
                        let shown = recording.shown(own.0);
                        shown.map_or_else(String::new, |shown| key::of_frame(&content, shown).to_string())
                    }
                }
            }
        };
        hasher.update(held.as_bytes()).finalize()
    }
}

/// How deliveries are made that are made together.
#[derive(Debug, Clone, Copy)]
pub(super) struct Made {
    /// Threads of an encoder.
    pub(super) threads: usize,
    /// Whether they are drafts, of stills decoded small.
    pub(super) draft: bool,
    /// How many they are.
    pub(super) together: usize,
    /// Whether their stretches stay for a render of more stills.
    pub(super) grows: bool,
}

/// The same, each stretch at a rate factor of its own where some are given.
pub(super) fn stretches_at(
    plan: &DeliveryPlan,
    identities: &Arc<Identities>,
    made: Made,
    crfs: Option<&[f64]>,
) -> Stretches {
    let Some(crfs) = crfs else { return stretches_of(plan, identities, made) };
    let mut by_crf: BTreeMap<u64, Stretches> = BTreeMap::new();
    let each = crfs.iter().enumerate().filter_map(|(index, crf)| {
        let at = || stretches_of(&DeliveryPlan { codec: plan.codec.at_crf(*crf), ..plan.clone() }, identities, made);
        let stretch = by_crf.entry(crf.to_bits()).or_insert_with(at).each.get(index)?;
        Some(Stretch { crf: Some(*crf), ..stretch.clone() })
    });
    let each = each.collect();
    Stretches { every: encode::stretch(plan).max(1), each }
}

/// A delivery's stretches, each with everything that its frames depend on.
pub(super) fn stretches_of(plan: &DeliveryPlan, identities: &Arc<Identities>, made: Made) -> Stretches {
    // What is heard is no part of a frame, nor is a title or a timecode, and all the same an output with others is another
    // one.
    let DeliveryPlan { sharpness, resample, light, sound, extras, .. } = plan;
    let Made { threads, draft, together, .. } = made;
    let common = format!(
        "{draft} {} {sharpness:?} {resample:?} {light:?} {sound:?} {:?} {:?} {:?} {:?} {}",
        encode::settings(plan, threads),
        identities.shoot.size,
        extras.title,
        extras.timecode,
        extras.chapters.iter().map(|one| (one.frame, &one.name)).collect::<Vec<_>>(),
        plan.stamps.iter().map(Stamped::look).collect::<Vec<_>>().join("; ")
    );
    // By list, what each of the layers is that frames gather from: a frame has hundreds of them.
    let mut lists: BTreeMap<usize, Vec<blake3::Hash>> = BTreeMap::new();
    let of_rows = |range: Range<usize>| {
        let rows = &plan.rows[range.clone()];
        let mut hasher = blake3::Hasher::new();
        hasher.update(common.as_bytes());
        let mut slots = BTreeSet::new();
        for row in rows {
            match row.layers.gathered() {
                Some(gathered) => add_gathered(&mut hasher, gathered, &mut lists),
                None => {
                    hasher.update(format!("{:?}", row.layers).as_bytes());
                }
            }
            for line in lines_of(plan, row) {
                hasher.update(&(line.len() as u64).to_le_bytes()).update(line.as_bytes());
            }
            let stills = row.shares().flat_map(|share| std::iter::once(share.shown).chain(share.stand_in));
            slots.extend(stills);
        }
        let slots: Vec<SlotIndex> = slots.into_iter().collect();
        let (identities, shown) = (Arc::clone(identities), slots.clone());
        let key = Key::later(move |met| {
            let mut hasher = hasher.clone();
            for slot in &shown {
                hasher.update(identities.get(*slot, met).as_bytes());
            }
            hasher.finalize()
        });
        Stretch { key, rows: range, slots, crf: None }
    };
    let each = encode::cut(plan, identities.shoot.size, together).into_iter().map(of_rows).collect();
    Stretches { every: encode::stretch(plan).max(1), each }
}

/// Adds what a frame gathers to its stretch's key.
fn add_gathered(hasher: &mut blake3::Hasher, gathered: &Gathered, lists: &mut BTreeMap<usize, Vec<blake3::Hash>>) {
    let each = || gathered.list.iter().map(|layer| blake3::hash(format!("{layer:?}").as_bytes())).collect();
    let layers = &lists.entry(gathered.number).or_insert_with(each)[gathered.part.clone()];
    hasher.update(gathered.by.keyword().as_bytes()).update(&(layers.len() as u64).to_le_bytes());
    for layer in layers {
        hasher.update(layer.as_bytes());
    }
}

/// What stamps say over a frame, or would should its foremost still turn out damaged.
fn lines_of<'a>(plan: &'a DeliveryPlan, row: &'a Row) -> impl Iterator<Item = &'a str> {
    let foremost = if plan.stamps.is_empty() { None } else { row.layers.dominant() };
    let slots = foremost
        .into_iter()
        .flat_map(|layer| std::iter::once(layer.slot()).chain(layer.stand_in.as_ref().map(|other| other.still.slot)));
    slots.flat_map(|slot| plan.stamps.iter().filter_map(move |stamp| stamp.line(slot))).map(|line| &**line)
}

/// One pass over a shoot, begun.
pub(super) struct Pass<'a> {
    parts: Vec<Begun<'a>>,
}

/// A delivery in it.
struct Begun<'a> {
    /// With the rows that are due.
    plan: Cow<'a, DeliveryPlan>,
    path: PathBuf,
    stretches: Stretches,
    taken: Taken,
    sink: Option<Box<dyn Sink>>,
    /// Whether its frames were made just before, to find the quality for its size.
    sized: bool,
}

impl<'a> Pass<'a> {
    /// Begins the deliveries cut from a shoot, or takes them up again.
    ///
    /// # Errors
    /// [`Failure`] where a folder, the disk or an encoder refuses.
    pub(super) fn begin(
        shoot: &Shoot,
        deliveries: &[(&'a DeliveryPlan, PathBuf)],
        crfs: &[Option<Vec<f64>>],
        made: Made,
        fresh: bool,
    ) -> Result<Self, Failure> {
        let identities = Identities::of(shoot);
        let begin = |((plan, path), crfs): (&(&'a DeliveryPlan, PathBuf), &Option<Vec<f64>>)| {
            let stretches = stretches_at(plan, &identities, made, crfs.as_deref());
            let how = (fresh && crfs.is_none(), if made.grows { Goal::Grown } else { Goal::Whole });
            Ok(Begun { sized: crfs.is_some(), ..begin(shoot, (plan, path), stretches, made, how)? })
        };
        Ok(Self { parts: deliveries.iter().zip(crfs).map(begin).collect::<Result<_, Failure>>()? })
    }

    /// The same of some stretches of each delivery, `which` in order, while others make the rest.
    ///
    /// # Errors
    /// As [`Pass::begin`].
    pub(super) fn begin_share(
        shoot: &Shoot,
        deliveries: &[(&'a DeliveryPlan, PathBuf)],
        made: Made,
        fresh: bool,
        which: &[Vec<usize>],
    ) -> Result<Self, Failure> {
        let identities = Identities::of(shoot);
        let begin = |((plan, path), which): (&(&'a DeliveryPlan, PathBuf), &Vec<usize>)| {
            let stretches = stretches_of(plan, &identities, made);
            begin(shoot, (plan, path), stretches, made, (fresh, Goal::Share(which)))
        };
        Ok(Self { parts: deliveries.iter().zip(which).map(begin).collect::<Result<_, Failure>>()? })
    }

    /// Whether any frame is still to be made, but for those made before to find the quality for a size.
    pub(super) fn is_due(&self) -> bool {
        self.parts.iter().any(|part| !part.plan.rows.is_empty())
    }

    /// The sinks and the rows that they are due, once.
    pub(super) fn outputs(&mut self) -> (&Self, Vec<Output<'_>>) {
        let sinks: Vec<_> = self.parts.iter_mut().map(|part| part.sink.take()).collect();
        let this: &Self = self;
        let outputs =
            this.parts.iter().zip(sinks).filter_map(|(part, sink)| {
                Some(Output { plan: &part.plan, rows: 0..part.plan.rows.len(), sink: sink? })
            });
        (this, outputs.collect())
    }

    /// What is taken over, in lines.
    pub(super) fn taken_over(&self) -> String {
        let mut text = String::new();
        for part in self.parts.iter().filter(|part| !part.taken.is_empty() && !part.sized) {
            let (all, due) = (part.stretches.frames(), part.plan.rows.len());
            let path = diag::path(&part.path);
            let _to_a_string =
                writeln!(text, "{path}: going on; {} of {all} frames are there from an interrupted run", all - due);
        }
        text
    }

    /// What was met in decoding the stills of what is taken over.
    pub(super) fn met(&self) -> Met {
        let mut met = Met::default();
        self.parts.iter().for_each(|part| met.add(part.taken.met.clone()));
        met
    }

    /// The outcome with all frames of the deliveries, by that of those that were due.
    pub(super) fn whole(&self, mut outcome: Outcome) -> Outcome {
        for (finished, part) in outcome.finished.iter_mut().zip(&self.parts) {
            finished.hashes = part.taken.and_made(&finished.hashes, &part.stretches);
            if part.sized {
                finished.taken_over = 0;
            }
            finished.crf = part.stretches.each.iter().filter_map(|stretch| stretch.crf).reduce(f64::max);
        }
        outcome
    }

    /// What is kept of the deliveries now that the pass has failed.
    pub(super) fn saved(&self) -> Saved {
        let kept = self.parts.iter().filter_map(|part| {
            let (frames, folder) = encode::kept(&part.path, &part.stretches)?;
            let (all, path) = (part.stretches.frames(), diag::path(&part.path));
            Some(format!("{frames} of {all} frames of {path} are kept, in {}", diag::path(&folder)))
        });
        Saved(kept.collect())
    }
}

fn begin<'a>(
    shoot: &Shoot,
    (plan, path): (&'a DeliveryPlan, &Path),
    stretches: Stretches,
    made: Made,
    (fresh, goal): (bool, Goal<'_>),
) -> Result<Begun<'a>, Failure> {
    let begun = encode::begin_for(plan, Some(shoot), path, made.threads, stretches.clone(), (fresh, goal));
    let encode::Begun { sink, due, taken } =
        begun.map_err(|error| Failure::failed(Diagnostic::mistake(format!("{}: {error}", plan.name))))?;
    // Fewer rows are numbered anew: that only changes whose frame of a still is painted first.
    let plan = if due.iter().map(ExactSizeIterator::len).sum::<usize>() == plan.rows.len() {
        Cow::Borrowed(plan)
    } else {
        let rows = due.into_iter().flat_map(|rows| plan.rows[rows].iter().cloned()).collect();
        Cow::Owned(DeliveryPlan { sound: Arc::clone(&plan.sound), ..plan.with_rows(rows) })
    };
    Ok(Begun { plan, path: path.to_owned(), stretches, taken, sink: Some(sink), sized: false })
}

/// What is kept after a failure: a line each output.
#[derive(Debug)]
pub(super) struct Saved(Vec<String>);

impl Saved {
    /// What is kept of an output that is to have a size, of which no frame is final.
    pub(super) fn for_size(path: &Path) -> Self {
        let path = diag::path(path);
        Self(vec![format!("what was encoded to find the quality for the size of {path} is kept")])
    }
}

/// How to go on from what is kept.
const GO_ON: &str = "give the same command to go on from there; with --fresh it starts from the beginning";

impl Saved {
    /// An interrupt in words.
    pub(super) fn interrupted(self) -> Failure {
        match &self.0[..] {
            [] => Failure::interrupted_saying("no part of a clip was whole yet: give the same command to start again"),
            kept => Failure::interrupted_saying(&format!("{}\n{GO_ON}", kept.join("\n"))),
        }
    }

    /// Adds what is kept to what went wrong.
    pub(super) fn with(self, mut failure: Failure) -> Failure {
        if let Some(note) = failure.reply.notes.0.pop_if(|_| !self.0.is_empty()) {
            let lines = self.0.into_iter().chain([GO_ON.to_owned()]);
            failure.reply.notes.0.push(lines.fold(note, Diagnostic::help));
        }
        failure
    }
}

/// Removes what is kept beside finished outputs.
pub(super) fn tidy(paths: impl IntoIterator<Item = PathBuf>) {
    paths.into_iter().for_each(|path| encode::tidy(&path));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::Window;
    use crate::plan::{Corrections, Gathered, Layers, Lettered, Lines, Shows, Steadying, Typeface};
    use crate::register::Pose;
    use crate::shoot::{Content, Slot};
    use crate::shot::{Codec, Colour, Gather, Light, Pin, Sharpness};
    use crate::units::{FrameRate, Size};

    const STILL: Size = Size { width: 64, height: 48 };
    const NOT_MOVED: Pose = Pose { x: 0.0, y: 0.0, turn: 0.0 };

    /// Eight frames of a still each, whose stills stand so.
    fn keys(stands: [Pose; 8]) -> Vec<blake3::Hash> {
        keys_under(stands, &[])
    }

    /// The same under stamps.
    fn keys_under(stands: [Pose; 8], stamps: &[Stamped]) -> Vec<blake3::Hash> {
        let steady = Steadying {
            place: crate::diag::Place::new(Path::new("move.lua"), 1),
            first: SlotIndex(0),
            stands: stands.to_vec(),
            unplaced: Vec::new(),
            room: STILL.into(),
            still: STILL,
            table: stands.to_vec(),
        };
        let window = Window { x: 8.0, y: 8.0, width: 32.0, height: 24.0, roll: 0.0 };
        let mut corrections = Corrections::new(None, Some(&steady), &[]);
        let row = |slot: usize| {
            let (slot, position) = (SlotIndex(slot), 0.0);
            let layers = Layers::One(corrections.layer(slot, None, window));
            Row { position, slot, shown: slot, stand_in: None, window, layers }
        };
        keys_of((0..8).map(row).collect(), stamps)
    }

    /// The keys of a delivery of these rows over eight stills.
    fn keys_of(rows: Vec<Row>, stamps: &[Stamped]) -> Vec<blake3::Hash> {
        let slots = (0..8).map(|slot| Slot { name: format!("A{slot}"), content: Content::Missing }).collect();
        let (set_aside, notes) = (Vec::new(), Vec::new());
        let shoot =
            Shoot { slots, size: STILL, interval: None, set_aside, notes, recording: None, members: Vec::new() };
        let plan = DeliveryPlan {
            name: "wide".into(),
            frame: STILL,
            fps: FrameRate::new(1, 1).unwrap(),
            codec: Codec::PNG,
            sharpness: Sharpness::Even,
            resample: Light::Encoded,
            light: Light::Linear,
            room: STILL.into(),
            rooms: Vec::new(),
            corrected: true,
            sound: [].into(),
            stamps: stamps.into(),
            unread_sound: crate::shot::Policy::default(),
            every_still: false,
            extras: crate::plan::Extras::default(),
            gathered: Vec::new(),
            rows,
        };
        let stretches =
            stretches_of(&plan, &Identities::of(&shoot), Made { threads: 1, draft: false, together: 1, grows: false });
        stretches.each.iter().map(|stretch| stretch.key.get(&Met::default())).collect()
    }

    #[test]
    fn a_stretchs_key_changes_with_the_stands_of_its_own_stills_and_of_no_others() {
        let none = [NOT_MOVED; 8];
        let stand = |slot: usize, stand: Pose| {
            let mut stands = none;
            stands[slot] = stand;
            keys(stands)
        };
        let before = keys(none);
        assert_eq!((before.len(), keys(none)), (4, before.clone()), "two frames a stretch");
        let moved = Pose { x: 0.25, ..NOT_MOVED };
        for slot in 0..8 {
            for other in [moved, Pose { y: -0.25, ..NOT_MOVED }, Pose { turn: 0.01, ..NOT_MOVED }] {
                let after = stand(slot, other);
                let changed: Vec<usize> = (0..4).filter(|stretch| before[*stretch] != after[*stretch]).collect();
                assert_eq!(changed, [slot / 2], "still {slot} stands at {other:?}");
            }
        }
        assert_ne!(stand(0, moved)[0], stand(1, moved)[0], "whose stand it is counts");
    }

    #[test]
    fn a_stretchs_key_changes_with_what_its_own_stamps_say_and_with_their_look() {
        let none = [NOT_MOVED; 8];
        let stamp = |said: [&str; 8], size: f64| {
            let lines = Lines::new(said.iter().enumerate().map(|(slot, line)| (SlotIndex(slot), (*line).to_owned())));
            let text = Lettered {
                said: "{name}".into(),
                colour: Colour::WHITE,
                outline: None,
                fonts: Arc::new(Typeface { fonts: Vec::new() }),
                lines,
            };
            let place = crate::diag::Place::new(Path::new("move.lua"), 1);
            let (at, pin, within) = ((0.5, 0.5), Pin::Middle, crate::geom::Margins::default());
            Stamped { place, at, pin, within, size, shows: Shows::Text(text) }
        };
        let said = ["a", "b", "c", "d", "e", "f", "g", "h"];
        let before = keys_under(none, &[stamp(said, 0.1)]);
        assert_eq!(before, keys_under(none, &[stamp(said, 0.1)]));
        let mut other = said;
        other[5] = "x";
        let after = keys_under(none, &[stamp(other, 0.1)]);
        assert_eq!((0..4).filter(|stretch| before[*stretch] != after[*stretch]).collect::<Vec<_>>(), [2]);
        for changed in
            [keys(none), keys_under(none, &[stamp(said, 0.2)]), keys_under(none, &[stamp(said, 0.1), stamp(said, 0.1)])]
        {
            assert!((0..4).all(|stretch| before[stretch] != changed[stretch]));
        }
    }

    #[test]
    fn a_stretchs_key_changes_with_what_its_own_frames_gather_wherever_that_is_kept() {
        let window = Window { x: 8.0, y: 8.0, width: 32.0, height: 24.0, roll: 0.0 };
        let gathering = |by: Gather, width: usize, from: usize| {
            let stills: Vec<_> = (from..8).map(|slot| (SlotIndex(slot), None)).collect();
            let list = Corrections::default().list(&stills, window);
            let row = |turn: usize| {
                let part = (turn + 1).saturating_sub(width).max(from) - from..turn + 1 - from;
                let layers = if part.len() > 1 {
                    Layers::Gathered(Gathered { by, list: list.clone(), number: 0, turn: part.end - 1, part })
                } else {
                    Layers::One(list[turn.max(from) - from].clone())
                };
                let slot = SlotIndex(turn.max(from));
                Row { position: 0.0, slot, shown: slot, stand_in: None, window, layers }
            };
            keys_of((from..8).map(row).collect(), &[])
        };
        let before = gathering(Gather::Brightest, 3, 0);
        assert_eq!((before.len(), gathering(Gather::Brightest, 3, 0)), (4, before.clone()));
        let changed = |after: &[blake3::Hash]| -> Vec<usize> {
            (0..4).filter(|stretch| before[*stretch] != after[*stretch]).collect()
        };
        assert_eq!(changed(&gathering(Gather::Darkest, 3, 0)), [0, 1, 2, 3]);
        assert_eq!(changed(&gathering(Gather::Median, 3, 0)), [0, 1, 2, 3]);
        assert_eq!(changed(&gathering(Gather::Brightest, 4, 0)), [1, 2, 3], "the first two have no fourth still");
        // The last stretch is the same where the list begins later: frames 6 and 7 gather stills 4 to 7.
        assert_eq!(gathering(Gather::Brightest, 3, 4).last(), before.last());
    }
}
