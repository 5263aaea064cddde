//! `types`: what is published for editors, readers and other programs, made from what the program itself goes by.

use super::{Reply, pretty};
use crate::{plan as plans, receipt, script};

/// What to print.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Published {
    /// Definitions for the Lua language server.
    Types,
    /// The reference page, in Markdown.
    Reference,
    /// The JSON Schema of `plan --json`.
    PlanSchema,
    /// The JSON Schema of receipts.
    ReceiptSchema,
}

/// Prints one of them.
#[must_use]
pub fn types(published: Published) -> Reply {
    Reply::text(match published {
        Published::Types => script::editor_types(),
        Published::Reference => script::reference(),
        Published::PlanSchema => pretty(&plans::schema()),
        Published::ReceiptSchema => pretty(&receipt::schema()),
    })
}
