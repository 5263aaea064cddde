//! Shot and shoot to plan: the last place where anything is decided.

use crate::diag::Diagnostics;
use crate::plan::Plan;
use crate::shoot::Shoot;
use crate::shot::Shot;

/// Resolves a shot over a shoot.
///
/// # Errors
/// Every mistake found, with remarks among them.
pub fn resolve(shot: &Shot, shoot: &Shoot) -> Result<Plan, Diagnostics> {
    let _ = (shot, shoot);
    unimplemented!()
}
