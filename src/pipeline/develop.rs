//! What a worker does: takes batches in order, decodes what they show, paints their frames and hands them on.

use std::sync::atomic::Ordering;

use super::batches::{Batch, Task, What};
use super::gathers::Refused;
use super::lights::Lights;
use super::reorder::Stopped;
use super::stills::{Held, hold, let_go};
use super::{Due, Fault, Finish, Lane, Studio};
use crate::decode::Decoder;
use crate::geom::Window;
use crate::level::Gain;
use crate::picture::{Frame, FrameKind, Picture};
use crate::plan::{Between, Layer, Share};
use crate::sample::{Accumulator, Overlayer, Painter, Pair, Part};
use crate::shot::Light;

/// A worker: takes batches in order, decodes what they show, paints and hands on their frames.
pub(super) fn develop(studio: &Studio<'_>) {
    let mut desk = Desk {
        decoder: Decoder::new(),
        painter: Painter::new(),
        pair: Pair::new(),
        laid_out: None,
        lights: Lights::default(),
        overlayer: Overlayer::default(),
    };
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
struct Desk<'a> {
    decoder: Decoder,
    painter: Painter,
    pair: Pair,
    /// What the pair shows: layers of a delivery.
    laid_out: Option<(usize, &'a [Layer; 2])>,
    lights: Lights,
    overlayer: Overlayer,
}

/// One batch. An error without a fault means that another thread has failed.
fn develop_batch<'a>(studio: &Studio<'a>, batch: &'a Batch<'a>, desk: &mut Desk<'a>) -> Result<(), Option<Fault>> {
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
fn paint_task<'a>(
    studio: &Studio<'a>,
    task: &Task<'a>,
    own: &Held,
    beside: &[Held],
    desk: &mut Desk<'a>,
) -> Result<(), Option<Fault>> {
    let lane = &studio.lanes[task.output];
    let sharpness = lane.plan.sharpness;
    let refused = |source| Some(Fault::Paint { slot: own.slot, source });
    let linear = lane.plan.resample == Light::Linear && lane.kind != FrameKind::Planes;
    if linear {
        let all: Vec<&Held> = beside.iter().chain([own]).collect();
        desk.lights
            .make(all.into_iter(), &mut desk.painter)
            .map_err(|(slot, source)| Some(Fault::Paint { slot, source }))?;
    }
    let painter = &mut desk.painter;
    let shown = if linear { desk.lights.of(own) } else { &own.picture };
    let spare_frame = || lane.spares.try_recv().unwrap_or_else(|_none_resting| Frame::new(lane.kind, lane.plan.frame));
    let (mut frame, foremost) = match task.what {
        What::Whole(layer) => {
            let (window, gain) = own.through(layer);
            let mut frame = spare_frame();
            painter.level(gain);
            painter.paint(shown, window, sharpness, &mut frame).map_err(refused)?;
            (frame, Some(own.shown(layer)))
        }
        What::Part(layer, part, is_foremost) => {
            let (window, gain) = own.through(layer);
            let fresh = || Accumulator::new(lane.kind, lane.plan.frame, lane.plan.light);
            let mut exposure = lane.accumulators.take(task.row, part, fresh).map_err(|Stopped| None)?;
            painter.level(gain);
            painter.expose(shown, window, sharpness, part, &mut exposure.mean).map_err(refused)?;
            if is_foremost {
                exposure.foremost = Some(own.shown(layer));
            }
            if !task.is_last() {
                lane.accumulators.put(task.row, part, exposure);
                return Ok(());
            }
            let mut frame = spare_frame();
            painter.print(&exposure.mean, &mut frame);
            lane.accumulators.rest(exposure.mean);
            (frame, exposure.foremost)
        }
        What::Take(take) => {
            let (window, gain) = own.through(take.layer);
            painter.level(gain);
            let taken = lane.gathers.take_in(&take, painter, (shown, window, sharpness), own.shown(take.layer));
            return taken.map_err(|refusal| match refusal {
                Refused::Stopped => None,
                Refused::Paint(source) => refused(source),
            });
        }
        What::Print(print) => {
            let mut frame = spare_frame();
            let foremost = lane.gathers.print(&print, painter, lane.plan.light, &mut frame);
            (frame, foremost.map_err(|Stopped| None)?)
        }
        What::Between(between) => {
            let held_of = |layer: &Layer| beside.iter().find(|held| held.slot == layer.slot()).unwrap_or(own);
            let stills = between.layers.each_ref().map(|layer| {
                let held = held_of(layer);
                let (window, gain) = held.through(layer);
                (if linear { desk.lights.of(held) } else { &*held.picture }, gain, window)
            });
            let mut frame = spare_frame();
            invent(lane, task, (between, stills), (&mut desk.painter, &mut desk.pair, &mut desk.laid_out), &mut frame)?;
            let nearer = &between.layers[usize::from(2 * between.way > Share::WHOLE)];
            (frame, Some(held_of(nearer).shown(nearer)))
        }
    };
    if let Some(slot) = foremost.filter(|_| !lane.letterer.is_idle()) {
        for sheet in lane.letterer.sheets(slot) {
            desk.overlayer.lay(&sheet, &mut frame);
        }
    }
    hand_on(lane, task, Due { frame, times: task.times })
}

/// Paints a frame that is invented between two stills.
fn invent<'a>(
    lane: &Lane<'_>,
    task: &Task<'a>,
    (between, stills): (&'a Between, [(&Picture, Gain, Window); 2]),
    (painter, pair, laid_out): (&mut Painter, &mut Pair, &mut Option<(usize, &'a [Layer; 2])>),
    frame: &mut Frame,
) -> Result<(), Option<Fault>> {
    let Between { layers, way } = between;
    let sharpness = lane.plan.sharpness;
    let refused = |still: usize, source| Some(Fault::Paint { slot: layers[still].slot(), source });
    if *laid_out != Some((task.output, layers)) {
        *laid_out = None;
        let as_what = (lane.kind, lane.plan.frame);
        painter.lay_out(stills, sharpness, as_what, pair).map_err(|(still, source)| refused(still, source))?;
        *laid_out = Some((task.output, layers));
    }
    let first = Part { weight: Share::WHOLE - way, before: 0 };
    let second = Part { weight: *way, before: first.weight };
    let fresh = || Accumulator::new(lane.kind, lane.plan.frame, lane.plan.light);
    let mut mean = lane.accumulators.take(task.row, first, fresh).map_err(|Stopped| None)?.mean;
    for (still, ((picture, gain, window), part)) in stills.into_iter().zip([first, second]).enumerate() {
        painter.level(gain);
        painter.expose(picture, window, sharpness, part, &mut mean).map_err(|source| refused(still, source))?;
    }
    painter.print_between(&mean, pair, second.of_whole(), frame);
    lane.accumulators.rest(mean);
    Ok(())
}

/// Hands a frame on when its turn has come, or lays it aside where that might be never while this worker waits.
fn hand_on(lane: &Lane<'_>, task: &Task<'_>, due: Due) -> Result<(), Option<Fault>> {
    let mut due = if task.early {
        let Some(due) = lane.reorder.lay_aside(task.row, due) else { return Ok(()) };
        due
    } else {
        lane.reorder.wait_for(task.row).map_err(|Stopped| None)?;
        due
    };
    let mut row = task.row;
    loop {
        row += due.times;
        lane.queue.send(Finish::Frame(due)).map_err(|_receiver_gone| None)?;
        match lane.reorder.advance(row) {
            Some(next) => due = next,
            None => return Ok(()),
        }
    }
}
