//! A still with every delivery's windows over it: at its keys and in between, and the way their centres take.

use kurbo::{Affine, BezPath, Point, Rect, Size};

use super::boxes;
use super::labels::{Chip, Labels};
use super::letters::{Anchor, Type};
use super::look::{BETWEEN, EDGE, FRAME, Look, QUIET, SHADE, SHADING};
use super::scale::{figure, round_seconds};
use super::sheet::{Sheet, SheetRow};
use super::svg::Svg;
use super::thin::thinned;
use crate::geom::Window;

/// How far what is drawn may lie from where it is, in pixels of the sheet, for the sake of fewer points.
pub(super) const NEAR: f64 = 0.05;

/// Windows nearer than this to one drawn already are that one.
const SAME: f64 = 0.6;

/// The largest rectangle of a still's shape at the top left of some room.
pub(super) fn fitted(still: crate::units::Size, room: Rect) -> Rect {
    let largest = (room.width() / f64::from(still.width)).min(room.height() / f64::from(still.height));
    let size = Size::new(f64::from(still.width) * largest, f64::from(still.height) * largest);
    Rect::from_origin_size(room.origin(), size)
}

/// Draws the still into `place`, which has its shape, and everything over it.
pub(super) fn draw(svg: &mut Svg, sheet: &Sheet<'_>, place: Rect) {
    let scale = place.width() / f64::from(sheet.shoot.size.width);
    let onto = Affine::translate(place.origin().to_vec2()) * Affine::scale(scale);
    let tracks: Vec<Traced<'_>> =
        sheet.tracks.iter().enumerate().map(|(index, track)| Traced::new(sheet, track, index, onto)).collect();
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
        svg.rect(place).text("fill", "#2c363d").empty();
        let mut thirds = BezPath::new();
        for part in [1.0 / 3.0, 2.0 / 3.0] {
            let (x, y) = (place.x0 + part * place.width(), place.y0 + part * place.height());
            thirds.move_to((x, place.y0));
            thirds.line_to((x, place.y1));
            thirds.move_to((place.x0, y));
            thirds.line_to((place.x1, y));
        }
        svg.path(&thirds).text("stroke", "#46525a").text("fill", "none").empty();
        return;
    };
    use base64::Engine as _;
    let jpeg = format!("data:image/jpeg;base64,{}", base64::engine::general_purpose::STANDARD.encode(&backdrop.jpeg));
    let image = svg.element("image").number("x", place.x0).number("y", place.y0);
    let image = image.number("width", place.width()).number("height", place.height());
    image.text("preserveAspectRatio", "none").text("href", &jpeg).empty();
    svg.rect(place).text("fill", SHADE).number("fill-opacity", SHADING).empty();
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stroke {
    /// The dark edge that makes a line stand out on anything.
    Casing,
    Line,
}

/// A delivery's part, on the sheet.
struct Traced<'a> {
    track: &'a SheetRow<'a>,
    look: Look,
    index: usize,
    onto: Affine,
    /// Windows at keys, each once, with the moments it is reached.
    at_keys: Vec<(Window, Vec<f64>)>,
    /// Windows in between.
    between: Vec<(usize, Window)>,
    /// Seconds from one tick to the next.
    step: f64,
}

impl<'a> Traced<'a> {
    fn new(sheet: &Sheet<'_>, track: &'a SheetRow<'a>, index: usize, onto: Affine) -> Self {
        let near = SAME / onto.as_coeffs()[0];
        let same = |one: Window, other: Window| {
            one.outline().iter().zip(other.outline()).all(|(one, other)| one.distance(other) < near)
        };
        let mut at_keys: Vec<(Window, Vec<f64>)> = Vec::new();
        for key in track.keys {
            // A path may have been bent, a key lie between two frames or beyond the clip: what is drawn is what is
            // shown.
            if key.seconds >= sheet.length {
                continue;
            }
            let shown = track.row(track.frame_at(key.seconds)).window;
            match at_keys.iter_mut().find(|(window, _)| same(*window, shown)) {
                Some((_, moments)) => moments.push(key.seconds),
                None => at_keys.push((shown, vec![key.seconds])),
            }
        }
        if at_keys.is_empty() {
            at_keys.push((track.row(0).window, vec![0.0]));
        }
        let step = round_seconds(sheet.length / 10.0);
        let sparse = sheet.tracks.len().div_ceil(2).max(1);
        let mut between: Vec<(usize, Window)> = Vec::new();
        for frame in track.ticks(step).into_iter().step_by(sparse) {
            let window = track.row(frame).window;
            let drawn = at_keys.iter().map(|(window, _)| *window).chain(between.iter().map(|(_, window)| *window));
            if !drawn.into_iter().any(|other| same(other, window)) {
                between.push((frame, window));
            }
        }
        Self { track, look: Look::of(index), index, onto, at_keys, between, step }
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
        let between = self.between.iter().map(|(frame, window)| ("between", *frame, *window, 1.0, BETWEEN));
        let keys =
            self.at_keys.iter().map(|(window, moments)| ("key", self.track.frame_at(moments[0]), *window, 2.2, 1.0));
        for (class, frame, window, width, opacity) in between.chain(keys) {
            let outline = self.outline(window);
            match way {
                Stroke::Casing => {
                    let casing = svg.path(&outline).text("fill", "none").text("stroke", SHADE);
                    casing.number("stroke-width", width + 2.4).number("stroke-opacity", EDGE).empty();
                }
                Stroke::Line => {
                    let line = svg.path(&outline).text("class", class).text("data-delivery", &self.track.plan.name);
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
                edge(svg, &line, 4.6);
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
        for (window, _) in &self.at_keys {
            let at = self.onto * window.centre();
            self.look.mark.draw(svg, at, radius, self.look.light, SHADE);
            labels.keep_off(Rect::from_center_size(at, (2.0 * radius, 2.0 * radius)));
        }
    }

    /// Writes at a window's corner whose it is and when.
    fn name_keys(&self, svg: &mut Svg, labels: &mut Labels) {
        for (window, moments) in &self.at_keys {
            let step = if self.step < 0.1 { 0.001 } else { 0.1 };
            let at = moments.iter().take(4).map(|moment| figure(*moment, step)).collect::<Vec<_>>().join(", ");
            let more = if moments.len() > 4 { ", …" } else { "" };
            let set = Type::SMALL_BOLD;
            let name = set.cut(&self.track.name, 180.0);
            let text = if self.track.keys.is_empty() { name } else { format!("{name} {at}{more} s") };
            let chip = Chip { text, set, look: self.look, marked: true };
            let size = chip.size();
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
            if let Some(place) = labels.place(size, corners) {
                chip.draw(svg, place);
            }
        }
    }

    /// Writes the time at as many ticks as there is room for.
    fn name_ticks(&self, svg: &mut Svg, labels: &mut Labels) {
        let set = Type { size: 11.0, bold: false };
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

/// A line with a delivery's dashes.
pub(super) fn dashed<'a>(line: super::svg::Element<'a>, look: Look) -> super::svg::Element<'a> {
    if look.dashes.is_empty() { line } else { line.text("stroke-dasharray", look.dashes) }
}

/// Says under a still what it is.
pub(super) fn caption(svg: &mut Svg, sheet: &Sheet<'_>, place: Rect) {
    let size = sheet.shoot.size;
    let still = sheet
        .backdrop
        .as_ref()
        .map_or_else(|| "a plain ground".to_owned(), |backdrop| format!("still {}", backdrop.name));
    let text =
        format!("{still}, {size} pixels. Bold windows: keys. Thin ones, and ticks on the way of the centre: every ");
    let text = text + &figure(round_seconds(sheet.length / 10.0), 0.001) + " s.";
    let text = Type::SMALL.cut(&text, place.width());
    Type::SMALL.write(svg, Point::new(place.x0, place.y1 + 18.0), Anchor::Start, QUIET, &text);
    let mut legend = boxes::legend(sheet);
    if sheet.tracks.iter().any(|track| track.plan.room != size.into()) {
        let view = "Steadied: windows lie over the first still's view, and are painted along with the camera.";
        legend = if legend.is_empty() { view.to_owned() } else { format!("{view} {legend}") };
    }
    if !legend.is_empty() {
        let legend = Type::SMALL.cut(&legend, place.width());
        Type::SMALL.write(svg, Point::new(place.x0, place.y1 + 34.0), Anchor::Start, QUIET, &legend);
    }
}
