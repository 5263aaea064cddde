//! How one still lies against an earlier one, tile by tile.

use kurbo::Vec2;
use rustfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};

use super::consensus::{Agreed, Voice, motions};
use super::correlate::{Correlator, Shift};
use super::layout::{Grey, Layout};
use super::spectrum::{Fourier, Spectrum};
use super::{Pose, Sight};
use crate::level::Region;

/// Times that tiles are cut anew where the picture has gone.
const TRIES: usize = 4;
/// A picture that is enlarged by more, and by more than [`GROWN`] samples at its corners, is another view.
const ENLARGED: f64 = 0.002;
const GROWN: f64 = 0.3;
/// A tile goes with a motion that is at most this far off, in samples.
const NEAR: f64 = 0.5;
/// As many tiles must show something.
const FEWEST: usize = 5;

/// A pair of stills that could be compared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Link {
    /// Slot of the earlier still.
    pub earlier: usize,
    /// Slot of the later one.
    pub later: usize,
    /// How far the earlier still's tiles lay from their places, in samples.
    pub at: [f32; 2],
    /// By tile: how far its content has gone, right and down, in samples, and how alike the two are; nothing alike
    /// where that could not be told.
    pub tiles: Vec<[f32; 3]>,
}

/// A still's tiles, cut where its picture is thought to lie.
#[derive(Debug, Clone)]
pub struct Tiles {
    layout: Layout,
    /// How far each was cut from its place, in samples.
    offsets: Vec<[i32; 2]>,
    spectra: Vec<Option<Spectrum>>,
    /// The middle of the picture, much smaller, in as many samples as a tile.
    whole: Option<Spectrum>,
}

impl Tiles {
    /// Whether there is enough in the still to compare it with another.
    #[must_use]
    pub fn sight(&self) -> Sight {
        if self.spectra.iter().flatten().count() >= FEWEST { Sight::Seen } else { Sight::Blank }
    }
}

/// How a link's stills lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Lie {
    /// The later against the earlier, and a standard error in pixels.
    Moved(Pose, f64),
    /// The later is enlarged against the earlier.
    Enlarged,
    /// Too few tiles agree.
    Unlike,
}

impl Link {
    /// The places of the tiles within a region, and what those that say anything say.
    fn heard(&self, layout: &Layout, region: Option<Region>) -> (usize, Vec<(usize, Voice)>) {
        let inside = |tile: usize| {
            let place = layout.place(tile);
            region.is_none_or(|Region { x, y, width, height }| {
                (x..=x + width).contains(&place.x) && (y..=y + height).contains(&place.y)
            })
        };
        let inside: Vec<usize> = (0..self.tiles.len().min(layout.count())).filter(|tile| inside(*tile)).collect();
        let voices = inside
            .iter()
            .filter(|tile| self.tiles[**tile][2] > 0.0)
            .map(|tile| {
                let [x, y, alike] = self.tiles[*tile].map(f64::from);
                let [right, down] = self.at.map(f64::from);
                let voice = Voice {
                    place: complex(layout.centre(*tile) + Vec2::new(right, down)),
                    shift: Complex64::new(x, y),
                    weight: alike,
                };
                (*tile, voice)
            })
            .collect();
        (inside.len(), voices)
    }

    /// The share of tiles within a region that say anything.
    pub(super) fn textured(&self, layout: &Layout, region: Option<Region>) -> f64 {
        let (all, voices) = self.heard(layout, region);
        #[expect(clippy::cast_precision_loss, reason = "tiles")]
        let share = voices.len() as f64 / all.max(1) as f64;
        share
    }

    /// The two motions that compete for being the camera's, if they do: how far each went in the mean of its tiles, in
    /// samples, and those tiles.
    pub(super) fn rivals(&self, layout: &Layout, region: Option<Region>) -> Option<[(f64, Vec<usize>); 2]> {
        let (all, voices) = self.heard(layout, region);
        let plain: Vec<Voice> = voices.iter().map(|(_, voice)| *voice).collect();
        let [first, second] = motions(&plain, all, reach(layout)).try_into().ok()?;
        Some([first, second].map(|motion: Agreed| {
            let near = || voices.iter().filter(|(_, voice)| motion.is_near(voice, NEAR));
            #[expect(clippy::cast_precision_loss, reason = "tiles")]
            let far =
                near().map(|(_, voice)| motion.at(voice.place).norm()).sum::<f64>() / near().count().max(1) as f64;
            (far, near().map(|(tile, _)| *tile).collect())
        }))
    }

    /// How its stills lie, by the tiles within a region of which `moves` does not say that they go with something else.
    pub(super) fn lie(&self, layout: &Layout, region: Option<Region>, moves: &dyn Fn(usize) -> bool) -> Lie {
        let (all, mut voices) = self.heard(layout, region);
        let inside = voices.len();
        voices.retain(|(tile, _)| !moves(*tile));
        let all = all - (inside - voices.len());
        let voices: Vec<Voice> = voices.into_iter().map(|(_, voice)| voice).collect();
        let Some(agreed) = motions(&voices, all, reach(layout)).into_iter().next() else { return Lie::Unlike };
        if is_enlarged(&agreed, layout) {
            return Lie::Enlarged;
        }
        let step = f64::from(layout.step);
        let turn = agreed.map.im.atan2(1.0 + agreed.map.re).to_degrees();
        Lie::Moved(Pose { x: agreed.shift.re * step, y: agreed.shift.im * step, turn }, agreed.error * step)
    }
}

fn is_enlarged(agreed: &Agreed, layout: &Layout) -> bool {
    // A turn alone shortens the map's real part by half its square.
    let by = ((agreed.map + 1.0).norm() - 1.0).abs();
    by > ENLARGED && by * reach(layout) > GROWN
}

/// How far the outermost tiles lie from the centre, in samples.
fn reach(layout: &Layout) -> f64 {
    layout.centre(0).hypot()
}

fn complex(vector: Vec2) -> Complex64 {
    Complex64::new(vector.x, vector.y)
}

/// Cuts tiles and compares them; one a worker.
#[derive(Debug)]
pub struct Registrar {
    layout: Layout,
    fourier: Fourier,
    correlator: Correlator,
    smaller: Vec<u8>,
}

impl Registrar {
    /// For small pictures of one layout.
    #[must_use]
    pub fn new(layout: Layout) -> Self {
        let side = layout.side;
        Self { layout, fourier: Fourier::new(side, true), correlator: Correlator::new(side), smaller: Vec::new() }
    }

    /// The tiles of a small picture, cut where those of another still were, or at their own places.
    pub fn tiles(&mut self, grey: Grey<'_>, like: Option<&Tiles>) -> Tiles {
        let offsets = like.filter(|like| like.layout == self.layout).map(|like| like.offsets.clone());
        self.cut(grey, offsets.unwrap_or_else(|| vec![[0; 2]; self.layout.count()]), true)
    }

    fn cut(&mut self, grey: Grey<'_>, offsets: Vec<[i32; 2]>, whole: bool) -> Tiles {
        let layout = self.layout;
        let spectra = offsets.iter().enumerate().map(|(tile, [right, down])| {
            let [x, y] = layout.origin(tile);
            self.fourier.spectrum(grey, [x + right, y + down])
        });
        let spectra = spectra.collect();
        let whole = if whole { self.whole(grey) } else { None };
        Tiles { layout, offsets, spectra, whole }
    }

    /// The largest square in the middle, as one tile of means.
    fn whole(&mut self, grey: Grey<'_>) -> Option<Spectrum> {
        let (side, by) = (self.layout.side, grey.width.min(grey.height) / self.layout.side);
        if by == 0 {
            return None;
        }
        let (left, top) = ((grey.width - side * by) / 2, (grey.height - side * by) / 2);
        self.smaller.clear();
        let mut sums = vec![0_u32; side];
        for y in 0..side {
            sums.fill(0);
            for row in 0..by {
                let line = &grey.samples[(top + y * by + row) * grey.stride + left..][..side * by];
                for (sum, samples) in sums.iter_mut().zip(line.chunks_exact(by)) {
                    *sum += samples.iter().map(|sample| u32::from(*sample)).sum::<u32>();
                }
            }
            let count = u32::try_from(by * by).unwrap_or(u32::MAX);
            self.smaller.extend(sums.iter().map(|sum| u8::try_from((sum + count / 2) / count).unwrap_or(u8::MAX)));
        }
        let smaller = Grey { samples: &self.smaller, stride: side, width: side, height: side };
        self.fourier.spectrum(smaller, [0; 2])
    }

    /// How a still lies against an earlier one. Its tiles are cut anew where its picture has gone by more than a
    /// sample, so that both see the same part of the scene.
    ///
    /// None where too few tiles agree on anything; the tiles are then left as they were.
    pub fn link(&mut self, earlier: (usize, &Tiles), later: (usize, &mut Tiles), grey: Grey<'_>) -> Option<Link> {
        let ((earlier_slot, earlier), (later_slot, kept)) = (earlier, later);
        let mut anew: Option<Tiles> = None;
        if earlier.layout != self.layout || kept.layout != self.layout {
            return None;
        }
        let mut looked_at_whole = false;
        for _ in 0..TRIES {
            let later = anew.as_ref().unwrap_or(kept);
            let shifts = self.shifts(earlier, later);
            // Tiles are cut where the stiller part of the picture lies: a camera that is fixed sees what moves go by.
            let agreed = motions(&self.voices(earlier, &shifts), self.layout.count(), reach(&self.layout))
                .into_iter()
                .min_by(|one, other| one.shift.norm().total_cmp(&other.shift.norm()));
            let due = match agreed {
                Some(agreed) => self.offsets(earlier, |place| agreed.at(place)),
                None if looked_at_whole => return None,
                None => {
                    looked_at_whole = true;
                    let whole = self.shift_of_whole(earlier, kept, grey)?;
                    self.offsets(earlier, |_| whole)
                }
            };
            let apart =
                due.iter().zip(&later.offsets).flat_map(|(a, b)| [a[0].abs_diff(b[0]), a[1].abs_diff(b[1])]).max();
            if agreed.is_some() && apart.is_none_or(|apart| apart <= 1) {
                if let Some(anew) = anew {
                    *kept = Tiles { whole: kept.whole.take(), ..anew };
                }
                return Some(self.written(earlier_slot, earlier, later_slot, &shifts));
            }
            anew = Some(self.cut(grey, due, false));
        }
        None
    }

    /// By tile, how far its content has gone, in all.
    fn shifts(&mut self, earlier: &Tiles, later: &Tiles) -> Vec<Option<Shift>> {
        let mut shifts = Vec::with_capacity(earlier.spectra.len());
        for (tile, (before, after)) in earlier.spectra.iter().zip(&later.spectra).enumerate() {
            let shift = before.as_ref().zip(after.as_ref()).and_then(|(before, after)| {
                let shift = self.correlator.between(&mut self.fourier, before, after)?;
                let [right, down] =
                    [0, 1].map(|axis| f64::from(later.offsets[tile][axis] - earlier.offsets[tile][axis]));
                Some(Shift { x: shift.x + right, y: shift.y + down, ..shift })
            });
            shifts.push(shift);
        }
        shifts
    }

    fn shift_of_whole(&mut self, earlier: &Tiles, later: &Tiles, grey: Grey<'_>) -> Option<Complex64> {
        let shift = self.correlator.roughly(&mut self.fourier, earlier.whole.as_ref()?, later.whole.as_ref()?)?;
        #[expect(clippy::cast_precision_loss, reason = "samples of a picture")]
        let by = (grey.width.min(grey.height) / self.layout.side) as f64;
        Some(Complex64::new(shift.x, shift.y) * by)
    }

    fn voices(&self, earlier: &Tiles, shifts: &[Option<Shift>]) -> Vec<Voice> {
        let voice = |(tile, shift): (usize, &Option<Shift>)| {
            let Shift { x, y, alike } = (*shift)?;
            Some(Voice { place: self.place(earlier, tile), shift: Complex64::new(x, y), weight: alike })
        };
        shifts.iter().enumerate().filter_map(voice).collect()
    }

    /// Where the earlier still's tile was cut, from the still's centre.
    fn place(&self, earlier: &Tiles, tile: usize) -> Complex64 {
        let [right, down] = earlier.offsets[tile].map(f64::from);
        complex(self.layout.centre(tile)) + Complex64::new(right, down)
    }

    /// How far the later still's tiles are to be cut from their places where the earlier one's content goes like this.
    fn offsets(&self, earlier: &Tiles, goes: impl Fn(Complex64) -> Complex64) -> Vec<[i32; 2]> {
        let due = |tile: usize| {
            let by = goes(self.place(earlier, tile));
            #[expect(clippy::cast_possible_truncation, reason = "rounded, and no farther than a picture is wide")]
            let [right, down] = [by.re, by.im].map(|by| by.round() as i32);
            [earlier.offsets[tile][0] + right, earlier.offsets[tile][1] + down]
        };
        (0..self.layout.count()).map(due).collect()
    }

    fn written(&self, earlier_slot: usize, earlier: &Tiles, later_slot: usize, shifts: &[Option<Shift>]) -> Link {
        #[expect(clippy::cast_precision_loss, reason = "tiles")]
        let count = earlier.offsets.len() as f64;
        let mean = |axis: usize| earlier.offsets.iter().map(|offset| f64::from(offset[axis])).sum::<f64>() / count;
        #[expect(clippy::cast_possible_truncation, reason = "samples, to a ten-thousandth")]
        let narrow = |value: f64| value as f32;
        let tile = |shift: &Option<Shift>| shift.map_or([0.0; 3], |shift| [shift.x, shift.y, shift.alike].map(narrow));
        Link {
            earlier: earlier_slot,
            later: later_slot,
            at: [0, 1].map(|axis| narrow(mean(axis))),
            tiles: shifts.iter().map(tile).collect(),
        }
    }
}
