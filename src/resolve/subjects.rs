//! Where what deliveries follow is in their frames: for drawings, from the plan as it stands.

use kurbo::Rect;

use super::steady::Bounds;
use super::{axis, moments, views};
use crate::curve::track::SLACK;
use crate::diag::Diagnostics;
use crate::geom::Window;
use crate::plan::{Plan, Subject};
use crate::shoot::Shoot;
use crate::shot::{Path, Shot};

use super::follow::Followed;

/// What each delivery of a plan follows; none for one that follows nothing. `plan` is what [`super::resolve`] made of both.
#[must_use]
pub fn subjects(shot: &Shot, shoot: &Shoot, plan: &Plan) -> Vec<Option<Subject>> {
    let follows = |delivery| matches!(views::framing_of(shot, delivery).path, Path::Follow(_));
    if !shot.deliveries.iter().any(follows) {
        return vec![None; plan.deliveries.len()];
    }
    // What there is to say of all this has been said.
    let mut found = Diagnostics::default();
    let times = moments::Times::of(shot, shoot, &mut found);
    let Ok(axis) = axis::Axis::lay_out(shot, shoot, &times, &mut found) else { return vec![None; plan.deliveries.len()] };
    let moments = moments::Moments { shoot, axis: &axis, times: &times };
    let windows = views::resolve(shot, Bounds::of(shoot.size, plan.steady.as_ref()), &mut found);
    let still = Window::whole(shoot.size).rect();
    let all = shot.deliveries.iter().zip(&windows).zip(&plan.deliveries).map(|((delivery, windows), plan)| {
        let framing = views::framing_of(shot, delivery);
        let Path::Follow(follow) = &framing.path else { return None };
        let followed = Followed::new(framing, follow, windows.as_deref(), &moments, &mut Vec::new())?;
        let boxes = plan.rows.iter().map(|row| {
            let at = row.shares().map(|share| followed.subject(moments::number(axis.place_of(share.shown)), still));
            window(at.reduce(|all, one| all.union(one)).unwrap_or(still))
        });
        let place = |frame: &usize| moments::number(axis.place_of(plan.rows[*frame].shown));
        let key = |position: f64| (0..plan.rows.len()).find(|frame| place(frame) + SLACK >= position.floor());
        let keys = followed.positions().filter_map(key).collect();
        Some(Subject { place: framing.place.clone(), boxes: boxes.collect(), keys })
    });
    all.collect()
}

fn window(area: Rect) -> Window {
    Window::new(area.x0, area.y0, area.width(), area.height())
}
