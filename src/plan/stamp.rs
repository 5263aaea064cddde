//! What is laid over a delivery's frames: lines of text by still, and pictures.
//!
//! A frame's line is that of the still that is foremost in it: the one with the largest share, or what stands in for
//! it. Which still that is, decoding may still change; what the line then is, is decided here, for every still that may
//! be shown.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Serialize, Serializer};

use super::{Layer, Layers};
use crate::diag::Place;
use crate::geom::Margins;
use crate::shot::{Colour, Outline, Pin};
use crate::units::{Size, SlotIndex};

/// A stamp of a delivery, with all that drawing it takes.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Stamped {
    /// Its line of the script.
    #[serde(skip)]
    pub place: Place,
    /// The point of the frame at which it is pinned, in fractions.
    pub at: (f64, f64),
    /// Which part of it lies there.
    pub pin: Pin,
    /// What it keeps to: the delivery's safe box.
    pub within: Margins,
    /// Its height, as a fraction of the frame's shorter side.
    pub size: f64,
    /// What it shows.
    #[serde(flatten)]
    pub shows: Shows,
}

/// What a stamp shows.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Shows {
    /// A line of text.
    Text(Lettered),
    /// The same picture in all frames.
    Picture(Arc<Image>),
}

/// Lines of text in one look.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Lettered {
    /// The text as the script has it.
    pub said: String,
    /// The colour of the letters.
    pub colour: Colour,
    /// The line around them, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outline: Option<Outline>,
    /// The fonts of its letters, the foremost first.
    pub fonts: Arc<Typeface>,
    /// What it says of which still.
    pub lines: Lines,
}

/// Lines of text by still.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Lines {
    each: Vec<Arc<str>>,
    /// By slot, which of them; none of a slot that no frame shows.
    of: Vec<Option<u32>>,
}

impl Lines {
    /// The lines of these slots.
    #[must_use]
    pub fn new(lines: impl IntoIterator<Item = (SlotIndex, String)>) -> Self {
        let mut made = Self::default();
        let mut known: BTreeMap<Arc<str>, u32> = BTreeMap::new();
        for (SlotIndex(slot), line) in lines {
            let line: Arc<str> = line.into();
            let next = u32::try_from(made.each.len()).unwrap_or(u32::MAX);
            let index = *known.entry(Arc::clone(&line)).or_insert_with(|| {
                made.each.push(line);
                next
            });
            if made.of.len() <= slot {
                made.of.resize(slot + 1, None);
            }
            made.of[slot] = Some(index);
        }
        made
    }

    /// The line of a slot.
    #[must_use]
    pub fn of(&self, slot: SlotIndex) -> Option<&Arc<str>> {
        self.of.get(slot.0).copied().flatten().map(|index| &self.each[index as usize])
    }

    /// Every slot that has a line, with it.
    pub fn each_of(&self) -> impl Iterator<Item = (SlotIndex, String)> {
        let slots = self.of.iter().enumerate();
        slots.filter_map(|(slot, index)| Some((SlotIndex(slot), self.each[(*index)? as usize].to_string())))
    }

    /// The same lines of slots so many later.
    #[must_use]
    pub fn moved(&self, slots: usize) -> Self {
        let of = std::iter::repeat_n(None, slots).chain(self.of.iter().copied()).collect();
        Self { each: self.each.clone(), of }
    }

    /// The distinct lines.
    #[must_use]
    pub fn each(&self) -> &[Arc<str>] {
        &self.each
    }
}

/// A line and the stills it is of.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "StampLine")]
struct Stated<'a> {
    /// What it says.
    text: &'a str,
    /// First and last slot of each run of stills that it is of.
    slots: Vec<(usize, usize)>,
}

impl Serialize for Lines {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut stated: Vec<Stated<'_>> = self.each.iter().map(|text| Stated { text, slots: Vec::new() }).collect();
        for (slot, index) in self.of.iter().enumerate() {
            let Some(index) = *index else { continue };
            let runs = &mut stated[index as usize].slots;
            match runs.last_mut() {
                Some(run) if run.1 + 1 == slot => run.1 = slot,
                _ => runs.push((slot, slot)),
            }
        }
        stated.serialize(serializer)
    }
}

impl JsonSchema for Lines {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "StampLines".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        Vec::<Stated<'_>>::json_schema(generator)
    }
}

/// Fonts that between them have all the letters of a stamp.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(transparent)]
pub struct Typeface {
    /// The foremost first.
    pub fonts: Vec<Font>,
}

/// A font, with its file's bytes.
#[derive(Clone, Serialize, JsonSchema)]
pub struct Font {
    /// Its own name.
    pub name: String,
    /// BLAKE3 of its file.
    pub blake3: String,
    /// Which of the fonts in the file.
    pub index: u32,
    /// The file.
    #[serde(skip)]
    pub bytes: Arc<[u8]>,
}

/// A picture, decoded.
#[derive(Clone, Serialize, JsonSchema)]
pub struct Image {
    /// Its file, as the script names it.
    pub picture: String,
    /// BLAKE3 of the file.
    pub blake3: String,
    /// Its size in pixels.
    pub size: Size,
    /// R', G', B' (sRGB) and opacity, 8 bits each, in rows.
    #[serde(skip)]
    pub rgba: Arc<[u8]>,
}

// The bytes are known by their hash.
impl PartialEq for Font {
    fn eq(&self, other: &Self) -> bool {
        (&self.blake3, self.index) == (&other.blake3, other.index)
    }
}

impl Eq for Font {}

impl PartialEq for Image {
    fn eq(&self, other: &Self) -> bool {
        (&self.picture, &self.blake3) == (&other.picture, &other.blake3)
    }
}

impl Eq for Image {}

impl fmt::Debug for Font {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Font({} {} {})", self.name, self.blake3, self.index)
    }
}

impl fmt::Debug for Image {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Image({} {})", self.size, self.blake3)
    }
}

impl Stamped {
    /// What it says over a frame in which this slot's still is foremost: none where that is a picture.
    #[must_use]
    pub fn line(&self, slot: SlotIndex) -> Option<&Arc<str>> {
        match &self.shows {
            Shows::Text(text) => text.lines.of(slot),
            Shows::Picture(_) => None,
        }
    }

    /// All that its look depends on but its lines, as text: what a stretch's key and a comparison of plans take in.
    #[must_use]
    pub fn look(&self) -> String {
        let Self { at, pin, within, size, shows, place: _ } = self;
        let Margins { left, right, top, bottom } = within;
        let shows = match shows {
            Shows::Text(Lettered { said, colour, outline, fonts, lines: _ }) => {
                let outline = outline.map_or_else(
                    || "no outline".into(),
                    |Outline { width, colour }| format!("outline {width} {colour}"),
                );
                let fonts: Vec<String> =
                    fonts.fonts.iter().map(|font| format!("{} {}", font.name, &font.blake3[..16])).collect();
                format!("text {said:?}, {colour}, {outline}, {}", fonts.join(" and "))
            }
            Shows::Picture(image) => format!("picture {:?} {}", image.picture, &image.blake3[..16]),
        };
        format!("{shows}, size {size}, {} at {}, {}, within {left} {right} {top} {bottom}", pin.keyword(), at.0, at.1)
    }
}

impl Layers {
    /// The layer that a frame's stamps tell of: that with the largest weight, the first of several; where light is
    /// gathered that of the still whose turn it is.
    #[must_use]
    pub fn dominant(&self) -> Option<&Layer> {
        if let Some(gathered) = self.gathered() {
            return Some(gathered.foremost());
        }
        self.each()
            .fold(None, |most: Option<(&Layer, u32)>, next| match most {
                Some(most) if most.1 >= next.1 => Some(most),
                _ => Some(next),
            })
            .map(|(layer, _)| layer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_lines_are_kept_once_and_told_with_the_stills_they_are_of() {
        let lines =
            Lines::new([(2, "a"), (3, "a"), (4, "b"), (7, "a")].map(|(slot, line)| (SlotIndex(slot), line.into())));
        assert_eq!(lines.each().len(), 2);
        assert_eq!((lines.of(SlotIndex(7)).map(|line| &**line), lines.of(SlotIndex(5))), (Some("a"), None));
        assert_eq!(lines.of(SlotIndex(99)), None);
        let stated = serde_json::to_value(&lines).unwrap();
        assert_eq!(
            stated,
            serde_json::json!([{ "text": "a", "slots": [[2, 3], [7, 7]] }, { "text": "b", "slots": [[4, 4]] }])
        );
    }
}
