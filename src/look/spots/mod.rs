//! What lies on the sensor and not before the lens: hot pixels and dust, which stay where they are whatever the picture
//! does.
//!
//! A few stills spread over the shoot are decoded once more: `hot` wants single pixels and takes them whole, `dust`
//! takes them small. A camera that stands still shows a scene that stands still too, so each asks for more than that:
//! `hot` for a point smaller than a lens draws any, alone on even ground; `dust` for a spot on ground that holds
//! nothing else that stays.
//!
//! ## Decisions
//!
//! - Eight stills are decoded whole for hot pixels, sixteen small for dust; neither is kept in the store. Recordings
//!   are not searched.
//! - A hot pixel is a point of one pixel, alone on even ground, in the same place in all of them but one. It is missed
//!   on uneven ground, where light hides it, or if it shows only in dark stills. A far lamp that is on in all of them
//!   is mistaken for one.
//! - Dust is found where the picture under it changes and holds nothing else that stays, such as drifting clouds: not
//!   on ground, and not in a sky that is clear throughout.

mod dust;
mod hot;

use super::{AT_LEAST, Fault};
use crate::decode::{Decoder, Want, denominator};
use crate::measures::{Measures, Oddity, Spots};
use crate::picture::{Model, Picture, Plane, Samples};
use crate::shoot::{Shoot, Still};
use crate::units::SlotIndex;

/// How many stills are decoded whole, …
const WHOLE: usize = 8;
/// … and how many small.
const SMALL: usize = 16;

/// Looks for hot pixels and dust in a shoot that has been looked at; none of a recording's, whose codec wipes out the
/// one and smears the other. `seen` is called after each still, from either
/// of two threads; where it says so, looking stops.
///
/// # Errors
/// [`Fault::Stopped`].
pub fn spots(shoot: &Shoot, measures: &Measures, seen: &(dyn Fn() -> bool + Sync)) -> Result<Option<Spots>, Fault> {
    if shoot.recording.is_some() {
        return Ok(None);
    }
    let spoilt =
        |slot: SlotIndex| measures.odd.iter().any(|(odd, oddity)| *odd == slot && !matches!(oddity, Oddity::Same));
    let sound: Vec<(f64, &Still)> = measures
        .measured()
        .filter(|(slot, _)| !spoilt(*slot))
        .filter_map(|(slot, measured)| Some((measured.luminance, shoot.still(slot)?)))
        .filter(|(_, still)| still.orientation.upright(still.stored) == shoot.size)
        .collect();
    let hot = || {
        let mut whole = spread(&sound, WHOLE);
        // What cannot be told from its ground in the darkest can be told in none.
        whole.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut points = hot::Points::default();
        let (mut decoder, mut luma, mut spare) = (Decoder::new(), Luma::default(), None);
        for (_, still) in whole {
            if let Ok(picture) = decoder.decode(still, Want::whole(still), spare.take()) {
                luma.fill(&picture);
                points.take(&luma);
                spare = Some(picture);
            }
            if !seen() {
                return Err(Fault::Stopped);
            }
        }
        Ok(points.finish())
    };
    let dust = || {
        let mut dips = dust::Dips::default();
        let (mut decoder, mut luma, mut spare) = (Decoder::new(), Luma::default(), None);
        for (_, still) in spread(&sound, SMALL) {
            let scale = denominator(still.stored, AT_LEAST);
            if let Ok(picture) = decoder.decode(still, Want::Rgb { scale }, spare.take()) {
                luma.fill(&picture);
                dips.take(&luma, scale);
                spare = Some(picture);
            }
            if !seen() {
                return Err(Fault::Stopped);
            }
        }
        Ok(dips.finish())
    };
    std::thread::scope(|scope| {
        let aside = scope.spawn(dust);
        let hot = hot();
        let dust = aside.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        Ok(Some(Spots { hot: hot?, dust: dust? }))
    })
}

/// This many of some, evenly spread, including the first and the last.
fn spread<T: Copy>(of: &[T], count: usize) -> Vec<T> {
    let count = count.min(of.len());
    (0..count).map(|at| of[at * (of.len() - 1) / (count - 1).max(1)]).collect()
}

/// A picture's luma as coded, 8 bits, its rows one after the other.
#[derive(Debug, Default)]
struct Luma {
    width: usize,
    height: usize,
    codes: Vec<u8>,
}

impl Luma {
    fn fill(&mut self, picture: &Picture) {
        (self.width, self.height) = (picture.size.width as usize, picture.size.height as usize);
        self.codes.clear();
        let channels = match picture.model {
            Model::Rgb => 0..3,
            _ => 0..1,
        };
        let planes = &picture.planes[channels];
        for y in 0..self.height {
            let code = |plane: &Plane, x: usize| match &plane.samples {
                Samples::Eight(samples) => samples[y * plane.stride + x],
                Samples::Sixteen(samples) => samples[y * plane.stride + x].to_be_bytes()[0],
            };
            match planes {
                [red, green, blue] => {
                    // BT.601's weights in 256ths.
                    let luma = |x| {
                        (77 * u32::from(code(red, x)) + 150 * u32::from(code(green, x)) + 29 * u32::from(code(blue, x)))
                            >> 8
                    };
                    #[expect(clippy::cast_possible_truncation, reason = "the weights add up to 256")]
                    self.codes.extend((0..self.width).map(|x| luma(x) as u8));
                }
                [plane, ..] => match &plane.samples {
                    Samples::Eight(samples) => self.codes.extend_from_slice(&samples[y * plane.stride..][..self.width]),
                    Samples::Sixteen(_) => self.codes.extend((0..self.width).map(|x| code(plane, x))),
                },
                [] => {}
            }
        }
    }
}
