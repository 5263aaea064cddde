//! Stills of one run whose colours are coded in different ways, so that a change in the middle of a shoot is told.

use crate::picture::{Model, Picture, Profile};
use crate::units::SlotIndex;

/// Every way of coding colours met so far, with the stills it was met in.
#[derive(Debug, Default)]
pub(super) struct Colours(Vec<(Coding, Vec<SlotIndex>)>);

/// What makes two stills alike here: Y'CbCr and R'G'B' are, for one is made of the other.
#[derive(Debug, PartialEq, Eq)]
struct Coding {
    space: Space,
    grey: bool,
}

/// A [`Profile`] without its bytes: a folder of stills that bring a profile each must not fill the memory.
#[derive(Debug, PartialEq, Eq)]
enum Space {
    Srgb,
    AdobeRgb,
    Icc(blake3::Hash),
}

impl Colours {
    /// Notes a still.
    pub(super) fn note(&mut self, slot: SlotIndex, picture: &Picture) {
        let space = match &picture.profile {
            Profile::Srgb => Space::Srgb,
            Profile::AdobeRgb => Space::AdobeRgb,
            Profile::Icc(bytes) => Space::Icc(blake3::hash(bytes)),
        };
        let coding = Coding { space, grey: picture.model == Model::Grey };
        match self.0.iter_mut().find(|(known, _)| *known == coding) {
            Some((_, slots)) => slots.push(slot),
            None => self.0.push((coding, vec![slot])),
        }
    }

    /// The stills that are coded in another way than most, or than the first where no way is the most common: a remark for
    /// each other way, and the stills it is true of.
    pub(super) fn odd_ones(mut self) -> impl Iterator<Item = (String, Vec<SlotIndex>)> {
        self.0.iter_mut().for_each(|(_, slots)| slots.sort_unstable());
        self.0.sort_by_key(|(_, slots)| (std::cmp::Reverse(slots.len()), slots.first().copied()));
        self.0.into_iter().skip(1).map(|(coding, slots)| {
            let space = match coding.space {
                Space::Srgb => "in sRGB",
                Space::AdobeRgb => "in Adobe RGB (1998)",
                Space::Icc(_) => "in a colour profile of its own",
            };
            let colour = if coding.grey { "grey, " } else { "" };
            (format!("{colour}{space}, unlike most of the shoot: converted"), slots)
        })
    }
}
