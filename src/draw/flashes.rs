//! Flashes over the frames of clips: how many there are within the second that ends with each frame, and where they are
//! above a limit.

use kurbo::{Point, Rect};

use crate::flash::{Found, MOST_FLASHES, Seen};
use crate::ink::axes::{self, End};
use crate::ink::letters::{Anchor, Type};
use crate::ink::look::{BAR, Look, PANEL, QUIET, WARNING, dashed};
use crate::ink::scale::{Scale, figure, round_seconds};
use crate::ink::space::{self, CURVE, END, ENDS, GUTTER, LINE, MARGIN, TOP, WIDTH};
use crate::ink::svg::Svg;
use crate::ink::thin::thinned;

/// From the top of one clip's panel to that of the next, without its bars.
const STEP: f64 = CURVE + 76.0;
/// One frame among thousands is still a bar.
const LEAST: f64 = 2.0;
/// How far a thinned line may lie from its points, in pixels.
const NEAR: f64 = 0.05;

/// A clip to draw.
#[derive(Debug, Clone)]
pub struct Band<'a> {
    /// Its name.
    pub name: String,
    /// Frames a second.
    pub rate: f64,
    /// What was seen in it.
    pub seen: &'a Seen,
}

impl Band<'_> {
    /// Kinds with something to draw: those above a limit have a line of bars.
    fn above(&self) -> impl Iterator<Item = (usize, &Found)> {
        self.seen.kinds.iter().enumerate().filter(|(_, found)| found.is_above())
    }

    fn height(&self) -> f64 {
        STEP + LINE * self.above().count() as f64
    }
}

/// Draws clips one beneath the other.
pub(super) fn draw(bands: &[Band<'_>]) -> String {
    let height = TOP + 34.0 + bands.iter().map(Band::height).sum::<f64>() + END;
    let facts = format!(
        "flashes a second over more than a quarter of a 10-degree field, {MOST_FLASHES} allowed (WCAG 2.2); no clearance"
    );
    space::page((WIDTH, height), "flashes", &facts, |svg| {
        let mut top = TOP + 34.0;
        for band in bands {
            let place = Rect::new(MARGIN + GUTTER, top, WIDTH - MARGIN - ENDS, top + CURVE);
            clip(svg, band, place);
            top += band.height();
        }
    })
}

fn clip(svg: &mut Svg, band: &Band<'_>, place: Rect) {
    let frames = band.seen.frames.max(1) as f64;
    let across = Scale { from: 0.0, to: frames, first: place.x0, last: place.x1, ratio: false };
    let most = band.seen.kinds.iter().map(|found| found.most).max().unwrap_or(0).max(MOST_FLASHES) + 1;
    let up = Scale { from: 0.0, to: f64::from(most), first: place.y1, last: place.y0, ratio: false };
    let says = format!("{} frames, {} s", band.seen.frames, figure(band.seen.seconds, 0.01));
    svg.element("g").text("class", "clip").text("data-name", &band.name).holding(|svg| {
        axes::heading(svg, place, &band.name, &says, Type::HEADING);
        axes::panel(svg, place);
        let seconds = frames / band.rate;
        let step = round_seconds(seconds / 12.0);
        let ticks: Vec<f64> =
            (1..).map(|tick| f64::from(tick) * step).take_while(|tick| *tick < seconds).take(1000).collect();
        axes::upright(svg, place, across, &ticks.iter().map(|tick| tick * band.rate).collect::<Vec<_>>());
        let levels = up.ticks(axes::most_figures(place));
        axes::level(svg, place, up, &levels, axes::step(&levels, up));
        let limit = up.at(f64::from(MOST_FLASHES));
        let line = svg.line(&[Point::new(place.x0, limit), Point::new(place.x1, limit)]).text("class", "limit");
        line.text("stroke", WARNING).text("stroke-dasharray", "3 3").number("stroke-width", 1.2).empty();
        let mut ends: Vec<End> = Vec::new();
        for (index, found) in band.seen.kinds.iter().enumerate() {
            let look = Look::of(index);
            // A frame's value holds until the next.
            let steps = (0..).zip(&found.by_frame).flat_map(|(frame, flashes)| {
                let y = up.at(f64::from(*flashes));
                [frame, frame + 1].map(|frame| Point::new(across.at(f64::from(frame)), y))
            });
            let points: Vec<Point> = steps.collect();
            let line = svg.line(&thinned(&points, NEAR)).text("class", "value").text("data-kind", name(found));
            let line = line.text("stroke", look.dark).number("stroke-width", 1.6);
            dashed(line.text("stroke-linejoin", "round"), look).empty();
            ends.push((look, name(found).to_owned(), points.last().map_or(place.y1, |point| point.y)));
        }
        axes::name_ends(svg, &ends, place);
        let label = |tick: &f64| (across.at(tick * band.rate), format!("{} s", figure(*tick, step)));
        let figures: Vec<(f64, String)> = ticks.iter().map(label).collect();
        axes::beneath(svg, place, &figures, (place.x1, &format!("frame {}", band.seen.frames)));
        for (lane, (index, found)) in band.above().enumerate() {
            let y = place.y1 + 34.0 + LINE * lane as f64;
            let look = Look::of(index);
            look.mark.draw(svg, Point::new(place.x0 - 12.0, y), 4.0, look.dark, PANEL);
            for span in &found.spans {
                let (from, to) = (across.at(span.first as f64), across.at(span.last as f64 + 1.0));
                let bar = svg.rect(Rect::new(from, y - 4.0, to.max(from + LEAST), y + 4.0)).text("class", "flash");
                let bar = bar.text("data-kind", name(found)).number("data-first", span.first as f64);
                bar.number("data-last", span.last as f64).text("fill", WARNING).number("fill-opacity", BAR).empty();
            }
            let widest = found.spans.iter().map(|span| span.area).fold(0.0, f64::max);
            let words = format!("{} a second, {} %", found.most, figure(100.0 * widest, 1.0));
            Type::SMALL.write(svg, Point::new(place.x1 + 8.0, y + 4.0), Anchor::Start, QUIET, &words);
        }
    });
}

/// The name of a curve.
fn name(found: &Found) -> &'static str {
    use crate::flash::Kind;
    match found.kind {
        Kind::General => "light",
        Kind::Red => "red",
        Kind::OnScreen => "display",
        Kind::RedOnScreen => "display, red",
    }
}
