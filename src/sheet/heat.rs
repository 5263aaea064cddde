//! The column on the right: where things move, and what the marks of the page mean.

use kurbo::{Point, Rect};

use super::slots::Held;
use super::{Request, pictures};
use crate::ink::letters::{Anchor, Type};
use crate::ink::look::{Badge, FRAME, HEAT, HEAT_GREY, INK, QUIET};
use crate::ink::space::{self, HEADING, LINE};
use crate::ink::svg::Svg;
use crate::measures::Thumbnail;

/// Height of the largest picture.
const TALLEST: f64 = 400.0;
/// Height of the sample of the colours, and into how many steps it is cut.
const RAMP: f64 = 10.0;
const STEPS: usize = 32;
/// The picture's pixels to one of the small still's.
const FINER: usize = 4;
/// How much of its colour has what changes most: the picture is seen through it.
const MOST: f64 = 0.85;

/// What the badges mean.
const BADGES: [(Badge, &str); 3] = [
    (Badge::Lost, "stills that cannot be shown, or show what never was"),
    (Badge::Seen, "what anybody will see in the clip"),
    (Badge::Known, "what may matter"),
];

/// The column.
pub(super) struct Column {
    place: Rect,
    /// The grey picture from the middle of the shoot, and where it stands.
    picture: Option<(Thumbnail, Rect)>,
    words: Vec<String>,
    /// Whether there is no other still to compare that with.
    alone: bool,
}

impl Column {
    pub(super) fn of(request: &Request, place: Rect) -> Self {
        let slots: Vec<_> = request.measures.measured().map(|(slot, _)| slot).collect();
        let glance = slots.get(slots.len() / 2).and_then(|slot| request.measures.glance(*slot));
        let picture = glance.map(|glance| {
            let room = Rect::new(place.x0, place.y0 + HEADING, place.x1, place.y0 + HEADING + TALLEST);
            (glance.thumbnail, space::fitted(request.shoot.size, room))
        });
        let says = if request.measures.steps.is_empty() {
            "The only still that is whole: nothing to compare it with."
        } else {
            "The still in the middle of the shoot, grey where nothing changes. The yellower a part, the more often it \
             changes from a still to the next."
        };
        Self { words: Type::SMALL.lines(says, place.width()), place, picture, alone: request.measures.steps.is_empty() }
    }

    fn legend_top(&self) -> f64 {
        let picture = self.picture.as_ref().map_or(0.0, |(_, place)| {
            let ramp = if self.alone { 0.0 } else { RAMP + 6.0 + LINE };
            place.y1 - self.place.y0 + 12.0 + ramp + LINE * self.words.len() as f64 + 22.0
        });
        self.place.y0 + picture
    }

    /// Pixels that it needs.
    pub(super) fn height(&self) -> f64 {
        self.legend_top() - self.place.y0 + 2.0 * HEADING + LINE * 3.0 + 8.0 + 14.0 + 22.0 * BADGES.len() as f64
    }

    pub(super) fn draw(&self, svg: &mut Svg, request: &Request) {
        if let Some((still, place)) = &self.picture {
            self.draw_picture(svg, request, still, *place);
        }
        let (left, mut y) = (self.place.x0, self.legend_top());
        Type::HEADING.write(svg, Point::new(left, y + 12.0), Anchor::Start, INK, "slots");
        y += HEADING;
        for held in Held::ALL {
            held.draw(svg, Rect::new(left, y, left + 16.0, y + 12.0));
            let words = held.counted(request.shoot);
            Type::SMALL.write(svg, Point::new(left + 26.0, y + 10.5), Anchor::Start, INK, &words);
            y += LINE;
        }
        y += 14.0;
        Type::HEADING.write(svg, Point::new(left, y + 12.0), Anchor::Start, INK, "findings");
        let after = Type::HEADING.width("findings") + 10.0;
        let says = "by the numbers they have in the list";
        Type::SMALL.write(svg, Point::new(left + after, y + 12.0), Anchor::Start, QUIET, says);
        y += HEADING;
        for (badge, words) in BADGES {
            badge.draw_shape(svg, Point::new(left + 8.0, y + 7.0));
            Type::SMALL.write(svg, Point::new(left + 26.0, y + 11.3), Anchor::Start, INK, words);
            y += 22.0;
        }
    }

    fn draw_picture(&self, svg: &mut Svg, request: &Request, still: &Thumbnail, place: Rect) {
        let left = self.place.x0;
        let says = |svg: &mut Svg, base: f64| {
            for (index, line) in self.words.iter().enumerate() {
                let at = Point::new(left, base + LINE * index as f64);
                Type::SMALL.write(svg, at, Anchor::Start, QUIET, line);
            }
        };
        let heading = if self.alone { "the still" } else { "where it moves" };
        Type::HEADING.write(svg, Point::new(left, self.place.y0 + 12.0), Anchor::Start, INK, heading);
        if self.alone {
            pictures::put(svg, &pictures::on_screen(still), (still.width, still.height), place, "small");
            svg.rect(place).text("fill", "none").text("stroke", FRAME).empty();
            return says(svg, place.y1 + LINE);
        }
        let heat = &request.measures.heat;
        let most = f64::from(heat.shares.iter().copied().fold(0.0, f32::max)).max(0.02);
        let size = (FINER * still.width, FINER * still.height);
        let grey = pictures::resized(&still.grey(), (still.width, still.height), size);
        let shares = pictures::resized(&heat.shares, (heat.across, heat.down), size);
        // A night is shown as light as a day.
        let lightest = f64::from(grey.iter().copied().fold(0.0, f32::max)).max(0.05);
        let pixel = |(grey, share): (&f32, &f32)| mixed(f64::from(*grey) / lightest, f64::from(*share) / most);
        let rgb: Vec<u8> = grey.iter().zip(&shares).flat_map(pixel).collect();
        pictures::put(svg, &rgb, size, place, "heat");
        svg.rect(place).text("fill", "none").text("stroke", FRAME).empty();
        let ramp = place.y1 + 12.0;
        let wide = place.width() / STEPS as f64;
        for step in 0..STEPS {
            let [red, green, blue] = mixed(0.5, step as f64 / (STEPS - 1) as f64);
            let x = place.x0 + wide * step as f64;
            // Half a pixel over the next, so that no seam shows.
            let over = if step + 1 == STEPS { 0.0 } else { 0.5 };
            let part = svg.rect(Rect::new(x, ramp, x + wide + over, ramp + RAMP));
            part.text("fill", &format!("#{red:02x}{green:02x}{blue:02x}")).empty();
        }
        let base = ramp + RAMP + 14.0;
        Type::TICK.write(svg, Point::new(place.x0, base), Anchor::Start, QUIET, "never changes");
        let end = format!("changes in {:.0} % of the steps", 100.0 * most);
        Type::TICK.write(svg, Point::new(place.x1, base), Anchor::End, QUIET, &end);
        says(svg, base + LINE + 2.0);
    }
}

/// A grey of the picture, 0 to 1, under a share of the most that changes.
fn mixed(grey: f64, share: f64) -> [u8; 3] {
    let (luma, over) = (HEAT_GREY * grey.clamp(0.0, 1.0), share.clamp(0.0, 1.0).powf(0.8) * MOST);
    HEAT.map(|heat| pictures::byte(luma * (1.0 - over) + f64::from(heat) / 255.0 * over))
}
