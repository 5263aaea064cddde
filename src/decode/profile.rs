//! Which colour space a still is coded in.

use crate::ffi::jpeg::Space;
use crate::picture::Profile;
use crate::shoot::Still;

/// Judges profiles, remembering the last: the stills of a shoot share one.
#[derive(Debug, Default)]
pub(super) struct Profiles {}

/// What a JPEG's segments say beside its pixels.
pub(super) struct Notes {
    pub(super) profile: Profile,
    /// Chroma is co-sited with luma.
    pub(super) co_sited: bool,
}

impl Profiles {
    pub(super) fn of_jpeg(&mut self, _: &[u8], _: &Still, _: Space, _: &mut Vec<String>) -> Notes {
        Notes { profile: Profile::Srgb, co_sited: false }
    }
}
