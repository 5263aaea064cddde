//! The keys of a plan as the page marks them: when each comes, in what kind of moment it was written, and its line.

use serde_json::{Value, json};

use crate::diag::Place;
use crate::plan::{DeliveryPlan, KeyedWindow, Subject};
use crate::session::prepare::Part;
use crate::shoot::Shoot;
use crate::shot::{Delivery, Moment};

/// Lines of scripts, each known by its index: a page asks for no path.
#[derive(Default)]
pub(super) struct Places(Vec<Place>);

impl Places {
    fn index_of(&mut self, place: &Place) -> usize {
        self.0.iter().position(|known| known == place).unwrap_or_else(|| {
            self.0.push(place.clone());
            self.0.len() - 1
        })
    }

    /// The line of an index.
    pub(super) fn get(&self, index: usize) -> Option<&Place> {
        self.0.get(index)
    }
}

/// The keys of a delivery's framing, or of what it follows, in order of time.
pub(super) fn of_framing(
    part: &Part,
    said: Option<&Delivery>,
    plan: &DeliveryPlan,
    framed: &[KeyedWindow],
    subject: Option<&Subject>,
    places: &mut Places,
) -> Vec<Value> {
    let framing = said.and_then(|delivery| delivery.framing.as_ref()).unwrap_or(&part.shot.framing);
    let written = &framing.keys;
    let told: Vec<(f64, &Place)> = match subject {
        None => framed.iter().map(|one| (one.seconds, &one.place)).collect(),
        Some(subject) => {
            // A key that no frame comes to has no place in time.
            let all = written.len() == subject.keys.len();
            let place = |at: usize| if all { &written[at].place } else { &subject.place };
            let keys = subject.keys.iter().enumerate();
            keys.map(|(at, frame)| (plan.fps.time_of(*frame as u64).0, place(at))).collect()
        }
    };
    let keys = told.iter().enumerate().map(|(at, (seconds, place))| {
        // Several keys may stand in one line: they come in the order written.
        let earlier = told[..at].iter().filter(|(_, other)| other == place).count();
        let key_written = written.iter().filter(|key| key.place == **place).nth(earlier);
        key(*seconds, place, key_written.map_or("seconds", |key| kind(&key.at)), places)
    });
    keys.collect()
}

/// The keys of a shot's pace that have a rate.
pub(super) fn of_pace(part: &Part, shoot: &Shoot, places: &mut Places) -> Vec<Value> {
    let keys = part.made.pace_keys(&part.shot, shoot);
    keys.iter().map(|one| key(one.seconds, &one.place, "seconds", places)).collect()
}

fn key(seconds: f64, place: &Place, kind: &str, places: &mut Places) -> Value {
    json!({ "seconds": seconds, "kind": kind, "place": place, "at": places.index_of(place) })
}

/// What a moment is written in.
fn kind(moment: &Moment) -> &'static str {
    match moment {
        Moment::Start | Moment::End => "end",
        Moment::Screen(_) | Moment::Timecode(_) => "seconds",
        Moment::Still(_) | Moment::StillNamed(_) => "still",
        Moment::Clock(_) => "clock",
        Moment::Part(_) => "part",
    }
}
