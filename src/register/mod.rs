//! Where every still stands: how far the camera had moved, against where it stood at first, when the still was taken.
//!
//! Pure maths: pictures in, shifts and turns out. Nothing here knows of shoots, scripts or plans. Small pictures of two
//! stills are cut into tiles ([`Layout`]), each tile is laid over the other still's by phase correlation (`spectrum`,
//! `correlate`), and what most tiles agree with is how the camera moved between the two (`consensus`): whatever moves
//! in the scene is outvoted. Links of many pairs of stills are settled to one stand a still (`adjustment`), and
//! [`solve()`] tells bumps and sags from the noise of measuring.
//!
//! ## Decisions
//!
//! - Words: a *bump* is a sudden movement of the camera, a *sag* a slow one. A *link* is how one still lies against an
//!   earlier one, tile by tile. A *stand* is how far the camera had moved, at a still, from the view the shoot began
//!   with.
//!   *Steadying* moves windows along with the picture.
//! - At most 12 × 9 tiles of 128 samples (64 or 32 in small pictures). Frequencies below a quarter of a cycle a sample
//!   count, those within the noise only little; the maximum is found by Newton's method.
//! - Tiles are cut where the picture has moved to, to the nearest sample: a window hides some hundredths of a shift of
//!   ten samples.
//! - Quorum: five tiles, three tenths of those that say anything, and 15 % of all, within 0.35 samples. An enlargement
//!   above
//!   0.2 % is another view.
//! - A step is a change from 0.25 px (right, down and the turn at the corner together) and six standard deviations on,
//!   and stays sharp. Between steps a change below 0.15 px is none, and the rest is smoothed over 5 to 40 stills. So a
//!   camera that stands still has stands of exactly zero.
//! - A camera *shakes* where its places differ from still to still by more than 0.15 px and three times the noise of
//!   measuring (`shake`). There stands are as they were measured, without smoothing.
//! - The stands of stills on the two sides of a break (stills were left out between them) are of one view where links
//!   across are found, because it is the same camera on the same tripod. But noise, shaking, steps and smoothing are
//!   judged on each side by itself, and where the camera stood between is not made up. A camera that is found
//!   elsewhere after a break, by as much as a step takes, has been bumped there; by less, it stood still.
//! - Where two motions compete, each with a quorum and 0.7 samples apart, the one that goes less far is the camera's
//!   (`rivals`).
//! - Shadows that wander over everything look like a sag. No method can tell the two apart.
//! - Tiles' shifts are kept for each stretch of 32 stills, so that another region or another wish is solved for without
//!   reading a pixel.

mod adjustment;
mod consensus;
mod correlate;
mod layout;
mod link;
mod pose;
mod rivals;
mod room;
mod shake;
mod solve;
mod spectrum;
mod steps;
mod table;
mod undo;

pub use layout::{Grey, Layout};
pub use link::{Link, Registrar, Tiles};
pub use pose::Pose;
pub use rivals::Rival;
pub use room::room;
pub use solve::{Bump, Reason, Sag, Shaking, Solved, View, Wishes, solve, solve_in_sides};
pub use table::{MOST_TURNED, StillPose, Table};
pub use undo::{Undo, filled};

/// What registering the stills of a shoot found.
#[derive(Debug, Clone, PartialEq)]
pub struct Registered {
    /// By slot.
    pub stills: Vec<Sight>,
    /// How tiles lie in most of the stills; none where they are too small.
    pub layout: Option<Layout>,
    /// How stills lie against earlier ones, in rising order of the later one.
    pub links: Vec<Link>,
}

/// What there is of a slot to register.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Sight {
    /// No whole still.
    Missing,
    /// A still with enough in it.
    Seen,
    /// A still in which too few tiles show anything: black, white, fog.
    Blank,
    /// A still of another size than most.
    OtherSize,
}

#[cfg(test)]
mod tests;
