//! Which window each key of a framing means for each delivery: always inside the still, or the room that steadying
//! leaves, before anything is interpolated.
//!
//! ## Decisions
//!
//! - `zoom = 1` is the largest window of the delivery's shape *and* the key's roll; a key without a roll is upright.
//! - Where steadying leaves less than the still, a window that would lie inside the still is moved into the room
//!   without a word of its own: what steadying takes has been said. At the still's middle, the largest window lies in
//!   the room's middle.
//!   `show` holds the box in the rolled frame's own directions, with `margin` inside the safe box.

use kurbo::Point;

use crate::diag::{Diagnostic, Diagnostics, Place};
use crate::geom::{self, Room, Window};
use crate::shot::{Closeness, Delivery, Framing, FramingKey, Shot, StillBox, StillPoint, View};
use crate::units::Size;

use super::shape::{self, UNSAID};
use super::steady::Bounds;
use super::words;

pub(super) use super::shape::NARROWEST;

/// The farthest roll of a key either way, in degrees: a whole turn.
const FARTHEST_ROLL: f64 = 360.0;

/// How much is said of one line: a loop of a script makes many keys on one.
const SAID: usize = 6;

/// The framing that holds for a delivery: its own, or the shot's.
pub(super) fn framing_of<'a>(shot: &'a Shot, delivery: &'a Delivery) -> &'a Framing {
    delivery.framing.as_ref().unwrap_or(&shot.framing)
}

/// What kept a key's window from being the one asked for.
#[derive(Debug, Clone, PartialEq)]
enum Trouble {
    /// It would leave the still.
    Moved,
    /// It would be larger than the still.
    TooLarge,
    /// Its box does not fit.
    Cut,
    /// A table's window has another shape than the delivery.
    Reshaped,
}

/// A trouble of one key, with what each delivery says of it.
struct Concern {
    place: Place,
    trouble: Trouble,
    said: Vec<String>,
    help: Vec<String>,
}

/// The windows of every delivery's keys, in the deliveries' order; none where `found` says why not.
pub(super) fn resolve(shot: &Shot, bounds: Bounds, found: &mut Diagnostics) -> Vec<Option<Vec<Window>>> {
    let mut concerns: Vec<Concern> = Vec::new();
    let mut refused: Vec<Diagnostic> = Vec::new();
    let mut all = Vec::with_capacity(shot.deliveries.len());
    for delivery in &shot.deliveries {
        let mut windows = Vec::new();
        for key in &framing_of(shot, delivery).keys {
            match window(key, delivery, (bounds, shot.strict), &mut concerns) {
                Ok(window) => windows.push(Some(window)),
                Err(mistake) => {
                    let mistake = mistake.at(&key.place);
                    if !refused.contains(&mistake) {
                        refused.push(mistake);
                    }
                    windows.push(None);
                }
            }
        }
        all.push(windows.into_iter().collect());
    }
    for concern in concerns {
        let (what, done, lenient) = match concern.trouble {
            Trouble::Moved => {
                (format!("the window at this key would leave {}", bounds.words()), "is moved inside", "moves it inside")
            }
            Trouble::TooLarge => (
                format!("the window at this key would be larger than {}", bounds.words()),
                "becomes the largest that fits",
                "takes the largest that fits",
            ),
            Trouble::Cut => (
                "the box at this key does not fit".to_owned(),
                "is shown as far as possible",
                "shows it as far as possible",
            ),
            Trouble::Reshaped => (
                "the table's window has another shape".to_owned(),
                "keeps its centre and width, and changes in height",
                "mends it",
            ),
        };
        let said = words::list(&shortened(concern.said));
        // A shape that is mended shows nothing that was not asked for.
        let strict = shot.strict && concern.trouble != Trouble::Reshaped;
        let diagnostic = if strict {
            Diagnostic::mistake(format!("{what}, which strict refuses: {said}"))
        } else {
            Diagnostic::remark(format!("{what} and {done}: {said}"))
        };
        let mut diagnostic = diagnostic.at(&concern.place);
        diagnostic.help = concern.help.into_iter().take(SAID).collect();
        if strict {
            diagnostic = diagnostic.help(format!("strict = false in the shot {lenient}"));
        }
        found.push(diagnostic);
    }
    for mistake in refused {
        found.push(mistake);
    }
    all
}

/// The first of what was said, and how much more there was.
fn shortened(mut said: Vec<String>) -> Vec<String> {
    if said.len() > SAID {
        let more = said.len() - SAID;
        said.truncate(SAID);
        said.push(format!("{more} more"));
    }
    said
}

/// The window of one key for one delivery.
fn window(
    key: &FramingKey,
    delivery: &Delivery,
    (bounds, strict): (Bounds, bool),
    concerns: &mut Vec<Concern>,
) -> Result<Window, Diagnostic> {
    let Bounds { still, room } = bounds;
    let largest = Window::largest(room, delivery.frame.aspect(), key.roll);
    let aim = Aim { key, delivery, still, room, largest, strict };
    aim.check_roll()?;
    match &key.view {
        View::On { point, closeness } => aim.on(*point, *closeness, concerns),
        View::Show { area, margin } => aim.show(*area, *margin, concerns),
        View::Subject { area } => aim.area(*area, "box"),
        View::Along { closeness } => {
            let width = aim.width(*closeness, concerns)?;
            let window = Window::around(room.centre(), width, width / delivery.frame.aspect()).rolled(key.roll);
            Ok(window.moved_inside(room))
        }
        View::Window(written) => {
            let shaped = shape::shaped(*written, key.roll, delivery, bounds)?;
            if shape::is_mended(&shaped) {
                let said = format!("'{}' by {} px", delivery.name, words::figure_above(shaped.mended));
                aim.say(Trouble::Reshaped, said, None, concerns);
            }
            let moved = if shaped.window.inside(room, 0.0) { shaped.window } else { shaped.window.moved_inside(room) };
            aim.say_moved(shaped.window, moved, None, concerns);
            Ok(moved)
        }
    }
}

struct Aim<'a> {
    key: &'a FramingKey,
    delivery: &'a Delivery,
    still: Size,
    room: Room,
    /// The largest window of the delivery's shape and the key's roll.
    largest: Window,
    /// Whether what does not fit is refused.
    strict: bool,
}

impl Aim<'_> {
    fn check_roll(&self) -> Result<(), Diagnostic> {
        let roll = self.key.roll;
        if !(-FARTHEST_ROLL..=FARTHEST_ROLL).contains(&roll) {
            return Err(Diagnostic::mistake(format!(
                "roll must be from -360 to 360 degrees; seen {}",
                words::figure(roll)
            ))
            .word("roll")
            .help("roll = 5 turns the window 5 degrees clockwise, roll = -5 the other way"));
        }
        if roll != 0.0 && self.largest.width.min(self.largest.height) < NARROWEST {
            return Err(Diagnostic::mistake(format!(
                "rolled by {} degrees no window of '{}' fits the still, which is {} by {} pixels",
                words::figure(roll),
                self.delivery.name,
                self.still.width,
                self.still.height
            ))
            .word("roll")
            .help("roll = 0, or a frame nearer to the still's shape"));
        }
        Ok(())
    }

    fn on(&self, point: StillPoint, closeness: Closeness, concerns: &mut Vec<Concern>) -> Result<Window, Diagnostic> {
        let (across, down) = (f64::from(self.still.width), f64::from(self.still.height));
        let point = match point {
            StillPoint::Fraction(x, y) => Point::new(x * across, y * down),
            StillPoint::Pixels(x, y) => Point::new(x, y),
        };
        if !((0.0..=across).contains(&point.x) && (0.0..=down).contains(&point.y)) {
            return Err(Diagnostic::mistake(format!(
                "the point ({}, {}) lies outside the still, which is {} by {} pixels",
                words::figure(point.x),
                words::figure(point.y),
                self.still.width,
                self.still.height
            ))
            .word("on")
            .help("point(x, y) takes fractions from 0 to 1, px(x, y) takes pixels"));
        }
        let width = self.width(closeness, concerns)?;
        // All of the picture, about its middle: of the room where steadying has moved that.
        let is_all = width == self.largest.width && point == Point::new(across / 2.0, down / 2.0);
        let point = if is_all { self.room.centre() } else { point };
        let wanted = self.placed(point, width);
        let moved = wanted.moved_inside(self.room);
        self.say_moved(wanted, moved, Some(point), concerns);
        Ok(moved)
    }

    /// The width that a closeness means.
    fn width(&self, closeness: Closeness, concerns: &mut Vec<Concern>) -> Result<f64, Diagnostic> {
        let (asked, name, value) = match closeness {
            Closeness::Zoom(zoom) => (self.largest.width / zoom, "zoom", zoom),
            Closeness::Span(span) => (f64::from(self.still.width) * span, "span", span),
        };
        if !asked.is_finite() || asked <= 0.0 || value <= 0.0 {
            return Err(
                Diagnostic::mistake(format!("{name} must be above 0; seen {}", words::figure(value))).word(name)
            );
        }
        self.sized(asked, name, value, concerns)
    }

    /// The width to use where `asked` is asked for: the largest at most, with a word where that is less.
    fn sized(&self, asked: f64, name: &str, value: f64, concerns: &mut Vec<Concern>) -> Result<f64, Diagnostic> {
        if asked.min(asked / self.delivery.frame.aspect()) < NARROWEST {
            return Err(Diagnostic::mistake(format!(
                "{name} {} makes a window of less than one pixel of the still in '{}'",
                words::figure(value),
                self.delivery.name
            ))
            .word(name)
            .help("a smaller zoom, or a larger span"));
        }
        if asked > self.largest_unsteadied() * (1.0 + 1e-12) + UNSAID {
            let most = match name {
                "zoom" => "zoom 1".to_owned(),
                _ => format!("span {}", words::figure_below(self.largest.width / f64::from(self.still.width))),
            };
            let shows = if self.strict { "would show" } else { "shows" };
            let said = format!("'{}' {shows} {most} for {name} {}", self.delivery.name, words::figure(value));
            self.say(Trouble::TooLarge, said, None, concerns);
        }
        Ok(asked.min(self.largest.width))
    }

    /// The width of the largest window in all of the still, whatever steadying takes of it.
    fn largest_unsteadied(&self) -> f64 {
        Window::largest(self.still, self.delivery.frame.aspect(), self.key.roll).width
    }

    /// The window of a width that shows `point` where the delivery's subject sits.
    fn placed(&self, point: Point, width: f64) -> Window {
        let size = (width, width / self.delivery.frame.aspect());
        Window::placed(point, self.delivery.subject_at, size, self.key.roll)
    }

    /// A box of the still in its pixels; `word` is what the script calls it.
    fn area(&self, area: StillBox, word: &str) -> Result<Window, Diagnostic> {
        let (across, down) = (f64::from(self.still.width), f64::from(self.still.height));
        let inside = area.x >= -1e-9
            && area.y >= -1e-9
            && area.width > 0.0
            && area.height > 0.0
            && area.x + area.width <= 1.0 + 1e-9
            && area.y + area.height <= 1.0 + 1e-9;
        if !inside {
            return Err(Diagnostic::mistake(format!(
                "the box ({}, {}, {}, {}) does not lie inside the still",
                words::figure(area.x),
                words::figure(area.y),
                words::figure(area.width),
                words::figure(area.height)
            ))
            .word(word)
            .help("box(x, y, width, height) takes fractions: x + width and y + height are at most 1"));
        }
        Ok(Window::new(area.x * across, area.y * down, area.width * across, area.height * down))
    }

    fn show(&self, area: StillBox, margin: f64, concerns: &mut Vec<Concern>) -> Result<Window, Diagnostic> {
        let subject = self.area(area, "show")?;
        if !(0.0..0.5).contains(&margin) {
            return Err(Diagnostic::mistake(format!(
                "margin must be from 0 to below 0.5; seen {}",
                words::figure(margin)
            ))
            .word("margin"));
        }
        // As the rolled frame sees it: the smallest rectangle of its directions around the box.
        let middle = subject.centre();
        let (subject_across, subject_down) = subject.rolled(self.key.roll).extents();
        let subject = if self.key.roll == 0.0 { subject } else { Window::around(middle, subject_across, subject_down) };
        let aspect = self.delivery.frame.aspect();
        let free = self.delivery.safe.and(margin);
        // Around a place off the middle the frame's nearer side decides how large the window must be.
        let room = |place: f64, before: f64, after: f64| 2.0 * (place - before).min(1.0 - place - after);
        let (place_across, place_down) = self.delivery.subject_at;
        let (room_across, room_down) =
            (room(place_across, free.left, free.right), room(place_down, free.top, free.bottom));
        let asked = if room_across > 0.0 && room_down > 0.0 {
            (subject.width / room_across).max(subject.height / room_down * aspect)
        } else {
            f64::INFINITY
        };
        if asked <= self.largest.width * (1.0 + 1e-12) + UNSAID {
            let asked = asked.max(NARROWEST.max(NARROWEST * aspect));
            let wanted = self.placed(middle, asked.min(self.largest.width));
            let moved = wanted.moved_inside(self.room);
            self.say_moved(wanted, moved, None, concerns);
            return Ok(moved);
        }
        let wanted = about(middle, self.placed(middle, self.largest.width), -self.key.roll);
        let keep_across = (free.left * wanted.width, free.right * wanted.width);
        let keep_down = (free.top * wanted.height, free.bottom * wanted.height);
        let nearest = Window {
            x: hold(wanted.x, wanted.width, subject.x, subject.width, keep_across),
            y: hold(wanted.y, wanted.height, subject.y, subject.height, keep_down),
            ..wanted
        };
        let moved = about(middle, nearest, self.key.roll).moved_inside(self.room);
        self.say_cut(subject, about(middle, moved, -self.key.roll), concerns);
        Ok(moved)
    }

    fn say_moved(&self, wanted: Window, moved: Window, subject: Option<Point>, concerns: &mut Vec<Concern>) {
        let (across, down) = (moved.x - wanted.x, moved.y - wanted.y);
        // What lies inside the still was moved by what steadying takes, of which that has a remark of its own.
        if across.abs().max(down.abs()) <= UNSAID || wanted.inside(self.still, UNSAID) {
            return;
        }
        let mut ways = Vec::new();
        if across.abs() > UNSAID {
            ways.push(format!("{} px {}", words::figure(across.abs()), if across > 0.0 { "right" } else { "left" }));
        }
        if down.abs() > UNSAID {
            ways.push(format!("{} px {}", words::figure(down.abs()), if down > 0.0 { "down" } else { "up" }));
        }
        let help = subject.and_then(|point| self.zoom_that_fits(point));
        self.say(Trouble::Moved, format!("'{}' by {}", self.delivery.name, words::list(&ways)), help, concerns);
    }

    /// What to type for the point to stay where the delivery puts it.
    fn zoom_that_fits(&self, point: Point) -> Option<String> {
        // How far each corner of a window a pixel wide lies from the point says how many pixels there is room for.
        let room = |away: f64, at: f64, (from, to): (f64, f64)| match away {
            away if away < -1e-12 => (at - from) / -away,
            away if away > 1e-12 => (to - at) / away,
            _ => f64::INFINITY,
        };
        let Room { left, top, right, bottom } = self.room;
        let rooms = self.placed(Point::ORIGIN, 1.0).corners().map(|corner| {
            let across = room(corner.x, point.x, (left, right));
            across.min(room(corner.y, point.y, (top, bottom)))
        });
        let width = rooms.into_iter().fold(f64::INFINITY, f64::min);
        (width >= 16.0).then(|| {
            let zoom = words::figure_above(self.largest.width / width);
            format!("zoom {zoom} or more keeps the point at its place in '{}'", self.delivery.name)
        })
    }

    fn say_cut(&self, subject: Window, shown: Window, concerns: &mut Vec<Concern>) {
        let sides = [
            ("left", (shown.x - subject.x) / subject.width),
            ("right", (subject.right() - shown.right()) / subject.width),
            ("top", (shown.y - subject.y) / subject.height),
            ("bottom", (subject.bottom() - shown.bottom()) / subject.height),
        ];
        let cut: Vec<String> = sides
            .iter()
            .filter(|(_, share)| *share > 1e-6)
            .map(|(side, share)| match (share * 1000.0).round() / 10.0 {
                0.0 => format!("less than 0.1 % at the {side}"),
                percent => format!("{} % at the {side}", words::figure(percent)),
            })
            .collect();
        let would = if self.strict { "would " } else { "" };
        let (show, cut_off) = if self.strict { ("show", "cut") } else { ("shows", "cuts") };
        let said = if cut.is_empty() {
            format!("'{}' {would}{show} all of it, with less margin or out of place", self.delivery.name)
        } else {
            format!("'{}' {would}{cut_off} {}", self.delivery.name, words::list(&cut))
        };
        self.say(Trouble::Cut, said, None, concerns);
    }

    fn say(&self, trouble: Trouble, said: String, help: Option<String>, concerns: &mut Vec<Concern>) {
        // What is said of a table's lines is said together, at the first of them.
        let is_line = matches!(self.key.view, View::Window(_));
        let (place, said) =
            (&self.key.place, if is_line { format!("{said} in line {}", self.key.place.line) } else { said });
        let is_there = |known: &Place| if is_line { known.file == place.file } else { known == place };
        match concerns.iter_mut().find(|concern| is_there(&concern.place) && concern.trouble == trouble) {
            Some(concern) => {
                concern.said.push(said);
                concern.help.extend(help);
            }
            None => concerns.push(Concern {
                place: self.key.place.clone(),
                trouble,
                said: vec![said],
                help: help.into_iter().collect(),
            }),
        }
    }
}

/// A window turned about a point, clockwise by an angle in degrees; as it is where that is none.
fn about(point: Point, window: Window, degrees: f64) -> Window {
    if degrees == 0.0 {
        return window;
    }
    let centre = point + geom::turned(window.centre() - point, degrees);
    Window::around(centre, window.width, window.height).rolled(window.roll + degrees)
}

/// Where a window side of `length` begins, as near `wanted` as holds a stretch with its margins; without them where
/// that does not fit; inside the stretch where the stretch does not fit at all.
fn hold(wanted: f64, length: f64, begin: f64, stretch: f64, (before, after): (f64, f64)) -> f64 {
    let end = begin + stretch;
    let between = |one: f64, other: f64| wanted.clamp(one.min(other), one.max(other));
    if stretch + (before + after) <= length {
        between(end + after - length, begin - before)
    } else {
        between(end - length, begin)
    }
}
