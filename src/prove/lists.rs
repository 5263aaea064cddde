//! Hash lists in the forms that `b3sum` and `sha256sum` write, and read with `--check`.

use std::ffi::OsStr;
use std::fmt::Write as _;
use std::os::unix::ffi::OsStrExt as _;
use std::path::Path;

use crate::decode::whole::Whole;

/// Which hash.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ListKind {
    /// BLAKE3, for `b3sum --check`.
    Blake3,
    /// SHA-256, for `sha256sum --check`.
    Sha256,
}

impl ListKind {
    /// By the ending of the list's name.
    #[must_use]
    pub fn of(path: &Path) -> Option<Self> {
        match path.extension()?.to_str()? {
            "b3" => Some(Self::Blake3),
            "sha256" => Some(Self::Sha256),
            _ => None,
        }
    }

    /// What checks such a list.
    #[must_use]
    pub fn checked_with(self) -> &'static str {
        match self {
            Self::Blake3 => "b3sum --check",
            Self::Sha256 => "sha256sum --check",
        }
    }
}

/// A list in the making.
#[derive(Debug)]
pub struct List {
    kind: ListKind,
    lines: Vec<u8>,
    files: usize,
    left_out: usize,
}

impl List {
    /// Of no file yet.
    #[must_use]
    pub fn new(kind: ListKind) -> Self {
        Self { kind, lines: Vec::new(), files: 0, left_out: 0 }
    }

    /// Adds a file by its path as it is seen from where the list will lie. A name with a backslash or a newline has
    /// these spelt `\\` and
    /// `\n` (for `sha256sum` also a carriage return, `\r`), and its line begins with a backslash. `b3sum` reads no
    /// name that is not Unicode, or holds its replacement character: such a file is left out.
    pub fn add(&mut self, path: &OsStr, whole: &Whole) {
        let hash = match (self.kind, whole.sha256) {
            (ListKind::Blake3, _) => whole.blake3.to_hex().to_string(),
            (ListKind::Sha256, Some(hash)) => hash.iter().fold(String::new(), |mut digits, byte| {
                let _to_a_string = write!(digits, "{byte:02x}");
                digits
            }),
            (ListKind::Sha256, None) => return self.left_out += 1,
        };
        let unicode = path.to_str().is_some_and(|name| !name.contains('\u{fffd}'));
        if self.kind == ListKind::Blake3 && !unicode {
            return self.left_out += 1;
        }
        let mut name = Vec::new();
        for byte in path.as_bytes() {
            match byte {
                b'\\' => name.extend(b"\\\\"),
                b'\n' => name.extend(b"\\n"),
                b'\r' if self.kind == ListKind::Sha256 => name.extend(b"\\r"),
                byte => name.push(*byte),
            }
        }
        if name.len() != path.len() {
            self.lines.push(b'\\');
        }
        self.lines.extend(hash.as_bytes());
        self.lines.extend(b"  ");
        self.lines.append(&mut name);
        self.lines.push(b'\n');
        self.files += 1;
    }

    /// The list's bytes, how many files are in it, and how many were left out.
    #[must_use]
    pub fn finish(self) -> (Vec<u8>, usize, usize) {
        (self.lines, self.files, self.left_out)
    }
}
