//! Deliveries held against the rows of their purposes: what a script changed, what is too long, what comes out too large.
//!
//! ## Decisions
//!
//! - Nothing is refused: a row is the user's own rule, and the script says itself where it does otherwise. Every remark
//!   gives the row's line and its source.
//! - Sizes are estimates until the clip is there. `check` and the beginning of a render tell the estimate, the end of a
//!   render what the files have. Drafts are held against nothing.

use super::bytes;
use crate::diag::{Diagnostic, Diagnostics, number};
use crate::encode;
use crate::pipeline::Finished;
use crate::plan::{DeliveryPlan, Plan};
use crate::shot::{Delivery, Purpose, Shot};

/// A length may be longer by so many seconds: lengths are sums of rounded times.
const SLACK: f64 = 1e-6;

/// A delivery, its plan, and the row it was given.
struct Held<'a> {
    delivery: &'a Delivery,
    plan: &'a DeliveryPlan,
    purpose: &'a Purpose,
}

/// The deliveries of a shot and its plan, each held against its row where it has one.
fn held<'a>(shot: &'a Shot, plan: &'a Plan) -> impl Iterator<Item = Option<Held<'a>>> {
    shot.deliveries.iter().zip(&plan.deliveries).map(|(delivery, plan)| {
        let purpose = &*delivery.extras.purpose.as_ref()?.value;
        Some(Held { delivery, plan, purpose })
    })
}

/// Where a plan breaks its shot's rows.
pub(super) fn by_plan(shot: &Shot, plan: &Plan) -> Diagnostics {
    Diagnostics(held(shot, plan).flatten().flat_map(|held| held.by_plan()).collect())
}

/// Where the outputs of a plan are likely to break their rows.
pub(super) fn by_estimate(shot: &Shot, plan: &Plan) -> Diagnostics {
    let one = |held: Held<'_>| held.by_bytes(encode::predicted_output(held.plan), true);
    Diagnostics(held(shot, plan).flatten().flat_map(one).collect())
}

/// Where outputs break their rows: those of these plans, with what came of them, in the same order.
pub(super) fn by_outcome<'a>(plans: impl Iterator<Item = (&'a Shot, &'a Plan)>, finished: &[Finished]) -> Diagnostics {
    let all = plans.flat_map(|(shot, plan)| held(shot, plan)).zip(finished);
    let with = all.filter_map(|(held, finished)| Some((held?, finished)));
    Diagnostics(with.flat_map(|(held, finished)| held.by_bytes(finished.written.bytes, false)).collect())
}

impl Held<'_> {
    fn seconds(&self) -> f64 {
        self.plan.fps.time_of(self.plan.rows.len() as u64).0
    }

    /// A remark on what a field of the row says: what the delivery does, and what its purpose does.
    fn remark(&self, field: &str, does: &str, purpose: &str) -> Diagnostic {
        let message = format!("'{}' {does}; its purpose, {:?}, {purpose}", self.plan.name, self.purpose.name);
        let place = self.delivery.extras.purpose.as_ref().map_or(&self.delivery.place, |purpose| &purpose.place);
        let remark = Diagnostic::remark(message).at(place).word(&self.purpose.name);
        match self.purpose.figures.get(field) {
            Some(figure) => remark.with(&figure.place, "its row").help(format!("the row's source: {}", figure.source)),
            None => remark,
        }
    }

    fn by_plan(&self) -> Vec<Diagnostic> {
        let (Held { delivery, plan, purpose }, mut found) = (self, Vec::new());
        if let Some(frame) = purpose.frame.filter(|frame| *frame != plan.frame) {
            found.push(self.remark("frame", &format!("has frames of {}", plan.frame), &format!("of {frame}")));
        }
        if let Some(fps) = purpose.fps.filter(|fps| *fps != plan.fps) {
            found.push(self.remark("fps", &format!("runs at {} frames a second", plan.fps), &format!("at {fps}")));
        }
        if let Some(codec) = purpose.codec.filter(|codec| *codec != plan.codec.name()) {
            found.push(self.remark("codec", &format!("is written as {}", plan.codec.name()), &format!("as {codec}")));
        }
        if let Some(most) = purpose.most_seconds.filter(|most| self.seconds() > most + SLACK) {
            let lasts = format!("lasts {} s", number((self.seconds() * 1000.0).round() / 1000.0));
            found.push(self.remark("most_seconds", &lasts, &format!("takes {} s at most", number(most))));
        }
        if let Some(least) = purpose.safe {
            let sides = [
                ("on the left", delivery.safe.left, least.left),
                ("on the right", delivery.safe.right, least.right),
                ("at the top", delivery.safe.top, least.top),
                ("at the bottom", delivery.safe.bottom, least.bottom),
            ];
            let smaller = sides.iter().filter(|(_, margin, least)| margin < least);
            let (kept, due): (Vec<String>, Vec<String>) = smaller
                .map(|(side, margin, least)| {
                    (format!("{} {side}", number(*margin)), format!("{} {side}", number(*least)))
                })
                .unzip();
            if !kept.is_empty() {
                let (kept, due) = (kept.join(", "), due.join(", "));
                found.push(self.remark("safe", &format!("keeps {kept} of its frame free"), &format!("{due} at least")));
            }
        }
        found
    }

    /// What is to be said of an output of so many bytes.
    fn by_bytes(&self, count: u64, estimated: bool) -> Vec<Diagnostic> {
        let (about, estimate) = if estimated { ("about ", " (an estimate)") } else { ("", "") };
        let mut found = Vec::new();
        if let Some(most) = self.purpose.most_bytes.filter(|most| count > *most) {
            let (has, takes) =
                (format!("has {about}{}{estimate}", bytes(count)), format!("takes {} at most", bytes(most)));
            found.push(self.remark("most_bytes", &has, &takes));
        }
        #[expect(clippy::cast_precision_loss, reason = "a size, to be told in megabits")]
        let bits = count as f64 * 8.0 / self.seconds();
        if let Some(most) = self.purpose.most.filter(|most| bits > *most) {
            let rate = |bits: f64| format!("{} Mbit/s", number((bits / 1e4).round() / 100.0));
            let has = format!("has {about}{} on average{estimate}", rate(bits));
            found.push(self.remark("most", &has, &format!("takes {} at most", rate(most))));
        }
        found
    }
}
