//! Samples of a plane a way off, and the frame at a moment made of them.

use super::Flow;

/// A plane over the pictures that a flow was measured on: sample `(i, j)` sits at pixel `(i · step, j · step + shift)`.
#[derive(Debug, Clone, Copy)]
pub struct Lattice {
    /// Samples across.
    pub width: usize,
    /// Samples down.
    pub height: usize,
    /// Pixels of the pictures from one sample to the next, across and down.
    pub step: [f32; 2],
    /// Where the first row sits, in pixels down.
    pub shift: f32,
}

/// Takes a row of a plane from the mean of two stills, which it holds, towards what the flow says is there at the
/// moment it is settled at: where that is not trusted, the mean stays as it is, to the bit.
///
/// # Panics
/// If a plane does not have the number of samples that its lattice says.
#[expect(clippy::cast_precision_loss, reason = "pixels of a picture")]
pub fn warp_row(flow: &Flow, moment: f32, lattice: Lattice, planes: [&[f32]; 2], row: usize, out: &mut [f32]) {
    let y = row as f32;
    let Some(span) = flow.span(y.mul_add(lattice.step[1], lattice.shift)) else { return };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held inside the row")]
    let sample = |x: f32| (x / lattice.step[0]).clamp(0.0, lattice.width as f32) as usize;
    let (first, end) = (sample(span.start), (sample(span.end) + 1).min(out.len()));
    for (x, out) in out.iter_mut().enumerate().take(end).skip(first) {
        let way = flow.way(x as f32 * lattice.step[0], y.mul_add(lattice.step[1], lattice.shift));
        if way.confidence == 0.0 {
            continue;
        }
        let (across, down) = (way.across / lattice.step[0], way.down / lattice.step[1]);
        let first = cubic(planes[0], lattice, x as f32 - moment * across, y - moment * down);
        let second = cubic(planes[1], lattice, x as f32 + (1.0 - moment) * across, y + (1.0 - moment) * down);
        let made = first + (second - first) * moment;
        *out += (made - *out) * way.confidence;
    }
}

/// The Catmull-Rom weights of four samples around a place that is so far beyond the second of them.
fn weights(beyond: f32) -> [f32; 4] {
    let (t, tt) = (beyond, beyond * beyond);
    let ttt = tt * t;
    [-0.5 * t + tt - 0.5 * ttt, 1.0 - 2.5 * tt + 1.5 * ttt, 0.5 * t + 2.0 * tt - 1.5 * ttt, -0.5 * tt + 0.5 * ttt]
}

/// The value of a plane at a place, in its own samples; its edges go on.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss, reason = "held inside")]
fn cubic(plane: &[f32], lattice: Lattice, x: f32, y: f32) -> f32 {
    let (x, y) = (x.clamp(0.0, (lattice.width - 1) as f32), y.clamp(0.0, (lattice.height - 1) as f32));
    let (column, row) = (x as usize, y as usize);
    let (across, down) = (weights(x - column as f32), weights(y - row as f32));
    let columns =
        [column.saturating_sub(1), column, (column + 1).min(lattice.width - 1), (column + 2).min(lattice.width - 1)];
    let rows = [row.saturating_sub(1), row, (row + 1).min(lattice.height - 1), (row + 2).min(lattice.height - 1)];
    rows.into_iter().zip(down).fold(0.0, |sum, (row, down)| {
        let row = &plane[row * lattice.width..(row + 1) * lattice.width];
        let along = columns.into_iter().zip(across).fold(0.0, |sum, (column, across)| sum + across * row[column]);
        sum + down * along
    })
}
