//! One page on which a whole shoot is seen: its stills, light, steadiness, activity, gaps and findings.
//!
//! A [`Shoot`], its [`Measures`] and findings come in; the pixels of the page go out. Nothing here decides anything.

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "places on a page, clamped to it"
)]

mod charts;
mod pictures;

use std::sync::Once;

use plotters::prelude::*;

use crate::finding::{Finding, Gravity};
use crate::measures::Measures;
use crate::shoot::{Content, Shoot};
use crate::units::{Size, SlotIndex};

/// The page in pixels.
const WIDTH: u32 = 1680;
/// Space at its edges and between its parts.
const MARGIN: i32 = 24;
/// Height of a chart.
const CHART: u32 = 190;
/// As many findings have room.
const FINDINGS: usize = 12;
const LINE: i32 = 24;

const INK: RGBColor = RGBColor(32, 36, 40);
const PALE: RGBColor = RGBColor(120, 126, 132);
const PAPER: RGBColor = RGBColor(252, 252, 250);
const FAINT: RGBColor = RGBColor(228, 230, 230);
const BLUE: RGBColor = RGBColor(33, 94, 160);
const ORANGE: RGBColor = RGBColor(201, 102, 22);
const RED: RGBColor = RGBColor(188, 38, 46);

/// The letters that come with the program; `src/draw/fonts/LICENSE` says from where.
const LETTERS: &[u8] = include_bytes!("../draw/fonts/sans-regular.otf");

/// What is drawn on, and what drawing on it may say.
type Area<'a> = DrawingArea<BitMapBackend<'a>, plotters::coord::Shift>;
type Drawn = Result<(), Box<dyn std::error::Error>>;

/// What the page shows.
#[derive(Debug, Clone, Copy)]
pub struct Request<'a> {
    /// The shoot.
    pub shoot: &'a Shoot,
    /// What looking at it found.
    pub measures: &'a Measures,
    /// What is wrong with it, the worst first.
    pub findings: &'a [Finding],
    /// Stills at which something happens.
    pub happenings: &'a [SlotIndex],
}

/// A drawn page: R'G'B', 8 bits, rows tightly packed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// Its size.
    pub size: Size,
    /// Its pixels.
    pub rgb: Vec<u8>,
}

/// Draws the page.
///
/// # Errors
/// What the plotting library says.
pub fn draw(request: &Request) -> Result<Page, String> {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // A font that does not parse shows as an error of the first text.
        let _refused = plotters::style::register_font("sans-serif", FontStyle::Normal, LETTERS);
    });
    let strip = pictures::SmallStills::of(request, WIDTH as i32 - 2 * MARGIN);
    let lines = request.findings.len().clamp(1, FINDINGS + 1) as i32 + 1;
    let height = MARGIN + 64 + strip.height() + 3 * (CHART as i32 + 8) + 60 + 52 + lines * LINE + MARGIN;
    let size = Size::new(WIDTH, height as u32);
    let mut rgb = vec![0; 3 * size.pixels() as usize];
    {
        let page = BitMapBackend::with_buffer(&mut rgb, (size.width, size.height)).into_drawing_area();
        fill(&page, request, &strip).map_err(|error| error.to_string())?;
    }
    Ok(Page { size, rgb })
}

fn fill(page: &Area, request: &Request, strip: &pictures::SmallStills) -> Drawn {
    page.fill(&PAPER)?;
    let Request { shoot, measures, .. } = *request;
    let count = shoot.slots.len();
    let interval = shoot
        .interval
        .map_or_else(String::new, |interval| format!(", one every {} s", (interval * 100.0).round() / 100.0));
    let first = shoot.slots.first().map_or("", |slot| slot.name.as_str());
    let last = shoot.slots.last().map_or("", |slot| slot.name.as_str());
    text(page, &format!("{count} stills of {}{interval}: {first} to {last}", shoot.size), 26, INK, (MARGIN, MARGIN))?;
    let mut top = MARGIN + 52;
    strip.draw(page, (MARGIN, top))?;
    top += strip.height() + 12;
    let heat_width = (CHART as f64 * 2.0 * shoot.size.aspect()).clamp(200.0, 560.0) as u32;
    let chart_width = WIDTH - 3 * MARGIN as u32 - heat_width;
    let mut chart = |height: u32, width: u32| {
        let area = page.clone().shrink((MARGIN, top), (width, height));
        top += height as i32 + 8;
        area
    };
    charts::light(&chart(CHART, chart_width), request)?;
    charts::places(&chart(CHART, chart_width), request)?;
    charts::activity(&chart(CHART, chart_width), request)?;
    let heat =
        page.clone().shrink((2 * MARGIN + chart_width as i32, top - 3 * (CHART as i32 + 8)), (heat_width, 3 * CHART));
    pictures::heat(&heat, measures)?;
    slots(page, request, (MARGIN, top + 10))?;
    top += 60;
    findings(page, request.findings, (MARGIN, top))
}

/// A bar of all slots: whole, damaged or missing, and odd ones marked.
fn slots(page: &Area, request: &Request, at: (i32, i32)) -> Drawn {
    let Request { shoot, measures, .. } = *request;
    let count = shoot.slots.len().max(1);
    let width = WIDTH as i32 - 2 * MARGIN;
    let (whole, damaged, missing) = shoot.slots.iter().fold((0, 0, 0), |(w, d, m), slot| match slot.content {
        Content::Whole(_) => (w + 1, d, m),
        Content::Damaged { .. } => (w, d + 1, m),
        Content::Missing => (w, d, m + 1),
    });
    let odd = measures.odd.len();
    text(
        page,
        &format!("slots: {whole} whole (grey), {damaged} damaged and {missing} missing (red), {odd} odd (orange)"),
        16,
        PALE,
        at,
    )?;
    let place = |slot: usize| at.0 + (slot as f64 / count as f64 * f64::from(width)) as i32;
    let bar = |page: &Area, from: usize, to: usize, colour: RGBColor| {
        // One among thousands is still a line.
        let right = place(to).max(place(from) + 2);
        page.draw(&Rectangle::new([(place(from), at.1 + 22), (right, at.1 + 38)], colour.filled()))
    };
    bar(page, 0, count, FAINT)?;
    for (slot, _) in &measures.odd {
        bar(page, slot.0, slot.0 + 1, ORANGE)?;
    }
    for (slot, of) in shoot.slots.iter().enumerate() {
        if !matches!(of.content, Content::Whole(_)) {
            bar(page, slot, slot + 1, RED)?;
        }
    }
    Ok(())
}

fn findings(page: &Area, findings: &[Finding], at: (i32, i32)) -> Drawn {
    const LETTERS: usize = 190;
    if findings.is_empty() {
        return text(page, "nothing found wrong", 17, INK, at);
    }
    text(page, "findings, the worst first", 19, INK, at)?;
    for (line, finding) in findings.iter().take(FINDINGS).enumerate() {
        let colour = match finding.gravity {
            Gravity::Lost => RED,
            Gravity::Seen => ORANGE,
            Gravity::Known => PALE,
        };
        let mut words = format!("{}  {}", line + 1, finding.message);
        if words.chars().count() > LETTERS {
            words = words.chars().take(LETTERS - 1).chain(['…']).collect();
        }
        let y = at.1 + 32 + line as i32 * LINE;
        page.draw(&Rectangle::new([(at.0, y), (at.0 + 6, y + 14)], colour.filled()))?;
        text(page, &words, 17, INK, (at.0 + 16, y))?;
    }
    match findings.len().saturating_sub(FINDINGS) {
        0 => Ok(()),
        more => text(page, &format!("and {more} more"), 17, PALE, (at.0 + 16, at.1 + 32 + FINDINGS as i32 * LINE)),
    }
}

fn text(page: &Area, words: &str, size: u32, colour: RGBColor, at: (i32, i32)) -> Drawn {
    page.draw(&Text::new(words.to_owned(), at, ("sans-serif", size).into_font().color(&colour)))?;
    Ok(())
}
