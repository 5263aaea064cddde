//! Which camera took a still, by the texts of its tags. A serial number comes in and its hash goes out: it is compared,
//! and neither shown nor kept, but for that hash beside what else is known of the file (`known.rs`).

use serde::{Deserialize, Serialize};

/// A camera, as its files tell it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Body {
    /// Make and model.
    pub model: String,
    /// Which of its model, where it says so.
    pub serial: Option<Serial>,
}

/// A serial number that can be compared and not be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Serial {
    /// Its hash.
    pub hash: u64,
    /// Its last two characters.
    pub end: String,
}

impl Body {
    /// By the texts of its tags; none where they name no model.
    pub(super) fn of(make: Option<Vec<u8>>, model: Option<Vec<u8>>, serial: Option<Vec<u8>>) -> Option<Self> {
        let text = |bytes: Option<Vec<u8>>| {
            let text = String::from_utf8_lossy(&bytes?).trim_matches(['\0', ' ']).to_owned();
            (!text.is_empty()).then_some(text)
        };
        let (make, model) = (text(make), text(model));
        let model = match (make, model) {
            // Many models begin with their make.
            (Some(make), Some(model)) if !model.to_lowercase().starts_with(&make.to_lowercase()) => {
                format!("{make} {model}")
            }
            (make, model) => model.or(make)?,
        };
        let serial = text(serial).map(|serial| {
            let hash = *blake3::hash(serial.as_bytes()).as_bytes();
            let length = serial.chars().count();
            // Of a short one two characters would be all.
            let end = serial.chars().skip(length.saturating_sub(if length >= 6 { 2 } else { 0 })).collect();
            Serial { hash: u64::from_le_bytes(std::array::from_fn(|at| hash[at])), end }
        });
        Some(Self { model, serial })
    }
}
