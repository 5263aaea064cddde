//! What was done to all of a clip's frames alike: another range, another matrix, a turn. Each guess is tried on frames
//! made anew.
//!
//! ## Decisions
//!
//! - Full range, BT.601's matrix and turns are guesses. Each is tried on the remade rows and believed if it leaves at
//!   most a third of the error.

use serde::Serialize;

use super::compare::{self, Fit};
use crate::picture::{Frame, Pixels};
use crate::units::Size;

/// A change that every frame shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Guess {
    /// Codes of the full range where limited ones are due.
    FullRange,
    /// Limited twice.
    LimitedTwice,
    /// BT.601's matrix where BT.709's is due.
    Bt601,
    /// Turned by half a turn.
    HalfTurn,
    /// Left and right changed.
    Mirrored,
    /// Top and bottom changed.
    Flipped,
    /// Turned a quarter clockwise.
    QuarterClockwise,
    /// Turned a quarter anticlockwise.
    QuarterAnticlockwise,
}

impl Guess {
    const ALL: [Self; 8] = [
        Self::FullRange,
        Self::LimitedTwice,
        Self::Bt601,
        Self::HalfTurn,
        Self::Mirrored,
        Self::Flipped,
        Self::QuarterClockwise,
        Self::QuarterAnticlockwise,
    ];

    /// Whether it is a turn, or a mirror.
    #[must_use]
    pub fn is_turn(self) -> bool {
        !matches!(self, Self::FullRange | Self::LimitedTwice | Self::Bt601)
    }

    /// What is the matter with the frames, in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::FullRange => {
                "its codes take the full range instead of the limited one: it is shown too harsh, or tagged wrongly"
            }
            Self::LimitedTwice => "its codes were limited twice: it is shown too flat",
            Self::Bt601 => "its colours were made with the matrix of BT.601 instead of BT.709's",
            Self::HalfTurn => "its frames are turned upside down (rotated by 180 degrees)",
            Self::Mirrored => "its frames are mirrored, left to right",
            Self::Flipped => "its frames are mirrored, top to bottom",
            Self::QuarterClockwise => "its frames are rotated by 90 degrees, clockwise",
            Self::QuarterAnticlockwise => "its frames are rotated by 90 degrees, anticlockwise",
        }
    }
}

/// What is left of the error where a guess is right: at most this share of it.
const RIGHT: f64 = 1.0 / 3.0;
/// Where a frame is this near to the one due, in codes squared, nothing is guessed.
const NEAR: f64 = 0.5;

/// The guess that makes of the frame due the one seen, where one clearly does; `plain` is what they differ by as they
/// are.
#[must_use]
pub fn guess(due: &Frame, seen: &Frame, plain: Option<Fit>) -> Option<Guess> {
    if plain.is_some_and(|fit| fit.all() < NEAR) {
        return None;
    }
    let tried = Guess::ALL.into_iter().filter_map(|guess| Some((guess, made(guess, due, seen)?)));
    let (guess, fit) = tried.min_by(|(_, one), (_, other)| one.total_cmp(other))?;
    let enough = match plain {
        Some(plain) => fit < RIGHT * plain.all(),
        // Of another size altogether, it has to fit by itself.
        None => fit < 2.0 * compare::error_at(34.0),
    };
    enough.then_some(guess)
}

/// What is left of the error where a guess is made of the frame due.
fn made(guess: Guess, due: &Frame, seen: &Frame) -> Option<f64> {
    match guess {
        Guess::FullRange => ranged(due, (255.0 / 219.0, -16.0 * 255.0 / 219.0), 255.0 / 224.0, seen),
        Guess::LimitedTwice => ranged(due, (219.0 / 255.0, 16.0), 224.0 / 255.0, seen),
        Guess::Bt601 => with_another_matrix(due, seen),
        turn => compare::fit(&turned(due, turn), seen).map(Fit::all),
    }
}

fn ranged(due: &Frame, luma: (f64, f64), chroma: f64, seen: &Frame) -> Option<f64> {
    let Pixels::Yuv420 { y, cb, cr } = &eight(due)?.pixels else { return None };
    let seen = &eight(seen)?;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to a code")]
    let table = |map: &dyn Fn(f64) -> f64| -> Vec<u8> {
        (0..=255_u8).map(|code| map(f64::from(code)).round().clamp(0.0, 255.0) as u8).collect()
    };
    let (luma, chroma) = (table(&|code| luma.0 * code + luma.1), table(&|code| chroma * (code - 128.0) + 128.0));
    let through = |table: &[u8], plane: &[u8]| plane.iter().map(|code| table[usize::from(*code)]).collect();
    let pixels = Pixels::Yuv420 { y: through(&luma, y), cb: through(&chroma, cb), cr: through(&chroma, cr) };
    compare::fit(&Frame { size: due.size, pixels }, seen).map(Fit::all)
}

/// A frame of Y'CbCr in 8 bits and 4:2:0, which is enough to guess by: of chroma, the first sample of each.
fn eight(frame: &Frame) -> Option<Frame> {
    let Pixels::Yuv10 { chroma, y, cb, cr } = &frame.pixels else {
        return matches!(frame.pixels, Pixels::Yuv420 { .. }).then(|| frame.clone());
    };
    let code = |code: &u16| u8::try_from((code + 2) / 4).unwrap_or(u8::MAX);
    let (own, (across, down)) = (chroma.size(frame.size), chroma.spacing());
    let quarter = |plane: &[u16]| -> Vec<u8> {
        let rows = plane.chunks(own.width as usize).step_by(2 / down as usize);
        rows.flat_map(|row| row.iter().step_by(2 / across as usize).map(code)).collect()
    };
    let pixels = Pixels::Yuv420 { y: y.iter().map(code).collect(), cb: quarter(cb), cr: quarter(cr) };
    Some(Frame { size: frame.size, pixels })
}

/// Weights of red and blue in luma, by ITU-R BT.709 and BT.601.
const WEIGHTS: [(f64, f64); 2] = [(0.2126, 0.0722), (0.299, 0.114)];

/// At chroma's samples, luma being the mean of the four around each: how far the frame seen is from the one due with
/// its R'G'B' coded by BT.601.
fn with_another_matrix(due: &Frame, seen: &Frame) -> Option<f64> {
    if due.size != seen.size {
        return None;
    }
    let (due, seen) = (&eight(due)?, &eight(seen)?);
    let (Pixels::Yuv420 { y, cb, cr }, Pixels::Yuv420 { y: luma, cb: blue, cr: red }) = (&due.pixels, &seen.pixels)
    else {
        return None;
    };
    let ((from_red, from_blue), (to_red, to_blue)) = (WEIGHTS[0], WEIGHTS[1]);
    let (y, luma) = (quarter(y, due.size), quarter(luma, seen.size));
    let [mut of_luma, mut of_blue, mut of_red] = [0.0; 3];
    for at in 0..cb.len().min(y.len()) {
        let light = (y[at] - 16.0) / 219.0;
        let (difference_blue, difference_red) =
            ((f64::from(cb[at]) - 128.0) / 224.0, (f64::from(cr[at]) - 128.0) / 224.0);
        let r = light + 2.0 * (1.0 - from_red) * difference_red;
        let b = light + 2.0 * (1.0 - from_blue) * difference_blue;
        let g = (light - from_red * r - from_blue * b) / (1.0 - from_red - from_blue);
        let light = to_red * r + (1.0 - to_red - to_blue) * g + to_blue * b;
        let coded = [
            16.0 + 219.0 * light,
            128.0 + 224.0 * (b - light) / (2.0 * (1.0 - to_blue)),
            128.0 + 224.0 * (r - light) / (2.0 * (1.0 - to_red)),
        ];
        of_luma += (coded[0] - luma[at]).powi(2);
        of_blue += (coded[1] - f64::from(blue[at])).powi(2);
        of_red += (coded[2] - f64::from(red[at])).powi(2);
    }
    let count = cb.len().max(1) as f64;
    Some(of_luma / count + (of_blue / count).max(of_red / count))
}

/// Luma at chroma's samples.
fn quarter(luma: &[u8], size: Size) -> Vec<f64> {
    let (width, height) = (size.width as usize, size.height as usize);
    let mut means = Vec::with_capacity(width.div_ceil(2) * height.div_ceil(2));
    for row in (0..height).step_by(2) {
        for column in (0..width).step_by(2) {
            let (right, below) = ((column + 1).min(width - 1), (row + 1).min(height - 1));
            let at = |row: usize, column: usize| f64::from(luma[row * width + column]);
            means.push((at(row, column) + at(row, right) + at(below, column) + at(below, right)) / 4.0);
        }
    }
    means
}

fn turned(frame: &Frame, how: Guess) -> Frame {
    let size = match how {
        Guess::QuarterClockwise | Guess::QuarterAnticlockwise => frame.size.turned(),
        _ => frame.size,
    };
    let pixels = match &frame.pixels {
        Pixels::Yuv420 { y, cb, cr } => {
            let half = Size::new(frame.size.width.div_ceil(2), frame.size.height.div_ceil(2));
            Pixels::Yuv420 {
                y: turned_plane(y, frame.size, how),
                cb: turned_plane(cb, half, how),
                cr: turned_plane(cr, half, how),
            }
        }
        Pixels::Yuv10 { chroma, y, cb, cr } => {
            let ((across, down), half) = (chroma.spacing(), chroma.size(frame.size));
            // A quarter turn of 4:2:2 is a layout that no codec has.
            let quarter = matches!(how, Guess::QuarterClockwise | Guess::QuarterAnticlockwise);
            if quarter && across != down {
                return frame.clone();
            }
            Pixels::Yuv10 {
                chroma: *chroma,
                y: turned_plane(y, frame.size, how),
                cb: turned_plane(cb, half, how),
                cr: turned_plane(cr, half, how),
            }
        }
        Pixels::Rgb8(samples) => {
            let pixels: &[[u8; 3]] = samples.as_chunks().0;
            Pixels::Rgb8(turned_plane(pixels, frame.size, how).into_iter().flatten().collect())
        }
        Pixels::Rgb16(samples) => {
            let pixels: &[[u16; 3]] = samples.as_chunks().0;
            Pixels::Rgb16(turned_plane(pixels, frame.size, how).into_iter().flatten().collect())
        }
        // Nothing turns a master: its frames are as their stills stand.
        Pixels::Planes(picture) => return Frame { size: frame.size, pixels: Pixels::Planes(picture.clone()) },
    };
    Frame { size, pixels }
}

fn turned_plane<T: Copy>(plane: &[T], size: Size, how: Guess) -> Vec<T> {
    let (width, height) = (size.width as usize, size.height as usize);
    let quarter = matches!(how, Guess::QuarterClockwise | Guess::QuarterAnticlockwise);
    let (across, down) = if quarter { (height, width) } else { (width, height) };
    let mut turned = Vec::with_capacity(plane.len());
    for row in 0..down {
        for column in 0..across {
            let (x, y) = match how {
                Guess::HalfTurn => (width - 1 - column, height - 1 - row),
                Guess::Mirrored => (width - 1 - column, row),
                Guess::Flipped => (column, height - 1 - row),
                Guess::QuarterClockwise => (row, height - 1 - column),
                Guess::QuarterAnticlockwise => (width - 1 - row, column),
                _ => (column, row),
            };
            turned.push(plane[y * width + x]);
        }
    }
    turned
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::FrameKind;

    fn colourful() -> Frame {
        let mut frame = Frame::new(FrameKind::Yuv420, Size::new(16, 8));
        let Pixels::Yuv420 { y, cb, cr } = &mut frame.pixels else { unreachable!() };
        for (at, code) in (0_u8..).zip(y.iter_mut()) {
            *code = 40 + at;
        }
        for (at, (cb, cr)) in (0_u8..).zip(cb.iter_mut().zip(cr.iter_mut())) {
            (*cb, *cr) = (100 + at, 150 - at);
        }
        frame
    }

    #[test]
    fn every_turn_is_told_and_none_is_where_there_is_none() {
        let due = colourful();
        for turn in Guess::ALL.into_iter().filter(|guess| guess.is_turn()) {
            let seen = turned(&due, turn);
            assert_eq!(guess(&due, &seen, compare::fit(&due, &seen)), Some(turn));
        }
        assert_eq!(guess(&due, &due, compare::fit(&due, &due)), None);
        let other = Frame::new(FrameKind::Yuv420, Size::new(16, 8));
        assert_eq!(guess(&due, &other, compare::fit(&due, &other)), None);
        let clockwise = turned(&due, Guess::QuarterClockwise);
        assert_eq!(turned(&clockwise, Guess::QuarterAnticlockwise), due);
    }

    #[test]
    fn quarter_turns_go_the_way_they_are_called() {
        assert_eq!(turned_plane(&[1, 2, 3, 4, 5, 6], Size::new(3, 2), Guess::QuarterClockwise), [4, 1, 5, 2, 6, 3]);
    }
}
