//! One level of a picture's pyramid, with a border in which its edges go on.

/// Samples around a level on every side, so that a patch may lie partly outside.
pub(super) const BORDER: usize = 16;

/// A picture with its border.
#[derive(Debug, Default)]
pub(super) struct Level {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) stride: usize,
    pub(super) values: Vec<f32>,
}

impl Level {
    /// Takes on a size; values are what they were, of any place.
    pub(super) fn reshape(&mut self, width: usize, height: usize) {
        (self.width, self.height, self.stride) = (width, height, width + 2 * BORDER);
        self.values.resize(self.stride * (height + 2 * BORDER), 0.0);
    }

    pub(super) fn fill(&mut self, width: usize, height: usize, picture: &[f32]) {
        self.reshape(width, height);
        for (y, row) in picture.chunks_exact(width.max(1)).enumerate() {
            let start = self.index(0, y);
            self.values[start..start + width].copy_from_slice(row);
        }
        self.extend();
    }

    /// The shorter side.
    pub(super) fn shorter(&self) -> usize {
        self.width.min(self.height)
    }

    /// Where pixel `(x, y)` is.
    pub(super) fn index(&self, x: usize, y: usize) -> usize {
        (y + BORDER) * self.stride + x + BORDER
    }

    pub(super) fn row(&self, y: usize) -> &[f32] {
        let start = self.index(0, y);
        &self.values[start..start + self.width]
    }

    /// Carries the edges on into the border.
    fn extend(&mut self) {
        let (width, height, stride) = (self.width, self.height, self.stride);
        for row in self.values.chunks_exact_mut(stride).skip(BORDER).take(height) {
            let (first, last) = (row[BORDER], row[BORDER + width - 1]);
            row[..BORDER].fill(first);
            row[BORDER + width..].fill(last);
        }
        for row in 0..BORDER {
            self.values.copy_within(BORDER * stride..(BORDER + 1) * stride, row * stride);
            self.values.copy_within(
                (BORDER + height - 1) * stride..(BORDER + height) * stride,
                (BORDER + height + row) * stride,
            );
        }
    }

    /// The same picture at half the size, each pixel the mean of four.
    pub(super) fn halve(&self, into: &mut Self) {
        into.reshape(self.width.div_ceil(2), self.height.div_ceil(2));
        for y in 0..into.height {
            // Beyond an odd edge lies the border.
            let (above, below) = (self.index(0, 2 * y), self.index(0, 2 * y + 1));
            let rows = [above, below].map(|start| self.values[start..start + 2 * into.width].as_chunks::<2>().0);
            let start = into.index(0, y);
            for (out, (above, below)) in
                into.values[start..start + into.width].iter_mut().zip(rows[0].iter().zip(rows[1]))
            {
                *out = 0.25 * (above[0] + above[1] + below[0] + below[1]);
            }
        }
        into.extend();
    }

    /// The slopes across and down, border and all, by central differences.
    pub(super) fn slopes(&self, across: &mut Vec<f32>, down: &mut Vec<f32>) {
        let (stride, count) = (self.stride, self.values.len());
        across.clear();
        across.resize(count, 0.0);
        down.clear();
        down.resize(count, 0.0);
        let values = &self.values;
        for (out, (before, after)) in across[1..count - 1].iter_mut().zip(values.iter().zip(&values[2..])) {
            *out = 0.5 * (after - before);
        }
        for (out, (before, after)) in
            down[stride..count - stride].iter_mut().zip(values.iter().zip(&values[2 * stride..]))
        {
            *out = 0.5 * (after - before);
        }
    }

    /// The value at a place, with straight lines between pixels; beyond the border, its edge.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "held inside"
    )]
    pub(super) fn sample(&self, x: f32, y: f32) -> f32 {
        let border = BORDER as f32;
        let x = (x + border).clamp(0.0, (self.stride - 2) as f32);
        let y = (y + border).clamp(0.0, (self.height + 2 * BORDER - 2) as f32);
        let (column, row) = (x as usize, y as usize);
        let (right, below) = (x - column as f32, y - row as f32);
        let at = row * self.stride + column;
        let (one, two) = (&self.values[at..at + 2], &self.values[at + self.stride..at + self.stride + 2]);
        let (above, under) = (one[0] + (one[1] - one[0]) * right, two[0] + (two[1] - two[0]) * right);
        above + (under - above) * below
    }
}
