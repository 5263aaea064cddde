//! File names: the number in them, natural order, and the marks of copies.

use std::cmp::Ordering;
use std::path::Path;

use unicode_normalization::UnicodeNormalization as _;

/// A file's name, taken apart.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Name {
    /// Without its extension, composed (Unicode's NFC); what is not Unicode is replaced.
    pub(super) stem: String,
    /// Small letters, without the dot.
    pub(super) extension: String,
    /// The last group of digits, where there is one that a counter may have.
    pub(super) number: Option<Number>,
}

/// The last group of digits of a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Number {
    /// Its value.
    pub(super) value: u64,
    /// Digits written.
    pub(super) digits: usize,
    /// Where in the stem it starts, in bytes.
    start: usize,
}

/// More digits than any counter has.
const MOST_DIGITS: usize = 18;

impl Name {
    pub(super) fn of(path: &Path) -> Self {
        let text =
            |part: Option<&std::ffi::OsStr>| part.map(|part| part.to_string_lossy().into_owned()).unwrap_or_default();
        // One letter may be written in one character or in two: some systems do one, some the other.
        let stem: String = text(path.file_stem()).nfc().collect();
        let number = last_number(&stem);
        Self { stem, extension: text(path.extension()).to_lowercase(), number }
    }

    /// What two stills of one run share: the text around the number. Underscores do not count: in a DCF name one moves
    /// to the front when the colour space changes.
    pub(super) fn run(&self) -> String {
        let (before, after) = self.around();
        format!("{before}#{after}").to_lowercase().replace('_', "")
    }

    /// The name a still of the same run with this number would have.
    pub(super) fn with_number(&self, value: u64) -> String {
        let (before, after) = self.around();
        let digits = self.number.map_or(0, |number| number.digits);
        format!("{before}{value:0digits$}{after}")
    }

    fn around(&self) -> (&str, &str) {
        match self.number {
            Some(number) => (&self.stem[..number.start], &self.stem[number.start + number.digits..]),
            None => (&self.stem, ""),
        }
    }

    /// The stem this one says it is a copy of: `name (1)`, `name - Copy`, `name copy 2`.
    pub(super) fn copied_from(&self) -> Option<&str> {
        let stem = self.stem.trim_end();
        if let Some(open) = stem.strip_suffix(')').and_then(|inside| inside.rfind('(')) {
            let digits = &stem[open + 1..stem.len() - 1];
            let all_digits = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
            return all_digits.then(|| stem[..open].trim_end());
        }
        let stem = stem.trim_end_matches(|letter: char| letter.is_ascii_digit()).trim_end();
        let before = stem.len().checked_sub(4)?;
        if !stem.is_char_boundary(before) || !stem[before..].eq_ignore_ascii_case("copy") {
            return None;
        }
        let original = stem[..before].trim_end_matches([' ', '-', '_']);
        (original.len() < before && !original.is_empty()).then_some(original)
    }
}

fn last_number(stem: &str) -> Option<Number> {
    let bytes = stem.as_bytes();
    let end = bytes.iter().rposition(u8::is_ascii_digit)? + 1;
    let start = bytes[..end].iter().rposition(|byte| !byte.is_ascii_digit()).map_or(0, |before| before + 1);
    (end - start <= MOST_DIGITS).then(|| stem[start..end].parse().ok())?.map(|value| Number {
        value,
        digits: end - start,
        start,
    })
}

/// Natural order, ignoring case: groups of digits compare by value whatever their padding, all else letter by letter.
#[must_use]
pub fn natural(left: &str, right: &str) -> Ordering {
    let (mut left, mut right) = (left, right);
    loop {
        let (a, b) = match (left.chars().next(), right.chars().next()) {
            (None, None) => return Ordering::Equal,
            (None, Some(_)) => return Ordering::Less,
            (Some(_), None) => return Ordering::Greater,
            (Some(a), Some(b)) => (a, b),
        };
        if a.is_ascii_digit() && b.is_ascii_digit() {
            let (first, second) = (digits(&mut left), digits(&mut right));
            match first.len().cmp(&second.len()).then_with(|| first.cmp(second)) {
                Ordering::Equal => continue,
                unequal => return unequal,
            }
        }
        match a.to_lowercase().cmp(b.to_lowercase()) {
            Ordering::Equal => {}
            unequal => return unequal,
        }
        left = &left[a.len_utf8()..];
        right = &right[b.len_utf8()..];
    }
}

/// Takes the digits at the start of `text`, and gives them without leading zeros.
fn digits<'a>(text: &mut &'a str) -> &'a str {
    let end = text.bytes().position(|byte| !byte.is_ascii_digit()).unwrap_or(text.len());
    let (group, rest) = text.split_at(end);
    *text = rest;
    group.trim_start_matches('0')
}

/// The number of a DCF folder (`100HARBR`: three digits, 100 to 999, then five letters, digits or underscores; JEITA
/// CP-3461).
pub(super) fn dcf_folder(name: &str) -> Option<u32> {
    let bytes = name.as_bytes();
    let free = |byte: &u8| byte.is_ascii_alphanumeric() || *byte == b'_';
    if bytes.len() != 8 || !bytes[..3].iter().all(u8::is_ascii_digit) || !bytes[3..].iter().all(free) {
        return None;
    }
    name[..3].parse().ok().filter(|number| *number >= 100)
}

/// A name with each group of digits written as one `#`, small letters: alike for folders that one counter named.
pub(super) fn skeleton(name: &str) -> String {
    let mut out = String::with_capacity(name.len());
    for letter in name.chars().flat_map(char::to_lowercase) {
        if !letter.is_ascii_digit() {
            out.push(letter);
        } else if !out.ends_with('#') {
            out.push('#');
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stem(text: &str) -> Name {
        Name::of(Path::new(&format!("{text}.jpg")))
    }

    #[test]
    fn digits_compare_by_value_whatever_their_padding() {
        let mut names = ["a10", "a2", "A0100", "a099", "a1b2", "a1b10", "a"];
        names.sort_by(|left, right| natural(left, right));
        assert_eq!(names, ["a", "a1b2", "a1b10", "a2", "a10", "a099", "A0100"]);
        assert_eq!(natural("Tide_7", "tide_007"), Ordering::Equal);
    }

    #[test]
    fn the_number_of_a_name_is_its_last_group_of_digits() {
        let number = |text: &str| stem(text).number.map(|number| (number.value, number.digits));
        assert_eq!(number("TIDE0042"), Some((42, 4)));
        assert_eq!(number("cam2_0007_web"), Some((7, 4)));
        assert_eq!(number("quay"), None);
        assert_eq!(number("1234567890123456789"), None);
        assert_eq!(stem("cam2_0007_web").with_number(12), "cam2_0012_web");
        assert_eq!(stem("_TID0001").run(), stem("TID_0002").run());
    }

    #[test]
    fn marks_of_copies_name_their_original() {
        assert_eq!(stem("TIDE0001 (1)").copied_from(), Some("TIDE0001"));
        assert_eq!(stem("TIDE0001(12)").copied_from(), Some("TIDE0001"));
        assert_eq!(stem("TIDE0001 - Copy").copied_from(), Some("TIDE0001"));
        assert_eq!(stem("TIDE0001 copy 2").copied_from(), Some("TIDE0001"));
        assert_eq!(stem("photocopy").copied_from(), None);
        assert_eq!(stem("TIDE0001 (a)").copied_from(), None);
        assert_eq!(stem("é").copied_from(), None);
    }

    // ORACLES 10: three digits, 100 to 999, and five free characters.
    #[test]
    fn dcf_folders_are_three_digits_and_five_free_characters() {
        assert_eq!(dcf_folder("100HARBR"), Some(100));
        assert_eq!(dcf_folder("999_____"), Some(999));
        for no in ["099HARBR", "100HARB", "100HARBRS", "10OHARBR", "100HÄRB", "100HAR-R"] {
            assert_eq!(dcf_folder(no), None, "{no}");
        }
    }

    #[test]
    fn folders_that_one_counter_named_have_one_skeleton() {
        assert_eq!(skeleton("2026-05-01"), skeleton("2026-05-12"));
        assert_ne!(skeleton("card A"), skeleton("card B"));
    }
}
