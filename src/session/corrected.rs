//! What a shot is corrected and followed by: tables that it names, seen from the script's folder, or what looking measured.

use std::path::Path;

use crate::diag::{Diagnostic, Diagnostics, Place};
use crate::level::{Curve, Region};
use crate::register::{self, Pose, Registered, Table, Undo, Wishes};
use crate::resolve::{self, FoundAt, Wanted};
use crate::shoot::Shoot;
use crate::shot::{LevelBy, Shot, SteadyBy};
use crate::table::TableError;
use crate::track;

/// The table of gains that a shot names, seen from the script's folder.
pub(super) fn curve(shot: &Shot, base: &Path) -> Result<Option<Curve>, Box<Diagnostic>> {
    let Some(level) = &shot.level else { return Ok(None) };
    let LevelBy::Curve(path) = &level.by else { return Ok(None) };
    table(&base.join(path), (&level.place, "curve"), Curve::from_csv).map(Some)
}

/// A table that a shot names in the line at `place`, in the field `word`.
fn table<T>(
    path: &Path,
    (place, word): (&Place, &str),
    read: fn(&str) -> Result<T, TableError>,
) -> Result<T, Box<Diagnostic>> {
    let said = |what: String| Box::new(Diagnostic::mistake(format!("{}: {what}", path.display())).at(place).word(word));
    let text = std::fs::read_to_string(path).map_err(|error| said(error.to_string()))?;
    read(&text).map_err(|error| said(error.to_string()))
}

/// Where the stills of a shot that is to be steadied stand, by slot: as a table says, seen from the script's folder, or
/// as measured.
pub(super) fn stands(
    shot: &Shot,
    shoot: &Shoot,
    registered: Option<&Registered>,
    base: &Path,
    found: &mut Diagnostics,
) -> Result<Option<Vec<Option<Pose>>>, Box<Diagnostic>> {
    let Some(steady) = &shot.steady else { return Ok(None) };
    let stands = match &steady.by {
        SteadyBy::Table(path) => {
            let table = table(&base.join(path), (&steady.place, "curve"), Table::from_csv)?;
            resolve::stands_of(&table, steady, shoot)?
        }
        SteadyBy::Measured { region, undo } => {
            // A shot that is refused without its stands has not been looked at.
            let Some(registered) = registered else { return Ok(None) };
            let region = region.map(Region::from);
            let wishes = Wishes { region, sags: *undo == Undo::All };
            let solved = register::solve_in_sides(registered, &wishes, &resolve::sides_of(shot, shoot));
            let (stands, said) = resolve::stands_measured(&solved, shot, shoot);
            found.extend(said);
            stands
        }
    };
    Ok(Some(stands))
}

/// The tables of boxes that a shot names, seen from the script's folder.
pub(super) fn named_tables(shot: &Shot, shoot: &Shoot, base: &Path) -> Result<Vec<FoundAt>, Box<Diagnostic>> {
    let one = |(wanted, path): (Wanted, String)| {
        let table = table(&base.join(path), (&wanted.place, "track"), track::Table::from_csv)?;
        resolve::found_in(&table, wanted, shoot).map_err(Box::new)
    };
    resolve::tables_named(shot).into_iter().map(one).collect()
}
