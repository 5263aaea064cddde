//! What a delivery follows, where its frames show it.

use crate::diag::Place;
use crate::geom::Window;

/// A subject over a delivery's frames.
#[derive(Debug, Clone, PartialEq)]
pub struct Subject {
    /// The line of the follow.
    pub place: Place,
    /// Where it is in every frame's stills, in pixels of the upright still.
    pub boxes: Vec<Window>,
    /// How sure that is in every frame, from 0 to 1, 0 where it is lost; nothing where it is not tracked.
    pub confidence: Vec<f64>,
    /// The first frame that shows each key's still, in the order of the keys; none for keys that no frame comes to.
    pub keys: Vec<usize>,
}
