//! A shot resolved once: its plan, and everything that the plan was made of, for whoever asks about it later.

use std::collections::BTreeMap;

use kurbo::Rect;

use super::acts::Acting;
use super::axis::Axis;
use super::framing::Framed;
use super::moments::Moments;
use super::steady::Bounds;
use super::times::{Times, number};
use super::words::Ranges;
use crate::curve::pace::PaceMap;
use crate::curve::track::SLACK;
use crate::geom::Window;
use crate::plan::{DeliveryPlan, KeyedWindow, Plan, Row, Subject};
use crate::shoot::Shoot;
use crate::shot::Shot;
use crate::units::{ScreenTime, SlotIndex};

/// A plan with what it was made of.
#[derive(Debug)]
pub struct Resolved {
    /// The plan.
    pub plan: Plan,
    pub(super) axis: Axis,
    pub(super) times: Times,
    pub(super) bounds: Bounds,
    pub(super) pace: PaceMap,
    pub(super) length: ScreenTime,
    /// One a delivery.
    pub(super) tracks: Vec<Framed>,
    /// By break, among those of the axis: a delivery, and its frames that would be made of more stills without it.
    pub(super) kept_apart: BTreeMap<usize, (usize, Ranges)>,
}

/// What remarks and explanations look at.
pub(super) struct Seen<'a> {
    pub(super) shot: &'a Shot,
    pub(super) shoot: &'a Shoot,
    pub(super) made: &'a Resolved,
}

impl Resolved {
    /// The keys of every delivery in the order of time; none for one that shows the largest window throughout, or
    /// follows; the first window and the last where a table has one for every frame.
    #[must_use]
    pub fn keys(&self) -> Vec<Vec<KeyedWindow>> {
        let pins = |(framed, plan): (&Framed, &DeliveryPlan)| {
            if let Some(listed) = framed.listed() {
                return listed.ends(|frame| plan.fps.time_of(frame as u64).0);
            }
            let pins = framed.keyed().into_iter().flat_map(|keyed| keyed.pins());
            pins.map(|pin| KeyedWindow { place: pin.key.place.clone(), seconds: pin.at, window: pin.window }).collect()
        };
        self.tracks.iter().zip(&self.plan.deliveries).map(pins).collect()
    }

    /// How many stills of the shoot are used: the axis that positions and `part(…)` are on is this long.
    #[must_use]
    pub fn used(&self) -> f64 {
        self.axis.stills()
    }

    /// What each delivery follows, where its frames show it; none for one that follows nothing.
    #[must_use]
    pub fn subjects(&self) -> Vec<Option<Subject>> {
        self.tracks.iter().zip(&self.plan.deliveries).map(|(framed, plan)| self.subject(framed, plan)).collect()
    }

    fn subject(&self, framed: &Framed, plan: &DeliveryPlan) -> Option<Subject> {
        if let Some(acting) = framed.acting() {
            return busiest(acting, plan);
        }
        let followed = framed.followed()?;
        let (axis, still) = (&self.axis, self.bounds.still);
        let boxes = plan.rows.iter().map(|row| window(followed.subject_in(axis, still, row.followed())));
        let place = |frame: &usize| number(axis.place_of(plan.rows[*frame].shown));
        let key = |position: f64| (0..plan.rows.len()).find(|frame| place(frame) + SLACK >= position.floor());
        let keys = followed.positions().filter_map(key).collect();
        let sure = |row: &Row| {
            let known = row.shares().filter_map(|share| followed.known(number(axis.place_of(share.shown))));
            known.map(|(_, confidence)| confidence).reduce(f64::min)
        };
        let confidence = plan.rows.iter().filter_map(sure).collect();
        Some(Subject { place: followed.place.clone(), boxes: boxes.collect(), confidence, keys })
    }

    /// Where the script's moments lie.
    pub(super) fn moments<'a>(&'a self, shoot: &'a Shoot) -> Moments<'a> {
        Moments { shoot, axis: &self.axis, times: &self.times }
    }
}

/// The busiest part of what every frame shows; where nothing moves, that of the frame before, or of the first after it.
fn busiest(acting: &Acting, plan: &DeliveryPlan) -> Option<Subject> {
    let acts = acting.acts.as_ref()?;
    let mut last: Option<(SlotIndex, Option<Window>)> = None;
    let found: Vec<Option<Window>> = plan
        .rows
        .iter()
        .map(|row| match last {
            Some((slot, area)) if slot == row.shown => area,
            _ => {
                let area = acts.busiest(&acts.at(row.shown)).map(window);
                let area = area.or(last.and_then(|(_, area)| area));
                last = Some((row.shown, area));
                area
            }
        })
        .collect();
    let first = found.iter().copied().flatten().next()?;
    let boxes = found.into_iter().map(|area| area.unwrap_or(first)).collect();
    Some(Subject { place: acting.place.clone(), boxes, confidence: Vec::new(), keys: Vec::new() })
}

fn window(area: Rect) -> Window {
    Window::new(area.x0, area.y0, area.width(), area.height())
}
