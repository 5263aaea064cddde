//! What was typed, understood.

use super::Known;
use super::amounts::{self, Battery};
use super::exact::{Exact, whole};
use super::words::{counted, data, exposed, figure, fraction, length, spoken};
use crate::diag::Diagnostic;
use crate::units::{FrameRate, Size};

/// What the command line was given: a text an option, none where it was left out. `?` stands for what is asked.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
#[expect(missing_docs, reason = "each is the option of its name, which `stillpath reckon --help` explains")]
pub struct Typed {
    pub event: Option<String>,
    pub interval: Option<String>,
    pub pause: Option<String>,
    pub exposure: Option<String>,
    pub angle: Option<String>,
    pub writing: Option<String>,
    pub clip: Option<String>,
    pub fps: Option<String>,
    pub frames_per_still: Option<String>,
    pub stills: Option<String>,
    pub size: Option<String>,
    pub format: Option<String>,
    pub still_takes: Option<String>,
    pub card: Option<String>,
    pub battery: Option<String>,
    pub number: Option<String>,
    pub folder_holds: Option<String>,
    pub frames: Vec<String>,
    pub across: Option<String>,
    pub speed: Option<String>,
    pub mains: Option<String>,
}

/// What may be asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Name {
    Event,
    Interval,
    Pause,
    Exposure,
    Angle,
    Clip,
    Fps,
    FramesPerStill,
    Stills,
    Card,
}

impl Name {
    pub(super) const ALL: [Self; 10] = [
        Self::Event,
        Self::Interval,
        Self::Pause,
        Self::Exposure,
        Self::Angle,
        Self::Clip,
        Self::Fps,
        Self::FramesPerStill,
        Self::Stills,
        Self::Card,
    ];

    /// Its option, without the hyphens.
    pub(super) fn option(self) -> &'static str {
        match self {
            Self::Event => "event",
            Self::Interval => "interval",
            Self::Pause => "pause",
            Self::Exposure => "exposure",
            Self::Angle => "angle",
            Self::Clip => "clip",
            Self::Fps => "fps",
            Self::FramesPerStill => "frames-per-still",
            Self::Stills => "stills",
            Self::Card => "card",
        }
    }

    /// Whether it may be given as a range.
    fn may_range(self) -> bool {
        matches!(self, Self::Event | Self::Interval | Self::Exposure | Self::Clip | Self::Fps)
    }

    fn read(self, text: &str) -> Result<Exact, Diagnostic> {
        let option = self.option();
        match self {
            Self::Event | Self::Interval | Self::Pause | Self::Exposure | Self::Clip => amounts::duration(option, text),
            Self::Fps => rate(text),
            Self::Angle => {
                let angle = amounts::plain(option, text)?;
                if angle > whole(360) { Err(amounts::refused(option, text, "at most 360 degrees")) } else { Ok(angle) }
            }
            Self::FramesPerStill => amounts::plain(option, text),
            Self::Stills => amounts::count(option, text, 1, 100_000_000),
            Self::Card => amounts::bytes(option, text),
        }
    }

    /// Its value as people read it.
    pub(super) fn said(self, value: Exact) -> String {
        match self {
            Self::Event | Self::Interval | Self::Pause | Self::Clip => spoken(value),
            Self::Exposure => exposed(value),
            Self::Angle => format!("{}°", figure(value, 1)),
            Self::Fps => format!("{} a second", fraction(value)),
            Self::FramesPerStill => figure(value, 3),
            Self::Stills => figure(value, 0),
            Self::Card => data(value),
        }
    }
}

/// Frames a second, as the rest of the program reads them.
fn rate(text: &str) -> Result<Exact, Diagnostic> {
    let rate: FrameRate = text.trim().parse().map_err(|error: crate::units::FrameRateError| {
        let mistake = Diagnostic::mistake(format!("--fps {text}: {error}"));
        match error {
            crate::units::FrameRateError::Rounded { exact, .. } => mistake.help(format!("write --fps {exact}")),
            _ => mistake.help("write it as in --fps 24 or --fps 24000/1001"),
        }
    })?;
    let rate = Exact::new(rate.numerator().into(), rate.denominator().into());
    let is_plain = rate.over() <= 1_000_000 && rate.under() <= 1_000_000 && rate >= Exact::new(1, 1000);
    if is_plain { Ok(rate) } else { Err(amounts::refused("fps", text, "at least 0.001 a second, of small numbers")) }
}

/// What a still is written as, with its bytes a pixel.
const FORMATS: [(&str, i128, i128, &str); 4] = [
    // Measured on noisy stills of 24 megapixels at quality 90: 9.7 MB.
    ("jpeg", 2, 5, "a guess: 0.4 bytes a pixel"),
    ("raw12", 3, 2, "12 bits a pixel, as written without compression"),
    ("raw14", 7, 4, "14 bits a pixel, as written without compression"),
    ("tiff16", 6, 1, "three colours of 16 bits a pixel"),
];

/// What is known, in seconds, bytes, metres and pixels.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Knowns {
    pub(super) values: std::collections::BTreeMap<Name, Exact>,
    pub(super) asked: Option<Name>,
    /// What was given as a range, and its two ends.
    pub(super) range: Option<(Name, Exact, Exact)>,
    pub(super) writing: Option<Exact>,
    pub(super) size: Option<Size>,
    pub(super) still_takes: Option<Exact>,
    /// Where [`Knowns::still_takes`] comes from, where it was not given.
    pub(super) format: Option<&'static str>,
    pub(super) battery: Option<Battery>,
    pub(super) number: Option<Exact>,
    pub(super) folder_holds: Option<Exact>,
    pub(super) frames: Vec<Size>,
    pub(super) across: Option<Exact>,
    pub(super) speed: Option<Exact>,
    pub(super) mains: Option<Exact>,
}

impl Knowns {
    /// Understands what was typed.
    ///
    /// # Errors
    /// The first amount that cannot be read or may be read in two ways, two unknowns, two ranges.
    pub fn of(typed: &Typed) -> Result<Self, Diagnostic> {
        let mut knowns = Self::default();
        let given = |name: Name| match name {
            Name::Event => &typed.event,
            Name::Interval => &typed.interval,
            Name::Pause => &typed.pause,
            Name::Exposure => &typed.exposure,
            Name::Angle => &typed.angle,
            Name::Clip => &typed.clip,
            Name::Fps => &typed.fps,
            Name::FramesPerStill => &typed.frames_per_still,
            Name::Stills => &typed.stills,
            Name::Card => &typed.card,
        };
        for name in Name::ALL {
            if let Some(text) = given(name) {
                knowns.take(name, text)?;
            }
        }
        let others = [
            ("writing", &typed.writing),
            ("size", &typed.size),
            ("format", &typed.format),
            ("still-takes", &typed.still_takes),
            ("battery", &typed.battery),
            ("number", &typed.number),
            ("folder-holds", &typed.folder_holds),
            ("across", &typed.across),
            ("speed", &typed.speed),
            ("mains", &typed.mains),
        ];
        let frames = typed.frames.iter().map(|text| ("frame", text));
        let all = others.into_iter().filter_map(|(option, text)| Some((option, text.as_ref()?))).chain(frames);
        if let Some((option, _)) = all.clone().find(|(_, text)| text.trim() == "?") {
            let names: Vec<String> = Name::ALL.iter().map(|name| format!("--{}", name.option())).collect();
            return Err(Diagnostic::mistake(format!(
                "--{option} cannot be asked for; ? may stand after {}",
                names.join(", ")
            ))
            .help(format!("write it as in --{option} {}", amounts::example(option))));
        }
        for (option, text) in all {
            knowns.take_other(option, text)?;
        }
        if let (Some(size), Some(format), None) = (knowns.size, knowns.format, knowns.still_takes) {
            let (_, over, under, _) = FORMATS.into_iter().find(|(name, ..)| *name == format).unwrap_or(FORMATS[0]);
            knowns.still_takes = Some((whole(size.pixels()) * Exact::new(over, under)).ceil());
        }
        Ok(knowns)
    }

    fn take(&mut self, name: Name, text: &str) -> Result<(), Diagnostic> {
        let option = name.option();
        if text.trim() == "?" {
            if let Some(other) = self.asked.replace(name) {
                return Err(Diagnostic::mistake(format!(
                    "two unknowns, --{} ? and --{option} ?: one can be asked for at a time",
                    other.option()
                ))
                .help(format!("write one of them out, as in --{option} {}", amounts::example(option))));
            }
            return Ok(());
        }
        if let Some((from, to)) = amounts::range(option, text, |text| name.read(text))? {
            if !name.may_range() {
                return Err(Diagnostic::mistake(format!(
                    "--{option} takes no range: --event, --interval, --exposure, --clip and --fps do"
                ))
                .help(format!("write it as in --{option} {}", amounts::example(option))));
            }
            if let Some((other, ..)) = self.range.replace((name, from, to)) {
                let message = format!("two ranges, --{} and --{option}: a table has one", other.option());
                return Err(Diagnostic::mistake(message)
                    .help(format!("write one of them out, as in --{option} {}", amounts::example(option))));
            }
            return Ok(());
        }
        self.values.insert(name, name.read(text)?);
        Ok(())
    }

    fn take_other(&mut self, option: &'static str, text: &str) -> Result<(), Diagnostic> {
        match option {
            "writing" => self.writing = Some(amounts::duration(option, text)?),
            "size" => self.size = Some(amounts::size(option, text)?),
            "format" => {
                let names: Vec<&str> = FORMATS.iter().map(|(name, ..)| *name).collect();
                let known = names.iter().find(|name| **name == text.trim());
                let refused = || {
                    Diagnostic::mistake(format!("--format is one of {}; seen {text:?}", names.join(", ")))
                        .help("or write what a still takes on the card, as in --still-takes 12MB")
                };
                self.format = Some(known.ok_or_else(refused)?);
            }
            "still-takes" => self.still_takes = Some(amounts::bytes(option, text)?),
            "battery" => self.battery = Some(amounts::battery(text)?),
            "number" => self.number = Some(amounts::count(option, text, 0, 9999)?),
            "folder-holds" => self.folder_holds = Some(amounts::count(option, text, 1, 9999)?),
            "frame" => self.frames.push(amounts::size(option, text)?),
            "across" => self.across = Some(amounts::metres(option, text)?),
            "speed" => self.speed = Some(amounts::speed(option, text)?),
            _ => {
                let mains = amounts::count(option, text, 1, 400)?;
                if mains != whole(50) && mains != whole(60) {
                    return Err(amounts::refused(option, text, "50 or 60, the mains' pulses a second"));
                }
                self.mains = Some(mains);
            }
        }
        Ok(())
    }

    /// Puts in what a shoot that is there tells: so many stills of a size, an interval, an exposure, bytes a still.
    /// What was typed goes before it.
    pub fn found(
        &mut self,
        stills: u32,
        size: Size,
        interval: Option<Exact>,
        exposure: Option<Exact>,
        bytes: Option<u64>,
    ) {
        let found = [(Name::Stills, Some(whole(stills))), (Name::Interval, interval), (Name::Exposure, exposure)];
        for (name, value) in found {
            let is_given = self.asked == Some(name) || self.range.is_some_and(|(ranged, ..)| ranged == name);
            if let (Some(value), false) = (value.filter(|value| *value > whole(0)), is_given) {
                self.values.entry(name).or_insert(value);
            }
        }
        self.size.get_or_insert(size);
        if self.still_takes.is_none() {
            self.still_takes = bytes.filter(|bytes| *bytes > 0).map(whole);
        }
    }

    /// The value of a known.
    pub(super) fn get(&self, name: Name) -> Option<Exact> {
        self.values.get(&name).copied()
    }

    /// The same with one value more.
    pub(super) fn with(&self, name: Name, value: Exact) -> Self {
        let mut knowns = self.clone();
        knowns.values.insert(name, value);
        knowns.range = None;
        knowns
    }

    /// Everything that was given, as it was understood.
    pub(super) fn told(&self) -> Vec<Known> {
        let mut told: Vec<Known> =
            self.values.iter().map(|(name, value)| Known { name: name.option(), value: name.said(*value) }).collect();
        if let Some((name, from, to)) = self.range {
            told.push(Known { name: name.option(), value: format!("{} to {}", name.said(from), name.said(to)) });
        }
        let size = |size: Size| size.to_string();
        let source = FORMATS.iter().find(|(name, ..)| Some(*name) == self.format).map_or("", |(.., source)| *source);
        let others = [
            ("writing", self.writing.map(spoken)),
            ("size", self.size.map(size)),
            ("format", self.format.map(|format| format!("{format} ({source})"))),
            ("still-takes", self.still_takes.map(data)),
            (
                "battery",
                self.battery.map(|battery| match battery {
                    Battery::Stills(stills) => format!("{} a charge", counted(stills.to_integer(), "still")),
                    Battery::Lasts(seconds) => format!("{} a charge", spoken(seconds)),
                }),
            ),
            ("number", self.number.map(|number| format!("{:04} on the camera now", number.to_integer()))),
            ("folder-holds", self.folder_holds.map(|holds| counted(holds.to_integer(), "still"))),
            ("across", self.across.map(length)),
            ("speed", self.speed.map(|speed| format!("{} a second", length(speed)))),
            ("mains", self.mains.map(|mains| format!("{} Hz", mains.to_integer()))),
        ];
        told.extend(others.into_iter().filter_map(|(name, value)| Some(Known { name, value: value? })));
        told.extend(self.frames.iter().map(|frame| Known { name: "frame", value: size(*frame) }));
        told
    }
}
