//! Which camera took which still, by what the files say of make, model and serial number.
//!
//! Items come in; those of one camera go out, or the survey stops and says how many stills each camera took. Stills that
//! do not say, damaged ones among them, go with those of the same folder and name.
//!
//! ## Decisions
//!
//! - Cameras that follow each other in time are one shoot: a body was replaced. Cameras whose times overlap, or are not
//!   known, are two shoots in one place.
//! - A serial number is compared by its hash. A camera is called by its model, and of several of one model by the last
//!   two characters of its serial number, or by a count where those are alike.

use std::collections::{BTreeMap, BTreeSet};

use super::{Item, Remark, shown};
use crate::decode::body::Body;
use crate::diag::{Diagnostic, Diagnostics, fit};

/// Takes the stills of all cameras.
pub(super) const ANY: &str = "any";

/// Why a still of another camera is set aside.
pub(super) const OTHER: &str = "taken by another camera than the one chosen";

/// As many cameras are listed.
const LISTED: usize = 8;

/// The cameras of a shoot.
#[derive(Debug)]
struct Cameras {
    /// What each is called, in the order of their first stills.
    names: Vec<String>,
    /// Which of them took each item.
    of: Vec<Option<usize>>,
}

/// Which items are to be left out, and what there is to say.
///
/// # Errors
/// Several cameras at one time and no choice, or a choice that none of them fits.
pub(super) fn chosen(items: &[Item], choice: Option<&str>) -> Result<(Vec<bool>, Vec<Remark>), Diagnostics> {
    let all = vec![false; items.len()];
    if choice == Some(ANY) {
        return Ok((all, Vec::new()));
    }
    let cameras = Cameras::of(items);
    if let Some(choice) = choice {
        let Some(camera) = cameras.names.iter().position(|name| name.eq_ignore_ascii_case(choice)) else {
            return Err(cameras.not_there(items, choice).into());
        };
        let left_out = cameras.of.iter().map(|of| *of != Some(camera)).collect();
        return Ok((left_out, Vec::new()));
    }
    if cameras.names.len() < 2 {
        return Ok((all, Vec::new()));
    }
    match cameras.in_turn(items) {
        Some(turns) => Ok((all, turns)),
        None => Err(cameras.several(items).into()),
    }
}

impl Cameras {
    fn of(items: &[Item]) -> Self {
        let mut bodies: Vec<Option<Body>> = items.iter().map(|item| item.read.as_ref().ok()?.body.clone()).collect();
        let serials = |bodies: &[Option<Body>]| {
            let mut serials: BTreeMap<String, BTreeSet<Option<u64>>> = BTreeMap::new();
            for body in bodies.iter().flatten() {
                serials.entry(body.model.clone()).or_default().insert(body.serial.as_ref().map(|serial| serial.hash));
            }
            serials
        };
        // A still without a serial number is of the one camera of its model, where there is one.
        let by_model = serials(&bodies);
        for body in bodies.iter_mut().filter(|body| body.as_ref().is_some_and(|body| body.serial.is_none())) {
            let Some(model) = body.as_ref().map(|body| body.model.clone()) else { continue };
            let known = by_model.get(&model).into_iter().flatten().flatten().count();
            if known == 1 {
                *body = items
                    .iter()
                    .filter_map(|item| item.read.as_ref().ok()?.body.clone())
                    .find(|other| other.model == model && other.serial.is_some());
            } else if known > 1 {
                *body = None;
            }
        }
        // In the order of their first stills.
        let mut order: Vec<usize> = (0..items.len()).filter(|index| bodies[*index].is_some()).collect();
        order.sort_by_key(|index| (items[*index].time.is_none(), items[*index].time, &items[*index].path));
        let mut distinct: Vec<&Body> = Vec::new();
        for body in order.iter().filter_map(|index| bodies[*index].as_ref()) {
            if !distinct.contains(&body) {
                distinct.push(body);
            }
        }
        let mut of: Vec<Option<usize>> =
            bodies.iter().map(|body| distinct.iter().position(|known| Some(*known) == body.as_ref())).collect();
        let names = names(&distinct);
        // What does not say goes with its folder and name, where those are of one camera.
        let key = |item: &Item| (item.folder, item.name.run());
        let mut fellows: BTreeMap<(usize, String), BTreeSet<usize>> = BTreeMap::new();
        for (item, camera) in items.iter().zip(&of) {
            fellows.entry(key(item)).or_default().extend(camera);
        }
        for (item, camera) in items.iter().zip(&mut of).filter(|(_, camera)| camera.is_none()) {
            let fellows = fellows.get(&key(item));
            *camera = fellows.filter(|fellows| fellows.len() == 1).and_then(|fellows| fellows.first().copied());
        }
        if names.len() == 1 {
            of.fill(Some(0));
        }
        Self { names, of }
    }

    fn items_of(&self, camera: usize) -> impl Iterator<Item = usize> {
        (0..self.of.len()).filter(move |index| self.of[*index] == Some(camera))
    }

    /// What to say where each camera begins when the one before has ended; none where they do not follow each other.
    fn in_turn(&self, items: &[Item]) -> Option<Vec<Remark>> {
        let spans: Option<Vec<(i128, i128)>> = (0..self.names.len())
            .map(|camera| {
                let times: Option<Vec<i128>> = self
                    .items_of(camera)
                    .filter(|index| items[*index].read.is_ok())
                    .map(|index| items[index].time)
                    .collect();
                let times = times?;
                Some((*times.iter().min()?, *times.iter().max()?))
            })
            .collect();
        let spans = spans?;
        let follows = spans.windows(2).all(|pair| pair[0].1 < pair[1].0);
        let turn = |camera: usize| {
            let first = self.items_of(camera).min_by_key(|index| items[*index].time)?;
            let words = format!(
                "another camera from {} on: {} after {}",
                shown(&items[first].path),
                self.names[camera],
                self.names[camera - 1]
            );
            Some(Remark::new(words, [first]))
        };
        follows.then(|| (1..self.names.len()).filter_map(turn).collect())
    }

    /// How many stills each camera took, a line each.
    fn listed(&self, items: &[Item], mistake: Diagnostic) -> Diagnostic {
        let line = |camera: usize| {
            let mut of: Vec<usize> = self.items_of(camera).collect();
            of.sort_by_key(|index| &items[*index].path);
            let first = of.first().map(|index| shown(&items[*index].path)).unwrap_or_default();
            format!("camera = {:?}: {} stills, {first} the first", self.names[camera], of.len())
        };
        let mistake = (0..self.names.len().min(LISTED)).map(line).fold(mistake, Diagnostic::help);
        match self.of.iter().filter(|camera| camera.is_none()).count() {
            0 => mistake,
            count => mistake.help(format!("{count} files do not say which camera they are of, nor do their names")),
        }
    }

    fn several(&self, items: &[Item]) -> Diagnostic {
        let count = self.names.len();
        let mistake = Diagnostic::mistake(format!("these are the stills of {count} cameras, taken at the same time"));
        self.listed(items, mistake)
            .help("say which is meant: stills { …, camera = \"NAME\" }, or survey --camera NAME; \"any\" takes all")
    }

    fn not_there(&self, items: &[Item], choice: &str) -> Diagnostic {
        let mistake = Diagnostic::mistake(format!("no still is of a camera called {choice:?}"));
        match self.names.len() {
            0 => mistake.help("no still says which camera took it: leave camera out"),
            _ => self.listed(items, mistake),
        }
    }
}

fn names(bodies: &[&Body]) -> Vec<String> {
    let called = |body: &Body| fit(&body.model).into_owned();
    let name = |at: usize| {
        let body = bodies[at];
        let alike: Vec<usize> = (0..bodies.len()).filter(|other| bodies[*other].model == body.model).collect();
        if alike.len() == 1 {
            return called(body);
        }
        let ends: BTreeSet<&str> =
            alike.iter().filter_map(|other| Some(bodies[*other].serial.as_ref()?.end.as_str())).collect();
        match (&body.serial, ends.len() == alike.len()) {
            (Some(serial), true) => format!("{} {}", called(body), fit(&serial.end)),
            _ => {
                let place = alike.iter().position(|other| *other == at).map_or(0, |place| place + 1);
                format!("{} {place}", called(body))
            }
        }
    };
    (0..bodies.len()).map(name).collect()
}
