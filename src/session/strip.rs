//! Contact strips: chosen frames of each delivery, painted by the true pipeline in small.
//!
//! ## Decisions
//!
//! - `render` puts `OUT/SCRIPT-strip.png` beside its outputs (with the delivery's name where only one is rendered). Not
//!   with `--no-strip` or `--quiet`, never over another file without `--force`, and never where the next survey would
//!   take it for a still.
//! - It is made after the clips, so a failed strip cannot cost a clip.

use std::fmt;
use std::path::{Path, PathBuf};

use super::pictures;
use super::prepare::{Part, Prepared};
use super::written::{self, Form};
use super::{Failure, draft, put};
use crate::diag::{self, Diagnostic, Diagnostics};
use crate::draw::{self, StripFrame, StripRow};
use crate::ink::Drawing;
use crate::pipeline::{Detail, Watch};
use crate::plan::DeliveryPlan;
use crate::units::{Size, timecode};

/// Which frames are chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Choice {
    /// The first, those at keys, the last; more in the largest gaps where that is few.
    Keys,
    /// This many, evenly apart.
    Even(usize),
}

/// How many frames a row has at least, where the clip has them, and at most.
const FEW: usize = 7;
const MANY: usize = 12;

/// The strip that a render puts beside its outputs.
#[derive(Debug)]
pub(super) enum Strip {
    /// None was asked for.
    None,
    /// Written to this file.
    Written(PathBuf),
    /// Not written, for something stands there or the file would be taken for a still: in a line.
    LeftAlone(String),
    /// It could not be made. The clips are, so that is only remarked on.
    Failed(Diagnostics),
}

impl Strip {
    /// The file, where one was written.
    pub(super) fn path(&self) -> Option<&Path> {
        match self {
            Self::Written(path) => Some(path),
            Self::None | Self::LeftAlone(_) | Self::Failed(_) => None,
        }
    }
}

impl fmt::Display for Strip {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Written(path) => writeln!(f, "{}  a strip of frames of each", diag::path(path)),
            Self::LeftAlone(why) => writeln!(f, "no strip of frames: {why}"),
            Self::None | Self::Failed(_) => Ok(()),
        }
    }
}

/// Writes `OUT/SCRIPT-strip.png` once the outputs are there, or `OUT/SCRIPT-DELIVERY-strip.png` of a single delivery;
/// beside drafts, of stills decoded small, `OUT/SCRIPT-strip.draft.png`. Nothing that goes wrong here undoes a render.
pub(super) fn beside_outputs(prepared: &Prepared, out: &Path, force: bool, detail: Detail<'_>) -> Strip {
    let deliveries: Vec<&str> =
        prepared.parts.iter().flat_map(|part| &part.made.plan().deliveries).map(|plan| plan.name.as_str()).collect();
    let path = out.join(match deliveries[..] {
        [one] => format!("{}-{one}-strip.png", prepared.stem),
        _ => format!("{}-strip.png", prepared.stem),
    });
    let draft = matches!(detail, Detail::Small(_));
    let path = if draft { draft::name(&path) } else { path };
    let force = force || draft && draft::may_replace(&path);
    if let Err(refused) = written::check_free(&path, force, &prepared.requests) {
        let why = refused.reply.notes.0.first().map_or_else(String::new, |note| note.message.clone());
        return Strip::LeftAlone(why);
    }
    // A watch of its own: what a render has counted is told as it was.
    let written = strip(prepared, Choice::Keys, Form::Png, detail, &Watch::default())
        .and_then(|drawing| put::write_or_fail(&path, &Form::Png.bytes(&drawing)?, force));
    match written {
        Ok(()) => Strip::Written(path),
        Err(failure) => {
            let said = failure
                .reply
                .notes
                .0
                .into_iter()
                .map(|note| Diagnostic::remark(format!("no strip of frames: {}", note.message)));
            Strip::Failed(Diagnostics(said.collect()))
        }
    }
}

/// The strip of everything prepared.
///
/// # Errors
/// [`Failure`] as a render's.
pub(super) fn strip(
    prepared: &Prepared,
    choice: Choice,
    form: Form,
    detail: Detail<'_>,
    watch: &Watch,
) -> Result<Drawing, Failure> {
    let mut rows = Vec::new();
    for part in &prepared.parts {
        rows.extend(rows_of(prepared, part, choice, form, detail, watch)?);
    }
    Ok(draw::strip(&draw::Strip { title: prepared.stem.clone(), rows }))
}

fn rows_of(
    prepared: &Prepared,
    part: &Part,
    choice: Choice,
    form: Form,
    detail: Detail<'_>,
    watch: &Watch,
) -> Result<Vec<StripRow>, Failure> {
    let shoot = &prepared.shoots[part.shoot];
    let keys = match choice {
        Choice::Keys => part.made.keys(),
        Choice::Even(_) => vec![Vec::new(); part.made.plan().deliveries.len()],
    };
    let moments = keys.iter().map(|keys| keys.iter().map(|key| key.seconds).collect::<Vec<f64>>());
    let chosen: Vec<Vec<usize>> =
        part.made.plan().deliveries.iter().zip(moments).map(|(plan, at)| chosen(plan, &at, choice)).collect();
    let plans: Vec<DeliveryPlan> = part
        .made
        .plan()
        .deliveries
        .iter()
        .zip(&chosen)
        .map(|(plan, frames)| {
            let rows = frames.iter().map(|frame| plan.rows[*frame].clone()).collect();
            pictures::in_small(plan, size_in_strip(plan.frame), rows)
        })
        .collect();
    let painted = pictures::paint_in(detail, shoot, &plans, watch)?;
    let mut rows = Vec::new();
    for (delivery, ((plan, numbers), frames)) in
        part.made.plan().deliveries.iter().zip(&chosen).zip(painted).enumerate()
    {
        let frames = numbers.iter().zip(frames).map(|(number, frame)| {
            let image = if form == Form::Png { pictures::as_png(&frame)? } else { pictures::as_jpeg(&frame) };
            Ok(StripFrame { number: *number, time: timecode(*number as u64, plan.fps), size: frame.size, image })
        });
        let name = if part.shot.name.is_empty() {
            plan.name.clone()
        } else {
            format!("{}, {}", prepared.title(part), plan.name)
        };
        let facts = format!("{} at {} a second, {} frames", plan.frame, plan.fps, plan.rows.len());
        rows.push(StripRow { name, delivery, facts, frames: frames.collect::<Result<_, Failure>>()? });
    }
    Ok(rows)
}

/// The size of a delivery's frames in a strip.
fn size_in_strip(frame: Size) -> Size {
    pictures::small(frame, 240.0 * 135.0)
}

/// The numbers of the frames chosen, in order.
fn chosen(plan: &DeliveryPlan, moments: &[f64], choice: Choice) -> Vec<usize> {
    let last = plan.rows.len() - 1;
    let even = |count: usize| -> Vec<usize> {
        let steps = count.min(last + 1).max(1) - 1;
        (0..=steps).map(|step| (step * last + steps / 2).checked_div(steps).unwrap_or(0)).collect()
    };
    let Choice::Keys = choice else {
        let Choice::Even(count) = choice else { unreachable!("there are two choices") };
        return even(count);
    };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a moment of this clip")]
    let frame = |seconds: &f64| (seconds * plan.fps.per_second() + 1e-6).floor().max(0.0) as usize;
    let mut frames: Vec<usize> = moments.iter().map(frame).filter(|frame| *frame <= last).chain([0, last]).collect();
    frames.sort_unstable();
    frames.dedup();
    if frames.len() > MANY {
        return even(MANY);
    }
    while frames.len() < FEW.min(last + 1) {
        let gaps = frames.windows(2).enumerate().rev().max_by_key(|(_, pair)| pair[1] - pair[0]);
        let Some((at, middle)) = gaps.map(|(at, pair)| (at, usize::midpoint(pair[0], pair[1]))) else { break };
        frames.insert(at + 1, middle);
    }
    frames
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::Window;
    use crate::plan::Row;
    use crate::shot::{Codec, Light, Policy, Sharpness};
    use crate::units::{FrameRate, SlotIndex};

    fn plan(frames: usize) -> DeliveryPlan {
        let row = Row::plain(SlotIndex(0), Window::new(0.0, 0.0, 4.0, 3.0));
        DeliveryPlan {
            name: "wide".into(),
            frame: Size::new(4, 3),
            fps: FrameRate::new(24, 1).unwrap(),
            codec: Codec::PNG,
            sharpness: Sharpness::Even,
            resample: Light::Encoded,
            light: Light::Linear,
            room: Size::new(4, 3).into(),
            rooms: Vec::new(),
            corrected: false,
            sound: [].into(),
            stamps: [].into(),
            unread_sound: Policy::default(),
            every_still: false,
            extras: crate::plan::Extras::default(),
            gathered: Vec::new(),
            rows: vec![row; frames],
        }
    }

    #[test]
    fn a_strip_has_the_first_frame_those_at_keys_the_last_and_some_in_the_gaps() {
        let frames = chosen(&plan(240), &[0.0, 2.0, 30.0], Choice::Keys);
        assert_eq!(frames.len(), FEW);
        assert!([0, 48, 239].iter().all(|frame| frames.contains(frame)) && frames.is_sorted(), "{frames:?}");
        assert_eq!(chosen(&plan(1), &[0.0], Choice::Keys), [0]);
        assert_eq!(chosen(&plan(2), &[], Choice::Keys), [0, 1]);
    }

    #[test]
    fn frames_evenly_apart_begin_with_the_first_and_end_with_the_last() {
        assert_eq!(chosen(&plan(101), &[], Choice::Even(5)), [0, 25, 50, 75, 100]);
        assert_eq!(chosen(&plan(3), &[], Choice::Even(9)), [0, 1, 2]);
        assert_eq!(chosen(&plan(3), &[], Choice::Even(1)), [0]);
    }
}
