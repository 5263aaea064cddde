//! What a framing says whose windows are in a table: which file, whose lines, and how to go from key to key.

use std::path::Path as File;
use std::sync::Arc;

use super::reader::Reader;
use crate::diag::Diagnostic;
use crate::shot::{Listed, Path};

/// The path of a framing: the one it says, or a table's, along that.
pub(super) fn path(reader: &Reader, along: Path) -> Path {
    let file = reader.text("table");
    if !reader.has("table") {
        if reader.has("of") {
            let mistake =
                Diagnostic::mistake("of goes with table: it says whose lines of the table are taken").word("of");
            reader.mistake(mistake.help("write table = \"path.csv\" beside it, or leave it out"));
        }
        return along;
    }
    if !reader.items().is_empty() {
        let mistake = Diagnostic::mistake("a framing has either a table or keys of its own, not both").word("table");
        reader.mistake(mistake.help("a key is a line of the table, with its moment in a column seconds or still"));
    }
    if matches!(along, Path::Drawing(_)) {
        let mistake = Diagnostic::mistake("a drawing does not go with a table, which says where the window is");
        reader.mistake(mistake.word("path").help("leave path out"));
    }
    let Some(file) = file else { return along };
    let opened: Arc<File> = File::new(&file).into();
    let along = reader.has("path").then(|| Box::new(along));
    Path::Table(Listed { file, of: reader.text("of"), along, opened, frames: [].into() })
}
