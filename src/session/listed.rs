//! Tables of windows that a script's framings name: read, and laid out for every delivery that goes by one.

use std::fs::File;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::diag::{Diagnostic, Place};
use crate::resolve;
use crate::script::Text;
use crate::shot::{self, At, Framing, FramingKey, Listed, MOST_BYTES, Path as Route, Shot, Table, View, Wrong};

/// Tables that were read, each once.
#[derive(Default)]
pub(super) struct Tables {
    read: Vec<(Text, Arc<Table>)>,
}

impl Tables {
    /// What was read, in that order.
    pub(super) fn texts(self) -> Vec<Text> {
        self.read.into_iter().map(|(text, _)| text).collect()
    }

    /// Gives every delivery of a shot whose windows are in a table a framing of its own, with the table's lines. Files
    /// are seen from the script's folder `base`.
    ///
    /// # Errors
    /// What is wrong with a table, at its line.
    pub(super) fn lay_out(&mut self, shot: &mut Shot, base: &Path) -> Result<(), Box<Diagnostic>> {
        let of_shot = shot.framing.clone();
        for delivery in &mut shot.deliveries {
            let framing = delivery.framing.as_ref().unwrap_or(&of_shot);
            if let Route::Table(listed) = &framing.path {
                delivery.framing = Some(self.framing(framing, listed, &delivery.name, base)?);
            }
        }
        Ok(())
    }

    /// The framing of one delivery.
    fn framing(
        &mut self,
        framing: &Framing,
        listed: &Listed,
        delivery: &str,
        base: &Path,
    ) -> Result<Framing, Box<Diagnostic>> {
        let path: PathBuf = base.join(&listed.file);
        let path = path.strip_prefix(".").map_or(path.clone(), Path::to_owned);
        let table = self.table(&path, &framing.place)?;
        let opened: Arc<Path> = path.as_path().into();
        let wrong = |wrong: Wrong| refused(&opened, &framing.place, wrong);
        let lines = table.lines_of(delivery, listed.of.as_deref()).map_err(wrong)?;
        if table.by_frame {
            if listed.along.is_some() {
                let message = format!("{}: a table of every frame has no way between its lines", path.display());
                let mistake = Diagnostic::mistake(message).at(&framing.place).word("path");
                return Err(Box::new(mistake.help("leave path out")));
            }
            let frames = lines.into_iter().cloned().collect();
            let listed = Listed { opened, frames, ..listed.clone() };
            return Ok(Framing { path: Route::Table(listed), ..framing.clone() });
        }
        let key = |line: &shot::Line| match &line.at {
            At::Frame(..) => None,
            At::Key(at) => Some(FramingKey {
                place: Place::new(Arc::clone(&opened), line.line),
                at: at.clone(),
                view: View::Window(line.window),
                ease: line.ease.clone(),
                hold: line.hold,
                stop: false,
                roll: line.roll,
            }),
        };
        let path = listed.along.as_deref().cloned().unwrap_or_default();
        Ok(Framing { place: framing.place.clone(), keys: lines.into_iter().filter_map(key).collect(), path })
    }

    /// A table, read now or before.
    fn table(&mut self, path: &Path, place: &Place) -> Result<Arc<Table>, Box<Diagnostic>> {
        if let Some((_, table)) = self.read.iter().find(|(text, _)| text.path == path) {
            return Ok(Arc::clone(table));
        }
        let bytes = bytes_of(path).map_err(|why| {
            let mistake = Diagnostic::mistake(format!("{}: {why}", path.display())).at(place).word("table");
            Box::new(mistake.help(format!(
                "a table is a file beside the script; `stillpath plan SCRIPT --csv > {}` writes one",
                path.file_name().map_or("path.csv".into(), |name| name.to_string_lossy())
            )))
        })?;
        let table = Table::from_csv(&bytes).map_err(|wrong| refused(path, place, wrong))?;
        let table = Arc::new(table);
        self.read.push((Text { path: path.to_owned(), blake3: blake3::hash(&bytes) }, Arc::clone(&table)));
        Ok(table)
    }
}

/// All of a table's file.
fn bytes_of(path: &Path) -> Result<Vec<u8>, String> {
    let about = std::fs::metadata(path).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => "there is no such file".to_owned(),
        _ => error.to_string(),
    })?;
    // Asked before opening: opening a pipe would wait for a writer.
    if !about.is_file() {
        return Err("it is not a file".into());
    }
    if about.len() > MOST_BYTES {
        return Err(format!("it has {} bytes; a table of windows has at most {MOST_BYTES}", about.len()));
    }
    let mut bytes = Vec::new();
    let read = File::open(path).and_then(|file| file.take(MOST_BYTES).read_to_end(&mut bytes));
    read.map(|_| bytes).map_err(|error| error.to_string())
}

/// What is wrong with a line of a table that the line at `place` names.
fn refused(path: &Path, place: &Place, wrong: Wrong) -> Box<Diagnostic> {
    let at = Place::new(path, wrong.line);
    let mistake = Diagnostic::mistake(wrong.what).at(&at).with(place, "the framing that takes this table");
    Box::new(wrong.help.into_iter().fold(mistake, Diagnostic::help))
}

/// The files that a script's shots name beside their stills: tables of windows, gains, stands and boxes.
pub(super) fn named_by(shots: &[Shot], base: &Path) -> Vec<PathBuf> {
    let framings = |shot: &Shot| {
        let own = shot.deliveries.iter().filter_map(|delivery| delivery.framing.clone());
        own.chain([shot.framing.clone()]).collect::<Vec<_>>()
    };
    let windows = shots.iter().flat_map(Shot::singles).flat_map(framings).filter_map(|framing| match framing.path {
        Route::Table(listed) => Some(listed.file),
        _ => None,
    });
    let corrections = shots.iter().flat_map(Shot::singles).flat_map(|shot| {
        let gains = shot.level.as_ref().and_then(|level| match &level.by {
            shot::LevelBy::Curve(file) => Some(file.clone()),
            shot::LevelBy::Measured { .. } => None,
        });
        let stands = shot.steady.as_ref().and_then(|steady| match &steady.by {
            shot::SteadyBy::Table(file) => Some(file.clone()),
            shot::SteadyBy::Measured { .. } => None,
        });
        gains.into_iter().chain(stands)
    });
    let boxes = shots.iter().flat_map(Shot::singles).flat_map(resolve::tables_named).map(|(_, file)| file);
    windows.chain(corrections).chain(boxes).map(|file| base.join(file)).collect()
}
