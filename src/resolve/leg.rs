//! A framing as it is followed: keys pinned to screen time, and the legs between them.

use std::sync::Arc;

use crate::curve::arc_length::ArcLengthPath;
use crate::curve::ease::Ease;
use crate::curve::flight::{self, Flight};
use crate::curve::pchip::{Hermite, Rise};
use crate::curve::smoothing::Tie;
use crate::curve::track::SLACK;
use crate::curve::zoom;
use crate::geom::Window;
use crate::shot::FramingKey;
use crate::units::FrameRate;

/// A key once it is known when, and which window.
#[derive(Debug, Clone)]
pub(super) struct Pin {
    /// Seconds of screen time; before 0 or after the end where a loop leads over its join.
    pub(super) at: f64,
    pub(super) window: Window,
    /// One that holds has two pins, where its hold begins and where it ends.
    pub(super) key: Arc<FramingKey>,
}

/// The way from one pin to the next.
#[derive(Debug, Clone)]
pub(super) struct Leg {
    pub(super) from: Pin,
    pub(super) to: Pin,
    pub(super) ease: Ease,
    pub(super) shape: Shape,
}

/// The line of a leg.
#[derive(Debug, Clone)]
pub(super) enum Shape {
    /// None: the window rests.
    Rest,
    /// Straight from window to window.
    Straight(Hermite, Sight),
    /// A piece of one line, which is passed at a speed, a zoom and a roll that do not jump at a key.
    Line { path: Arc<ArcLengthPath>, along: Rise, log_width: Rise, roll: Rise, sight: Sight },
    /// A flight; the roll goes by its own measure.
    Flight(Flight, Hermite, Sight),
}

/// Where in a frame the subject sits, and the frame's width over its height.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sight {
    pub(super) place: (f64, f64),
    pub(super) aspect: f64,
}

impl Sight {
    pub(super) fn view(self, window: Window) -> flight::View {
        flight::View { point: window.at(self.place), width: window.width }
    }

    pub(super) fn window(self, view: flight::View, roll: f64) -> Window {
        Window::placed(view.point, self.place, (view.width, view.width / self.aspect), roll)
    }
}

impl Leg {
    /// The window at eased progress, which may be outside the still.
    pub(super) fn window(&self, progress: f64) -> Window {
        let (from, to) = (self.from.window, self.to.window);
        // Ends are the keys' own windows, to the last bit.
        if progress == 1.0 || matches!(self.shape, Shape::Rest) {
            return to;
        }
        if progress == 0.0 {
            return from;
        }
        match &self.shape {
            Shape::Rest => to,
            Shape::Straight(shape, sight) => zoom::between(from, to, sight.place, shape.at(progress)),
            Shape::Line { path, along, log_width, roll, sight } => {
                let width = log_width.at(progress).exp();
                sight.window(flight::View { point: path.at(along.at(progress)), width }, roll.at(progress))
            }
            Shape::Flight(flight, shape, sight) => {
                let share = shape.at(progress);
                sight.window(flight.at(share), from.roll + (to.roll - from.roll) * share)
            }
        }
    }

    /// Whether the window rolls on the way, so that a straight one may lead out of the still too.
    pub(super) fn rolls(&self) -> bool {
        self.from.window.roll != self.to.window.roll
    }

    /// Whether it is a flight that goes nowhere and does not roll either.
    pub(super) fn goes_nowhere(&self) -> bool {
        matches!(&self.shape, Shape::Flight(flight, ..) if flight.length() == 0.0) && !self.rolls()
    }

    fn rests(&self) -> bool {
        matches!(self.shape, Shape::Rest)
    }
}

/// A window that goes from key to key.
#[derive(Debug, Clone)]
pub(super) struct Keyed {
    first: Pin,
    /// In order of time, each from where the one before it leads.
    legs: Vec<Leg>,
    /// Whether keys say where the window is, as they do but on a drawing.
    placed: bool,
    /// Whether all legs are straight, so that only an ease can lead one out of the still.
    straight: bool,
}

/// Where a moment lies among keys.
pub(super) enum Spot<'a> {
    /// At a pin, or outside them, where the nearest one's window holds.
    Pin(usize),
    /// On a leg, at this eased progress: 0 where it begins, 1 where it ends, and beyond either where the ease
    /// overshoots.
    Leg(usize, &'a Leg, f64),
}

impl Keyed {
    pub(super) fn new(first: Pin, legs: Vec<Leg>, placed: bool, straight: bool) -> Self {
        Self { first, legs, placed, straight }
    }

    /// Every pin in order of time.
    pub(super) fn pins(&self) -> impl Iterator<Item = &Pin> {
        std::iter::once(&self.first).chain(self.legs.iter().map(|leg| &leg.to))
    }

    /// One of them by its number.
    pub(super) fn pin(&self, number: usize) -> &Pin {
        number.checked_sub(1).map_or(&self.first, |leg| &self.legs[leg].to)
    }

    /// The leg to a pin; none leads to the first.
    pub(super) fn leg_to(&self, number: usize) -> Option<&Leg> {
        number.checked_sub(1).map(|leg| &self.legs[leg])
    }

    /// Where a moment lies. At a pin the leg that leaves it has begun, as a step ease that jumps at its start shows.
    pub(super) fn spot(&self, time: f64) -> Spot<'_> {
        if self.first.at > time + SLACK {
            return Spot::Pin(0);
        }
        let behind = self.legs.partition_point(|leg| leg.to.at <= time + SLACK);
        let Some(leg) = self.legs.get(behind) else { return Spot::Pin(behind) };
        let progress = ((time - leg.from.at) / (leg.to.at - leg.from.at)).max(0.0);
        Spot::Leg(behind + 1, leg, leg.ease.at(progress))
    }

    /// The window due at a spot, which may be outside the still.
    pub(super) fn window(&self, spot: &Spot<'_>) -> Window {
        match spot {
            Spot::Pin(number) => self.pin(*number).window,
            Spot::Leg(_, leg, progress) => leg.window(*progress),
        }
    }

    pub(super) fn straight(&self) -> bool {
        self.straight
    }

    /// What a bend of the path leaves as it is: keys where they are, rests at rest.
    pub(super) fn ties(&self, fps: FrameRate, frames: usize) -> Vec<Tie> {
        let mut ties = Vec::new();
        let mut due = self.pins().peekable();
        for frame in 0..frames {
            let (at, then) = (fps.time_of(frame as u64).0, fps.time_of(frame as u64 + 1).0);
            let rests = |time: f64| match self.spot(time) {
                Spot::Pin(_) => true,
                Spot::Leg(_, leg, _) => leg.rests(),
            };
            if rests(at) && rests(then - SLACK) {
                ties.push(if self.placed { Tie::Key(frame, 0.0) } else { Tie::Rest(frame) });
            }
            while let Some(pin) = due.next_if(|pin| pin.at + SLACK < then) {
                let share = ((pin.at - at) / (then - at)).max(0.0);
                // Those of a lap before do not concern this one.
                if self.placed && pin.at > -SLACK {
                    ties.push(Tie::Key(frame, if share < 1e-6 { 0.0 } else { share }));
                }
            }
        }
        ties
    }
}
