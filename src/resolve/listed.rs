//! The window of every frame as a table says it: in a delivery's shape (`shape`), inside the still, and what is said of
//! both.

use std::path::Path;
use std::sync::Arc;

use crate::diag::{Diagnostic, Place};
use crate::geom::Window;
use crate::plan::{KeyedWindow, TableReason};
use crate::shot::{At, Delivery, Framing, Line, Listed};
use crate::units::ScreenTime;

use super::shape::{UNSAID, is_mended, shaped};
use super::steady::Bounds;
use super::words::{self, Ranges, once};

/// A second that differs from a frame's by no more than this many frames is that frame's.
const IN_TIME: f64 = 0.25;

/// The window of every frame of a delivery, as a table says.
#[derive(Debug)]
pub(super) struct ByTable {
    file: Arc<Path>,
    /// By frame.
    taken: Vec<Taken>,
}

/// What a frame takes of its line.
#[derive(Debug)]
struct Taken {
    line: u32,
    /// In the delivery's shape.
    written: Window,
    /// Inside the still.
    window: Window,
}

impl ByTable {
    /// A table's windows for a delivery; none where `said` says why not.
    pub(super) fn new(
        framing: &Framing,
        listed: &Listed,
        (delivery, strict): (&Delivery, bool),
        (bounds, length): (Bounds, ScreenTime),
        said: &mut Vec<Diagnostic>,
    ) -> Option<Self> {
        let place = |line: u32| Place::new(Arc::clone(&listed.opened), line);
        let framed = |mistake: Diagnostic| mistake.with(&framing.place, "the framing that takes this table");
        if let Err(mistake) = fits(listed, delivery, length) {
            once(framed(mistake), said);
            return None;
        }
        let (mut moved, mut mended) = (Changes::default(), Changes::default());
        let mut taken = Vec::with_capacity(listed.frames.len());
        for (frame, line) in listed.frames.iter().enumerate() {
            let shaped = match shaped(line.window, line.roll, delivery, bounds) {
                Ok(shaped) => shaped,
                Err(mistake) => {
                    once(framed(mistake.at(&place(line.line))), said);
                    return None;
                }
            };
            let written = shaped.window;
            if is_mended(&shaped) {
                mended.add(frame, line.line, shaped.mended);
            }
            let is_inside = written.inside(bounds.room, 0.0);
            let window = if is_inside { written } else { written.moved_inside(bounds.room) };
            // What steadying takes has a remark of its own.
            if !is_inside && !written.inside(bounds.still, UNSAID) {
                moved.add(frame, line.line, farthest(written, window));
            }
            taken.push(Taken { line: line.line, written, window });
        }
        let lines = |what: &Changes, message: String, refused: bool| {
            let made = if refused { Diagnostic::mistake(message) } else { Diagnostic::remark(message) };
            framed(made.at(&place(what.line)).over(&delivery.name, what.frames.runs()))
        };
        if !mended.frames.is_empty() {
            let message = format!(
                "the table's windows have another shape than '{}': they keep their centre and width, and their height \
                 changes by up to {} px, in {}",
                delivery.name,
                words::figure_above(mended.most),
                mended.frames.frames()
            );
            said.push(lines(&mended, message, false).help("a table by centre_x, centre_y and width needs no height"));
        }
        if !moved.frames.is_empty() {
            let (most, over) = (words::figure_above(moved.most), moved.frames.frames());
            let what = format!("the table's windows would leave {} in '{}'", bounds.words(), delivery.name);
            let remark = if strict {
                let message = format!("{what}, which strict refuses: by up to {most} px, in {over}");
                lines(&moved, message, true).help("strict = false in the shot moves them inside")
            } else {
                lines(&moved, format!("{what} and are moved inside, by up to {most} px, in {over}"), false)
            };
            said.push(remark);
        }
        Some(Self { file: Arc::clone(&listed.opened), taken })
    }

    /// The window of every frame.
    pub(super) fn windows(&self) -> impl Iterator<Item = Window> {
        self.taken.iter().map(|taken| taken.window)
    }

    /// The line of the table that a frame's window stands in.
    pub(super) fn line_of(&self, frame: usize) -> Place {
        let line = self.taken.get(frame).map_or(1, |taken| taken.line);
        Place::new(Arc::clone(&self.file), line)
    }

    /// Where a frame's window comes from.
    pub(super) fn reason(&self, frame: usize) -> Option<TableReason> {
        let taken = self.taken.get(frame)?;
        let moved = farthest(taken.written, taken.window);
        Some(TableReason { place: self.line_of(frame), written: (moved > UNSAID).then_some(taken.written) })
    }

    /// The first window and the last, as keys are told; `time` is that of a frame.
    pub(super) fn ends(&self, time: impl Fn(usize) -> f64) -> Vec<KeyedWindow> {
        let last = self.taken.len().saturating_sub(1);
        let frames = if last == 0 { vec![0] } else { vec![0, last] };
        let told = |frame: usize| {
            let window = self.taken.get(frame)?.window;
            Some(KeyedWindow { place: self.line_of(frame), seconds: time(frame), window })
        };
        frames.into_iter().filter_map(told).collect()
    }
}

/// Frames whose windows are changed, and by how much at most, in which line.
#[derive(Default)]
struct Changes {
    frames: Ranges,
    most: f64,
    line: u32,
}

impl Changes {
    fn add(&mut self, frame: usize, line: u32, by: f64) {
        self.frames.add(frame);
        if self.line == 0 || by > self.most {
            (self.most, self.line) = (by, line);
        }
    }
}

/// By how many pixels a window's edges differ from another's, at most.
fn farthest(one: Window, other: Window) -> f64 {
    let edges = |window: Window| [window.x, window.y, window.right(), window.bottom()];
    edges(one).into_iter().zip(edges(other)).fold(0.0, |most, (one, other)| (one - other).abs().max(most))
}

/// Whether a table has a window for every frame of a delivery, at its rate, and no more.
fn fits(listed: &Listed, delivery: &Delivery, length: ScreenTime) -> Result<(), Diagnostic> {
    let (frames, lines) = (delivery.fps.frames_in(length).max(1), listed.frames.len() as u64);
    let place = |line: Option<&Line>| Place::new(Arc::clone(&listed.opened), line.map_or(1, |line| line.line));
    for line in listed.frames.iter() {
        let At::Frame(frame, Some(seconds)) = line.at else { continue };
        let due = delivery.fps.time_of(frame).0;
        if (seconds - due).abs() * delivery.fps.per_second() > IN_TIME {
            let message = format!(
                "frame {frame} is at {} s in the table, and at {} s in '{}', which has {} frames a second",
                words::figure(seconds),
                words::figure(due),
                delivery.name,
                delivery.fps
            );
            return Err(Diagnostic::mistake(message)
                .at(&place(Some(line)))
                .help("without the column frame its lines are keys, by seconds, for any rate"));
        }
    }
    if frames == lines {
        return Ok(());
    }
    let message = format!(
        "the table has {} for '{}', which has {}",
        words::count(usize::try_from(lines).unwrap_or(usize::MAX), "frame"),
        delivery.name,
        words::count(usize::try_from(frames).unwrap_or(usize::MAX), "frame")
    );
    let mistake = Diagnostic::mistake(message).at(&place(listed.frames.last()));
    Err(if lines > frames {
        mistake.help(format!("leave out the lines from frame {frames} on, or make the clip longer"))
    } else {
        let seconds = delivery.fps.time_of(lines).0;
        mistake.help(format!("add lines up to frame {}", frames - 1)).help(format!(
            "or length = \"{}s\" in the shot ends the clip where the table ends",
            words::figure_below(seconds)
        ))
    })
}
