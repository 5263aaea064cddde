//! Curves over the slots of a shoot.

use kurbo::{BezPath, Point, Rect};

use super::{Request, number};
use crate::ink::axes::{self, End};
use crate::ink::letters::{Anchor, Type};
use crate::ink::look::{BEHIND, INK, Look, PANEL, QUIET, dashed};
use crate::ink::scale::Scale;
use crate::ink::svg::Svg;
use crate::ink::thin::thinned;

/// Stills on either side over which the slow course of the light is a mean.
const SLOW: usize = 7;
/// How far a thinned line may lie from its points, in pixels.
const NEAR: f64 = 0.05;

/// A curve: its name, how it looks, its values by slots as people count them.
struct Curve {
    name: &'static str,
    look: Look,
    points: Vec<(f64, f64)>,
}

/// Mean light of every still, and its slow course.
pub(super) fn light(svg: &mut Svg, request: &Request, place: Rect, across: Scale) {
    let levels: Vec<(f64, f64)> =
        request.measures.measured().map(|(slot, still)| (number(slot), 100.0 * still.luminance)).collect();
    let slow = |at: usize| {
        let reach = SLOW.min(at).min(levels.len() - 1 - at);
        let near = &levels[at - reach..=at + reach];
        (levels[at].0, near.iter().map(|(_, level)| level).sum::<f64>() / near.len() as f64)
    };
    let course: Vec<(f64, f64)> = (0..levels.len()).map(slow).collect();
    let top = levels.iter().map(|(_, level)| *level).fold(0.0, f64::max);
    let curves = [
        Curve { name: "each still", look: Look::of(0), points: levels },
        Curve { name: "slow course", look: Look::of(1), points: course },
    ];
    let says = "mean of each still, % of white; the slow course is the mean of 15 stills";
    drawn(svg, request, place, across, ("light", says), (0.0, (1.1 * top).max(1.0)), &curves, |_| {});
}

/// Where the picture lies against the first one.
pub(super) fn places(svg: &mut Svg, request: &Request, place: Rect, across: Scale) {
    let of = |axis: usize| -> Vec<(f64, f64)> {
        request.measures.steps.iter().filter_map(|step| Some((number(step.to), step.place?[axis]))).collect()
    };
    let curves = [
        Curve { name: "across", look: Look::of(0), points: of(0) },
        Curve { name: "down", look: Look::of(1), points: of(1) },
    ];
    let all = || curves.iter().flat_map(|curve| &curve.points).map(|(_, place)| *place);
    let (least, most) = (all().fold(0.0, f64::min), all().fold(0.0, f64::max));
    let room = (0.1 * (most - least)).max(0.5);
    let says = "where the picture lies against the first one, px of the still";
    drawn(svg, request, place, across, ("camera", says), (least - room, most + room), &curves, |_| {});
}

/// How much of the picture changes from still to still, and where keys are suggested.
pub(super) fn activity(svg: &mut Svg, request: &Request, place: Rect, across: Scale) {
    let points: Vec<(f64, f64)> =
        request.measures.steps.iter().map(|step| (number(step.to), 100.0 * step.activity)).collect();
    let top = points.iter().map(|(_, share)| *share).fold(0.0, f64::max).max(1.0) * 1.15;
    let says = if request.happenings.is_empty() {
        "how much of the picture changes from a still to the next, %"
    } else {
        "how much of the picture changes from a still to the next, %; most happens at the upright lines"
    };
    let curves = [Curve { name: "", look: Look { dark: INK, ..Look::of(0) }, points }];
    drawn(svg, request, place, across, ("movement", says), (0.0, top), &curves, |svg| {
        let mut taken = f64::NEG_INFINITY;
        for at in request.happenings {
            let x = across.at(number(*at));
            let line = svg.line(&[Point::new(x, place.y0), Point::new(x, place.y1)]).text("class", "happening");
            line.number("data-slot", number(*at)).text("stroke", INK).number("stroke-width", 1.0).empty();
            let text = format!("{}", at.0 + 1);
            let width = Type::TICK_BOLD.width(&text);
            let left = if x + 5.0 + width > place.x1 { x - 5.0 - width } else { x + 5.0 };
            if left > taken {
                Type::TICK_BOLD.write(svg, Point::new(left, place.y0 + 13.0), Anchor::Start, INK, &text);
                taken = left + width + 4.0;
            }
        }
    });
}

/// Slots whose numbers stand beneath a panel.
pub(super) fn ticks(across: Scale) -> Vec<f64> {
    let ticks = across.ticks((across.length() / 70.0).max(2.0));
    ticks.into_iter().filter(|tick| tick.fract() == 0.0 && *tick >= 1.0 && *tick < across.to).collect()
}

/// Writes the numbers of slots beneath a panel.
pub(super) fn write_slots(svg: &mut Svg, place: Rect, across: Scale) {
    let figures: Vec<(f64, String)> =
        [1.0].into_iter().chain(ticks(across)).map(|tick| (across.at(tick), format!("{tick:.0}"))).collect();
    let last = across.to - 0.5;
    axes::beneath(svg, place, &figures, (across.at(last), &format!("{last:.0}")));
}

/// A panel with its curves; `over` draws what stands over them.
#[expect(clippy::too_many_arguments, reason = "all that one panel is")]
fn drawn(
    svg: &mut Svg,
    request: &Request,
    place: Rect,
    across: Scale,
    (name, says): (&str, &str),
    (from, to): (f64, f64),
    curves: &[Curve],
    over: impl FnOnce(&mut Svg),
) {
    let scale = Scale { from, to, first: place.y1, last: place.y0 + 5.0, ratio: false };
    let group = svg.element("g").text("class", "chart").text("data-measure", name);
    let group = group.exact("data-from", from).exact("data-to", to).exact("data-first", scale.first);
    let group = group.exact("data-last", scale.last).exact("data-left", across.first);
    let group = group.exact("data-right", across.last).number("data-slots", request.shoot.slots.len() as f64);
    group.holding(|svg| {
        axes::heading(svg, place, name, says, Type::HEADING);
        axes::panel(svg, place);
        let known = curves.iter().any(|curve| !curve.points.is_empty());
        if known {
            axes::upright(svg, place, across, &ticks(across));
            let ticks = scale.ticks(axes::most_figures(place));
            axes::level(svg, place, scale, &ticks, axes::step(&ticks, scale));
        }
        for curve in curves {
            let at = |(slot, value): &(f64, f64)| Point::new(across.at(*slot), scale.at(*value));
            let points: Vec<Point> = curve.points.iter().map(at).collect();
            if let (1, [first, .., last]) = (curves.len(), &points[..]) {
                let mut area = BezPath::new();
                area.move_to((first.x, place.y1));
                points.iter().for_each(|point| area.line_to(*point));
                area.line_to((last.x, place.y1));
                area.close_path();
                svg.path(&area).text("fill", INK).number("fill-opacity", BEHIND).empty();
            }
            if let [only] = points[..] {
                curve.look.mark.draw(svg, only, 3.8, curve.look.dark, PANEL);
                continue;
            }
            let line = svg.line(&thinned(&points, NEAR)).text("class", "value").text("data-curve", curve.name);
            let line = line.text("stroke", curve.look.dark).number("stroke-width", 1.8);
            dashed(line.text("stroke-linejoin", "round"), curve.look).empty();
        }
        if !known {
            let words =
                if request.measures.steps.is_empty() { "one still alone: nothing to compare" } else { "not known" };
            Type::SMALL.write(svg, place.center() + (0.0, 4.0), Anchor::Middle, QUIET, words);
        }
        over(svg);
        let end = |curve: &Curve| {
            let (_, last) = curve.points.last()?;
            (!curve.name.is_empty()).then(|| (curve.look, curve.name.to_owned(), scale.at(*last)))
        };
        let ends: Vec<End> = curves.iter().filter_map(end).collect();
        if !ends.is_empty() {
            axes::name_ends(svg, &ends, place);
        }
        write_slots(svg, place, across);
    });
}
