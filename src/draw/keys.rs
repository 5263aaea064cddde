//! The list of a sheet's keys by their numbers, with what the windows show of the still where there is room.

use kurbo::{Affine, Point, Rect};

use super::sheet::Sheet;
use super::still::BACKDROP;
use crate::geom::Window;
use crate::ink::letters::{Anchor, Type};
use crate::ink::look::{Badge, FRAME, INK, Look, PANEL, QUIET};
use crate::ink::scale::{figure, short};
use crate::ink::space::{HEADING, LINE};
use crate::ink::svg::Svg;

/// Between pictures, and between a row of them and the next key's words.
const APART: f64 = 12.0;
/// Height of the pictures: at most; the least and the most in one row across the page; at least where there are any.
pub(super) const TALLEST: f64 = 360.0;
const IN_A_ROW: (f64, f64) = (80.0, 208.0);
const LEAST: f64 = 64.0;

/// A key, or a moment where a clip has none.
#[derive(Clone)]
struct Item {
    number: Option<usize>,
    words: String,
    /// The windows of deliveries then, each once.
    windows: Vec<(usize, Window)>,
}

/// A number, a moment, and tracks with their own moments.
type Listed = (Option<usize>, f64, Vec<(usize, f64)>);

/// The list laid out in some room.
#[derive(Clone)]
pub(super) struct Keys {
    place: Rect,
    items: Vec<Item>,
    /// Height of the pictures; none where there is no room for them, or no still to show.
    pictures: Option<f64>,
}

impl Keys {
    /// Everything that is to be listed.
    pub(super) fn of(sheet: &Sheet<'_>) -> Self {
        let keys = sheet.numbered();
        let moments: Vec<Listed> = if keys.is_empty() {
            let parts: &[f64] = if sheet.moves() { &[0.0, 0.5, 1.0] } else { &[0.0] };
            let all = |seconds: f64| (0..sheet.tracks.len()).map(|track| (track, seconds)).collect();
            parts.iter().map(|part| (None, part * sheet.length, all(part * sheet.length))).collect()
        } else {
            keys.into_iter().map(|key| (Some(key.number), key.seconds, key.of)).collect()
        };
        let alike = sheet.alike();
        let item = |(number, seconds, of): Listed| {
            let of: Vec<(usize, f64)> =
                of.into_iter().filter(|(track, _)| alike.iter().any(|tracks| tracks[0] == *track)).collect();
            let windows: Vec<(usize, Window)> = of
                .iter()
                .map(|(index, seconds)| {
                    let track = &sheet.tracks[*index];
                    (*index, track.row(track.frame_at(*seconds)).window)
                })
                .collect();
            Item { number, words: words(sheet, seconds, &windows), windows }
        };
        let items = moments.into_iter().map(item).collect();
        Self { place: Rect::ZERO, items, pictures: None }
    }

    /// In this room, with pictures as large as fit there, no taller than `tallest`.
    pub(super) fn within(mut self, sheet: &Sheet<'_>, place: Rect, tallest: f64) -> Self {
        self.place = place;
        let mut height = if sheet.backdrop.is_some() { tallest } else { 0.0 };
        while height >= LEAST {
            self.pictures = Some(height);
            if self.height(sheet) <= place.height() {
                return self;
            }
            height -= 2.0;
        }
        self.pictures = None;
        self
    }

    /// In rows across the page, which the pictures fill if one row is enough.
    pub(super) fn across(self, sheet: &Sheet<'_>, place: Rect) -> Self {
        let mut height = if sheet.backdrop.is_some() { IN_A_ROW.1 } else { 0.0 };
        while height >= IN_A_ROW.0 {
            let widths = self.items.iter().map(|item| self.width(sheet, item, height) + APART);
            if widths.sum::<f64>() - APART <= place.width() {
                return Self { place, pictures: Some(height), ..self };
            }
            height -= 1.0;
        }
        self.within(sheet, place, IN_A_ROW.0)
    }

    /// Where every item stands within the room, and how far down all of them reach.
    fn laid_out(&self, sheet: &Sheet<'_>) -> (Vec<Point>, f64) {
        let (mut x, mut y) = (0.0, HEADING);
        let mut corners = Vec::new();
        let Some(height) = self.pictures else {
            for _ in &self.items {
                corners.push(Point::new(0.0, y));
                y += LINE + 2.0;
            }
            return (corners, y);
        };
        let down = LINE + 6.0 + height + APART;
        for item in &self.items {
            let width = self.width(sheet, item, height);
            if x > 0.0 && x + width > self.place.width() {
                (x, y) = (0.0, y + down);
            }
            corners.push(Point::new(x, y));
            x += width + APART;
        }
        let fits = self.items.iter().all(|item| self.width(sheet, item, height) <= self.place.width());
        (corners, if fits { y + down - APART } else { f64::INFINITY })
    }

    /// How wide an item is with pictures of this height.
    fn width(&self, sheet: &Sheet<'_>, item: &Item, height: f64) -> f64 {
        let aspect = |track: usize| sheet.tracks[track].plan.frame.aspect();
        let pictures: f64 = item.windows.iter().map(|(track, _)| height * aspect(*track) + APART / 2.0).sum();
        let words = if item.number.is_some() { 24.0 } else { 0.0 } + Type::SMALL.width(&item.words);
        (pictures - APART / 2.0).max(words)
    }

    /// Pixels that it needs in the width of its room.
    pub(super) fn height(&self, sheet: &Sheet<'_>) -> f64 {
        self.laid_out(sheet).1
    }

    /// Height of the pictures, in pixels; 0 without any.
    pub(super) fn pictures(&self) -> f64 {
        self.pictures.unwrap_or(0.0)
    }

    pub(super) fn draw(&self, svg: &mut Svg, sheet: &Sheet<'_>, still: Rect) {
        svg.element("g").text("class", "keys").holding(|svg| self.list(svg, sheet, still));
    }

    fn list(&self, svg: &mut Svg, sheet: &Sheet<'_>, still: Rect) {
        let numbered = self.items.iter().any(|item| item.number.is_some());
        let origin = self.place.origin();
        let word = if numbered { "keys" } else { "window" };
        Type::HEADING.write(svg, origin + (0.0, 12.0), Anchor::Start, INK, word);
        let says = if self.pictures.is_some() { "what each window shows, of the still of this sheet" } else { "" };
        let after = Type::HEADING.width(word) + 10.0;
        let says = Type::SMALL.cut(says, self.place.width() - after);
        if !says.is_empty() {
            Type::SMALL.write(svg, origin + (after, 12.0), Anchor::Start, QUIET, &says);
        }
        for (item, corner) in self.items.iter().zip(self.laid_out(sheet).0) {
            let corner = origin + corner.to_vec2();
            let mut left = corner.x;
            if let Some(number) = item.number {
                Badge::Key.draw(svg, Point::new(left + 8.0, corner.y + 8.5), number);
                left += 24.0;
            }
            let text = Type::SMALL.cut(&item.words, self.place.x1 - left);
            Type::SMALL.write(svg, Point::new(left, corner.y + 12.8), Anchor::Start, INK, &text);
            let Some(height) = self.pictures else { continue };
            let mut place = Rect::from_origin_size(corner + (0.0, LINE + 6.0), (0.0, height));
            for (track, window) in &item.windows {
                place.x1 = place.x0 + height * sheet.tracks[*track].plan.frame.aspect();
                part(svg, sheet, (*window, still), place);
                let look = Look::of(*track);
                look.mark.draw(svg, Point::new(place.x0 + 11.0, place.y0 + 11.0), 5.0, look.dark, PANEL);
                place.x0 = place.x1 + APART / 2.0;
            }
        }
    }
}

/// The moment, its still, and how close the windows are.
fn words(sheet: &Sheet<'_>, seconds: f64, windows: &[(usize, Window)]) -> String {
    let track = windows.first().map_or(0, |(track, _)| *track);
    let row = sheet.tracks[track].row(sheet.tracks[track].frame_at(seconds));
    let mut zooms: Vec<String> =
        windows.iter().map(|(track, window)| short(sheet.tracks[*track].zoom(*window))).collect();
    zooms.dedup();
    let roll = windows.first().map_or(0.0, |(_, window)| window.roll);
    let roll = if roll.abs() < 0.05 { String::new() } else { format!(", roll {}°", figure(roll, 0.1)) };
    format!("{} s, still {}, zoom {}{roll}", short(seconds), row.shown.0 + 1, zooms.join(" / "))
}

/// What a window shows of the still that lies in `still`.
fn part(svg: &mut Svg, sheet: &Sheet<'_>, (window, still): (Window, Rect), place: Rect) {
    let scale = still.width() / f64::from(sheet.shoot.size.width);
    let onto = Affine::translate(still.origin().to_vec2()) * Affine::scale(scale);
    let (centre, across, down) = (onto * window.centre(), window.width * scale, window.height * scale);
    let view = [centre.x - across / 2.0, centre.y - down / 2.0, across, down].map(|side| format!("{side:.3}"));
    let frame = svg.element("svg").number("x", place.x0).number("y", place.y0).number("width", place.width());
    let frame = frame.number("height", place.height()).text("viewBox", &view.join(" "));
    frame.text("class", "shown").text("preserveAspectRatio", "none").text("overflow", "hidden").holding(|svg| {
        let picture = svg.element("use").text("href", &format!("#{BACKDROP}"));
        if window.roll == 0.0 {
            picture.empty();
        } else {
            let turn = format!("rotate({} {:.3} {:.3})", -window.roll, centre.x, centre.y);
            picture.text("transform", &turn).empty();
        }
    });
    svg.rect(place).text("fill", "none").text("stroke", FRAME).empty();
}
