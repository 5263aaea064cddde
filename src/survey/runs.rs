//! Which folders one counter numbered, and in what order those follow each other.

use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};

use super::name::{dcf_folder, natural, skeleton};
use super::{Item, copies};

/// What a folder's name says of its place among the others.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    /// Nothing.
    Open,
    /// It has siblings that differ in digits only: their shared name, and its place among them.
    Counted(String, usize),
    /// The DCF number.
    Dcf(u32),
}

/// Items by run, runs in order.
pub(super) fn runs(items: &[Item], folders: &[PathBuf], left_out: &[bool]) -> Vec<Vec<usize>> {
    let ranks = ranks(folders);
    let mut runs: BTreeMap<Rank, Vec<usize>> = BTreeMap::new();
    for (index, item) in items.iter().enumerate().filter(|(index, _)| !left_out[*index]) {
        runs.entry(ranks[item.folder].clone()).or_default().push(index);
    }
    let runs = merged(items, runs);
    let dcf = |(rank, _): &(Rank, Vec<usize>)| matches!(rank, Rank::Dcf(_));
    let mixed = runs.iter().any(dcf) && !runs.iter().all(dcf);
    let mut runs: Vec<Vec<usize>> = runs.into_iter().map(|(_, members)| members).collect();
    // Folders of different kinds have no order by name: the first capture time of each gives it, where each has one.
    let first = |run: &Vec<usize>| run.iter().filter_map(|index| items[*index].time).min();
    if mixed && runs.iter().all(|run| first(run).is_some()) {
        runs.sort_by_key(first);
    }
    runs
}

/// Runs in order, those made one whose folders were filled side by side (`card 1`, `card 2`) and not one after another.
fn merged(items: &[Item], runs: BTreeMap<Rank, Vec<usize>>) -> Vec<(Rank, Vec<usize>)> {
    let mut merged: Vec<(Rank, Vec<usize>)> = Vec::with_capacity(runs.len());
    for (rank, members) in runs {
        match (merged.last_mut(), &rank) {
            (Some((Rank::Counted(known, _), before)), Rank::Counted(name, _))
                if known == name && side_by_side(items, before, &members) =>
            {
                before.extend(members);
            }
            _ => merged.push((rank, members)),
        }
    }
    merged
}

/// Whether two folders hold copies of one still, or capture times that overlap by more than half of the shorter one's.
fn side_by_side(items: &[Item], first: &[usize], second: &[usize]) -> bool {
    let span = |run: &[usize]| {
        let times = run.iter().filter_map(|index| items[*index].time);
        Some((times.clone().min()?, times.max()?))
    };
    if let (Some((first_from, first_to)), Some((second_from, second_to))) = (span(first), span(second)) {
        let shared = first_to.min(second_to) - first_from.max(second_from);
        if shared > 0 && shared * 2 > (first_to - first_from).min(second_to - second_from) {
            return true;
        }
    }
    let stems: HashMap<&str, usize> = first.iter().map(|index| (items[*index].name.stem.as_str(), *index)).collect();
    let twin = second.iter().find_map(|index| Some((*index, *stems.get(items[*index].name.stem.as_str())?)));
    twin.is_some_and(|(a, b)| items[a].read.is_ok() && copies::identical(&items[a], &items[b]))
}

fn ranks(folders: &[PathBuf]) -> Vec<Rank> {
    let name = |folder: &PathBuf| folder.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let parts = |folder: &PathBuf| (folder.parent().unwrap_or(Path::new("")).to_owned(), skeleton(&name(folder)));
    let mut siblings: BTreeMap<(PathBuf, String), Vec<usize>> = BTreeMap::new();
    for (index, folder) in folders.iter().enumerate() {
        siblings.entry(parts(folder)).or_default().push(index);
    }
    let mut ranks = vec![Rank::Open; folders.len()];
    for ((_, skeleton), mut alike) in siblings {
        alike.sort_by(|a, b| natural(&name(&folders[*a]), &name(&folders[*b])));
        for (place, index) in alike.iter().enumerate() {
            if alike.len() > 1 && skeleton.contains('#') {
                ranks[*index] = Rank::Counted(skeleton.clone(), place);
            }
        }
    }
    for (rank, folder) in ranks.iter_mut().zip(folders) {
        if let Some(number) = dcf_folder(&name(folder)) {
            *rank = Rank::Dcf(number);
        }
    }
    ranks
}
