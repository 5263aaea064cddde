//! Draws a delivery's stamps at the size of its frames, each text once while it is needed.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use fast_image_resize::images::Image as Pixels;
use fast_image_resize::{FilterType, PixelType, ResizeAlg, ResizeOptions, Resizer};
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::Tree;

use super::set::{SetLine, Setter};
use crate::plan::{Image, Lettered, Shows, Stamped};
use crate::sample::{Overlay, light_of};
use crate::units::{Size, SlotIndex};

/// Samples of coverage a pixel and side.
const FINE: u32 = 4;

/// Lines that are kept a stamp: as many workers may be at stills of their own. One that is gone is drawn again.
const KEPT: usize = 16;

/// The stamps of a delivery over frames of one size.
pub struct Letterer {
    stamps: Arc<[Stamped]>,
    frame: Size,
    /// A stamp each: what was drawn last.
    drawn: Vec<Mutex<Drawn>>,
}

/// What was drawn of a stamp.
#[derive(Default)]
struct Drawn {
    setter: Option<Setter>,
    sheets: VecDeque<Sheet>,
}

/// A line, drawn; a picture has none.
struct Sheet {
    line: Option<Arc<str>>,
    /// None where nothing is to be seen of it.
    overlay: Option<Arc<Overlay>>,
}

impl Letterer {
    /// For these stamps over frames of this size.
    #[must_use]
    pub fn new(stamps: &Arc<[Stamped]>, frame: Size) -> Self {
        let drawn = stamps.iter().map(|_| Mutex::default()).collect();
        Self { stamps: Arc::clone(stamps), frame, drawn }
    }

    /// Whether there is nothing to lay over any frame.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        self.stamps.is_empty()
    }

    /// What is laid over a frame in which a slot's still is foremost, in this order.
    pub fn sheets(&self, slot: SlotIndex) -> impl Iterator<Item = Arc<Overlay>> {
        self.stamps.iter().zip(&self.drawn).filter_map(move |(stamp, drawn)| {
            let line = stamp.line(slot);
            if line.is_none() && matches!(stamp.shows, Shows::Text(_)) {
                return None;
            }
            let mut drawn = drawn.lock().unwrap_or_else(PoisonError::into_inner);
            if let Some(sheet) = drawn.sheets.iter().find(|sheet| sheet.line.as_ref() == line) {
                return sheet.overlay.clone();
            }
            let overlay = match (&stamp.shows, line) {
                (Shows::Text(text), Some(line)) => self.text(stamp, text, line, &mut drawn.setter),
                (Shows::Picture(image), _) => self.picture(stamp, image),
                (Shows::Text(_), None) => None,
            };
            let overlay = overlay.and_then(Overlay::cropped).map(Arc::new);
            if drawn.sheets.len() == KEPT {
                drawn.sheets.pop_front();
            }
            drawn.sheets.push_back(Sheet { line: line.cloned(), overlay: overlay.clone() });
            overlay
        })
    }

    fn text(&self, stamp: &Stamped, text: &Lettered, line: &str, setter: &mut Option<Setter>) -> Option<Overlay> {
        if setter.is_none() {
            *setter = Setter::new(&text.fonts);
        }
        let setter = setter.as_ref()?;
        let mut height = stamp.size * shorter(self.frame);
        let safe = Safe::of(stamp, self.frame);
        // Rounding may leave a small frame's text too large.
        for _ in 0..4 {
            let set = setter.set(line, height, text.outline)?;
            let (origin, room) = safe.place(stamp, &set, self.frame);
            match room {
                Some(smaller) => height *= smaller * 0.995,
                None => return draw(&set, text, origin, self.frame),
            }
        }
        None
    }

    fn picture(&self, stamp: &Stamped, image: &Image) -> Option<Overlay> {
        let safe = Safe::of(stamp, self.frame);
        let [width, height] = safe.fitted(self.frame, stamp.size, image.size.aspect());
        let (before, after) = (stamp.pin.before(), [width, height].map(f64::from));
        let [x, y] = [stamp.at.0 * f64::from(self.frame.width), stamp.at.1 * f64::from(self.frame.height)];
        let [left, top] = [x - before.0 * after[0], y - before.1 * after[1]].map(f64::round);
        let left = left.clamp(safe.left, (safe.right - after[0]).max(safe.left));
        let top = top.clamp(safe.top, (safe.bottom - after[1]).max(safe.top));
        let pixels = resized(image, [width, height])?;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "inside the frame")]
        let place = (left as usize, top as usize);
        Some(Overlay { left: place.0, top: place.1, width: width as usize, height: height as usize, pixels })
    }
}

/// The shorter side of a frame, in pixels.
fn shorter(frame: Size) -> f64 {
    f64::from(frame.width.min(frame.height))
}

/// What a stamp keeps to, in whole pixels of the frame.
#[derive(Debug, Clone, Copy)]
struct Safe {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
}

impl Safe {
    fn of(stamp: &Stamped, frame: Size) -> Self {
        let (width, height) = (f64::from(frame.width), f64::from(frame.height));
        let within = stamp.within;
        // A rounding error takes no pixel away.
        let (up, down) = (|edge: f64| (edge - 1e-6).ceil(), |edge: f64| (edge + 1e-6).floor());
        Self {
            left: up(within.left * width),
            top: up(within.top * height),
            right: down((1.0 - within.right) * width),
            bottom: down((1.0 - within.bottom) * height),
        }
    }

    /// Where the origin of a line goes, in whole pixels; and by what the line must shrink where it is too large.
    fn place(self, stamp: &Stamped, set: &SetLine, frame: Size) -> ([f64; 2], Option<f64>) {
        let SetLine { area: [left, top, right, bottom], ink, .. } = *set;
        let before = stamp.pin.before();
        let point = [stamp.at.0 * f64::from(frame.width), stamp.at.1 * f64::from(frame.height)];
        let origin = [
            (point[0] - before.0 * (right - left) - left).round(),
            (point[1] - before.1 * (bottom - top) - top).round(),
        ];
        // What is to be seen is kept inside, and the box with it.
        let ends = [[left.min(ink[0]), right.max(ink[2])], [top.min(ink[1]), bottom.max(ink[3])]];
        let room = [[self.left, self.right], [self.top, self.bottom]];
        let mut shrink = None;
        let mut held = [0.0; 2];
        for axis in 0..2 {
            let ([first, last], [low, high]) = (ends[axis], room[axis]);
            if last - first > high - low {
                let by = (high - low).max(1.0) / (last - first);
                shrink = Some(shrink.map_or(by, |known: f64| known.min(by)));
            }
            let most = (high - last).floor();
            held[axis] = origin[axis].min(most).max((low - first).ceil().min(most));
        }
        (held, shrink)
    }

    /// The size of a picture in whole pixels, by its height and shape, as large as it may be at most.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "inside the frame")]
    fn fitted(self, frame: Size, size: f64, aspect: f64) -> [u32; 2] {
        let height = size * shorter(frame);
        let room = [self.right - self.left, self.bottom - self.top].map(|side| side.max(1.0));
        let by = (room[0] / (height * aspect)).min(room[1] / height).min(1.0);
        let side = |side: f64, room: f64| side.round().clamp(1.0, room) as u32;
        [side(height * aspect * by, room[0]), side(height * by, room[1])]
    }
}

/// Draws a line at its origin.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "pixels of a frame"
)]
fn draw(set: &SetLine, text: &Lettered, origin: [f64; 2], frame: Size) -> Option<Overlay> {
    let edge = |at: f64, side: u32| at.clamp(0.0, f64::from(side)) as usize;
    let [left, top] =
        [edge((origin[0] + set.ink[0]).floor(), frame.width), edge((origin[1] + set.ink[1]).floor(), frame.height)];
    let [right, bottom] =
        [edge((origin[0] + set.ink[2]).ceil(), frame.width), edge((origin[1] + set.ink[3]).ceil(), frame.height)];
    let size = (right.checked_sub(left)?, bottom.checked_sub(top)?);
    let at = [origin[0] - left as f64, origin[1] - top as f64];
    let mut sheet = Overlay::clear((left, top), size);
    let values = |colour: crate::shot::Colour| colour.0.map(|code| f32::from(code) / 255.0);
    if let (Some(outlined), Some(outline)) = (&set.outlined, text.outline) {
        sheet.coat(&coverage(outlined, at, size)?, values(outline.colour));
    }
    sheet.coat(&coverage(&set.letters, at, size)?, values(text.colour));
    Some(sheet)
}

/// How much of each pixel is covered by what is drawn with its origin there.
#[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "pixels of a frame")]
fn coverage(tree: &Tree, at: [f64; 2], (width, height): (usize, usize)) -> Option<Vec<f32>> {
    let fine = FINE as usize;
    let side = |pixels: usize| u32::try_from(pixels * fine).ok();
    let mut drawn = Pixmap::new(side(width)?, side(height)?)?;
    let scale = FINE as f32;
    let transform = Transform::from_row(scale, 0.0, 0.0, scale, at[0] as f32 * scale, at[1] as f32 * scale);
    resvg::render(tree, transform, &mut drawn.as_mut());
    let mut sums = vec![0_u32; width * height];
    for (row, line) in drawn.pixels().chunks_exact(width * fine).enumerate() {
        for (sum, pixels) in sums[row / fine * width..][..width].iter_mut().zip(line.chunks_exact(fine)) {
            *sum += pixels.iter().map(|pixel| u32::from(pixel.alpha())).sum::<u32>();
        }
    }
    let whole = (255 * fine * fine) as f32;
    Some(sums.into_iter().map(|sum| sum as f32 / whole).collect())
}

/// A picture in another size: light times opacity, and opacity.
fn resized(image: &Image, [width, height]: [u32; 2]) -> Option<Vec<[f32; 4]>> {
    let light: Vec<f32> = (0..=255_u8).map(|code| light_of(f32::from(code) / 255.0)).collect();
    let clear_times_light = image.rgba.as_chunks::<4>().0.iter().map(|[red, green, blue, opacity]| {
        let opacity = f32::from(*opacity) / 255.0;
        let [red, green, blue] = [red, green, blue].map(|code| light[usize::from(*code)] * opacity);
        [red, green, blue, opacity]
    });
    let mut pixels: Vec<[f32; 4]> = clear_times_light.collect();
    if (width, height) == (image.size.width, image.size.height) {
        return Some(pixels);
    }
    let mut from = Pixels::new(image.size.width, image.size.height, PixelType::F32x4);
    for (bytes, value) in from.buffer_mut().as_chunks_mut::<4>().0.iter_mut().zip(pixels.iter().flatten()) {
        *bytes = value.to_ne_bytes();
    }
    let mut to = Pixels::new(width, height, PixelType::F32x4);
    let options = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::CatmullRom)).use_alpha(false);
    Resizer::new().resize(&from, &mut to, &options).ok()?;
    pixels.clear();
    pixels.extend(to.buffer().as_chunks::<16>().0.iter().map(|bytes| {
        let part = |at: usize| f32::from_ne_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]]);
        // The kernel overshoots at edges.
        let opacity = part(12).clamp(0.0, 1.0);
        [part(0).clamp(0.0, opacity), part(4).clamp(0.0, opacity), part(8).clamp(0.0, opacity), opacity]
    }));
    Some(pixels)
}
