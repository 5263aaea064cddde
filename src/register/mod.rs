//! Where every still stands: how far the camera had moved, against where it stood at first, when the still was taken.
//!
//! Pure maths: pictures in, shifts and turns out. Nothing here knows of shoots, scripts or plans.

mod room;
mod stand;
mod table;
mod undo;

pub use room::room;
pub use stand::Stand;
pub use table::{Line, MOST_TURNED, Table, TableError};
pub use undo::{Undo, bumps_alone, filled};
