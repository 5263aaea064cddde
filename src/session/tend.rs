//! `tend`: stays with a shoot that grows, and renders again when stills have come.
//!
//! ## Decisions
//!
//! - A round is a render of a shoot that grows ([`RenderOptions::growing`]): it makes the stretches that are new or other,
//!   and puts the clips together. Between rounds nothing is held: what a round needs it finds on the disk, so a power cut
//!   costs no more than the round it falls into.
//! - The system tells of new files where it can (inotify and its like). It does not tell of what another machine writes to
//!   a shared disk, so the shoot's listing is compared as well, once every `every`.
//! - A round waits until the listing has stood still for [`QUIET`]: a still that is being written keeps it moving. What
//!   cannot be rendered is said once, and tried again when anything has changed.
//! - Clips are not replaced by ones of fewer stills: a drive that lost a folder, or a camera that clears its card, must not
//!   shorten what there is.
//! - How long no still has come is measured by a clock that nobody sets, and only while it is a time of which the script
//!   takes stills.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use jiff::civil::DateTime;
use notify::{RecommendedWatcher, RecursiveMode, Watcher as _};

use super::listed::named_by;
use super::prepare::request_of;
use super::receipt;
use super::render::render;
use super::rendering::{Extent, RenderOptions};
use super::running::run;
use super::share::typed::command;
use super::{FAILED, Failure, Reply, ScriptOptions, Watch, surveyed};
use crate::diag;
use crate::receipt::Receipt;
use crate::shoot::{Content, Shoot};
use crate::shot::{Chosen, Shot};
use crate::survey::{Listing, Request, listing};
use crate::units::SlotIndex;

/// How long nothing may have changed before a round begins.
const QUIET: Duration = Duration::from_secs(2);
/// How often the listing is compared while it moves, and how soon a stop is noticed.
const STEP: Duration = Duration::from_millis(250);
/// After so many of the shoot's intervals without a still it is said that none comes.
const INTERVALS: f64 = 3.0;

/// How to tend.
#[derive(Debug, Clone)]
pub struct TendOptions {
    /// The folder for the outputs.
    pub out: PathBuf,
    /// How often to look for new stills where the system does not tell of them; and the least time from round to round.
    pub every: Duration,
    /// Workers that decode and paint; one a processor where none.
    pub threads: Option<usize>,
    /// No progress, no remarks.
    pub quiet: bool,
}

/// What stands on the disk: the script and what it is made of.
#[derive(Debug, Clone, PartialEq)]
struct Seen {
    script: Vec<blake3::Hash>,
    shoots: Vec<(Request, bool, Listing)>,
    /// What each shot chooses by the clock: elsewhere no still is missed.
    chosen: Vec<Chosen>,
}

impl Seen {
    /// Whether any shot would take a still of this time.
    fn wants(&self, time: DateTime) -> bool {
        let by_hours = |chosen: &Chosen| chosen.hours.as_ref().is_none_or(|hours| hours.value.hold(time.time()));
        let by_days = |chosen: &Chosen| chosen.days.as_ref().is_none_or(|days| days.value.hold(time.date()));
        self.chosen.is_empty() || self.chosen.iter().any(|chosen| by_hours(chosen) && by_days(chosen))
    }
}

/// Renders whenever stills have come, until it is interrupted. `announce` is given what there is to say, as it comes.
///
/// # Errors
/// [`Failure`] where the first round is refused or fails, and where a round is interrupted.
pub fn tend(
    script: &ScriptOptions,
    options: &TendOptions,
    watch: &Watch,
    announce: impl Fn(Reply),
) -> Result<Reply, Failure> {
    let mut tended = Tended { script, options, watch, stills: None, interval: None, said: String::new() };
    // What is wrong from the beginning is said at once, and not waited for.
    let mut seen = tended.seen()?;
    let there = tended.count(&seen).unwrap_or(0);
    tended.stills = tended.stills_of_receipt()?.filter(|before| there < *before);
    match tended.stills {
        Some(before) => announce(line(&tended.fewer(there, before))),
        None => announce(tended.round()?),
    }
    let (mut came, mut late, mut last) = (Instant::now(), false, Instant::now());
    let mut waker = Waker::new(&tended.folders(&seen));
    loop {
        let Some(now) = tended.wait(&seen, &waker, last) else {
            return Ok(Reply {
                closing: Some("stillpath: stopped; the clips stay as they are".into()),
                ..Reply::default()
            });
        };
        let Some(now) = now else {
            if !seen.wants(jiff::ZonedDateTime::now().datetime()) {
                came = Instant::now();
            }
            if let Some(words) = tended.overdue(came.elapsed()).filter(|_| !late) {
                announce(line(&words));
                late = true;
            }
            continue;
        };
        let now = match now {
            Ok(now) => now,
            Err(Failure { reply, .. }) => {
                announce(tended.once(reply));
                last = Instant::now();
                continue;
            }
        };
        let before = tended.stills.unwrap_or(0);
        let Some(grown) = tended.count(&now) else {
            announce(tended.once(line("the stills cannot be found: waiting for them, and the clips stay as they are")));
            (last, waker, seen) = (Instant::now(), Waker::new(&tended.folders(&now)), now);
            continue;
        };
        if grown > before {
            if late {
                announce(line("stills come again"));
            }
            (came, late) = (Instant::now(), false);
        }
        last = Instant::now();
        let same_script = now.script == seen.script;
        waker = Waker::new(&tended.folders(&now));
        seen = now;
        if same_script && grown < before {
            let words = tended.fewer(grown, before);
            announce(tended.once(line(&words)));
            continue;
        }
        match tended.round() {
            Ok(reply) => announce(reply),
            Err(failure) if watch.stop.load(Ordering::Relaxed) => return Err(failure),
            Err(Failure { reply, code }) => {
                announce(tended.once(reply));
                if code == FAILED {
                    // A disk that is full, or a drive that has gone, changes back without any still.
                    seen.script.clear();
                }
            }
        }
    }
}

/// One line, with the time of day.
fn line(words: &str) -> Reply {
    Reply::text(format!("{}  {words}\n", jiff::ZonedDateTime::now().strftime("%H:%M")))
}

struct Tended<'a> {
    script: &'a ScriptOptions,
    options: &'a TendOptions,
    watch: &'a Watch,
    /// Stills of the last round.
    stills: Option<usize>,
    /// Seconds from still to still.
    interval: Option<f64>,
    /// What was said last that may be true for days.
    said: String,
}

impl Tended<'_> {
    /// What stands on the disk now.
    fn seen(&self) -> Result<Seen, Failure> {
        let ran = run(&self.script.script, &self.script.settings)?;
        let base = self.script.script.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."));
        let mut shoots: Vec<(Request, bool, Listing)> = Vec::new();
        for shot in ran.shots.iter().flat_map(Shot::singles) {
            let (request, recorded) = (request_of(shot, base, &self.script.sources), shot.source.recorded);
            if !shoots.iter().any(|(known, was, _)| (known, was) == (&request, &recorded)) {
                let listed = listing(&request, recorded);
                shoots.push((request, recorded, listed));
            }
        }
        let chosen = ran.shots.iter().flat_map(Shot::singles).map(|shot| shot.source.chosen.clone()).collect();
        let tables = named_by(&ran.shots, base).into_iter().filter_map(|path| std::fs::read(path).ok());
        let texts = ran.texts.iter().map(|text| text.blake3).chain(tables.map(|bytes| blake3::hash(&bytes)));
        Ok(Seen { script: texts.collect(), shoots, chosen })
    }

    /// One render, by what is there now.
    fn round(&mut self) -> Result<Reply, Failure> {
        let seen = self.seen()?;
        let stills = self.count(&seen);
        let TendOptions { out, threads, quiet, .. } = self.options.clone();
        let render_options = RenderOptions {
            out,
            threads,
            force: false,
            fresh: false,
            draft: None,
            strip: !quiet,
            receipt: true,
            quiet: false,
            json: false,
            growing: true,
            extent: Extent::Whole,
        };
        let reply = render(self.script, &render_options, self.watch)?;
        let new = stills.unwrap_or(0).saturating_sub(self.stills.unwrap_or(0));
        let said = match self.stills {
            Some(_) => line(&format!("{new} new stills, {} in all", stills.unwrap_or(0))),
            None => line(&format!("{} stills; waiting for more (Ctrl-C stops)", stills.unwrap_or(0))),
        };
        (self.stills, self.said) = (stills, String::new());
        let notes = if quiet { diag::Diagnostics::default() } else { reply.notes };
        Ok(Reply { text: reply.text + &said.text, notes, messages: reply.messages, closing: reply.closing })
    }

    /// How many stills there are, whole or damaged, and how far apart they were taken, where that can be told.
    fn count(&mut self, seen: &Seen) -> Option<usize> {
        let mut count = 0;
        for (request, recorded, _) in &seen.shoots {
            let shoot = surveyed(request, *recorded).ok()?;
            self.interval = shoot.interval.or_else(|| of_files(&shoot)).or(self.interval);
            count += shoot.slots.iter().filter(|slot| !matches!(slot.content, Content::Missing)).count();
        }
        Some(count)
    }

    /// Waits until what stands on the disk is other than `seen` and has been left alone, a while after the `last` round at
    /// the soonest, or until it is time to look at the clock. None where it is told to stop; within it none where nothing
    /// has changed.
    fn wait(&self, seen: &Seen, waker: &Waker, last: Instant) -> Option<Option<Result<Seen, Failure>>> {
        let stopped = || self.watch.stop.load(Ordering::Relaxed);
        let (began, mut told) = (Instant::now(), false);
        let is_due =
            |told: bool| last.elapsed() >= self.options.every && (told || began.elapsed() >= self.options.every);
        while !is_due(told) {
            if stopped() {
                return None;
            }
            told |= waker.woken(STEP);
        }
        let (mut now, mut since) = (self.seen(), Instant::now());
        while now.as_ref().ok() != Some(seen) && since.elapsed() < QUIET {
            if stopped() {
                return None;
            }
            std::thread::sleep(STEP);
            let again = self.seen();
            if again.as_ref().ok() != now.as_ref().ok() {
                since = Instant::now();
            }
            now = again;
        }
        Some(Some(now).filter(|now| now.as_ref().ok() != Some(seen)))
    }

    /// That no still has come, where none has for too long.
    fn overdue(&self, since: Duration) -> Option<String> {
        let interval = self.interval.filter(|interval| *interval > 0.0)?;
        (since.as_secs_f64() > INTERVALS * interval).then(|| {
            format!(
                "no still has come for {}, and they were {} apart: is the camera still running?",
                in_words(since.as_secs_f64()),
                in_words(interval)
            )
        })
    }

    /// The same thing is said once.
    fn once(&mut self, reply: Reply) -> Reply {
        let said = format!("{:?} {}", reply.notes, reply.text.get(5..).unwrap_or_default());
        if std::mem::replace(&mut self.said, said.clone()) == said { Reply::default() } else { reply }
    }

    /// The folders to be told of: the script's, those of the shoots and theirs.
    fn folders(&self, seen: &Seen) -> Vec<PathBuf> {
        let mut folders: Vec<PathBuf> = self.script.script.parent().map(Path::to_owned).into_iter().collect();
        for (request, ..) in &seen.shoots {
            for path in &request.paths {
                let path = request.base.join(path);
                let above = path.ancestors().find(|path| path.is_dir()).map(Path::to_owned);
                let below = std::fs::read_dir(&path).into_iter().flatten().flatten().map(|entry| entry.path());
                folders.extend(above);
                folders.extend(below.filter(|path| path.is_dir()));
            }
        }
        for folder in &mut folders {
            if folder.as_os_str().is_empty() {
                *folder = PathBuf::from(".");
            }
        }
        folders
    }

    /// What is said where stills have gone.
    fn fewer(&self, there: usize, before: usize) -> String {
        let render = command("render", self.script, &self.options.out, None);
        format!(
            "{there} stills are there, and {before} were: the clips stay as they are until more have come; to make them \
             of what is there: {render} --growing"
        )
    }

    /// How many stills the clips that are there were made of, as their receipt says; none without one.
    fn stills_of_receipt(&self) -> Result<Option<usize>, Failure> {
        let ran = run(&self.script.script, &self.script.settings)?;
        let all = ran.shots.iter().flat_map(|shot| &shot.deliveries).map(|delivery| delivery.name.as_str());
        let wanted = all.filter(|name| self.script.deliveries.iter().any(|one| one == name));
        let stem = self.script.script.file_stem().unwrap_or_default().to_string_lossy();
        let last = receipt::last(&receipt::path_of(&stem, wanted, self.script, &self.options.out));
        // A file counts once, whichever shots show it. Frames of recordings have none of their own.
        let stills = |last: Receipt| {
            let all = || last.shoots.iter().flat_map(|shoot| &shoot.stills);
            let files: BTreeSet<_> = all().filter_map(|still| still.path.as_ref()).collect();
            let frames = last.shoots.iter().filter(|shoot| shoot.recording.is_some()).map(|shoot| shoot.stills.len());
            files.len() + frames.sum::<usize>()
        };
        Ok(last.map(stills))
    }
}

/// The usual seconds from one file of a shoot to the next by their times, where stills do not tell theirs: none where they
/// are less than a second apart, as copies are.
fn of_files(shoot: &Shoot) -> Option<f64> {
    let times: Vec<i128> =
        (0..shoot.slots.len()).filter_map(|slot| Some(shoot.still(SlotIndex(slot))?.modified)).collect();
    let mut steps: Vec<i128> = times.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step >= 0).collect();
    steps.sort_unstable();
    #[expect(clippy::cast_precision_loss, reason = "nanoseconds of a day are below 2^53")]
    let usual = *steps.get(steps.len() / 2)? as f64 / 1e9;
    (usual >= 1.0).then_some(usual)
}

/// Seconds as people say them.
fn in_words(seconds: f64) -> String {
    #[expect(clippy::cast_possible_truncation, reason = "an interval of centuries does not exist")]
    let span = jiff::SignedDuration::from_secs(seconds.round() as i64);
    format!("{span:#}")
}

/// Is told by the system that something in a folder has changed, where it tells.
struct Waker {
    told: Receiver<()>,
    /// Tells for as long as it lives; none where the system does not.
    _watcher: Option<RecommendedWatcher>,
}

impl Waker {
    fn new(folders: &[PathBuf]) -> Self {
        let (tell, told) = channel();
        let watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
            // Reading a file is no change, and this program reads all of them.
            if event.is_ok_and(|event| !event.kind.is_access()) {
                let _nobody_waits_any_more = tell.send(());
            }
        });
        let watcher = watcher.ok().map(|mut watcher| {
            for folder in folders {
                let _looked_at_all_the_same = watcher.watch(folder, RecursiveMode::NonRecursive);
            }
            watcher
        });
        Self { told, _watcher: watcher }
    }

    /// Waits for a moment; whether anything was told.
    fn woken(&self, step: Duration) -> bool {
        match self.told.recv_timeout(step) {
            Ok(()) => {
                while self.told.try_recv().is_ok() {}
                true
            }
            Err(RecvTimeoutError::Timeout) => false,
            Err(RecvTimeoutError::Disconnected) => {
                std::thread::sleep(step);
                false
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::{date, time};

    use super::*;
    use crate::diag::{Place, Placed};
    use crate::shot::{Days, Hours};

    #[test]
    fn no_still_is_missed_outside_the_hours_and_days_of_a_script() {
        let placed = |hours| Placed { value: hours, place: Place::new(Path::new("site.lua"), 1) };
        let hours = Some(placed(Hours { from: time(7, 0, 0, 0), to: time(18, 0, 0, 0) }));
        let days = Some(Placed { value: Days::Weekdays, place: Place::new(Path::new("site.lua"), 1) });
        let seen = |chosen| Seen { script: Vec::new(), shoots: Vec::new(), chosen };
        // 2026-11-30 is a Monday.
        let at = |day: i8, hour: i8| date(2026, 11, day).at(hour, 0, 0, 0);
        let wanted = |seen: &Seen| [(30, 6), (30, 7), (30, 19), (29, 12)].map(|(day, hour)| seen.wants(at(day, hour)));
        let working = Chosen { hours: hours.clone(), days: days.clone(), only: None };
        assert_eq!(wanted(&seen(vec![working.clone()])), [false, true, false, false]);
        assert_eq!(wanted(&seen(vec![Chosen { hours, ..Chosen::default() }])), [false, true, false, true]);
        assert_eq!(wanted(&seen(vec![Chosen { days, ..Chosen::default() }])), [true, true, true, false]);
        assert_eq!(wanted(&seen(vec![working, Chosen::default()])), [true; 4]);
        assert_eq!(wanted(&seen(Vec::new())), [true; 4]);
    }
}
