//! Stills and heat on the page.

use fast_image_resize::images::Image;
use fast_image_resize::{FilterType, PixelType, ResizeAlg, ResizeOptions, Resizer};
use plotters::element::BitMapElement;
use plotters::prelude::*;

use super::{Area, Drawn, FAINT, INK, ORANGE, PALE, Request, text};
use crate::measures::{Measures, Thumbnail};
use crate::units::SlotIndex;

/// Stills on the strip at most, and in a row of it.
const MOST: usize = 24;
const ROW: usize = 12;
/// Space between stills, and below them for their numbers.
const GAP: i32 = 8;
const CAPTION: i32 = 20;

/// Small stills evenly over the shoot, odd ones in the place of those nearest to them, each with its number.
pub(super) struct SmallStills {
    stills: Vec<(SlotIndex, String, Thumbnail)>,
    odd: Vec<SlotIndex>,
    across: i32,
    down: i32,
}

impl SmallStills {
    /// As many as there are, or as have room.
    pub(super) fn of(request: &Request, width: i32) -> Self {
        let measures = request.measures;
        let slots: Vec<SlotIndex> = measures.measured().map(|(slot, _)| slot).collect();
        let count = slots.len().min(MOST);
        let odd: Vec<SlotIndex> = measures.odd.iter().map(|(slot, _)| *slot).collect();
        let mut chosen: Vec<SlotIndex> =
            (0..count).map(|at| slots[at * (slots.len() - 1) / (count - 1).max(1)]).collect();
        for slot in odd.iter().take(MOST / 2).filter(|slot| slots.contains(slot)) {
            let free = chosen.iter_mut().filter(|other| !odd.contains(other) || *other == slot);
            if let Some(nearest) = free.min_by_key(|other| other.0.abs_diff(slot.0)) {
                *nearest = *slot;
            }
        }
        chosen.sort_unstable();
        let stills = chosen.into_iter().filter_map(|slot| {
            let name = request.shoot.slots[slot.0].name.clone();
            Some((slot, name, measures.glance(slot)?.thumbnail))
        });
        let stills: Vec<_> = stills.collect();
        let across = width / ROW as i32 - GAP;
        let aspect = stills.first().map_or(4.0 / 3.0, |(_, _, still)| still.width as f64 / still.height as f64);
        Self { stills, odd, across, down: (f64::from(across) / aspect) as i32 }
    }

    /// Pixels it needs down the page.
    pub(super) fn height(&self) -> i32 {
        self.stills.len().div_ceil(ROW) as i32 * (self.down + CAPTION + GAP)
    }

    pub(super) fn draw(&self, page: &Area, at: (i32, i32)) -> Drawn {
        for (index, (slot, name, still)) in self.stills.iter().enumerate() {
            let left = at.0 + (index % ROW) as i32 * (self.across + GAP);
            let top = at.1 + (index / ROW) as i32 * (self.down + CAPTION + GAP);
            let size = (self.across.max(1), self.down.max(1));
            let channels: Vec<Vec<f32>> = still
                .roots
                .iter()
                .map(|roots| {
                    let roots: Vec<f32> = roots.iter().map(|root| f32::from(*root) / 65_535.0).collect();
                    resized(&roots, (still.width, still.height), size)
                })
                .collect::<Result<_, _>>()?;
            let pixel = |at: usize| [0, 1, 2].map(|channel| code(f64::from(channels[channel][at]).powi(2)));
            page.draw(&picture((left, top), size, (0..channels[0].len()).flat_map(pixel).collect())?)?;
            if self.odd.contains(slot) {
                page.draw(&Rectangle::new(
                    [(left, top), (left + self.across, top + self.down)],
                    ORANGE.stroke_width(3),
                ))?;
            }
            text(page, &format!("{}", slot.0 + 1), 14, INK, (left, top + self.down + 3))?;
            let shown: String = name.chars().take(12).collect();
            text(page, &shown, 12, PALE, (left + 34, top + self.down + 5))?;
        }
        Ok(())
    }
}

/// Where things move: warm over the grey picture from the middle of the shoot.
pub(super) fn heat(area: &Area, measures: &Measures) -> Drawn {
    text(area, "where: how often each part of the picture changes", 16, PALE, (0, 4))?;
    let slots: Vec<SlotIndex> = measures.measured().map(|(slot, _)| slot).collect();
    let Some(still) = slots.get(slots.len() / 2).and_then(|slot| measures.glance(*slot)).map(|glance| glance.thumbnail)
    else {
        return Ok(());
    };
    let (width, height) = area.dim_in_pixel();
    let (width, height) = (width as i32, height as i32 - 30);
    let aspect = still.width as f64 / still.height as f64;
    let across = width.min((f64::from(height) * aspect) as i32).max(1);
    let down = ((f64::from(across) / aspect) as i32).max(1);
    let heat = &measures.heat;
    let most = f64::from(heat.shares.iter().copied().fold(0.0, f32::max)).max(0.02);
    let grey = resized(&still.grey(), (still.width, still.height), (across, down))?;
    let shares = match heat.shares.is_empty() {
        true => vec![0.0; grey.len()],
        false => resized(&heat.shares, (heat.across, heat.down), (across, down))?,
    };
    let pixel = |(grey, share): (&f32, &f32)| {
        let (luma, share) = (0.25 + 0.45 * f64::from(*grey), f64::from(*share) / most);
        // From the grey picture through orange to pale yellow.
        let warm = [1.0, 0.35 + 0.6 * share, 0.1 + 0.5 * share * share];
        let over = share.max(0.0).sqrt() * 0.85;
        warm.map(|warm| ((luma * (1.0 - over) + warm * over) * 255.0).round().clamp(0.0, 255.0) as u8)
    };
    area.draw(&picture((0, 28), (across, down), grey.iter().zip(&shares).flat_map(pixel).collect())?)?;
    area.draw(&Rectangle::new([(0, 28), (across, 28 + down)], FAINT.stroke_width(1)))?;
    let words = format!("the brightest change in {:.0} % of the steps", 100.0 * most);
    text(area, &words, 14, PALE, (0, 28 + down + 6))
}

/// One channel at another size: samples sit in the middles of their cells, and are linear in between.
fn resized(
    samples: &[f32],
    (width, height): (usize, usize),
    (across, down): (i32, i32),
) -> Result<Vec<f32>, Box<dyn std::error::Error>> {
    let mut from = Image::new(width as u32, height as u32, PixelType::F32);
    from.buffer_mut()
        .chunks_exact_mut(4)
        .zip(samples)
        .for_each(|(bytes, sample)| bytes.copy_from_slice(&sample.to_ne_bytes()));
    let mut to = Image::new(across.max(1) as u32, down.max(1) as u32, PixelType::F32);
    let linear = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::Bilinear));
    Resizer::new().resize(&from, &mut to, &linear)?;
    Ok(to.buffer().as_chunks::<4>().0.iter().map(|bytes| f32::from_ne_bytes(*bytes)).collect())
}

/// The sRGB code of linear light (IEC 61966-2-1).
fn code(light: f64) -> u8 {
    let code = if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 };
    (code * 255.0).round().clamp(0.0, 255.0) as u8
}

fn picture<'a>(
    at: (i32, i32),
    (across, down): (i32, i32),
    rgb: Vec<u8>,
) -> Result<BitMapElement<'a, (i32, i32)>, Box<dyn std::error::Error>> {
    let size = (across.max(1) as u32, down.max(1) as u32);
    BitMapElement::with_owned_buffer(at, size, rgb).ok_or_else(|| "a picture's buffer does not fit its size".into())
}
