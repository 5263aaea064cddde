//! What a shot or a delivery says of light gathered over many stills: `gather`.
//!
//! ## Decisions
//!
//! - A mean has the shutter for its length and nothing else; what does not go with it is refused, not passed over.
//! - A median never grows: no count of a frame is of use to the next one, so each frame would need all stills again.
//! - What a shot and its delivery say together is looked at once both are known ([`finished`]).

use mlua::Value;

use super::fields::GATHER;
use super::form::Wants;
use super::made::{DraftGather, DraftGathering, DraftOver};
use super::reader::Reader;
use super::value::as_made;
use crate::diag::{Diagnostic, Placed};
use crate::shot::{Between, Blend, Gather, GatherOver, Gathering};
use crate::units::FrameRate;

const WORDS: Wants = Wants::Choice(&Gathering::KEYWORDS);

/// What is said of it; nothing where nothing is.
pub(super) fn of(reader: &Reader) -> Option<DraftGather> {
    let (word, own) = match reader.raw("gather") {
        Value::Nil => return None,
        Value::Table(table) if as_made(&Value::Table(table.clone())).is_none() => {
            let own = reader.inner(&GATHER, table);
            let first = own.items().into_iter().next();
            let word = first.and_then(|(_, value)| own.text_of("gather[1] (its word)", WORDS, &value));
            if own.is_broken() {
                reader.set_broken();
            }
            (word?, Some(own))
        }
        value => (reader.text_of(&format!("{}.gather", reader.form_name()), WORDS, &value)?, None),
    };
    let by = match word.as_str() {
        "brightest" => Gather::Brightest,
        "darkest" => Gather::Darkest,
        "median" => Gather::Median,
        _ => {
            refuse(reader, own.as_ref(), &["stills", "grow", "from"], |field| {
                let message = format!("gather.{field} does not go with \"mean\", which has the shutter's length");
                (message, "write gather = \"mean\", or shutter = 720 beside it for the mean of two frames' time".into())
            });
            return Some(None);
        }
    };
    let over = own.as_ref().map_or(DraftOver::Shutter, |own| over(reader, own, by));
    if !matches!(over, DraftOver::Shutter) && reader.has("shutter") {
        let message = "shutter does not go with a gather that says its stills itself";
        reader.mistake(Diagnostic::mistake(message).word("shutter").help("leave shutter out"));
    }
    Some(Some(Placed::new(DraftGathering { by, over }, reader.place_of_field("gather"))))
}

/// The stills that a table asks for.
fn over(reader: &Reader, own: &Reader, by: Gather) -> DraftOver {
    let grows = own.truth("grow").unwrap_or(false);
    let stills = own.whole("stills");
    let from = if own.has("from") { own.moment("from") } else { None };
    if own.is_broken() {
        reader.set_broken();
    }
    let word = by.keyword();
    if grows && by == Gather::Median {
        refuse(reader, Some(own), &["grow"], |_| {
            let message = "a median does not grow: each frame would need all of its stills again".to_owned();
            (message, "write gather = { \"median\", stills = 31 }".into())
        });
    } else if grows {
        refuse(reader, Some(own), &["stills"], |_| {
            let message = "gather takes stills or grow, not both: what grows takes every still".to_owned();
            (message, format!("write gather = {{ {word:?}, grow = true }}"))
        });
    } else {
        refuse(reader, Some(own), &["from"], |_| {
            let message = "gather.from is where a growing gather begins, and this one does not grow".to_owned();
            (message, format!("write gather = {{ {word:?}, grow = true, from = still(1) }}"))
        });
    }
    match stills {
        _ if grows => DraftOver::Grown(from),
        Some(stills) => DraftOver::Stills(stills),
        None => DraftOver::Shutter,
    }
}

/// Refuses the first of some fields that is given, in the words for it.
fn refuse(reader: &Reader, own: Option<&Reader>, fields: &[&str], words: impl Fn(&str) -> (String, String)) {
    let Some(field) = fields.iter().find(|field| own.is_some_and(|own| own.has(field))) else { return };
    let (message, help) = words(field);
    reader.mistake(Diagnostic::mistake(message).word(*field).help(help));
}

/// A delivery's gathering beside its own blend, at the shot's rate. What cannot be is recorded where it was asked for.
pub(super) fn finished(
    reader: &Reader,
    said: Option<&DraftGather>,
    shots: Option<&DraftGather>,
    (blend, name, fps): (Blend, &str, FrameRate),
) -> Option<Placed<Gathering>> {
    let Placed { value: DraftGathering { by, over }, place } = said.or(shots)?.as_ref()?;
    let refuse = |diagnostic: Diagnostic| {
        reader.set_broken();
        reader.state.record(diagnostic.at(place).word("gather"));
    };
    let word = by.keyword();
    let over = match over {
        DraftOver::Shutter if blend.shutter == 0.0 => {
            let message =
                format!("gather = {word:?} gathers nothing in '{name}': no shutter is open, and it says no stills");
            let grows = if *by == Gather::Median { "" } else { ", or grow = true" };
            let help = format!("write gather = {{ {word:?}, stills = 31 }}, or shutter = 720 beside it{grows}");
            refuse(Diagnostic::mistake(message).help(help));
            return None;
        }
        DraftOver::Shutter => GatherOver::Shutter,
        DraftOver::Stills(stills) => GatherOver::Stills(*stills),
        DraftOver::Grown(from) => {
            let at = from.as_ref().map(|from| from.at_rate(fps)).transpose();
            match at {
                Ok(at) => GatherOver::Grown(at),
                Err(why) => {
                    refuse(Diagnostic::mistake(why).with(&reader.place, "the rate is this shot's"));
                    return None;
                }
            }
        }
    };
    if blend.between != Between::Nearest {
        let between = if blend.between == Between::Mix { "mix" } else { "motion" };
        let message =
            format!("gather = {word:?} does not go with between = \"{between}\" in '{name}': it mixes nothing");
        refuse(Diagnostic::mistake(message).help("write between = \"nearest\", or gather = \"mean\""));
    }
    Some(Placed::new(Gathering { by: *by, over }, place.clone()))
}
