//! Stills of one run whose colours are coded in different ways, so that a change in the middle of a shoot is told.

use crate::picture::{Model, Picture, Profile};
use crate::units::SlotIndex;
use crate::work::{Coding, Space};

/// How a picture's colours are coded: Y'CbCr and R'G'B' are alike here, for one is made of the other.
pub(super) fn coding_of(picture: &Picture) -> Coding {
    let space = match &picture.profile {
        Profile::Srgb | Profile::Light => Space::Srgb,
        Profile::AdobeRgb => Space::AdobeRgb,
        Profile::Icc(bytes) => Space::Icc(*blake3::hash(bytes).as_bytes()),
    };
    Coding { space, grey: picture.model == Model::Grey }
}

/// The stills that are coded in another way than most, or than the first where no way is the most common: a remark for
/// each other way, and the stills it is true of.
pub(super) fn odd_ones(mut codings: Vec<(Coding, Vec<SlotIndex>)>) -> impl Iterator<Item = (String, Vec<SlotIndex>)> {
    codings.sort_by_key(|(_, slots)| (std::cmp::Reverse(slots.len()), slots.first().copied()));
    codings.into_iter().skip(1).map(|(coding, slots)| {
        let space = match coding.space {
            Space::Srgb => "in sRGB",
            Space::AdobeRgb => "in Adobe RGB (1998)",
            Space::Icc(_) => "in a colour profile of its own",
        };
        let colour = if coding.grey { "grey, " } else { "" };
        (format!("{colour}{space}, unlike most of the shoot: converted"), slots)
    })
}
