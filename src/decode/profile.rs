//! Which colour space a still is coded in.

use std::sync::Arc;

use moxcms::{ColorProfile, DataColorSpace, Layout, ProfileClass, TransformOptions};

use super::exif;
use crate::ffi::jpeg::{Space, segments};
use crate::picture::Profile;
use crate::shoot::Still;

/// A profile that moves no probed colour by more than this many of 65,535 codes is sRGB: half a code of 8 bits.
const SAME: u16 = 128;

/// Judges embedded profiles, remembering the last: the stills of a shoot share one.
#[derive(Debug, Default)]
pub(super) struct Profiles {
    last: Option<Judged>,
    /// A profile put together from a JPEG's segments.
    joined: Vec<u8>,
}

#[derive(Debug)]
struct Judged {
    icc: Arc<[u8]>,
    grey: bool,
    verdict: Verdict,
}

#[derive(Debug, Clone)]
enum Verdict {
    /// It says sRGB, to within what can be seen.
    Srgb,
    /// It says something else, and can be used.
    Other,
    /// It cannot be used; why.
    Unusable(String),
}

/// What a JPEG's segments say beside its pixels.
#[derive(Debug)]
pub(super) struct Notes {
    pub(super) profile: Profile,
    /// Chroma is co-sited with luma.
    pub(super) co_sited: bool,
}

impl Profiles {
    /// What a JPEG's segments say: an embedded profile first, EXIF's word without one, else sRGB.
    pub(super) fn of_jpeg(&mut self, file: &[u8], still: &Still, space: Space, remarks: &mut Vec<String>) -> Notes {
        let block = segments(file).find_map(|(code, body)| match code {
            0xE1 => body.strip_prefix(b"Exif\0\0"),
            _ => None,
        });
        let meaning = block.map(|block| exif::meaning(block, &still.path)).unwrap_or_default();
        let mut joined = std::mem::take(&mut self.joined);
        let profile = match join(file, &mut joined) {
            Joined::None => without_profile(meaning, remarks),
            Joined::Broken => {
                remarks.push("the embedded colour profile is incomplete; sRGB is assumed".into());
                Profile::Srgb
            }
            Joined::Whole if space == Space::Inks => {
                remarks.push("the embedded profile of the printing inks is not used; sRGB is assumed".into());
                Profile::Srgb
            }
            Joined::Whole => self.embedded(&joined, space == Space::Grey, remarks),
        };
        if space == Space::Inks {
            remarks.push("printing inks (CMYK) are converted to R'G'B' by simple multiplication".into());
        }
        self.joined = joined;
        Notes { profile, co_sited: meaning.co_sited }
    }

    /// An embedded ICC profile's meaning for grey or R'G'B' values.
    pub(super) fn embedded(&mut self, icc: &[u8], grey: bool, remarks: &mut Vec<String>) -> Profile {
        if !self.last.as_ref().is_some_and(|last| last.grey == grey && *last.icc == *icc) {
            self.last = Some(Judged { icc: icc.into(), grey, verdict: judge(icc, grey) });
        }
        match &self.last {
            Some(Judged { verdict: Verdict::Other, icc, .. }) => Profile::Icc(Arc::clone(icc)),
            Some(Judged { verdict: Verdict::Unusable(why), .. }) => {
                remarks.push(format!("the embedded colour profile cannot be used ({why}); sRGB is assumed"));
                Profile::Srgb
            }
            Some(Judged { verdict: Verdict::Srgb, .. }) | None => Profile::Srgb,
        }
    }
}

/// What EXIF says where there is no embedded profile; sRGB where it says nothing.
pub(super) fn without_profile(meaning: exif::Meaning, remarks: &mut Vec<String>) -> Profile {
    if meaning.adobe_rgb {
        return Profile::AdobeRgb;
    }
    if !meaning.srgb {
        remarks.push("the file does not say its colour space; sRGB is assumed".into());
    }
    Profile::Srgb
}

/// Tries the profile out: what cannot be turned into sRGB by the library that will have to is of no use.
fn judge(icc: &[u8], grey: bool) -> Verdict {
    let unusable = |why: &str| Verdict::Unusable(why.to_owned());
    let profile = match ColorProfile::new_from_slice(icc) {
        Ok(profile) => profile,
        Err(error) => return unusable(&error.to_string()),
    };
    let (space, layout, what) = if grey {
        (DataColorSpace::Gray, Layout::Gray, "it is not one of grey values")
    } else {
        (DataColorSpace::Rgb, Layout::Rgb, "it is not one of R'G'B' values")
    };
    if profile.color_space != space {
        return unusable(what);
    }
    if matches!(profile.profile_class, ProfileClass::DeviceLink | ProfileClass::Abstract | ProfileClass::Named) {
        return unusable("it describes no device");
    }
    let (target, options) = (ColorProfile::new_srgb(), TransformOptions::default());
    let transform = match profile.create_transform_16bit(layout, &target, Layout::Rgb, options) {
        Ok(transform) => transform,
        Err(error) => return unusable(&error.to_string()),
    };
    let probes = probes(grey);
    let expected: Vec<u16> = if grey { probes.iter().flat_map(|grey| [*grey; 3]).collect() } else { probes.clone() };
    let mut seen = vec![0_u16; expected.len()];
    match transform.transform(&probes, &mut seen) {
        Ok(()) if seen.iter().zip(&expected).all(|(seen, given)| seen.abs_diff(*given) <= SAME) => Verdict::Srgb,
        Ok(()) => Verdict::Other,
        Err(error) => unusable(&error.to_string()),
    }
}

/// Every 51st 8-bit code of each channel with every other, and all greys.
fn probes(grey: bool) -> Vec<u16> {
    let greys = (0..=255_u16).map(|code| code * 257);
    if grey {
        return greys.collect();
    }
    let codes = || (0..=5_u16).map(|step| step * 51 * 257);
    let cube = codes().flat_map(|r| codes().flat_map(move |g| codes().flat_map(move |b| [r, g, b])));
    greys.flat_map(|grey| [grey; 3]).chain(cube).collect()
}

enum Joined {
    None,
    Broken,
    Whole,
}

/// Puts a profile together from a JPEG's APP2 segments, each with its number and how many there are (ICC.1:2022, B.4).
fn join(file: &[u8], joined: &mut Vec<u8>) -> Joined {
    let mut parts: [Option<&[u8]>; 256] = [None; 256];
    let mut expected = None;
    for (_, body) in segments(file).filter(|(code, _)| *code == 0xE2) {
        let Some(&[number, count, ref part @ ..]) = body.strip_prefix(b"ICC_PROFILE\0") else { continue };
        if *expected.get_or_insert(count) != count || parts[usize::from(number)].replace(part).is_some() {
            return Joined::Broken;
        }
    }
    let Some(count) = expected else { return Joined::None };
    joined.clear();
    for part in &parts[1..=usize::from(count)] {
        let Some(part) = part else { return Joined::Broken };
        joined.extend_from_slice(part);
    }
    if joined.is_empty() { Joined::Broken } else { Joined::Whole }
}
