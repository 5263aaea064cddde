//! The definitions that the Lua language server reads, made from the same forms that check scripts.

use super::fields;

/// The whole definitions file.
pub(super) fn types() -> String {
    fields::all().iter().map(|form| form.name).collect()
}
