//! Where and when the keys of every delivery come to be, told from the very tracks that the plan is made of.

use super::{Known, look_at_resolved};
use crate::diag::Diagnostics;
use crate::plan::KeyedWindow;
use crate::shoot::Shoot;
use crate::shot::Shot;

/// The keys of every delivery of a shot in the order of time; none for one that shows the largest window throughout.
///
/// # Errors
/// As [`super::resolve`].
pub fn keys(shot: &Shot, shoot: &Shoot, known: Known<'_>) -> Result<Vec<Vec<KeyedWindow>>, Diagnostics> {
    let (_, keys) = look_at_resolved(shot, shoot, known, |seen, _| {
        let framed = seen.tracks.iter().map(|framed| {
            let framed = framed.as_ref().filter(|framed| !framed.keys.is_empty());
            framed.map_or_else(Vec::new, |framed| {
                let at = framed.track.keys().iter().zip(&framed.keys);
                at.map(|(at, key)| KeyedWindow { place: key.place.clone(), seconds: at.at, window: at.value }).collect()
            })
        });
        framed.collect()
    })?;
    Ok(keys)
}
