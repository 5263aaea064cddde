//! What a worker does: takes batches in order, decodes what they show, paints their frames and hands them on.

use std::sync::atomic::Ordering;

use super::batches::{Batch, Task};
use super::stills::{Held, hold, let_go};
use super::turnstile::Stopped;
use super::{Due, Fault, Finish, Lane, Studio};
use crate::decode::Decoder;
use crate::geom::Window;
use crate::level::Gain;
use crate::picture::{Frame, Picture};
use crate::sample::{Exposure, Painter, Pair, Part};
use crate::units::SlotIndex;

/// A worker: takes batches in order, decodes what they show, paints and hands on their frames.
pub(super) fn develop(studio: &Studio<'_>) {
    let mut desk = Desk { decoder: Decoder::new(), painter: Painter::new(), pair: Pair::new(), laid_out: None };
    loop {
        let Some(batch) = studio.work.batches.get(studio.next.fetch_add(1, Ordering::Relaxed)) else { return };
        if studio.failed() {
            return;
        }
        if let Err(fault) = develop_batch(studio, batch, &mut desk) {
            match fault {
                Some(fault) => studio.fail(fault),
                None => debug_assert!(studio.failed(), "a worker stopped without a cause"),
            }
            return;
        }
    }
}

/// What a worker works with.
struct Desk {
    decoder: Decoder,
    painter: Painter,
    pair: Pair,
    /// What the pair shows: stills through the window of a delivery.
    laid_out: Option<(usize, [SlotIndex; 2], Window)>,
}

/// One batch. An error without a fault means that another thread has failed.
fn develop_batch(studio: &Studio<'_>, batch: &Batch, desk: &mut Desk) -> Result<(), Option<Fault>> {
    let beside = batch.beside.iter().map(|visit| hold(studio, *visit, &mut desk.decoder));
    let beside = beside.collect::<Result<Vec<Held>, _>>()?;
    let own = hold(studio, batch.visit, &mut desk.decoder)?;
    for task in &batch.tasks {
        paint_task(studio, task, &own, &beside, desk)?;
    }
    for held in beside.into_iter().chain([own]) {
        let_go(studio, held);
    }
    Ok(())
}

/// Paints one frame, or a still's part in it, and hands it on when it is done and its turn has come.
fn paint_task(studio: &Studio<'_>, task: &Task, own: &Held, beside: &[Held], desk: &mut Desk) -> Result<(), Option<Fault>> {
    let lane = &studio.lanes[task.output];
    let (window, sharpness) = (studio.window(lane, task.window, own.slot), lane.plan.sharpness);
    let (picture, painter) = (&*own.picture, &mut desk.painter);
    let refused = |source| Some(Fault::Paint { slot: own.slot, source });
    let spare_frame = || lane.spares.try_recv().unwrap_or_else(|_none_resting| Frame::new(lane.kind, lane.plan.frame));
    painter.level(studio.gain(lane, own.slot));
    let frame = if task.is_whole() {
        let mut frame = spare_frame();
        painter.paint(picture, window, sharpness, &mut frame).map_err(refused)?;
        frame
    } else if let Some(stills) = task.invented {
        let pictures = stills.map(|slot| {
            let picture = beside.iter().find(|held| held.slot == slot).map_or(picture, |held| &*held.picture);
            (picture, studio.gain(lane, slot), studio.window(lane, task.window, slot))
        });
        let mut frame = spare_frame();
        invent(lane, task, (stills, pictures), desk, &mut frame)?;
        frame
    } else {
        let fresh = || Exposure::new(lane.kind, lane.plan.frame, lane.plan.light);
        let mut exposure = lane.darkroom.take(task.row, task.part, fresh).map_err(|Stopped| None)?;
        painter.expose(picture, window, sharpness, task.part, &mut exposure).map_err(refused)?;
        if !task.is_last() {
            lane.darkroom.put(task.row, task.part, exposure);
            return Ok(());
        }
        let mut frame = spare_frame();
        painter.print(&exposure, &mut frame);
        lane.darkroom.rest(exposure);
        frame
    };
    hand_on(lane, task, Due { frame, times: task.times })
}

/// Paints a frame that is invented between two stills.
fn invent(
    lane: &Lane<'_>,
    task: &Task,
    (stills, pictures): ([SlotIndex; 2], [(&Picture, Gain, Window); 2]),
    desk: &mut Desk,
    frame: &mut Frame,
) -> Result<(), Option<Fault>> {
    let Desk { painter, pair, laid_out, .. } = desk;
    let sharpness = lane.plan.sharpness;
    let refused = |still: usize, source| Some(Fault::Paint { slot: stills[still], source });
    if *laid_out != Some((task.output, stills, task.window)) {
        *laid_out = None;
        let as_what = (lane.kind, lane.plan.frame);
        painter.lay_out(pictures, sharpness, as_what, pair).map_err(|(still, source)| refused(still, source))?;
        *laid_out = Some((task.output, stills, task.window));
    }
    let first = Part { weight: task.part.before, before: 0 };
    let fresh = || Exposure::new(lane.kind, lane.plan.frame, lane.plan.light);
    let mut mean = lane.darkroom.take(task.row, first, fresh).map_err(|Stopped| None)?;
    for (still, ((picture, gain, window), part)) in pictures.into_iter().zip([first, task.part]).enumerate() {
        painter.level(gain);
        painter.expose(picture, window, sharpness, part, &mut mean).map_err(|source| refused(still, source))?;
    }
    painter.print_between(&mean, pair, task.part.of_whole(), frame);
    lane.darkroom.rest(mean);
    Ok(())
}

/// Hands a frame on when its turn has come, or lays it aside where that might be never while this worker waits.
fn hand_on(lane: &Lane<'_>, task: &Task, due: Due) -> Result<(), Option<Fault>> {
    let mut due = if task.early {
        let Some(due) = lane.turnstile.lay_aside(task.row, due) else { return Ok(()) };
        due
    } else {
        lane.turnstile.wait_for(task.row).map_err(|Stopped| None)?;
        due
    };
    let mut row = task.row;
    loop {
        row += due.times;
        lane.queue.send(Finish::Frame(due)).map_err(|_receiver_gone| None)?;
        match lane.turnstile.advance(row) {
            Some(next) => due = next,
            None => return Ok(()),
        }
    }
}
