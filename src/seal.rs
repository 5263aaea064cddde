//! JSON that carries its own hash, by which an edit shows: receipts, and the sidecars of masters.
//!
//! The hash is BLAKE3 in hexadecimal digits, over compact JSON in which the hash itself is empty.

use serde::Serialize;
use serde_json::Value;

/// What carries its own hash.
pub trait Sealed: Serialize {
    /// Puts another hash in its place; gives the one that was there.
    fn replace_hash(&mut self, by: String) -> String;

    /// Sets the hash to what it has to be; gives what it was.
    fn seal(&mut self) -> String {
        let was = self.replace_hash(String::new());
        let mut hasher = blake3::Hasher::new();
        // What is sealed always is JSON, and hashing never fails.
        let _infallible = serde_json::to_writer(std::io::BufWriter::new(&mut hasher), self);
        let _empty = self.replace_hash(hasher.finalize().to_hex().to_string());
        was
    }
}

/// As read from a file, so that whatever stands in it counts; its names are in order.
impl Sealed for Value {
    fn replace_hash(&mut self, by: String) -> String {
        match self.get_mut("hash").map(|hash| std::mem::replace(hash, by.into())) {
            Some(Self::String(was)) => was,
            _ => String::new(),
        }
    }
}

/// Sealed JSON as it is written to a file.
///
/// # Errors
/// Where it cannot be written as JSON.
pub fn text(sealed: &impl Sealed) -> serde_json::Result<String> {
    Ok(serde_json::to_string_pretty(sealed)? + "\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seal_is_of_everything_but_itself() {
        let mut value = serde_json::json!({ "hash": "x", "frames": 3 });
        assert_eq!(value.seal(), "x");
        assert_eq!(value["hash"], blake3::hash(br#"{"frames":3,"hash":""}"#).to_hex().as_str());
        let sealed = value.clone();
        assert_eq!(value.seal(), sealed["hash"], "the hash that is there does not count");
        value["frames"] = 4.into();
        value.seal();
        assert_ne!(value["hash"], sealed["hash"]);
    }
}
