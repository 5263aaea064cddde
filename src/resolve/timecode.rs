//! The timecode of a delivery's first frame.

use crate::diag::{Diagnostic, Diagnostics};
use crate::plan::DeliveryPlan;
use crate::shoot::Shoot;
use crate::shot::{Shot, Timecode};
use crate::units::clock_timecode;

/// Settles what every delivery's file says of its first frame's time.
pub(super) fn resolve(shot: &Shot, shoot: &Shoot, plans: &mut [DeliveryPlan], found: &mut Diagnostics) {
    for (delivery, plan) in shot.deliveries.iter().zip(plans) {
        plan.extras.timecode = match &delivery.timecode {
            None => None,
            Some(Timecode::Label(label)) => Some(label.clone()),
            Some(Timecode::Clock) => {
                let first = plan.rows.first().map(|row| row.shown);
                let captured = first.and_then(|slot| shoot.captured(slot));
                let label = captured.and_then(|captured| {
                    let time = captured.local.time();
                    let second = f64::from(time.hour()) * 3600.0 + f64::from(time.minute()) * 60.0;
                    let second = second + f64::from(time.second()) + f64::from(time.subsec_nanosecond()) / 1e9;
                    clock_timecode(second, plan.fps)
                });
                if label.is_none() {
                    let words = format!("'{}' begins with a still that has no capture time", delivery.name);
                    let mistake = Diagnostic::mistake(words).at(&delivery.place).word("timecode");
                    found.push(mistake.help("write timecode = \"01:00:00:00\", or leave it out"));
                }
                label
            }
        };
    }
}
