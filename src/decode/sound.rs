//! A recording's sound as it was heard: samples by the second of the recording, silence where it holds none.
//!
//! Times are the container's, as the demuxer gives them after edit lists and priming; samples that follow one another
//! are never counted from anything else. What is asked for is mostly asked for in order, so the file is read along; far
//! ahead or back it is gone to, a second early, because decoders take a while to find in.
//!
//! Two kinds of fault are told apart. A packet that does not decode costs some hundredths of a second: it is silent,
//! and said, under every policy, for no picture hangs on it and decoders stumble at edits too. A file that cannot be
//! read on costs all that follows, perhaps because a cable came loose: that is [`Unread`], damage like a still's, and
//! whoever plays the tape goes by the policy.
//!
//! ## Decisions
//!
//! - A *tape* plays a recording's sound by the second. Samples within 10 ms of where those before them end follow on
//!   them; others begin anew, with silence between. A passage more than ten seconds away is gone to, a second early.

use std::collections::VecDeque;
use std::fs;
use std::path::PathBuf;

use super::header::nanoseconds;
use crate::ffi::ffmpeg::{Fault, Heard, Resampler, SOUND_RATE, SoundSource};
use crate::shoot::Recording;

/// Samples a second, on each side.
pub const RATE: u32 = SOUND_RATE;

/// Frames whose time is within so many seconds of where the samples before them end follow on them: times are rounded
/// and jitter. From 45 ms early on it is seen that sound is out of step (ITU-R BT.1359-1, from memory); this is our
/// choice, well below.
const FOLLOWS: f64 = 0.01;

/// Seconds before what is wanted at which decoding begins.
const EARLY: f64 = 1.0;

/// Seconds that are rather read along than gone past.
const READ_ALONG: f64 = 10.0;

/// Plays a recording's sound.
#[derive(Debug)]
pub struct Tape {
    path: PathBuf,
    bytes: u64,
    modified: i128,
    /// Seconds of the container's clock at which the first frame is shown.
    origin: f64,
    running: Option<Running>,
    /// Decoded and not yet gone by, in order.
    ready: VecDeque<Samples>,
    /// The place after the last sample asked for.
    asked_to: i64,
    /// Whether the container finds its way by times.
    seeks: bool,
    /// Nothing more can be read.
    ended: bool,
    lost: Lost,
    /// What could not be read: a piece each time the file was given up.
    unread: Vec<Unread>,
    /// Whether the end that was met is that of the last of these.
    given_up: bool,
}

/// An open recording and where its sound stands.
#[derive(Debug)]
struct Running {
    source: SoundSource,
    run: Option<Run>,
    /// Whether it was gone to, and nothing has come since.
    landing: bool,
    /// The place after the last sample decoded.
    decoded_to: i64,
}

/// Frames that follow one another.
#[derive(Debug)]
struct Run {
    resampler: Resampler,
    /// When the next one is due, in seconds of the recording.
    due: f64,
    /// The place of the next sample.
    next: i64,
}

/// Samples that follow one another, and the place of the first.
#[derive(Debug, Default)]
struct Samples {
    first: i64,
    left: Vec<f32>,
    right: Vec<f32>,
}

impl Samples {
    fn end(&self) -> i64 {
        // A file may give any time.
        self.first.saturating_add(i64::try_from(self.left.len()).unwrap_or(i64::MAX))
    }
}

/// Frames that were read and could not be decoded.
#[derive(Debug, Default)]
struct Lost {
    frames: usize,
    /// Seconds of the recording at which the first was due.
    first: Option<f64>,
}

/// Sound that was asked for and could not be read: the disk refused, or the file is broken from here on or was changed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("the recording's sound cannot be read from {from:.3} s of it on: {why}")]
pub struct Unread {
    /// The second of the recording from which on nothing could be read.
    pub from: f64,
    /// The second up to which it was asked for.
    pub to: f64,
    /// What the system or the demuxer said.
    pub why: String,
}

impl Tape {
    /// The sound of a recording; nothing is opened before it is asked for.
    #[must_use]
    pub fn new(recording: &Recording) -> Self {
        let (num, den) = recording.time_base;
        #[expect(clippy::cast_precision_loss, reason = "ticks of a recording of days are far below 2^53")]
        let first = recording.ticks.first().copied().unwrap_or(0) as f64;
        Self {
            path: recording.path.clone(),
            bytes: recording.bytes,
            modified: recording.modified,
            origin: first * f64::from(num) / f64::from(den),
            running: None,
            ready: VecDeque::new(),
            asked_to: 0,
            seeks: true,
            ended: false,
            lost: Lost::default(),
            unread: Vec::new(),
            given_up: false,
        }
    }

    /// Fills both sides, equally long, with the samples from a place on: place 0 is when the first frame is shown,
    /// [`RATE`] are a second. Where nothing was recorded, a packet cannot be decoded ([`Tape::remarks`]) or the file
    /// cannot be read ([`Tape::unread`]) there is silence.
    ///
    /// # Panics
    /// Where the sides are not equally long.
    pub fn play(&mut self, first: i64, left: &mut [f32], right: &mut [f32]) {
        assert_eq!(left.len(), right.len(), "two sides of one length");
        left.fill(0.0);
        right.fill(0.0);
        let end = first + i64::try_from(left.len()).unwrap_or(i64::MAX);
        if let Err(fault) = self.go_to(first) {
            self.give_up(&fault, first);
        }
        self.asked_to = end;
        loop {
            while self.ready.front().is_some_and(|stretch| stretch.end() <= first) {
                self.ready.pop_front();
            }
            let decoded_to = self.running.as_ref().map_or(i64::MAX, |running| running.decoded_to);
            if self.ended || decoded_to >= end {
                break;
            }
            if let Err(fault) = self.advance(first) {
                self.give_up(&fault, decoded_to.max(first));
            }
        }
        if let Some(unread) = self.unread.last_mut().filter(|_| self.given_up) {
            unread.to = unread.to.max(seconds(end));
        }
        for stretch in &self.ready {
            let (from, to) = (stretch.first.max(first), stretch.end().min(end));
            if let (Ok(into), Ok(out_of), Ok(count)) =
                (usize::try_from(from - first), usize::try_from(from - stretch.first), usize::try_from(to - from))
            {
                left[into..into + count].copy_from_slice(&stretch.left[out_of..out_of + count]);
                right[into..into + count].copy_from_slice(&stretch.right[out_of..out_of + count]);
            }
        }
    }

    /// What a person should know of what was asked for so far, a line each.
    #[must_use]
    pub fn remarks(&self) -> Vec<String> {
        let mut said = Vec::new();
        if let (Some(first), frames) = (self.lost.first, self.lost.frames) {
            let pieces = if frames == 1 { "a piece".to_owned() } else { format!("{frames} pieces") };
            said.push(format!(
                "{pieces} of the recording's sound cannot be decoded, from {first:.3} s of it on: silent there"
            ));
        }
        said.extend(self.unread.iter().map(|Unread { from, to, why }| {
            format!("the recording's sound cannot be read from {from:.3} s to {to:.3} s of it: silent there ({why})")
        }));
        said
    }

    /// The first piece of what was asked for so far that could not be read.
    #[must_use]
    pub fn unread(&self) -> Option<&Unread> {
        self.unread.first()
    }

    fn give_up(&mut self, fault: &Fault, place: i64) {
        (self.ended, self.given_up) = (true, true);
        let from = seconds(place.max(0));
        self.unread.push(Unread { from, to: from, why: fault.to_string() });
    }

    /// Makes ready to decode from a place on.
    fn go_to(&mut self, first: i64) -> Result<(), Fault> {
        let Some(running) = &self.running else {
            if self.ended {
                return Ok(());
            }
            self.open()?;
            return if seconds(first) > READ_ALONG { self.jump(first) } else { Ok(()) };
        };
        let ahead = seconds(first - running.decoded_to.max(self.asked_to));
        let still_there = self.ready.front().is_some_and(|stretch| stretch.first <= first);
        if first < self.asked_to && !still_there {
            self.open()?;
            return if seconds(first) > READ_ALONG { self.jump(first) } else { Ok(()) };
        }
        if ahead > READ_ALONG && !self.ended { self.jump(first) } else { Ok(()) }
    }

    /// Opens the file at its beginning.
    fn open(&mut self) -> Result<(), Fault> {
        let seen = fs::metadata(&self.path).map_err(|error| Fault::refused(error.to_string()))?;
        if seen.len() != self.bytes || seen.modified().map_or(0, nanoseconds) != self.modified {
            return Err(Fault::refused("the file has changed since it was surveyed"));
        }
        self.ready.clear();
        (self.ended, self.given_up) = (false, false);
        let source = SoundSource::open(&self.path)?;
        self.running = Some(Running { source, run: None, landing: false, decoded_to: i64::MIN });
        Ok(())
    }

    /// Goes to a second before a place, where the container can.
    fn jump(&mut self, first: i64) -> Result<(), Fault> {
        let Some(running) = self.running.as_mut().filter(|_| self.seeks) else { return Ok(()) };
        if running.source.seek(self.origin + seconds(first) - EARLY).is_err() {
            self.seeks = false;
            return self.open();
        }
        (running.run, running.landing, running.decoded_to) = (None, true, i64::MIN);
        self.ready.clear();
        Ok(())
    }

    /// Decodes another frame. `first` is the first place that is asked for.
    fn advance(&mut self, first: i64) -> Result<(), Fault> {
        let Some(running) = &mut self.running else { return Ok(()) };
        match running.source.next()? {
            Heard::Frame => {}
            Heard::Lost(at) => {
                running.end_run(&mut self.ready)?;
                let at = at.map(|at| at - self.origin);
                // Beside what is asked for, decoders may stumble as they find in.
                if !running.landing && at.is_none_or(|at| at >= seconds(first)) {
                    self.lost.frames += 1;
                    self.lost.first = self.lost.first.or(at).or(Some(seconds(first)));
                }
                return Ok(());
            }
            Heard::End => {
                running.end_run(&mut self.ready)?;
                self.ended = true;
                return Ok(());
            }
        }
        let began = running.source.began().map(|began| began - self.origin);
        let landed = std::mem::take(&mut running.landing);
        if landed && began.is_none_or(|began| place(began) > first) {
            // Past it, or nobody knows where: from here on the file is read along from its beginning.
            self.seeks = false;
            return self.open();
        }
        running.take(began, &mut self.ready)
    }
}

impl Running {
    /// Takes the frame that the source received last, which begins at a second of the recording.
    fn take(&mut self, began: Option<f64>, ready: &mut VecDeque<Samples>) -> Result<(), Fault> {
        let (count, rate) = self.source.samples();
        let follows = |run: &Run| {
            run.resampler.takes(&self.source) && began.is_none_or(|began| (began - run.due).abs() <= FOLLOWS)
        };
        if !self.run.as_ref().is_some_and(follows) {
            let due = self.run.as_ref().map(|run| run.due);
            self.end_run(ready)?;
            // Without a time, and nothing before it, it cannot be placed.
            let Some(began) = began.or(due) else { return Ok(()) };
            self.run = Some(Run { resampler: Resampler::of(&self.source)?, due: began, next: place(began) });
        }
        let Some(run) = &mut self.run else { return Ok(()) };
        let mut stretch = Samples { first: run.next, ..Samples::default() };
        run.resampler.convert(&self.source, &mut stretch.left, &mut stretch.right)?;
        #[expect(clippy::cast_precision_loss, reason = "samples of a frame")]
        let lasts = count as f64 / f64::from(rate);
        run.due += lasts;
        run.next = stretch.end();
        self.keep(stretch, ready);
        Ok(())
    }

    /// Gets what the resampler still holds of a run, and ends it.
    fn end_run(&mut self, ready: &mut VecDeque<Samples>) -> Result<(), Fault> {
        let Some(mut run) = self.run.take() else { return Ok(()) };
        let mut stretch = Samples { first: run.next, ..Samples::default() };
        run.resampler.finish(&mut stretch.left, &mut stretch.right)?;
        self.keep(stretch, ready);
        Ok(())
    }

    /// Keeps samples; those whose place is taken already are left out.
    fn keep(&mut self, mut stretch: Samples, ready: &mut VecDeque<Samples>) {
        if let Ok(taken) = usize::try_from(self.decoded_to.saturating_sub(stretch.first)) {
            let taken = taken.min(stretch.left.len());
            stretch.left.drain(..taken);
            stretch.right.drain(..taken);
            stretch.first = stretch.first.max(self.decoded_to);
        }
        if !stretch.left.is_empty() {
            self.decoded_to = stretch.end();
            ready.push_back(stretch);
        }
    }
}

/// The place of a second.
fn place(seconds: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "saturates, and no recording lasts so long")]
    let place = (seconds * f64::from(RATE)).round() as i64;
    place
}

/// The second of a place.
fn seconds(place: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "samples of a recording of days are far below 2^53")]
    let seconds = place as f64 / f64::from(RATE);
    seconds
}
