//! Curves over the slots of a shoot.

use std::ops::Range;

use plotters::prelude::*;

use super::{Area, BLUE, Drawn, FAINT, INK, ORANGE, PALE, Request, text};
use crate::units::SlotIndex;

/// Stills on either side over which the slow course of the light is a mean.
const SLOW: usize = 7;

/// Mean light of every still, and its slow course.
pub(super) fn light(area: &Area, request: &Request) -> Drawn {
    let levels: Vec<(f64, f64)> =
        request.measures.measured().map(|(slot, still)| (number(slot), 100.0 * still.luminance)).collect();
    let slow = |at: usize| {
        let reach = SLOW.min(at).min(levels.len() - 1 - at);
        let near = &levels[at - reach..=at + reach];
        (levels[at].0, near.iter().map(|(_, level)| level).sum::<f64>() / near.len() as f64)
    };
    let course: Vec<(f64, f64)> = (0..levels.len()).map(slow).collect();
    let top = levels.iter().map(|(_, level)| *level).fold(0.0, f64::max);
    let words = "light: mean of every still (blue), and its slow course without flicker (orange), % of white";
    curves(area, request, words, 0.0..(1.1 * top).max(1.0), &[(&levels, BLUE, 2), (&course, ORANGE, 1)])
}

/// Where the picture lies against the first one.
pub(super) fn places(area: &Area, request: &Request) -> Drawn {
    let of = |axis: usize| -> Vec<(f64, f64)> {
        request.measures.steps.iter().filter_map(|step| Some((number(step.to), step.place?[axis]))).collect()
    };
    let (across, down) = (of(0), of(1));
    let all = || across.iter().chain(&down).map(|(_, place)| *place);
    let (least, most) = (all().fold(0.0, f64::min), all().fold(0.0, f64::max));
    let room = (0.1 * (most - least)).max(0.5);
    let words = "camera: where the picture lies against the first one, across (blue) and down (orange), px";
    curves(area, request, words, least - room..most + room, &[(&across, BLUE, 2), (&down, ORANGE, 2)])
}

/// How much of the picture changes from still to still, and where keys are suggested.
pub(super) fn activity(area: &Area, request: &Request) -> Drawn {
    let active: Vec<(f64, f64)> =
        request.measures.steps.iter().map(|step| (number(step.to), 100.0 * step.activity)).collect();
    let top = active.iter().map(|(_, share)| *share).fold(0.0, f64::max).max(1.0) * 1.15;
    let words = match request.happenings.is_empty() {
        true => "movement: share of the picture that changes from still to still, %",
        false => {
            "movement: share of the picture that changes from still to still, %; most happens at the marked stills"
        }
    };
    let mut chart = framed(area, request, words, 0.0..top)?;
    chart.draw_series(AreaSeries::new(active.iter().copied(), 0.0, BLUE.mix(0.25)).border_style(BLUE))?;
    for at in request.happenings {
        let x = number(*at);
        chart.draw_series(LineSeries::new([(x, 0.0), (x, top)], ORANGE.stroke_width(2)))?;
        let style = ("sans-serif", 15).into_font().color(&ORANGE);
        chart.draw_series([Text::new(format!(" {}", at.0 + 1), (x, top * 0.98), style)])?;
    }
    Ok(())
}

/// A slot as people count it.
fn number(slot: SlotIndex) -> f64 {
    slot.0 as f64 + 1.0
}

/// Points, their colour, and how wide the line is.
type Curve<'a> = (&'a [(f64, f64)], RGBColor, u32);

fn curves(area: &Area, request: &Request, words: &str, range: Range<f64>, lines: &[Curve]) -> Drawn {
    let mut chart = framed(area, request, words, range)?;
    for (line, colour, width) in lines {
        chart.draw_series(LineSeries::new(line.iter().copied(), colour.stroke_width(*width)))?;
    }
    Ok(())
}

type Chart<'a, 'b> = ChartContext<
    'a,
    BitMapBackend<'b>,
    Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>,
>;

/// An empty chart over all slots, with its heading.
fn framed<'a, 'b>(
    area: &'a Area<'b>,
    request: &Request,
    words: &str,
    range: Range<f64>,
) -> Result<Chart<'a, 'b>, Box<dyn std::error::Error>> {
    text(area, words, 16, PALE, (0, 4))?;
    let last = request.shoot.slots.len().max(2) as f64;
    let mut chart = ChartBuilder::on(area)
        .margin_top(28)
        .margin_right(12)
        .x_label_area_size(22)
        .y_label_area_size(56)
        .build_cartesian_2d(1.0..last, range.clone())?;
    let decimals = usize::from(range.end - range.start < 5.0) + usize::from(range.end - range.start < 0.5);
    chart
        .configure_mesh()
        .x_labels(12)
        .y_labels(5)
        .max_light_lines(0)
        .bold_line_style(FAINT)
        .axis_style(PALE)
        .label_style(("sans-serif", 14).into_font().color(&INK))
        .x_label_formatter(&|slot| format!("{slot:.0}"))
        .y_label_formatter(&|value| format!("{value:.decimals$}"))
        .draw()?;
    Ok(chart)
}
