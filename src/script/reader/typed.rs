//! A constructor's fields by type: each a value where it is what the field takes, and a recorded mistake where it is
//! not.

use mlua::Value;

use super::{Named, Reader};
use crate::curve::arc_length::Drawing;
use crate::curve::ease::Ease;
use crate::script::form::{PATHS, Wants};
use crate::script::hints;
use crate::script::made::{Kind, Made, What};
use crate::script::moments::{self, DraftMoment, LONGEST};
use crate::script::value::{LONGEST_LINE, LONGEST_TEXT, as_made, is_name, plain_number, short_text, text_within};
use crate::shot::{H264, Moment, Shot, StillPoint};
use crate::units::FrameRate;

/// The nearest of some names, as a question.
fn near(text: &str, names: &[&str]) -> Option<String> {
    crate::diag::nearest(text, names).map(|name| format!("did you mean {name:?}?"))
}

impl Reader {
    /// A number in the field's range.
    pub(in crate::script) fn number(&self, name: &str) -> Option<f64> {
        let (field, value, path) = self.given(name)?;
        self.number_of(&path, field.wants, &value)
    }

    /// A value that is a number in a range.
    pub(in crate::script) fn number_of(&self, path: &str, wants: Wants, value: &Value) -> Option<f64> {
        let number = plain_number(value);
        let held = number.filter(|number| match wants {
            Wants::Number(range) => range.holds(*number) && number.is_finite(),
            #[expect(clippy::cast_precision_loss, reason = "the ends of our ranges are small")]
            Wants::Whole { low, high } => number.fract() == 0.0 && (low as f64..=high as f64).contains(number),
            _ => false,
        });
        if held.is_none() {
            self.wrong(path, wants, value, None);
        }
        held
    }

    /// A whole number in the field's range.
    pub(in crate::script) fn whole(&self, name: &str) -> Option<u32> {
        let number = self.number(name)?;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "the field's range is whole and small"
        )]
        Some(number as u32)
    }

    /// True or false.
    pub(in crate::script) fn truth(&self, name: &str) -> Option<bool> {
        let (field, value, path) = self.given(name)?;
        if let Value::Boolean(truth) = value {
            return Some(truth);
        }
        self.wrong(&path, field.wants, &value, None);
        None
    }

    /// A text that fits what the field takes: [`Wants::Text`], [`Wants::Name`], [`Wants::Choice`].
    pub(in crate::script) fn text(&self, name: &str) -> Option<String> {
        let (field, value, path) = self.given(name)?;
        self.text_of(&path, field.wants, &value)
    }

    /// A value that is such a text.
    pub(in crate::script) fn text_of(&self, path: &str, wants: Wants, value: &Value) -> Option<String> {
        let most = if matches!(wants, Wants::Line) { LONGEST_LINE } else { LONGEST_TEXT };
        if let Some(bytes) = value.as_string().map(|text| text.as_bytes().len()).filter(|bytes| *bytes > most) {
            self.too_long(path, bytes, most);
            return None;
        }
        let text = text_within(value, most).filter(|text| match wants {
            Wants::Name => is_name(text),
            Wants::Choice(names) => names.contains(&text.as_str()),
            Wants::Preset => H264::PRESETS.contains(&text.as_str()),
            Wants::Safe(_) => ["action", "title"].contains(&text.as_str()),
            _ => !text.is_empty() && !text.contains('\0'),
        });
        if text.is_none() {
            let near = match (wants, short_text(value)) {
                (Wants::Choice(names), Some(text)) => near(&text, names),
                (Wants::Preset, Some(text)) => near(&text, &H264::PRESETS),
                _ => None,
            };
            self.wrong(path, wants, value, near);
        }
        self.state.count(text.as_ref().map_or(0, String::len) / 256);
        text
    }

    /// Bits a second: a number, or `"12M"`.
    pub(in crate::script) fn bits(&self, name: &str) -> Option<u64> {
        let (field, value, path) = self.given(name)?;
        let spoken = |text: String| {
            let (digits, times) = match text.trim().split_at_checked(text.trim().len().checked_sub(1)?)? {
                (digits, "k") => (digits, 1e3),
                (digits, "M") => (digits, 1e6),
                (digits, "G") => (digits, 1e9),
                _ => (text.trim(), 1.0),
            };
            digits.trim().parse::<f64>().ok().map(|number| number * times)
        };
        let bits = plain_number(&value).or_else(|| spoken(short_text(&value)?));
        let held = bits.filter(|bits| (1.0..=1e12).contains(bits));
        if held.is_none() {
            self.wrong(&path, field.wants, &value, None);
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 10^12")]
        held.map(|bits| bits.round() as u64)
    }

    /// Seconds above 0: a number or `"20s"`.
    pub(in crate::script) fn seconds(&self, name: &str) -> Option<f64> {
        let (field, value, path) = self.given(name)?;
        let seconds = plain_number(&value).or_else(|| moments::seconds(&short_text(&value)?));
        let held = seconds.filter(|seconds| *seconds > 0.0 && *seconds <= LONGEST);
        if held.is_none() {
            self.wrong(&path, field.wants, &value, None);
        }
        held
    }

    /// Seconds over which the join of a loop is mixed: `true`, or how long.
    pub(in crate::script) fn lap(&self, name: &str) -> Option<f64> {
        match self.given(name)?.1 {
            Value::Boolean(looped) => looped.then_some(Shot::MIX),
            _ => self.seconds(name),
        }
    }

    /// Frames a second.
    pub(in crate::script) fn frame_rate(&self, name: &str) -> Option<FrameRate> {
        let (field, value, path) = self.given(name)?;
        let rate = match (plain_number(&value), short_text(&value)) {
            (Some(number), _) => FrameRate::from_number(number),
            (None, Some(text)) => text.parse(),
            (None, None) => {
                self.wrong(&path, field.wants, &value, None);
                return None;
            }
        };
        rate.map_err(|why| {
            let help = hints::value(self.form, &path, field.wants, &value).unwrap_or_else(|| why.to_string());
            self.wrong(&path, field.wants, &value, Some(help));
        })
        .ok()
    }

    /// A moment, on either axis or ([`Wants::ShootMoment`]) on the shoot's.
    pub(in crate::script) fn moment(&self, name: &str) -> Option<DraftMoment> {
        let (field, value, path) = self.given(name)?;
        self.moment_of(&path, field.wants, &value)
    }

    /// A value that is such a moment.
    pub(in crate::script) fn moment_of(&self, path: &str, wants: Wants, value: &Value) -> Option<DraftMoment> {
        let mut help = None;
        let moment = match value {
            Value::UserData(_) => match self.made_value(path, wants, value, &[Kind::Moment])?.what {
                What::Moment(moment) => Some(moment),
                _ => return None,
            },
            _ => match (plain_number(value), short_text(value)) {
                (Some(number), _) if (0.0..=LONGEST).contains(&number) => {
                    Some(DraftMoment::Known(Moment::Screen(number)))
                }
                (None, Some(text)) => match moments::moment(&text) {
                    Ok(moment) => Some(moment),
                    Err(why) => {
                        help = why;
                        None
                    }
                },
                _ => None,
            },
        };
        let moment = moment.filter(|moment| {
            let refused = matches!(wants, Wants::ShootMoment) && moment.axis() == moments::Axis::Screen;
            if refused && plain_number(value).is_none() {
                help = Some(
                    "seconds are screen time: a part of a shoot is bounded by stills, clock times or parts".into(),
                );
            }
            !refused
        });
        if moment.is_none() {
            self.wrong(path, wants, value, help);
        }
        moment
    }

    /// An ease: a keyword or a value.
    pub(in crate::script) fn ease(&self, name: &str) -> Option<Ease> {
        let (field, value, path) = self.given(name)?;
        if value.is_userdata() {
            return match self.made_value(&path, field.wants, &value, &[Kind::Ease])?.what {
                What::Ease(ease) => Some(ease),
                _ => None,
            };
        }
        let text = short_text(&value);
        let ease = text.as_deref().and_then(Ease::keyword);
        if ease.is_none() {
            let names = Ease::KEYWORDS.join(", ");
            let help = text.map(|text| hints::ease(&text).unwrap_or_else(|| format!("available: {names}")));
            self.wrong(&path, field.wants, &value, help);
        }
        ease
    }

    /// A path by name, or a drawing.
    pub(in crate::script) fn path(&self, name: &str) -> Option<Named<Drawing>> {
        let (field, value, path) = self.given(name)?;
        if value.is_userdata() {
            return match self.made_value(&path, field.wants, &value, &[Kind::Drawing])?.what {
                What::Drawing(drawing) => Some(Named::Made(Drawing::clone(&drawing))),
                _ => None,
            };
        }
        let text = short_text(&value);
        let found = PATHS.into_iter().find(|name| text.as_deref() == Some(*name));
        if found.is_none() {
            let near =
                text.and_then(|text| crate::diag::nearest(&text, &PATHS)).map(|name| format!("did you mean {name:?}?"));
            self.wrong(&path, field.wants, &value, near);
        }
        found.map(Named::Name)
    }

    /// A value made by a constructor of one kind, with the line that made it.
    pub(in crate::script) fn made(&self, name: &str, kind: Kind) -> Option<Made> {
        let (field, value, path) = self.given(name)?;
        self.made_value(&path, field.wants, &value, &[kind])
    }

    /// A value made by a constructor of any of some kinds. A broken one is no mistake again.
    pub(in crate::script) fn made_value(
        &self,
        path: &str,
        wants: Wants,
        value: &Value,
        kinds: &[Kind],
    ) -> Option<Made> {
        let made = as_made(value).filter(|made| kinds.contains(&made.what.kind()));
        match made {
            Some(made) if matches!(made.what, What::Broken(_)) => {
                self.broken.set(true);
                None
            }
            Some(made) => Some(made),
            None => {
                self.wrong(path, wants, value, None);
                None
            }
        }
    }

    /// A point over the still.
    pub(in crate::script) fn point(&self, name: &str) -> Option<StillPoint> {
        match self.made(name, Kind::Point)?.what {
            What::Point(point) => Some(point),
            _ => None,
        }
    }
}
