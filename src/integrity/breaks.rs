//! Where a still ceases to belong to the scene.

/// Where a still ceases to belong to the scene.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Break {
    /// The row of units it begins in, of [`Means::down`](super::Means::down).
    pub row: usize,
    /// The unit in that row.
    pub column: usize,
    /// The component that shows it best.
    pub component: usize,
    /// By how much that is off, in codes of 8 bits.
    pub by: f32,
    /// How well it fits, 0 to 4.
    pub fit: f32,
    /// Rows of units there are.
    pub(super) down: usize,
}

impl Break {
    /// The first row of pixels, of a picture that has `height` of them.
    #[must_use]
    pub fn first_row(&self, height: u32) -> u32 {
        let row = self.row as u64 * u64::from(height) / self.down.max(1) as u64;
        u32::try_from(row).unwrap_or(height)
    }
}
