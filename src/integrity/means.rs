//! A still at a pixel a block.

/// Values of [`Plane`] are codes of 8 bits times this.
pub const SCALE: i16 = 8;

/// The means of a still's blocks, component by component, as they are coded: before orientation, never clipped.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Means {
    /// One a component, luma first where there is luma.
    pub planes: Vec<Plane>,
    /// How many units of coding (the blocks of all components at one place) lie in a row.
    pub across: usize,
    /// Rows of units.
    pub down: usize,
    /// Units from one restart marker to the next; 0 where there are none.
    pub restart: usize,
    /// Whether the first component is luma and the others are colour.
    pub has_luma: bool,
    /// Where the codec predicts what it codes from what lies beside it, the units across and down of what it codes
    /// alone: a tile, or the picture.
    pub tile: Option<[usize; 2]>,
}

/// One component.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Plane {
    /// Row by row, `across * blocks_across` in each: codes of 8 bits times [`SCALE`].
    pub values: Vec<i16>,
    /// Blocks of a unit, across.
    pub blocks_across: usize,
    /// Blocks of a unit, down.
    pub blocks_down: usize,
}

impl Means {
    /// Whether two are laid out alike, so that they can be compared.
    #[must_use]
    pub fn is_like(&self, other: &Self) -> bool {
        let layout = |means: &Self| {
            means
                .planes
                .iter()
                .map(|plane| (plane.blocks_across, plane.blocks_down, plane.values.len()))
                .collect::<Vec<_>>()
        };
        (self.across, self.down) == (other.across, other.down) && layout(self) == layout(other)
    }
}
