//! What a delivery has beside its frames, as a script says it: a purpose, a title, a poster.

use std::sync::Arc;

use mlua::Value;

use super::form::Wants;
use super::made::DraftExtras;
use super::moments::DraftMoment;
use super::reader::Reader;
use crate::diag::{Diagnostic, Placed};
use crate::shot::{Codec, Extras, Poster, PosterForm, Purpose};
use crate::units::FrameRate;

/// Letters of the longest title.
const LONGEST_TITLE: usize = 200;

/// What a delivery of this codec says, with the purpose that it was given.
pub(super) fn of_delivery(reader: &Reader, codec: &Codec, purpose: Option<Arc<Purpose>>) -> DraftExtras {
    let purpose = purpose.map(|purpose| Placed::new(purpose, reader.place_of_field("purpose")));
    DraftExtras { purpose, title: title(reader, codec), poster: poster(reader) }
}

/// Whether files of a codec have a place for a title.
fn holds_a_title(codec: &Codec) -> bool {
    codec.has_sound() || matches!(codec, Codec::Ffv1(_))
}

fn title(reader: &Reader, codec: &Codec) -> Option<String> {
    let title = reader.text("title")?;
    let letters = title.chars().count();
    let complaint = if !holds_a_title(codec) {
        format!("delivery.title does not go with codec = {:?}: its files hold no title", codec.name())
    } else if letters > LONGEST_TITLE {
        format!("delivery.title must be a text of up to {LONGEST_TITLE} letters; seen {letters}")
    } else if title.contains(char::is_control) {
        "delivery.title must be a text in one line".to_owned()
    } else {
        return Some(title);
    };
    reader.mistake_in("title", Diagnostic::mistake(complaint).word("title"));
    None
}

fn poster(reader: &Reader) -> Option<(Placed<DraftMoment>, PosterForm)> {
    let value = reader.raw("poster");
    let (at, form) = match &value {
        Value::Nil => return None,
        Value::Table(table) => {
            let is_place = |name: &Value| matches!(name, Value::Integer(1 | 2));
            if !table.pairs::<Value, Value>().flatten().all(|(name, _)| is_place(&name)) {
                reader.refuse("poster", Some("write poster = { part(0.5), \"jpeg\" }".into()));
                return None;
            }
            let [at, form] = [1, 2].map(|place| table.raw_get::<Value>(place).unwrap_or(Value::Nil));
            let form = match form {
                Value::Nil => PosterForm::default(),
                form => {
                    let wants = Wants::Choice(&PosterForm::KEYWORDS);
                    PosterForm::from_keyword(&reader.text_of("delivery.poster[2]", wants, &form)?)?
                }
            };
            (reader.moment_of("delivery.poster[1]", Wants::Moment, &at)?, form)
        }
        moment => (reader.moment_of("delivery.poster", Wants::Poster, moment)?, PosterForm::default()),
    };
    Some((Placed::new(at, reader.place_of_field("poster")), form))
}

impl DraftExtras {
    /// The same at the shot's rate; a timecode that the rate does not have is recorded.
    pub(super) fn at_rate(&self, reader: &Reader, fps: FrameRate) -> Extras {
        let poster = self.poster.as_ref().and_then(|(at, form)| match at.value.at_rate(fps) {
            Ok(moment) => Some(Poster { at: Placed::new(moment, at.place.clone()), form: *form }),
            Err(why) => {
                reader.set_broken();
                let mistake = Diagnostic::mistake(why).at(&at.place).word("poster");
                reader.state.record(mistake.with(&reader.place, "the rate is this shot's"));
                None
            }
        });
        Extras { purpose: self.purpose.clone(), title: self.title.clone(), poster }
    }
}
