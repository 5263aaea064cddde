//! Part of a plane, as the inner loops read it.

/// Part of a plane: where its first wanted sample is, and how far on the next row begins.
#[derive(Debug, Clone, Copy)]
pub(super) struct PlanePart<'a, S> {
    /// From the first wanted sample on.
    pub samples: &'a [S],
    /// Samples from one row to the next.
    pub stride: usize,
}

impl<'a, S: Copy> PlanePart<'a, S> {
    pub(super) fn new(samples: &'a [S], stride: usize, top: usize, left: usize) -> Self {
        Self { samples: &samples[top * stride + left..], stride }
    }

    /// Panics unless `rows` rows of `columns` samples are there, so that no kernel need say so for itself.
    pub(super) fn check(self, rows: usize, columns: usize) {
        assert!(columns <= self.stride, "columns within a row");
        assert!(rows > 0 && self.samples.len() >= (rows - 1) * self.stride + columns, "rows within the plane");
    }
}
