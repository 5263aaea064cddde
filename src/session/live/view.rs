//! A plan as the page draws it: numbers in columns, texts as they are.
//!
//! ## Decisions
//!
//! - A view carries an `id`. What it was prepared from is kept with it for a while, so that frames are painted and lines
//!   are opened of the very plan that a page shows, whatever the script has become since.
//! - Values of dials are JSON. Nothing on the page reads Lua.

use std::collections::VecDeque;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use serde_json::{Value, json};

use super::keys::{self, Places};
use super::stills::Stills;
use super::tables::{Tables, stamp};
use crate::diag::{self, Diagnostics};
use crate::geom::{SECONDS_A_WIDTH, Window};
use crate::plan::{DeliveryPlan, Subject};
use crate::script;
use crate::session::listed;
use crate::session::prepare::{Encoders, Part, Prepared, prepare_ran};
use crate::session::running::run_until;
use crate::session::surveyor::{Asked, Kept, Looking};
use crate::session::{ScriptOptions, Watch};
use crate::shoot::Shoot;
use crate::shot::Delivery;
use crate::units::SlotIndex;

/// Views that are kept: of two pages with dials set differently, and some to go back to.
const MOST: usize = 4;

/// Dials by name, with what they are set to.
type Settings = Vec<(String, String)>;

/// What a view shows, for whoever asks about it later.
pub(super) struct Shown {
    id: u64,
    pub(super) prepared: Prepared,
    /// Lines of scripts that its keys stand in.
    pub(super) places: Places,
}

/// What good views were made from, the newest first: for whoever asks while another view is being made.
#[derive(Clone, Default)]
pub(super) struct ShownViews(Arc<Mutex<VecDeque<Arc<Shown>>>>);

impl ShownViews {
    /// What a view of this id was made from, where it is still kept.
    pub(super) fn get(&self, id: u64) -> Option<Arc<Shown>> {
        self.lock().iter().find(|shown| shown.id == id).cloned()
    }

    fn keep(&self, shown: Shown) {
        let mut all = self.lock();
        all.push_front(Arc::new(shown));
        // The last good plan may be asked about as long as it is on a page.
        all.truncate(MOST + 1);
    }

    fn lock(&self) -> MutexGuard<'_, VecDeque<Arc<Shown>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The views made last, and the last good plan.
#[derive(Default)]
pub(super) struct Views {
    /// Each with the version and the dials it was made for.
    made: VecDeque<(u64, Settings, Arc<str>)>,
    good: Option<Value>,
    shown: ShownViews,
    /// Good views so far.
    count: u64,
    /// Whether a line of a script can be opened in an editor.
    opens: bool,
    /// The script's shoots, surveyed again only where they have changed.
    surveys: Kept,
    tables: Tables,
}

impl Views {
    /// The surveys that the view made last asked for.
    pub(super) fn asked(&self) -> Asked {
        self.surveys.asked()
    }

    /// The tables that the script run last names.
    pub(super) fn tables(&self) -> Tables {
        Arc::clone(&self.tables)
    }

    /// None yet; `opens` says whether lines can be opened in an editor.
    pub(super) fn new(opens: bool) -> Self {
        Self { opens, ..Self::default() }
    }

    /// What good views were made from.
    pub(super) fn shown(&self) -> ShownViews {
        self.shown.clone()
    }

    /// The view of a version of the script with these dials set beside those of the command line: its plan, or its
    /// mistakes with the last plan that was good. None where it was called off.
    pub(super) fn of(
        &mut self,
        script: &ScriptOptions,
        version: u64,
        settings: &[(String, String)],
        stills: &Stills,
        stop: &AtomicBool,
    ) -> Option<Arc<str>> {
        let is_it = |(of, with, _): &&(u64, Settings, Arc<str>)| *of == version && with == settings;
        if let Some((.., text)) = self.made.iter().find(is_it) {
            return Some(Arc::clone(text));
        }
        let mut options = script.clone();
        options.settings.extend(settings.iter().cloned());
        let ran = run_until(&options.script, &options.settings, stop);
        if stop.load(Ordering::Relaxed) {
            return None;
        }
        if let Ok(ran) = &ran {
            let base = options.script.parent().unwrap_or(Path::new(""));
            let named = listed::named_by(&ran.shots, base).into_iter();
            let stamped = named.map(|path| (stamp(&path), path)).map(|(stamp, path)| (path, stamp)).collect();
            *self.tables.lock().unwrap_or_else(PoisonError::into_inner) = stamped;
        }
        let look = Looking { watch: &Watch::default(), quiet: true };
        self.surveys.begin();
        let outcome =
            ran.and_then(|script| prepare_ran(&options, script, Encoders::LeftAlone, look, &mut self.surveys));
        let (plan, said, messages, refused) = match outcome {
            Ok(prepared) => {
                let (notes, messages) = (prepared.notes(), prepared.messages.clone());
                // A reel's shots are looked at one by one.
                let prepared = prepared.apart();
                let plan = self.show(prepared, stills);
                // What the script makes of its own defaults is what is left standing when it breaks.
                if settings.is_empty() || self.good.is_none() {
                    self.good = Some(plan.clone());
                }
                (plan, notes, messages, false)
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
            "opens": self.opens,
            "work": self.surveys.work(),
            "plan": plan,
        });
        let text: Arc<str> = view.to_string().into();
        self.made.push_front((version, settings.to_vec(), Arc::clone(&text)));
        self.made.truncate(MOST);
        Some(text)
    }

    /// Keeps what a plan was made from; gives it as the page draws it.
    fn show(&mut self, prepared: Prepared, stills: &Stills) -> Value {
        self.count += 1;
        let mut places = Places::default();
        let plan = plan_of(self.count, &prepared, stills, &mut places);
        self.shown.keep(Shown { id: self.count, prepared, places });
        plan
    }
}

/// Mistakes and remarks: each with its place, and the mistakes as the command line prints them.
fn text_of(said: &Diagnostics) -> Value {
    let mistakes = Diagnostics(said.0.iter().filter(|one| one.is_mistake()).cloned().collect());
    json!({ "list": said, "mistakes": diag::render(&mistakes, false, script::source_text) })
}

fn plan_of(id: u64, prepared: &Prepared, stills: &Stills, places: &mut Places) -> Value {
    let shots = prepared.parts.iter().map(|part| shot_of(part, &prepared.shoots[part.shoot], stills, places));
    let shots: Vec<Value> = shots.collect();
    json!({ "id": id, "stem": prepared.stem, "dials": prepared.dials.iter().map(dial_of).collect::<Vec<_>>(), "shots": shots })
}

fn dial_of(dial: &script::Dial) -> Value {
    json!({
        "name": dial.name, "value": dial.given, "default": dial.default, "allowed": dial.allowed, "help": dial.help, "range": dial.range,
        "choices": dial.choices, "place": dial.place,
    })
}

fn shot_of(part: &Part, shoot: &Shoot, stills: &Stills, places: &mut Places) -> Value {
    let mut shown = vec![false; shoot.slots.len()];
    for row in part.made.plan().deliveries.iter().flat_map(|plan| &plan.rows) {
        shown[row.shown.0] = true;
    }
    let numbers = stills.numbers(shoot, &part.made.plan().covers, &shown);
    let taken = |slot: usize| shoot.captured(SlotIndex(slot)).map(|captured| captured.local);
    let began = (0..shoot.slots.len()).find_map(taken);
    // Seconds of the camera's clock from the first still that tells one.
    let since = |slot: usize| Some(rounded((taken(slot)? - began?).total(jiff::Unit::Second).ok()?, 1e3));
    let slots = shoot.slots.iter().zip(numbers).enumerate();
    let slots = slots.map(|(at, (slot, number))| json!([slot.name, number, since(at)]));
    let subjects = part.made.subjects();
    let framed = part.made.keys();
    let deliveries = part.made.plan().deliveries.iter().enumerate().map(|(at, plan)| {
        let said = part.shot.deliveries.iter().find(|delivery| delivery.name == plan.name);
        let subject = subjects[at].as_ref();
        let mut told = delivery_of(plan, said, subject);
        told["keys"] = keys::of_framing(part, said, plan, &framed[at], subject, places).into();
        told
    });
    let deliveries: Vec<Value> = deliveries.collect();
    json!({
        "name": part.shot.name,
        "length": part.made.plan().length,
        "still": shoot.size,
        "interval": shoot.interval.or(part.shot.source.interval),
        "began": began.map(|began| began.strftime("%Y-%m-%dT%H:%M:%S").to_string()),
        "used": part.made.used(),
        "paceKeys": keys::of_pace(part, shoot, places),
        "slots": slots.collect::<Vec<_>>(),
        "deliveries": deliveries,
        "covers": part.made.plan().covers,
        "remarks": part.made.plan().remarks,
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
        "sure": subject.map(|subject| subject.confidence.iter().map(|sure| rounded(*sure, 1e3)).collect::<Vec<_>>()),
        "x": window(|window| window.x),
        "y": window(|window| window.y),
        "width": window(|window| window.width),
        "height": window(|window| window.height),
        "roll": window(|window| window.roll),
        "limit": rounded(f64::from(plan.frame.width) / (SECONDS_A_WIDTH * plan.fps.per_second()), 1e4),
        "zoom": zoom.collect::<Vec<f64>>(),
        "speed": std::iter::once(0.0).chain(speed).collect::<Vec<f64>>(),
        "shown": rows.iter().map(|row| row.shown.0).collect::<Vec<usize>>(),
        "position": rows.iter().map(|row| rounded(row.position, 1e6)).collect::<Vec<f64>>(),
        "mixed": rows.iter().any(|row| row.layers.are_several()),
    })
}
