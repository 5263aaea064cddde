//! What deliveries are written as, and what each codec can be told.

use serde::Serialize;

/// What a delivery is written as.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Codec {
    /// H.264 in MP4, 8 bits, 4:2:0.
    H264(H264),
    /// HEVC in MP4, 10 bits, 4:2:0; of a master, in Matroska, as its stills are coded: little is lost.
    Hevc(Hevc),
    /// AV1 in MP4, 10 bits, 4:2:0.
    Av1(Av1),
    /// ProRes in QuickTime, 10 bits: every frame stands alone.
    Prores(Prores),
    /// DNxHR HQX in QuickTime, 10 bits, 4:2:2: every frame stands alone, all of them of one size.
    Dnxhr,
    /// FFV1 in Matroska: nothing is lost.
    Ffv1(Ffv1),
    /// A sequence of R'G'B' PNG files.
    Png(Png),
    /// A sequence of 16-bit R'G'B' TIFF files, deflated.
    Tiff,
    /// A sequence of JPEG files, 4:4:4.
    Jpeg(Jpeg),
}

impl Codec {
    /// PNG files of 16 bits.
    pub const PNG: Self = Self::Png(Png { depth: 16 });
    /// FFV1 of a master.
    pub const MASTER: Self = Self::Ffv1(Ffv1 { samples: Samples::Stills });

    /// All names, as scripts write them.
    pub const NAMES: [&'static str; 9] = ["h264", "hevc", "av1", "prores", "dnxhr", "ffv1", "png", "tiff", "jpeg"];
    /// Those of sequences of files.
    pub const SEQUENCES: [&'static str; 3] = ["png", "tiff", "jpeg"];

    /// Its name, as scripts write it.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::H264(_) => "h264",
            Self::Hevc(_) => "hevc",
            Self::Av1(_) => "av1",
            Self::Prores(_) => "prores",
            Self::Dnxhr => "dnxhr",
            Self::Ffv1(_) => "ffv1",
            Self::Png(_) => "png",
            Self::Tiff => "tiff",
            Self::Jpeg(_) => "jpeg",
        }
    }

    /// Whether it is written as a folder of files, one a frame.
    #[must_use]
    pub fn is_sequence(&self) -> bool {
        Self::SEQUENCES.contains(&self.name())
    }

    /// Bits a pixel of DNxHR HQX: a frame of 1920 x 1080 has 917,504 bytes (SMPTE ST 2019-1, from memory).
    pub const DNXHR_BITS: f64 = 8.0 * 917_504.0 / (1920.0 * 1080.0);

    /// Whether its files have room for sound.
    #[must_use]
    pub fn has_sound(&self) -> bool {
        matches!(self, Self::H264(_) | Self::Hevc(_) | Self::Av1(_) | Self::Prores(_) | Self::Dnxhr)
    }

    /// Whether its files have a track for timecode.
    #[must_use]
    pub fn has_timecode(&self) -> bool {
        self.has_sound()
    }

    /// The most bits a second that were asked for.
    #[must_use]
    pub fn most(&self) -> Option<u64> {
        match self {
            Self::H264(H264 { most, .. }) | Self::Hevc(Hevc { most, .. }) | Self::Av1(Av1 { most, .. }) => *most,
            _ => None,
        }
    }

    /// Bytes that the finished file may have, where asked for.
    #[must_use]
    pub fn size(&self) -> Option<u64> {
        match self {
            Self::H264(H264 { size, .. }) | Self::Hevc(Hevc { size, .. }) | Self::Av1(Av1 { size, .. }) => *size,
            _ => None,
        }
    }

    /// The encoder's rate factor, where it has one.
    #[must_use]
    pub fn crf(&self) -> Option<f64> {
        match self {
            Self::H264(H264 { crf, .. }) | Self::Hevc(Hevc { crf, .. }) => Some(*crf),
            Self::Av1(Av1 { crf, .. }) => Some(f64::from(*crf)),
            _ => None,
        }
    }

    /// The same at another rate factor, which AV1 rounds to a whole number; where there is none, the same.
    #[must_use]
    pub fn at_crf(&self, crf: f64) -> Self {
        let mut other = self.clone();
        match &mut other {
            Self::H264(H264 { crf: own, .. }) | Self::Hevc(Hevc { crf: own, .. }) => *own = crf,
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 63")]
            Self::Av1(Av1 { crf: own, .. }) => *own = crf.round().clamp(1.0, 63.0) as u8,
            _ => {}
        }
        other
    }
}

/// Where our own quality scale stands when a delivery says nothing.
pub const DEFAULT_QUALITY: f64 = 75.0;

/// How H.264 is encoded.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct H264 {
    /// x264's constant rate factor, 1 to 51 (0 would be lossless, which High profile is not).
    pub crf: f64,
    /// x264's preset by its own name.
    pub preset: String,
    /// x264's tune by its own name, where asked for.
    pub tune: Option<String>,
    /// The most bits a second, where asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most: Option<u64>,
    /// Bytes that the finished file may have, and nearly has, where asked for: `crf` is then where the search for them
    /// begins.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size: Option<u64>,
}

impl H264 {
    /// x264's presets, fastest first.
    pub const PRESETS: [&'static str; 10] =
        ["ultrafast", "superfast", "veryfast", "faster", "fast", "medium", "slow", "slower", "veryslow", "placebo"];
    /// x264's tunes that keep the stream a constant-rate High profile one.
    pub const TUNES: [&'static str; 5] = ["film", "animation", "grain", "stillimage", "fastdecode"];

    /// Our one scale, 0 (smallest) to 100 (finest), for this codec: `crf = 33 - quality / 5`, so 75 is CRF 18 and 100
    /// is CRF 13.
    #[must_use]
    pub fn from_quality(quality: f64) -> Self {
        Self { crf: 33.0 - quality / 5.0, preset: "medium".into(), tune: None, most: None, size: None }
    }
}

impl Default for H264 {
    fn default() -> Self {
        Self::from_quality(DEFAULT_QUALITY)
    }
}

/// How HEVC is encoded.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Hevc {
    /// x265's constant rate factor, 1 to 51.
    pub crf: f64,
    /// x265's preset by its own name.
    pub preset: String,
    /// The most bits a second, where asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most: Option<u64>,
    /// Bytes that the finished file may have, and nearly has, where asked for: `crf` is then where the search for them
    /// begins.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size: Option<u64>,
}

impl Hevc {
    /// x265's presets have the names of x264's.
    pub const PRESETS: [&'static str; 10] = H264::PRESETS;

    /// Our one scale, 0 (smallest) to 100 (finest), for this codec: `crf = 36 - quality / 5`, so 75 is CRF 21 and 100
    /// is CRF 16.
    #[must_use]
    pub fn from_quality(quality: f64) -> Self {
        Self { crf: 36.0 - quality / 5.0, preset: "medium".into(), most: None, size: None }
    }
}

impl Default for Hevc {
    fn default() -> Self {
        Self::from_quality(DEFAULT_QUALITY)
    }
}

/// How AV1 is encoded.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Av1 {
    /// SVT-AV1's constant rate factor, a whole number from 1 to 63.
    pub crf: u8,
    /// SVT-AV1's preset, 0 (slowest) to 13.
    pub preset: u8,
    /// The most bits a second, where asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most: Option<u64>,
    /// Bytes that the finished file may have, and nearly has, where asked for: `crf` is then where the search for them
    /// begins.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size: Option<u64>,
}

impl Av1 {
    /// The last of SVT-AV1's presets.
    pub const LAST_PRESET: u8 = 13;

    /// Our one scale, 0 (smallest) to 100 (finest), for this codec: `crf = 38 - 0.4 quality`, rounded and at least 1, so 75 is CRF 8
    /// and 50 is CRF 18.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 38")]
    pub fn from_quality(quality: f64) -> Self {
        Self { crf: (38.0 - 0.4 * quality).round().max(1.0) as u8, preset: 8, most: None, size: None }
    }
}

/// How ProRes is encoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Prores {
    /// Which of its profiles.
    pub profile: ProresProfile,
}

/// ProRes's profiles (SMPTE RDD 36), smallest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum ProresProfile {
    /// 422 Proxy.
    Proxy,
    /// 422 LT.
    Lt,
    /// 422.
    Standard,
    /// 422 HQ.
    Hq,
    /// 4444, without its alpha.
    #[serde(rename = "4444")]
    Full,
}

impl ProresProfile {
    /// By the names that scripts give them.
    pub const NAMES: [(&'static str, Self); 5] = [
        ("proxy", Self::Proxy),
        ("lt", Self::Lt),
        ("standard", Self::Standard),
        ("hq", Self::Hq),
        ("4444", Self::Full),
    ];
}

impl Prores {
    /// Our one scale for this codec: 422 HQ from 70 on, 422 from 50, LT from 30, Proxy below.
    #[must_use]
    pub fn from_quality(quality: f64) -> Self {
        let profile = match quality {
            70.0.. => ProresProfile::Hq,
            50.0.. => ProresProfile::Standard,
            30.0.. => ProresProfile::Lt,
            _ => ProresProfile::Proxy,
        };
        Self { profile }
    }
}

impl Prores {
    /// Bits a pixel that the profile aims at, from its bits a second of 1920 x 1080 at 29.97 (from memory: 45, 102, 147,
    /// 220 and 330 Mbit/s); smaller frames take more.
    #[must_use]
    pub fn bits_a_pixel(self) -> f64 {
        let megabits = match self.profile {
            ProresProfile::Proxy => 45.0,
            ProresProfile::Lt => 102.0,
            ProresProfile::Standard => 147.0,
            ProresProfile::Hq => 220.0,
            ProresProfile::Full => 330.0,
        };
        megabits * 1e6 / (1920.0 * 1080.0 * 30.0 / 1.001)
    }
}

/// How FFV1 is encoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Ffv1 {
    /// What its frames are made of.
    pub samples: Samples,
}

/// What frames of FFV1 are made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Samples {
    /// Whatever the stills of a master are.
    Stills,
    /// Y'CbCr 4:2:2 of 10 bits.
    #[serde(rename = "422")]
    Half,
    /// Y'CbCr 4:4:4 of 10 bits.
    #[serde(rename = "444")]
    Full,
    /// R'G'B' of 16 bits.
    Rgb,
}

impl Samples {
    /// By the names that scripts give them; a master has its stills'.
    pub const NAMES: [(&'static str, Self); 3] = [("422", Self::Half), ("444", Self::Full), ("rgb", Self::Rgb)];
}

/// How PNG files are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Png {
    /// Bits of a sample, 8 or 16.
    pub depth: u8,
}

/// How JPEG files are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Jpeg {
    /// libjpeg's scale, 1 to 100.
    pub quality: u8,
}

impl Jpeg {
    /// Our one scale, 0 (smallest) to 100 (finest), for this codec: `70 + 0.3 quality` of libjpeg's, rounded, so 75 is
    /// 93 and 100 is 100.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "70 to 100")]
    pub fn from_quality(quality: f64) -> Self {
        Self { quality: (70.0 + 0.3 * quality).round() as u8 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_codec_has_the_name_that_scripts_write() {
        let all = [
            Codec::H264(H264::default()),
            Codec::Hevc(Hevc::default()),
            Codec::Av1(Av1::from_quality(75.0)),
            Codec::Prores(Prores::from_quality(75.0)),
            Codec::Dnxhr,
            Codec::MASTER,
            Codec::PNG,
            Codec::Tiff,
            Codec::Jpeg(Jpeg::from_quality(75.0)),
        ];
        assert_eq!(all.map(|codec| codec.name()), Codec::NAMES);
    }

    #[test]
    fn one_scale_of_quality_serves_all() {
        assert_eq!([25.0, 50.0, 75.0, 90.0].map(|quality| H264::from_quality(quality).crf), [28.0, 23.0, 18.0, 15.0]);
        assert_eq!([0.0, 25.0, 75.0, 100.0].map(|quality| Av1::from_quality(quality).crf), [38, 28, 8, 1]);
        assert_eq!([0.0, 75.0, 100.0].map(|quality| Jpeg::from_quality(quality).quality), [70, 93, 100]);
        let profiles = [25.0, 30.0, 50.0, 75.0].map(|quality| Prores::from_quality(quality).profile);
        use ProresProfile::{Hq, Lt, Proxy, Standard};
        assert_eq!(profiles, [Proxy, Lt, Standard, Hq]);
    }
}
