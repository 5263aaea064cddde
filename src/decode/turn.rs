//! Planes as stored to planes upright: exact copies, with their sitings carried along.

use super::buffers::{self, Shape};
use crate::picture::{Plane, Samples, Siting};
use crate::shoot::Orientation;
use crate::units::Size;

/// Side of the squares that rows and columns change places in: two of them fit the nearest cache.
const TILE: usize = 32;

/// How upright coordinates read stored ones.
#[derive(Debug, Clone, Copy)]
struct Way {
    /// Rows become columns.
    swap: bool,
    /// Stored columns run from the last to the first.
    mirror_x: bool,
    /// Stored rows run from the last to the first.
    mirror_y: bool,
}

impl Way {
    fn of(orientation: Orientation) -> Self {
        let (swap, mirror_x, mirror_y) = match orientation {
            Orientation::Upright => (false, false, false),
            Orientation::Mirrored => (false, true, false),
            Orientation::HalfTurn => (false, true, true),
            Orientation::Flipped => (false, false, true),
            Orientation::Transposed => (true, false, false),
            Orientation::QuarterClockwise => (true, false, true),
            Orientation::Transversed => (true, true, true),
            Orientation::QuarterAnticlockwise => (true, true, false),
        };
        Self { swap, mirror_x, mirror_y }
    }
}

/// Turns planes stored for a picture of `size` upright, into the room `upright` has.
pub(super) fn turn(stored: &[Plane], size: Size, orientation: Orientation, upright: &mut Vec<Plane>) {
    let way = Way::of(orientation);
    // Four planes at most, so a small vector a still.
    let shapes: Vec<Shape> = stored.iter().map(|plane| turned_shape(plane, size, way)).collect();
    match stored.first().map(|plane| &plane.samples) {
        Some(Samples::Sixteen(_)) => buffers::sixteen(upright, &shapes),
        _ => buffers::eight(upright, &shapes),
    }
    for (from, to) in stored.iter().zip(upright) {
        match (&from.samples, &mut to.samples) {
            (Samples::Eight(samples), Samples::Eight(out)) => copy(samples, from, way, out),
            (Samples::Sixteen(samples), Samples::Sixteen(out)) => copy(samples, from, way, out),
            _ => unreachable!("the planes of a picture are equally deep"),
        }
    }
}

fn turned_shape(plane: &Plane, size: Size, way: Way) -> Shape {
    let Siting { step_x, step_y, mut origin_x, mut origin_y } = plane.siting;
    // Mirrored, the last sample comes first: its distance from the far edge is the new origin.
    if way.mirror_x {
        origin_x = f64::from(size.width) - origin_x - f64::from(plane.width - 1) * step_x;
    }
    if way.mirror_y {
        origin_y = f64::from(size.height) - origin_y - f64::from(plane.height - 1) * step_y;
    }
    let (width, height, siting) = if way.swap {
        (plane.height, plane.width, Siting { step_x: step_y, step_y: step_x, origin_x: origin_y, origin_y: origin_x })
    } else {
        (plane.width, plane.height, Siting { step_x, step_y, origin_x, origin_y })
    };
    Shape { width, height, stride: width as usize, rows: height as usize, siting }
}

fn copy<T: Copy>(samples: &[T], from: &Plane, way: Way, out: &mut [T]) {
    let (width, height) = (from.width as usize, from.height as usize);
    let row = |y: usize| {
        let y = if way.mirror_y { height - 1 - y } else { y };
        &samples[y * from.stride..][..width]
    };
    if !way.swap {
        for (y, line) in out.chunks_exact_mut(width).enumerate() {
            line.copy_from_slice(row(y));
            if way.mirror_x {
                line.reverse();
            }
        }
        return;
    }
    for top in (0..height).step_by(TILE) {
        for left in (0..width).step_by(TILE) {
            for y in top..height.min(top + TILE) {
                let line = row(y);
                for (x, sample) in line.iter().enumerate().take(width.min(left + TILE)).skip(left) {
                    let x = if way.mirror_x { width - 1 - x } else { x };
                    out[x * height + y] = *sample;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Orientation; 8] = [
        Orientation::Upright,
        Orientation::Mirrored,
        Orientation::HalfTurn,
        Orientation::Flipped,
        Orientation::Transposed,
        Orientation::QuarterClockwise,
        Orientation::Transversed,
        Orientation::QuarterAnticlockwise,
    ];

    fn plane(rows: &[&[u8]], siting: Siting) -> Plane {
        // Padded on the right, as decoders leave planes.
        let samples = rows.iter().flat_map(|row| row.iter().copied().chain([99, 99])).collect();
        let (width, height) = (u32::try_from(rows[0].len()).unwrap(), u32::try_from(rows.len()).unwrap());
        Plane { samples: Samples::Eight(samples), width, height, stride: rows[0].len() + 2, siting }
    }

    fn rows(plane: &Plane) -> Vec<Vec<u8>> {
        let Samples::Eight(samples) = &plane.samples else { panic!("8 bits went in") };
        samples.chunks(plane.stride).map(|row| row[..plane.width as usize].to_vec()).collect()
    }

    /// Two independent libraries agree on these (Pillow's `exif_transpose` and libvips' `autorot`).
    #[test]
    fn each_orientation_shows_what_two_other_libraries_show() {
        let stored = plane(&[&[1, 2, 3], &[4, 5, 6]], Siting::FULL);
        let expected: [&[&[u8]]; 8] = [
            &[&[1, 2, 3], &[4, 5, 6]],
            &[&[3, 2, 1], &[6, 5, 4]],
            &[&[6, 5, 4], &[3, 2, 1]],
            &[&[4, 5, 6], &[1, 2, 3]],
            &[&[1, 4], &[2, 5], &[3, 6]],
            &[&[4, 1], &[5, 2], &[6, 3]],
            &[&[6, 3], &[5, 2], &[4, 1]],
            &[&[3, 6], &[2, 5], &[1, 4]],
        ];
        for (orientation, expected) in ALL.into_iter().zip(expected) {
            let mut upright = Vec::new();
            turn(std::slice::from_ref(&stored), Size::new(3, 2), orientation, &mut upright);
            assert_eq!(rows(&upright[0]), expected, "{orientation:?}");
            assert_eq!(upright[0].siting, Siting::FULL, "{orientation:?}");
        }
    }

    /// Every chroma sample keeps its place over the luma pixels: checked by turning the luma coordinates themselves.
    #[test]
    fn subsampled_chroma_stays_where_it_was_over_the_picture() {
        let size = Size::new(7, 5);
        for origin in [1.0, 0.5] {
            let siting = Siting { step_x: 2.0, step_y: 2.0, origin_x: origin, origin_y: origin };
            let stored = plane(&[&[0, 1, 2, 3], &[4, 5, 6, 7], &[8, 9, 10, 11]], siting);
            for orientation in ALL {
                let mut upright = Vec::new();
                turn(std::slice::from_ref(&stored), size, orientation, &mut upright);
                let turned = &upright[0];
                for (y, row) in rows(turned).iter().enumerate() {
                    for (x, value) in row.iter().enumerate() {
                        let at = (
                            turned.siting.origin_x + x as f64 * turned.siting.step_x,
                            turned.siting.origin_y + y as f64 * turned.siting.step_y,
                        );
                        let was = (f64::from(value % 4) * 2.0 + origin, f64::from(value / 4) * 2.0 + origin);
                        assert_eq!(at, moved(was, orientation), "sample {value}, {orientation:?}, origin {origin}");
                    }
                }
            }
        }
    }

    /// Where a point of a stored 7 × 5 picture lands upright, by the tag's definition (Exif 2.32, 4.6.4 A: which visual
    /// edge row 0 and column 0 are).
    fn moved((x, y): (f64, f64), orientation: Orientation) -> (f64, f64) {
        match orientation {
            Orientation::Upright => (x, y),
            Orientation::Mirrored => (7.0 - x, y),
            Orientation::HalfTurn => (7.0 - x, 5.0 - y),
            Orientation::Flipped => (x, 5.0 - y),
            Orientation::Transposed => (y, x),
            Orientation::QuarterClockwise => (5.0 - y, x),
            Orientation::Transversed => (5.0 - y, 7.0 - x),
            Orientation::QuarterAnticlockwise => (y, 7.0 - x),
        }
    }
}
