//! A still with every delivery's windows over it: at its keys and in between, and the way their centres take.

use kurbo::{Affine, BezPath, Point, Rect};

use super::boxes;
use super::sheet::{Sheet, SheetRow};
use crate::geom::Window;
use crate::ink::labels::{Chip, Labels};
use crate::ink::letters::{Anchor, Type};
use crate::ink::look::{BETWEEN, CASING, EDGE, FRAME, GROUND, Look, QUIET, SHADE, THIN_CASING, dashed};
use crate::ink::scale::{figure, round_seconds};
use crate::ink::space::LINE;
use crate::ink::svg::Svg;
use crate::ink::thin::thinned;

/// What the still is known by, for small pictures of its parts.
pub(super) const BACKDROP: &str = "still";

/// How far what is drawn may lie from where it is, in pixels of the sheet, for the sake of fewer points.
pub(super) const NEAR: f64 = 0.05;

/// Windows nearer than this to one drawn already are that one.
const SAME: f64 = 0.6;

/// Draws the still into `place`, which has its shape, and everything over it.
pub(super) fn draw(svg: &mut Svg, sheet: &Sheet<'_>, place: Rect) {
    let scale = place.width() / f64::from(sheet.shoot.size.width);
    let onto = Affine::translate(place.origin().to_vec2()) * Affine::scale(scale);
    let alike = sheet.alike();
    let tracks: Vec<Traced<'_>> = alike.iter().map(|tracks| Traced::new(sheet, tracks, onto)).collect();
    let still = svg.element("g").text("class", "still").number("data-x", place.x0).number("data-y", place.y0);
    still.exact("data-scale", scale).holding(|svg| {
        ground(svg, sheet, place);
        boxes::covers(svg, sheet, onto);
        for way in [Stroke::Casing, Stroke::Line] {
            for track in &tracks {
                track.windows(svg, way);
            }
        }
        for way in [Stroke::Casing, Stroke::Line] {
            for track in &tracks {
                track.way(svg, way);
            }
        }
        boxes::subjects(svg, sheet, onto);
        let mut labels = Labels::within(place.inset(-3.0));
        for track in &tracks {
            track.marks(svg, &mut labels);
        }
        for track in &tracks {
            track.name_keys(svg, &mut labels);
        }
        boxes::name(svg, sheet, onto, &mut labels);
        for track in &tracks {
            track.name_ticks(svg, &mut labels);
        }
        svg.rect(place).text("fill", "none").text("stroke", FRAME).empty();
    });
}

/// What lies under the windows.
fn ground(svg: &mut Svg, sheet: &Sheet<'_>, place: Rect) {
    let Some(backdrop) = &sheet.backdrop else {
        svg.rect(place).text("fill", GROUND).empty();
        return;
    };
    use base64::Engine as _;
    let jpeg = format!("data:image/jpeg;base64,{}", base64::engine::general_purpose::STANDARD.encode(&backdrop.jpeg));
    let image = svg.element("image").text("id", BACKDROP).number("x", place.x0).number("y", place.y0);
    let image = image.number("width", place.width()).number("height", place.height());
    image.text("preserveAspectRatio", "none").text("href", &jpeg).empty();
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stroke {
    /// The dark edge that makes a line stand out on anything.
    Casing,
    Line,
}

/// The part of a delivery, and of those that show the same, on the sheet.
struct Traced<'a> {
    track: &'a SheetRow<'a>,
    /// What they are called together.
    names: String,
    /// The names of the others, as a plan has them.
    also: String,
    look: Look,
    index: usize,
    onto: Affine,
    /// Windows at keys, each once, with the frame it is first reached in and the keys' numbers.
    at_keys: Vec<(Window, usize, Vec<usize>)>,
    /// Windows in between.
    between: Vec<(usize, Window)>,
    /// Seconds from one tick to the next.
    step: f64,
}

impl<'a> Traced<'a> {
    fn new(sheet: &'a Sheet<'_>, tracks: &[usize], onto: Affine) -> Self {
        let (index, track) = (tracks[0], &sheet.tracks[tracks[0]]);
        let near = SAME / onto.as_coeffs()[0];
        let same = |one: Window, other: Window| {
            one.outline().iter().zip(other.outline()).all(|(one, other)| one.distance(other) < near)
        };
        let mut at_keys: Vec<(Window, usize, Vec<usize>)> = Vec::new();
        let mut frames = Vec::new();
        for key in sheet.numbered() {
            let Some((_, seconds)) = key.of.iter().find(|(track, _)| *track == index) else { continue };
            // A path may have been bent, a key lie between two frames: what is drawn is what is shown.
            let frame = track.frame_at(*seconds);
            frames.push(frame);
            let shown = track.row(frame).window;
            match at_keys.iter_mut().find(|(window, ..)| same(*window, shown)) {
                Some((.., numbers)) => numbers.push(key.number),
                None => at_keys.push((shown, frame, vec![key.number])),
            }
        }
        if at_keys.is_empty() {
            at_keys.push((track.row(0).window, 0, Vec::new()));
        }
        // Halfway between keys; where there are few, by quarters of the clip; none where they would be too many to tell.
        if frames.len() < 2 {
            frames = (0..5).map(|quarter| quarter * (track.frames() - 1) / 4).collect();
        }
        let shows = shows_between(sheet);
        let mut between: Vec<(usize, Window)> = Vec::new();
        for frame in frames.windows(2).map(|pair| usize::midpoint(pair[0], pair[1])) {
            let window = track.row(frame).window;
            let drawn = at_keys.iter().map(|(window, ..)| *window).chain(between.iter().map(|(_, window)| *window));
            if shows && !drawn.into_iter().any(|other| same(other, window)) {
                between.push((frame, window));
            }
        }
        let also: Vec<&str> = tracks[1..].iter().map(|track| sheet.tracks[*track].plan.name.as_str()).collect();
        let (names, also, step) = (sheet.names(tracks), also.join("/"), round_seconds(sheet.length / 10.0));
        Self { track, names, also, look: Look::of(index), index, onto, at_keys, between, step }
    }

    fn outline(&self, window: Window) -> BezPath {
        let mut path = BezPath::new();
        for (at, corner) in window.outline().into_iter().enumerate() {
            let corner = self.onto * corner;
            if at == 0 { path.move_to(corner) } else { path.line_to(corner) }
        }
        path.close_path();
        path
    }

    fn windows(&self, svg: &mut Svg, way: Stroke) {
        let between = self.between.iter().map(|(frame, window)| ("between", *frame, *window, 1.2, BETWEEN));
        let keys = self.at_keys.iter().map(|(window, frame, _)| ("key", *frame, *window, 2.2, 1.0));
        for (class, frame, window, width, opacity) in between.chain(keys) {
            let outline = self.outline(window);
            let edge = if class == "key" { CASING } else { THIN_CASING };
            match way {
                Stroke::Casing => {
                    let casing = svg.path(&outline).text("fill", "none").text("stroke", SHADE);
                    casing.number("stroke-width", width + edge).number("stroke-opacity", EDGE).empty();
                }
                Stroke::Line => {
                    let line = svg.path(&outline).text("class", class).text("data-delivery", &self.track.plan.name);
                    let line = if self.also.is_empty() { line } else { line.text("data-also", &self.also) };
                    let line =
                        line.number("data-frame", frame as f64).text("fill", "none").text("stroke", self.look.light);
                    dashed(line.number("stroke-width", width).number("stroke-opacity", opacity), self.look).empty();
                }
            }
        }
    }

    /// The line the centres take.
    fn way(&self, svg: &mut Svg, way: Stroke) {
        let mut centres: Vec<Point> = Vec::new();
        for row in &self.track.plan.rows {
            let centre = self.onto * row.window.centre();
            if centres.last().is_none_or(|last| last.distance(centre) > NEAR / 2.0) {
                centres.push(centre);
            }
        }
        let line = thinned(&centres, NEAR);
        if line.len() < 2 {
            return;
        }
        match way {
            Stroke::Casing => {
                let edge = |svg: &mut Svg, line: &[Point], width: f64| {
                    svg.line(line)
                        .text("stroke", SHADE)
                        .number("stroke-width", width)
                        .number("stroke-opacity", EDGE)
                        .empty();
                };
                edge(svg, &line, 2.0 + CASING);
                for (at, across) in self.across() {
                    edge(svg, &[at - across * 6.2, at + across * 6.2], 4.0);
                }
            }
            Stroke::Line => {
                let line = svg.line(&line).text("class", "way").text("data-delivery", &self.track.plan.name);
                dashed(line.text("stroke", self.look.light).number("stroke-width", 2.0), self.look).empty();
                for (at, across) in self.across() {
                    let ends = [at - across * 5.0, at + across * 5.0];
                    svg.line(&ends)
                        .text("class", "tick")
                        .text("stroke", self.look.light)
                        .number("stroke-width", 1.6)
                        .empty();
                }
            }
        }
    }

    /// The ticks on the way: where, and the direction across it.
    fn across(&self) -> Vec<(Point, kurbo::Vec2)> {
        let frames = self.track.frames();
        let centre = |frame: usize| self.onto * self.track.row(frame).window.centre();
        let mut ticks_across = Vec::new();
        for frame in self.track.ticks(self.step) {
            let along = centre((frame + 1).min(frames - 1)) - centre(frame.saturating_sub(1));
            if along.hypot() > 1e-3 {
                ticks_across.push((centre(frame), along.normalize().turn_90()));
            }
        }
        ticks_across
    }

    /// A mark at the centre of every key's window: those of the deliveries to come lie inside.
    fn marks(&self, svg: &mut Svg, labels: &mut Labels) {
        let radius = 8.0 - 1.3 * self.index.min(3) as f64;
        for (window, ..) in &self.at_keys {
            let at = self.onto * window.centre();
            self.look.mark.draw(svg, at, radius, self.look.light, SHADE);
            labels.keep_off(Rect::from_center_size(at, (2.0 * radius, 2.0 * radius)));
        }
    }

    /// Writes at a window's corner whose it is and by which numbers its keys go; the numbers alone where that has no
    /// room.
    fn name_keys(&self, svg: &mut Svg, labels: &mut Labels) {
        for (window, _, numbers) in &self.at_keys {
            let set = Type::SMALL_BOLD;
            let shown = numbers.iter().take(6).map(ToString::to_string).collect::<Vec<_>>().join(", ");
            let shown = if numbers.len() > 6 { shown + ", …" } else { shown };
            let long = format!("{shown} {}", set.cut(&self.names, 200.0)).trim_start().to_owned();
            for text in [long, shown].into_iter().filter(|text| !text.is_empty()) {
                let chip = Chip { text, set, look: self.look, marked: true };
                if let Some(place) = labels.place(chip.size(), self.corners(*window, chip.size())) {
                    chip.draw(svg, place);
                    break;
                }
            }
        }
    }

    /// Where a window's label may stand, the best first.
    fn corners(&self, window: Window, size: kurbo::Size) -> Vec<Point> {
        let [left_top, right_top, right_bottom, left_bottom] = window.outline().map(|corner| self.onto * corner);
        let inset = 5.0;
        let mut corners = vec![
            left_top + (inset, inset),
            right_top + (-inset - size.width, inset),
            left_bottom + (inset, -inset - size.height),
            right_bottom + (-inset - size.width, -inset - size.height),
            left_top + (0.0, -inset - size.height),
            left_bottom + (0.0, inset),
            right_top + (-size.width, -inset - size.height),
            right_bottom + (-size.width, inset),
        ];
        for line in 1..6_u32 {
            let down = f64::from(line) * (size.height + 3.0);
            corners.push(left_top + (inset, inset + down));
            corners.push(right_top + (-inset - size.width, inset + down));
            corners.push(left_bottom + (inset, -inset - size.height - down));
            corners.push(right_bottom + (-inset - size.width, -inset - size.height - down));
        }
        corners
    }

    /// Writes the time at as many ticks as there is room for.
    fn name_ticks(&self, svg: &mut Svg, labels: &mut Labels) {
        let set = Type::TICK;
        for frame in self.track.ticks(self.step) {
            let centre = |frame: usize| self.onto * self.track.row(frame).window.centre();
            let along = centre((frame + 1).min(self.track.frames() - 1)) - centre(frame.saturating_sub(1));
            if along.hypot() <= 1e-3 {
                continue;
            }
            let text = format!("{} s", figure(self.track.time(frame), self.step));
            let chip = Chip { text, set, look: self.look, marked: false };
            let (size, at, across) = (chip.size(), centre(frame), along.normalize().turn_90());
            let reach = 9.0 + (across.x.abs() * size.width + across.y.abs() * size.height) / 2.0;
            let corners = [1.0, -1.0].map(|side| at + across * (side * reach) - (size / 2.0).to_vec2());
            if let Some(place) = labels.place(size, corners) {
                chip.draw(svg, place);
            }
        }
    }
}

/// More windows of keys than these leave no room for others between them.
const KEYS: usize = 10;

/// Whether there is room for windows between keys: not where three deliveries and more have windows of their own, nor
/// where keys are many.
fn shows_between(sheet: &Sheet<'_>) -> bool {
    let alike = sheet.alike().len();
    alike < 3 && alike * sheet.numbered().len() <= KEYS
}

/// What is to be known of a still and of what lies over it, in lines of this width.
pub(super) fn caption_lines(sheet: &Sheet<'_>, width: f64) -> Vec<String> {
    let size = sheet.shoot.size;
    let still = sheet
        .backdrop
        .as_ref()
        .map_or_else(|| "a plain ground".to_owned(), |backdrop| format!("still {}", backdrop.name));
    let step = figure(round_seconds(sheet.length / 10.0), 0.001);
    let windows = match (sheet.numbered().is_empty(), shows_between(sheet)) {
        (false, true) => "Bold windows: keys, by their numbers. Thin ones: halfway between.",
        (false, false) => "Bold windows: keys, by their numbers.",
        (true, true) => "Bold: the window at the start. Thin: where it is later.",
        (true, false) => "Bold: windows at the start.",
    };
    let mut lines = vec![if sheet.moves() {
        format!("{still}, {size} pixels. {windows} Ticks on the way of the centre: every {step} s.")
    } else {
        format!("{still}, {size} pixels. Windows stay where they are.")
    }];
    if sheet.tracks.iter().any(|track| track.plan.room != size.into()) {
        lines.push("Steadied: windows lie over the first still's view, and are painted along with the camera.".into());
    }
    lines.push(boxes::legend(sheet));
    lines.retain(|line| !line.is_empty());
    lines.iter().flat_map(|line| Type::SMALL.lines(line, width)).collect()
}

/// Says under a still what it is.
pub(super) fn caption(svg: &mut Svg, sheet: &Sheet<'_>, place: Rect) {
    for (index, line) in caption_lines(sheet, place.width()).iter().enumerate() {
        let at = Point::new(place.x0, place.y1 + 18.0 + LINE * index as f64);
        Type::SMALL.write(svg, at, Anchor::Start, QUIET, line);
    }
}
