//! A range: a handful of useful values, a row each.

use super::answers::{RATES, answers};
use super::exact::{Exact, whole};
use super::knowns::{Knowns, Name};
use super::solve::{Found, solve};
use super::warnings::warnings;
use super::{Answer, Reckoning, Table, Warning};
use crate::diag::Diagnostic;

/// Most rows of a table.
const MOST: usize = 12;
/// Most columns of answers.
const COLUMNS: usize = 8;

/// Seconds that timers, people and events are set to.
const TIMES: [i128; 36] = [
    1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 45, 60, 90, 120, 180, 240, 300, 420, 600, 900, 1200, 1800, 2700,
    3600, 7200, 14_400, 21_600, 28_800, 36_000, 43_200, 86_400, 172_800,
];
/// Exposures below a second, as one over these.
const EXPOSURES: [i128; 14] = [8000, 4000, 2000, 1000, 500, 250, 125, 100, 60, 50, 30, 15, 8, 4];

/// The useful values between two, both ends included.
pub(super) fn useful(name: Name, from: Exact, to: Exact) -> Vec<Exact> {
    let all: Vec<Exact> = match name {
        Name::Fps => RATES.map(|(over, under)| Exact::new(over, under)).to_vec(),
        Name::Exposure => EXPOSURES
            .map(|under| Exact::new(1, under))
            .into_iter()
            .chain([Exact::new(1, 2)])
            .chain(TIMES.map(whole))
            .collect(),
        _ => [(1, 10), (1, 5), (1, 2)]
            .map(|(over, under)| Exact::new(over, under))
            .into_iter()
            .chain(TIMES.map(whole))
            .collect(),
    };
    let mut values: Vec<Exact> =
        all.into_iter().filter(|value| *value > from && *value < to).chain([from, to]).collect();
    values.sort();
    values.dedup();
    if values.len() > MOST {
        let last = values.len() - 1;
        values = (0..MOST).map(|row| values[(row * last + (MOST - 1) / 2) / (MOST - 1)]).collect();
        values.dedup();
    }
    values
}

/// A row: its value, and what it comes to or why it does not.
type Row = (Exact, Result<(Vec<Answer>, Vec<Warning>), Diagnostic>);

/// Reckons every useful value of the range that is known.
///
/// # Errors
/// The first row's mistake, where none of them can be reckoned; where nothing follows.
pub(super) fn over_range(knowns: &Knowns) -> Result<Reckoning, Diagnostic> {
    let Some((name, from, to)) = knowns.range else { return knowns.reckon() };
    let fits = |row: (Vec<Answer>, Vec<Warning>)| {
        if row.0.iter().any(|answer| answer.exact == super::BEYOND) { Err(super::solve::beyond()) } else { Ok(row) }
    };
    let row = |value: Exact| -> Row {
        let knowns = knowns.with(name, value);
        let of = |found: Found| (answers(&knowns, &found), warnings(&knowns, &found));
        let known = |found: Found| if found.is_known() { Ok(found) } else { Err(super::solve::beyond()) };
        (value, solve(&knowns).and_then(known).map(of).and_then(fits))
    };
    let rows: Vec<Row> = useful(name, from, to).into_iter().map(row).collect();
    let reckoned: Vec<&(Vec<Answer>, Vec<Warning>)> = rows.iter().filter_map(|(_, row)| row.as_ref().ok()).collect();
    let Some((first, first_warnings)) = reckoned.first().copied() else {
        return rows
            .into_iter()
            .find_map(|(_, row)| row.err())
            .map_or_else(|| Err(super::solve::too_little(knowns)), Err);
    };
    let same = |answer: &&Answer| reckoned.iter().all(|(answers, _)| answers.contains(answer));
    let in_all =
        |answer: &&Answer| reckoned.iter().all(|(answers, _)| answers.iter().any(|other| other.name == answer.name));
    let common: Vec<Answer> = first.iter().filter(same).cloned().collect();
    let differing: Vec<&Answer> = first.iter().filter(|answer| !same(answer) && in_all(answer)).take(COLUMNS).collect();
    if common.is_empty() && differing.is_empty() {
        return Err(super::solve::too_little(knowns));
    }
    let in_every = |warning: &&Warning| reckoned.iter().all(|(_, warnings)| warnings.contains(warning));
    let warned: Vec<Warning> = first_warnings.iter().filter(in_every).cloned().collect();
    let head = [name.option().to_owned()]
        .into_iter()
        .chain(differing.iter().map(|answer| answer.label.clone()))
        .chain(["watch for".into()]);
    let cells = |(value, row): &Row| -> Vec<String> {
        let mut cells = vec![name.said(*value)];
        match row {
            Ok((answers, warnings)) => {
                let value = |column: &&Answer| {
                    answers
                        .iter()
                        .find(|answer| answer.name == column.name)
                        .map_or_else(|| "-".into(), |answer| answer.value.clone())
                };
                cells.extend(differing.iter().map(value));
                let mut own: Vec<&str> = warnings
                    .iter()
                    .filter(|warning| !warned.contains(warning))
                    .map(|warning| warning.short.as_str())
                    .collect();
                own.dedup();
                cells.push(own.join(", "));
            }
            Err(mistake) => {
                cells.extend(differing.iter().map(|_| "-".to_owned()));
                cells.push(mistake.message.clone());
            }
        }
        cells
    };
    let mut notes: Vec<Warning> = Vec::new();
    for warning in reckoned.iter().flat_map(|(_, warnings)| warnings).filter(|warning| !warned.contains(warning)) {
        if !notes.iter().any(|note| note.short == warning.short) {
            notes.push(warning.clone());
        }
    }
    let table = Table { head: head.collect(), rows: rows.iter().map(cells).collect(), notes };
    Ok(Reckoning {
        knowns: knowns.told(),
        asked: knowns.asked.map(Name::option),
        answers: common,
        table: Some(table),
        warnings: warned,
    })
}
