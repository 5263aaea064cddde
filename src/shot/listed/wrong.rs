//! What is wrong with a table of windows.

/// What is wrong with a table, and what to type.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct Wrong {
    /// Counted from 1.
    pub line: u32,
    /// What was seen, and what is allowed.
    pub what: String,
    /// What to do about it.
    pub help: Vec<String>,
}

impl Wrong {
    pub(super) fn new(line: u32, what: String) -> Self {
        Self { line, what, help: Vec::new() }
    }

    pub(super) fn help(mut self, help: impl Into<String>) -> Self {
        self.help.push(help.into());
        self
    }
}
