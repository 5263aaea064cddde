//! What a delivery has beside its frames, once it is known which frames there are.

use std::collections::BTreeMap;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::Serialize;

use crate::geom::Window;
use crate::shot::{PosterForm, Purpose};

/// What a delivery has beside its frames; nothing by default.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct Extras {
    /// The row of the table of purposes that it was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub purpose: Option<Arc<Purpose>>,
    /// What the file calls itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// The first frame's timecode, where the file has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub timecode: Option<String>,
    /// The frame that is kept as a picture of its own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub poster: Option<PosterFrame>,
    /// Of a reel, where each of its shots begins, in order.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub chapters: Vec<Chapter>,
}

/// Where a shot of a reel begins.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Chapter {
    /// Its first frame, from 0: where it is mixed with the shot before, the first in which it has a part.
    pub frame: u64,
    /// The shot's name.
    pub name: String,
    /// Of each frame in which it is mixed with the shot before, the window of the one whose window the row has not.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub lesser: Vec<Window>,
}

/// A frame that is kept as a picture of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub struct PosterFrame {
    /// Which, from 0.
    pub frame: u64,
    /// What it is written as.
    pub form: PosterForm,
}

/// [`Extras`], field by field in its order, without the sources of figures.
#[derive(Serialize)]
pub(super) struct BareExtras<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    purpose: Option<BarePurpose<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    title: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    timecode: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    poster: Option<PosterFrame>,
    #[serde(skip_serializing_if = "<[Chapter]>::is_empty")]
    chapters: &'a [Chapter],
}

/// A purpose by its name and values.
#[derive(Serialize)]
struct BarePurpose<'a> {
    name: &'a str,
    figures: BTreeMap<&'a str, &'a str>,
}

impl<'a> BarePurpose<'a> {
    fn of(purpose: &'a Purpose) -> Self {
        Self { name: &purpose.name, figures: purpose.values().collect() }
    }
}

impl Extras {
    pub(super) fn bare(&self) -> BareExtras<'_> {
        BareExtras {
            purpose: self.purpose.as_deref().map(BarePurpose::of),
            title: self.title.as_deref(),
            timecode: self.timecode.as_deref(),
            poster: self.poster,
            chapters: &self.chapters,
        }
    }

    /// What differs between these and others, a line each: `title "Pier", then none`.
    pub(super) fn differences(&self, other: &Self) -> Vec<String> {
        let mut said = Vec::new();
        let mut differs = |what: &str, before: Option<String>, after: Option<String>| {
            if before != after {
                let word = |one: Option<String>| one.unwrap_or_else(|| "none".into());
                said.push(format!("{what} {}, then {}", word(before), word(after)));
            }
        };
        let name = |extras: &Self| extras.purpose.as_ref().map(|purpose| format!("{:?}", purpose.name));
        differs("purpose", name(self), name(other));
        if let (Some(one), Some(two)) = (&self.purpose, &other.purpose) {
            let fields: std::collections::BTreeSet<&String> = one.figures.keys().chain(two.figures.keys()).collect();
            for field in fields {
                let value = |purpose: &Purpose| purpose.figures.get(field).map(|figure| figure.value.clone());
                differs(&format!("its purpose's {field}"), value(one), value(two));
            }
        }
        let title = |extras: &Self| extras.title.as_ref().map(|title| format!("{title:?}"));
        differs("title", title(self), title(other));
        differs("timecode", self.timecode.clone(), other.timecode.clone());
        let poster = |extras: &Self| extras.poster.map(|poster| format!("frame {}", poster.frame));
        differs("poster", poster(self), poster(other));
        let chapters = |extras: &Self| {
            let said = extras.chapters.iter().map(|one| format!("{} at frame {}", one.name, one.frame));
            Some(said.collect::<Vec<_>>().join(", ")).filter(|said| !said.is_empty())
        };
        differs("chapters", chapters(self), chapters(other));
        for (one, two) in self.chapters.iter().zip(&other.chapters) {
            if one.lesser != two.lesser {
                said.push(format!("other windows where {} is mixed with the shot before", one.name));
            }
        }
        said
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_timecode_is_part_of_what_plans_are_known_and_compared_by() {
        let without = Extras::default();
        let with = Extras { timecode: Some("01:00:00:00".into()), ..Extras::default() };
        assert_eq!(without.differences(&with), ["timecode none, then 01:00:00:00"]);
        let told = |extras: &Extras| serde_json::to_string(&extras.bare()).unwrap();
        assert_eq!((told(&without).as_str(), told(&with).as_str()), ("{}", r#"{"timecode":"01:00:00:00"}"#));
    }
}
