//! One bar with stills decoded, frames written, rate and time left; plain lines where there is no terminal.

use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use indicatif::{HumanDuration, ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};

use crate::diag::Printed;
use crate::pipeline::Watch;

/// How often a terminal's bar is redrawn.
const BAR_EVERY: Duration = Duration::from_millis(100);
/// What is said while stills are out of reach.
const WAITING: &str = "waiting for the stills, which cannot be reached: is their drive connected?";
/// How often a plain line is written.
const LINE_EVERY: Duration = Duration::from_secs(5);

/// Does `work` while telling how far `watch` has come from here: of `stills` to decode and `frames` to write.
pub(super) fn while_rendering<T>(stills: u64, frames: u64, quiet: bool, watch: &Watch, work: impl FnOnce() -> T) -> T {
    if quiet {
        return work();
    }
    // At 80 columns the bar has 20 of them even where frames run to five digits.
    let template = "{wide_bar} {pos}/{len} frames · {msg}{left}";
    // What an earlier shoot, or an earlier pass over this one, has counted already.
    let stills_so_far = || watch.stills.load(Ordering::Relaxed) + watch.kept.load(Ordering::Relaxed);
    let (stills_before, frames_before) = (stills_so_far(), watch.frames.load(Ordering::Relaxed));
    let decoded = || stills_so_far() - stills_before;
    let written = || watch.frames.load(Ordering::Relaxed) - frames_before;
    let say = |seconds: f64| {
        format!("{}/{stills} stills decoded, {}/{frames} frames written, {seconds:.0} s", decoded(), written())
    };
    let began = Instant::now();
    let message = || {
        #[expect(clippy::cast_precision_loss, reason = "a render of 2^53 frames does not exist")]
        let rate = written() as f64 / began.elapsed().as_secs_f64().max(0.001);
        // Encoders hold frames back and files are read through before they get their names.
        if watch.waiting.load(Ordering::Relaxed) {
            return WAITING.into();
        }
        if written() >= frames {
            "finishing the files".into()
        } else {
            format!("{}/{stills} stills · {rate:.1}/s", decoded())
        }
    };
    let alarm = || watch.waiting.load(Ordering::Relaxed).then_some(WAITING);
    tell_while(frames, template, written, message, (say, alarm), work)
}

/// Says something at once.
pub(super) fn say(text: &str) {
    tell(&Printed::lines(text));
}

#[expect(clippy::disallowed_methods, reason = "the one place that prints progress, and nothing but what is fit")]
fn tell(text: &Printed) {
    // A reader that has gone does not stop a render.
    let _gone = std::io::stderr().write_all(text.as_bytes());
}

/// Draws the demo shoot while telling how many stills are done.
pub(super) fn while_drawing<T>(stills: u64, watch: &Watch, work: impl FnOnce(&(dyn Fn() -> bool + Sync)) -> T) -> T {
    let done = || watch.stills.load(Ordering::Relaxed);
    let say = |seconds: f64| format!("{}/{stills} stills drawn, {seconds:.0} s", done());
    let drawn = || {
        watch.stills.fetch_add(1, Ordering::Relaxed);
        !watch.stop.load(Ordering::Relaxed)
    };
    let plain = (say, || None);
    tell_while(stills, "{wide_bar} {pos}/{len} stills drawn{left}", done, String::new, plain, || work(&drawn))
}

/// Looks at a shoot while telling how many stills are done. What is called back says whether to go on.
pub(super) fn while_looking<T>(
    stills: u64,
    quiet: bool,
    watch: &Watch,
    work: impl FnOnce(&(dyn Fn() -> bool + Sync)) -> T,
) -> T {
    let before = watch.stills.load(Ordering::Relaxed);
    let done = || (watch.stills.load(Ordering::Relaxed) - before).min(stills);
    let seen = || {
        watch.stills.fetch_add(1, Ordering::Relaxed);
        !watch.stop.load(Ordering::Relaxed)
    };
    if quiet {
        return work(&seen);
    }
    let now = || if done() < stills { "" } else { ", comparing them" };
    let say = |seconds: f64| format!("{}/{stills} stills looked at{}, {seconds:.0} s", done(), now());
    let began = Instant::now();
    #[expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]
    let rate = || format!("{:.0}/s{}", done() as f64 / began.elapsed().as_secs_f64().max(0.001), now());
    tell_while(stills, "{wide_bar} {pos}/{len} stills looked at · {msg}{left}", done, rate, (say, || None), || {
        work(&seen)
    })
}

/// Hashes files of this many bytes in all while showing how far `done` is.
pub(super) fn while_hashing<T>(
    bytes: u64,
    quiet: bool,
    done: &(dyn Fn() -> u64 + Sync),
    work: impl FnOnce() -> T,
) -> T {
    let say = |seconds: f64| format!("{} of {} hashed, {seconds:.0} s", super::bytes(done()), super::bytes(bytes));
    let message = || format!("{} of {}", super::bytes(done()), super::bytes(bytes));
    let template = "{wide_bar} {msg} hashed{left}";
    if quiet { work() } else { tell_while(bytes, template, done, message, (say, || None), work) }
}

/// Decodes this many frames in all while showing how far `done` is.
pub(super) fn while_decoding<T>(
    frames: u64,
    quiet: bool,
    done: &(dyn Fn() -> u64 + Sync),
    work: impl FnOnce() -> T,
) -> T {
    let say = |seconds: f64| format!("{}/{frames} frames checked, {seconds:.0} s", done());
    let template = "{wide_bar} {pos}/{len} frames checked{left}";
    if quiet { work() } else { tell_while(frames, template, done, String::new, (say, || None), work) }
}

/// Looks at a clip while saying how many frames are done: how many there are is not known.
pub(super) fn while_watching<T>(quiet: bool, done: &(dyn Fn() -> u64 + Sync), work: impl FnOnce() -> T) -> T {
    let say = |seconds: f64| format!("{} frames looked at, {seconds:.0} s", done());
    let message = || format!("{} frames looked at", done());
    if quiet { work() } else { tell_while(0, "{msg}", done, message, (say, || None), work) }
}

/// How a bar says what time is left: not before there is a rate to go by, and no more once all is counted.
fn left(done: u64, all: u64, estimate: Duration) -> String {
    match (done, estimate) {
        _ if done >= all => String::new(),
        // indicatif's estimate is nothing until it has a rate.
        (0, _) | (_, Duration::ZERO) => " · …".into(),
        _ => format!(" · {:#} left", HumanDuration(estimate)),
    }
}

fn tell_while<T>(
    length: u64,
    template: &str,
    position: impl Fn() -> u64 + Sync,
    message: impl Fn() -> String + Sync,
    (plain, alarm): (impl Fn(f64) -> String + Sync, impl Fn() -> Option<&'static str> + Sync),
    work: impl FnOnce() -> T,
) -> T {
    let over = AtomicBool::new(false);
    let began = Instant::now();
    #[expect(clippy::disallowed_methods, reason = "nothing is printed")]
    let terminal = std::io::stderr().is_terminal();
    std::thread::scope(|scope| {
        let teller = scope.spawn(|| {
            let style =
                ProgressStyle::with_template(template).unwrap_or_else(|_bad_template| ProgressStyle::default_bar());
            let style = style.with_key("left", |state: &ProgressState, out: &mut dyn std::fmt::Write| {
                // A bar that cannot be drawn is no reason to stop.
                let _undrawn = out.write_str(&left(state.pos(), state.len().unwrap_or(0), state.eta()));
            });
            let target = if terminal { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
            let bar = ProgressBar::with_draw_target(Some(length), target).with_style(style);
            let (mut told, mut alarmed) = (Instant::now(), None);
            while !over.load(Ordering::Acquire) {
                std::thread::park_timeout(BAR_EVERY);
                if terminal {
                    bar.set_message(message());
                    bar.set_position(position());
                    continue;
                }
                // Said once, and at once.
                let now = alarm();
                if let Some(words) = now.filter(|_| now != alarmed) {
                    say(&format!("{words}\n"));
                }
                alarmed = now;
                if told.elapsed() >= LINE_EVERY {
                    told = Instant::now();
                    say(&format!("{}\n", plain(began.elapsed().as_secs_f64())));
                }
            }
            bar.finish_and_clear();
        });
        // The bar must stop even where the work panics.
        let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(work));
        over.store(true, Ordering::Release);
        teller.thread().unpark();
        match result {
            Ok(result) => result,
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_time_is_told_as_left_before_there_is_a_rate_or_once_all_is_counted() {
        let seconds = Duration::from_secs;
        assert_eq!(left(0, 480, Duration::ZERO), " · …");
        assert_eq!(left(0, 480, seconds(9)), " · …");
        assert_eq!(left(3, 480, Duration::ZERO), " · …");
        assert_eq!(left(3, 480, seconds(40)), " · 40s left");
        assert_eq!(left(480, 480, Duration::ZERO), "");
    }
}
