//! The reference page: every constructor with its fields, ranges, defaults and an example, made from the same forms
//! that check scripts; around them `reference/head.md` and `reference/tail.md`, which are written by hand.

use std::fmt::Write as _;

use super::form::{Form, Style};
use super::{Move, embedded, examples, fields};

/// The whole page, in Markdown.
pub(super) fn page() -> String {
    let mut out = String::from(include_str!("reference/head.md"));
    for form in fields::all() {
        out += &section(form);
    }
    out += "\n## Moves\n\n`local moves = require \"moves\"`, then `framing = moves.NAME { … }`, or `pace =` for those that make one; `stillpath moves NAME` lists the arguments of each.\n\n| move | makes | what it does |\n|---|---|---|\n";
    for entry in embedded::moves() {
        let _infallible = writeln!(out, "| `{}` | `{}` | {} |", entry.name, entry.gives, cell(entry.help));
    }
    for Move { name, help, usage, .. } in embedded::moves() {
        let picture = format!("![{}](../examples/moves/{name}.svg)", cell(help));
        let _infallible = write!(out, "\n### `moves.{name}`\n\n{picture}\n\n```text\n{usage}\n```\n");
    }
    out + include_str!("reference/tail.md")
}

fn section(form: &Form) -> String {
    let heading = match form.style {
        Style::Inner => format!("The fields of `{}`", form.name),
        Style::Table | Style::TableOrText | Style::Call => format!("`{}`", form.call()),
    };
    let mut out = format!("\n## {heading}\n\n{}", form.help);
    if let Some(kind) = form.gives {
        let _infallible = write!(out, " Gives {}.", kind.words());
    }
    out += "\n";
    if form.items.is_some() || !form.fields.is_empty() {
        out += "\n| field | takes | default | what it is |\n|---|---|---|---|\n";
    }
    if let Some(items) = &form.items {
        let count = match (items.least, items.most) {
            (1, 1) => "first, without a name".to_owned(),
            (0, 1) => "without a name".to_owned(),
            (least, most) => format!("{least} to {most}, without names"),
        };
        let default = if items.least == 0 { "none" } else { "must be given" };
        let _infallible = writeln!(out, "| {count} | {} | {default} | {} |", cell(&items.wants.words()), items.what);
    }
    for field in form.fields {
        let default = field.default.map_or("must be given".to_owned(), cell);
        let _infallible =
            writeln!(out, "| `{}` | {} | {default} | {} |", field.name, cell(&field.wants.words()), cell(field.help));
    }
    if let Some(example) = examples::of(form.name) {
        let _infallible = write!(out, "\n```lua\n{example}\n```\n");
    }
    out
}

/// Text in a cell of a table.
fn cell(text: &str) -> String {
    text.replace('|', "\\|").replace('\n', " ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::script::{Request, run};

    #[test]
    fn every_constructor_has_an_example_that_runs() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("example.lua");
        let rest = "return shot { source = stills { 's' }, pace = over '1s', deliveries = { delivery { 'w', frame = { 64, 64 } } } }";
        for form in fields::all() {
            let example =
                examples::of(form.name).unwrap_or_else(|| panic!("{} has no example in examples.rs", form.name));
            assert!(example.contains(form.name.split('.').next().unwrap()), "{}: {example}", form.name);
            std::fs::write(&path, format!("local example = {example}\n{rest}")).unwrap();
            let outcome =
                run(&Request { path: path.clone(), settings: Vec::new(), user_moves: None, user_purposes: None });
            assert!(outcome.is_ok(), "{example}\n{:#?}", outcome.unwrap_err().diagnostics);
        }
    }

    #[test]
    fn the_page_has_every_field_with_its_range_and_default() {
        let page = page();
        for form in fields::all() {
            for field in form.fields {
                assert!(
                    page.contains(&format!("| `{}` | {} |", field.name, cell(&field.wants.words()))),
                    "{}",
                    field.name
                );
            }
        }
        assert!(page.contains("| `zoom` | a number from 1 to 1000 | 1 |"), "{page}");
        assert!(page.contains("| first, without a name | 1 to 64 of the letters"), "{page}");
    }
}
