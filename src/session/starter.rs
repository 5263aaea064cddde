//! The text of a starter script for a surveyed shoot: everything filled in that the shoot itself tells, with a comment
//! on each.

use std::fmt::Write as _;
use std::path::Path;

use jiff::civil::DateTime;

use crate::shoot::{Content, Shoot};
use crate::units::{Size, SlotIndex};

/// Frames a second of a starter script.
pub(super) const FPS: usize = 24;
/// The clip's length is brought between these, in frames, by a whole number of stills a frame or frames a still: 10 to
/// 30 s.
const SHORTEST: usize = 10 * FPS;
const LONGEST: usize = 30 * FPS;
/// No still is shown for more frames than this to make a short shoot last.
const MOST_FRAMES_A_STILL: usize = 12;
/// How close the window comes.
const NEAR: f64 = 1.25;
/// The short sides of frames, in pixels.
const SIDES: [u32; 5] = [1080, 720, 540, 360, 180];

/// The script, for stills that it finds at `source` and that people know as `folder`; `script` is its own file name.
pub(super) fn text(shoot: &Shoot, source: &str, folder: &str, script: &Path) -> String {
    let deliveries = deliveries(shoot.size);
    format!(
        "{head}--
{steps}
-- How close the window comes; `--set near=1.5` sets it from outside, `stillpath dials` lists what can be set.
local near = dial(\"near\", {NEAR}, {{ min = 1, max = 8, help = \"how close the window comes\" }})

-- What the clips come closer to: fractions of the upright still, across and down.
local subject = point(0.5, 0.5)

return shot {{
  source = {called} {{
    {source:?},
{policies}{interval}  }},

  fps = {FPS},

{pace}
  -- Where the window is, and when. Keys may also sit on a still, still(12); on a fraction of the shoot, part(0.4); on a second
  -- of the clip, 3.5; or on a time of day. Zoom 1 is the largest window of a delivery's shape.
  framing = framing {{
    key {{ at = \"start\", on = subject, zoom = 1 }},
{clock}    key {{ at = \"end\", on = subject, zoom = near, ease = \"ease-in-out\" }},
  }},

  -- One clip each, all from one pass over the stills.
  deliveries = {{
{rows}  }},
}}
",
        head = head(shoot, folder),
        steps = steps(folder, script),
        called = if shoot.recording.is_some() { "recording" } else { "stills" },
        policies = policies(shoot),
        interval = interval(shoot),
        pace = pace(shoot),
        clock = clock_key(shoot),
        rows = deliveries
            .iter()
            .map(|(name, frame)| format!("    delivery {{ \"{name}\", frame = {{ {}, {} }} }},\n", frame.width, frame.height))
            .collect::<String>(),
    )
}

pub(super) fn head(shoot: &Shoot, folder: &str) -> String {
    let every = shoot.interval.map(|seconds| format!(", one every {} s", rounded(seconds))).unwrap_or_default();
    let mut out = format!(
        "-- A first script for the shoot in {folder:?}: {} of {}{every}",
        counted(shoot.slots.len()),
        shoot.size
    );
    if let (Some((_, first)), Some((_, last))) = (times(shoot).next(), times(shoot).next_back()) {
        let _infallible = write!(out, ",\n-- taken from {} to {}", spoken(first), spoken(last));
    }
    out + ".\n"
}

/// What a person types, in the order in which it is needed.
pub(super) fn steps(folder: &str, script: &Path) -> String {
    let stem = script.file_stem().unwrap_or_default().to_string_lossy();
    let receipt = typed(&format!("clips/{stem}-receipt.json"));
    let (folder, script) = (typed(folder), typed(&script.to_string_lossy()));
    let steps = [
        (format!("survey {folder}"), "what the shoot holds: `new` wrote this script from that"),
        (format!("check {script}"), "every mistake and remark, in seconds"),
        (format!("live {script}"), "a page in your browser that follows every save of this script"),
        (format!("draw {script} -o move.svg"), "or the same on paper"),
        (format!("render {script} --out clips --draft"), "half the size and quick, to judge pace and moves"),
        (format!("render {script} --out clips"), "the finished clips"),
        (format!("prove {receipt}"), "whether all is still as the render left it"),
    ];
    let widest = steps[1..].iter().map(|(command, _)| command.chars().count()).max().unwrap_or(0);
    steps.iter().map(|(command, why)| format!("--   stillpath {command:widest$}  {why}\n")).collect()
}

/// A path as a comment shows it: in quotes, with escapes, where it is not plain.
fn typed(path: &str) -> String {
    let plain = |letter: char| letter.is_ascii_alphanumeric() || "_-./".contains(letter);
    if path.chars().all(plain) { path.to_owned() } else { format!("{path:?}") }
}

/// What is done about missing and damaged stills, where there are any.
pub(super) fn policies(shoot: &Shoot) -> String {
    policy(shoot, "missing", |content| matches!(content, Content::Missing))
        + &policy(shoot, "damaged", |content| matches!(content, Content::Damaged { .. }))
}

fn policy(shoot: &Shoot, kind: &str, is_one: impl Fn(&Content) -> bool) -> String {
    let mut slots = shoot.slots.iter().filter(|slot| is_one(&slot.content));
    let Some(first) = slots.next() else { return String::new() };
    let what = match slots.count() {
        0 => format!("{:?} is {kind}", first.name),
        more => format!("{} are {kind}, {:?} the first", counted(more + 1), first.name),
    };
    format!(
        "    -- {what}: the still before is shown instead; \"skip\" takes no time, \"stop\" refuses.\n    {kind} = \"hold\",\n"
    )
}

pub(super) fn interval(shoot: &Shoot) -> String {
    if shoot.interval.is_some() || shoot.slots.len() < 2 {
        return String::new();
    }
    "    -- The stills do not say when they were taken. Seconds between two of them make times(60) mean something:\n    -- interval = 5,\n"
        .to_owned()
}

/// An even pace: every still for the same number of frames, or the same number of stills gone by in every frame.
pub(super) fn pace(shoot: &Shoot) -> String {
    let stills = shoot.slots.len();
    let seconds = |frames: f64| rounded(frames / count(FPS));
    let real_time = match shoot.interval {
        Some(seconds) if seconds > 0.0 => " times(60), sixty times as fast as it was;",
        _ => "",
    };
    let (said, rate) = match stills {
        1 => ("One still, for as long as you like".to_owned(), "over \"8s\"".to_owned()),
        _ if stills < SHORTEST => match SHORTEST.div_ceil(stills).min(MOST_FRAMES_A_STILL) {
            1 => (format!("Every still for one frame: {} s", seconds(count(stills))), "frames_per_still(1)".to_owned()),
            each => (
                format!("Every still for {each} frames: {} s", seconds(count(stills * each))),
                format!("frames_per_still({each})"),
            ),
        },
        _ => match stills.div_ceil(LONGEST) {
            1 => (format!("One still a frame: {} s", seconds(count(stills))), "stills_per_frame(1)".to_owned()),
            each => (
                format!("One still in {each}, a frame each: {} s", seconds(count(stills) / count(each))),
                format!("stills_per_frame({each})"),
            ),
        },
    };
    format!(
        "  -- {said}.\n  -- Or: over \"20s\";{real_time} pace {{ key {{ … }}, … }}, which changes on its way.\n  pace = {rate},\n"
    )
}

/// A key on a time of day, in a comment, where the stills tell theirs.
fn clock_key(shoot: &Shoot) -> String {
    let known: Vec<(usize, DateTime)> = times(shoot).collect();
    let (Some((first_slot, first)), Some((last_slot, last))) = (known.first(), known.last()) else {
        return String::new();
    };
    let Some((slot, middle)) = known.get(known.len() / 2) else { return String::new() };
    // Between the keys at the start and the end, and at a time the clock shows once.
    if slot <= first_slot || slot >= last_slot || known.windows(2).any(|pair| pair[0].1 >= pair[1].1) {
        return String::new();
    }
    let time = middle.time().strftime("%H:%M:%S");
    let written = if first.date() == last.date() { time.to_string() } else { format!("{} {time}", middle.date()) };
    format!("    -- key {{ at = clock \"{written}\", on = subject, zoom = 1, ease = \"ease-in-out\" }},\n")
}

/// A delivery of each shape, the still's own way up first; no larger than the still has pixels for where the window is
/// closest.
pub(super) fn deliveries(still: Size) -> Vec<(&'static str, Size)> {
    let shapes = [("wide", 16, 9), ("vertical", 9, 16), ("square", 1, 1)];
    let mut deliveries: Vec<_> = shapes
        .into_iter()
        .map(|(name, across, down)| {
            let least = across.min(down);
            let frame = |side: u32| Size::new(side / least * across, side / least * down);
            let fits = |frame: &Size| {
                f64::from(frame.width) * NEAR <= f64::from(still.width)
                    && f64::from(frame.height) * NEAR <= f64::from(still.height)
            };
            let [.., smallest] = SIDES;
            (name, SIDES.map(frame).into_iter().find(fits).unwrap_or_else(|| frame(smallest)))
        })
        .collect();
    if still.height > still.width {
        deliveries.swap(0, 1);
    }
    deliveries
}

/// The stills that tell when they were taken, by slot.
fn times(shoot: &Shoot) -> impl DoubleEndedIterator<Item = (usize, DateTime)> {
    (0..shoot.slots.len()).filter_map(|slot| Some((slot, shoot.captured(SlotIndex(slot))?.local)))
}

fn spoken(time: DateTime) -> String {
    time.strftime("%Y-%m-%d %H:%M:%S").to_string()
}

fn counted(stills: usize) -> String {
    if stills == 1 { "1 still".to_owned() } else { format!("{stills} stills") }
}

/// Three decimals at most.
fn rounded(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

fn count(number: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a shoot of 2^53 stills does not exist")]
    let number = number as f64;
    number
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_are_no_larger_than_the_still_has_pixels_for() {
        let size = |width, height| {
            deliveries(Size::new(width, height)).into_iter().map(|(name, frame)| format!("{name} {frame}"))
        };
        let all = |width, height| size(width, height).collect::<Vec<_>>().join(", ");
        assert_eq!(all(4592, 3448), "wide 1920x1080, vertical 1080x1920, square 1080x1080");
        assert_eq!(all(3448, 4592), "vertical 1080x1920, wide 1920x1080, square 1080x1080");
        assert_eq!(all(1920, 1080), "wide 1280x720, vertical 360x640, square 720x720");
        assert_eq!(all(100, 100), "wide 320x180, vertical 180x320, square 180x180");
    }
}
