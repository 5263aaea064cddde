//! A plan as the page draws it: numbers in columns, texts as they are.

use std::collections::VecDeque;
use std::sync::Arc;

use serde_json::{Value, json};

use super::stills::Stills;
use crate::diag::{self, Diagnostics};
use crate::geom::Window;
use crate::plan::{DeliveryPlan, Subject};
use crate::script;
use crate::session::prepare::{Encoders, Part, Prepared, prepare_with};
use crate::session::surveyor::{Asked, Kept, Looking};
use crate::session::{ScriptOptions, Watch};
use crate::shoot::Shoot;
use crate::shot::Delivery;

/// Views that are kept: of two pages with dials set differently, and some to go back to.
const MOST: usize = 4;

/// Dials by name, with what they are set to.
type Settings = Vec<(String, String)>;

/// The views made last, and the last good plan.
#[derive(Default)]
pub(super) struct Views {
    /// Each with the version and the dials it was made for.
    made: VecDeque<(u64, Settings, Arc<str>)>,
    good: Option<Value>,
    /// The script's shoots, surveyed again only where they have changed.
    surveys: Kept,
}

impl Views {
    /// The surveys that the view made last asked for.
    pub(super) fn asked(&self) -> Asked {
        self.surveys.asked()
    }

    /// The view of a version of the script with these dials set beside those of the command line: its plan, or its
    /// mistakes with the last plan that was good.
    pub(super) fn of(
        &mut self,
        script: &ScriptOptions,
        version: u64,
        settings: &[(String, String)],
        stills: &Stills,
    ) -> Arc<str> {
        let is_it = |(of, with, _): &&(u64, Settings, Arc<str>)| *of == version && with == settings;
        if let Some((.., text)) = self.made.iter().find(is_it) {
            return Arc::clone(text);
        }
        let mut options = script.clone();
        options.settings.extend(settings.iter().cloned());
        let watch = Watch::default();
        let look = Looking { watch: &watch, quiet: true };
        self.surveys.begin();
        let (plan, said, messages, refused) = match prepare_with(&options, Encoders::LeftAlone, look, &mut self.surveys)
        {
            Ok(prepared) => {
                let plan = plan_of(&prepared, stills);
                // What the script makes of its own defaults is what is left standing when it breaks.
                if settings.is_empty() || self.good.is_none() {
                    self.good = Some(plan.clone());
                }
                (plan, prepared.notes(), prepared.messages, false)
            }
            Err(failure) => {
                let reply = failure.reply;
                (self.good.clone().unwrap_or(Value::Null), reply.notes, reply.messages, true)
            }
        };
        let view = json!({
            "version": version,
            "script": script.script.file_name().map(|name| name.to_string_lossy()),
            "refused": refused,
            "said": text_of(&said),
            "messages": messages,
            "settings": options.settings,
            "work": self.surveys.work(),
            "plan": plan,
        });
        let text: Arc<str> = view.to_string().into();
        self.made.push_front((version, settings.to_vec(), Arc::clone(&text)));
        self.made.truncate(MOST);
        text
    }
}

/// Mistakes and remarks: each with its place, and the mistakes as the command line prints them.
fn text_of(said: &Diagnostics) -> Value {
    let mistakes = Diagnostics(said.0.iter().filter(|one| one.is_mistake()).cloned().collect());
    json!({ "list": said, "mistakes": diag::render(&mistakes, false, script::source_text) })
}

fn plan_of(prepared: &Prepared, stills: &Stills) -> Value {
    let dials = prepared.dials.iter().map(|dial| {
        json!({
            "name": dial.name, "value": dial.value, "default": dial.default, "allowed": dial.allowed, "help": dial.help,
            "range": dial.range, "choices": dial.choices, "place": dial.place,
        })
    });
    json!({
        "stem": prepared.stem,
        "dials": dials.collect::<Vec<_>>(),
        "shots": prepared.parts.iter().map(|part| shot_of(part, &prepared.shoots[part.shoot], stills)).collect::<Vec<_>>(),
    })
}

fn shot_of(part: &Part, shoot: &Shoot, stills: &Stills) -> Value {
    let mut shown = vec![false; shoot.slots.len()];
    for row in part.made.plan.deliveries.iter().flat_map(|plan| &plan.rows) {
        shown[row.shown.0] = true;
    }
    let numbers = stills.numbers(shoot, &part.made.plan.covers, &shown);
    let slots = shoot.slots.iter().zip(numbers).map(|(slot, number)| json!([slot.name, number]));
    let subjects = part.made.subjects();
    let deliveries = part.made.plan.deliveries.iter().zip(&subjects).map(|(plan, subject)| {
        let said = part.shot.deliveries.iter().find(|delivery| delivery.name == plan.name);
        delivery_of(plan, said, subject.as_ref())
    });
    json!({
        "name": part.shot.name,
        "length": part.made.plan.length,
        "still": shoot.size,
        "interval": shoot.interval.or(part.shot.source.interval),
        "slots": slots.collect::<Vec<_>>(),
        "deliveries": deliveries.collect::<Vec<_>>(),
        "covers": part.made.plan.covers,
        "remarks": part.made.plan.remarks,
    })
}

/// To a thousandth of a pixel, which is less than a page can show and makes a view a third as long.
fn rounded(number: f64, parts: f64) -> f64 {
    (number * parts).round() / parts
}

fn delivery_of(plan: &DeliveryPlan, said: Option<&Delivery>, subject: Option<&Subject>) -> Value {
    let rows = &plan.rows;
    let window = |of: fn(Window) -> f64| rows.iter().map(|row| rounded(of(row.window), 1e4)).collect::<Vec<f64>>();
    let zoom = rows.iter().map(|row| {
        let largest = Window::largest(plan.room, plan.frame.aspect(), row.window.roll);
        rounded(largest.width / row.window.width, 1e6)
    });
    let speed = rows
        .iter()
        .zip(rows.iter().skip(1))
        .map(|(before, row)| rounded(before.window.fastest_corner(row.window, plan.frame), 1e4));
    json!({
        "name": plan.name,
        "frame": plan.frame,
        "fps": plan.fps.per_second(),
        "place": said.map_or((0.5, 0.5), |delivery| delivery.subject_at),
        "safe": said.map(|delivery| delivery.safe),
        "subject": subject.map(|subject| subject.boxes.iter().map(|area| [area.x, area.y, area.width, area.height].map(|side| rounded(side, 1e2))).collect::<Vec<_>>()),
        "x": window(|window| window.x),
        "y": window(|window| window.y),
        "width": window(|window| window.width),
        "height": window(|window| window.height),
        "roll": window(|window| window.roll),
        "zoom": zoom.collect::<Vec<f64>>(),
        "speed": std::iter::once(0.0).chain(speed).collect::<Vec<f64>>(),
        "shown": rows.iter().map(|row| row.shown.0).collect::<Vec<usize>>(),
        "position": rows.iter().map(|row| rounded(row.position, 1e6)).collect::<Vec<f64>>(),
        "mixed": rows.iter().any(|row| row.layers.are_several()),
    })
}
