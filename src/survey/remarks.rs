//! What a person should know about the order, the clock and the files of a shoot.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::clock::{median, seconds_between, spoken};
use super::order::LAST_NUMBER;
use super::{Item, Remark, class, copies, shown};
use crate::decode::header::{Ending, Header};
use crate::shoot::{Format, Orientation, SetAside};

/// A pause longer than this many usual intervals is said.
const PAUSE: f64 = 3.0;
/// As many of one kind are named; the rest are counted.
const NAMED: usize = 5;

/// All remarks on an ordered shoot.
pub(super) fn all(items: &[Item], sequence: &[usize], runs: &[usize]) -> Vec<Remark> {
    let mut remarks = Vec::new();
    course(items, sequence, runs, &mut remarks);
    times(items, sequence, &mut remarks);
    files(items, sequence, &mut remarks);
    remarks
}

/// Copies set aside, each with what it is a copy of.
pub(super) fn copies(items: &[Item], copies: &[(usize, usize)]) -> Vec<Remark> {
    let pairs = copies.iter().map(|(copy, original)| {
        let words = format!(
            "{} is a byte-identical copy of {}: set aside",
            shown(&items[*copy].path),
            shown(&items[*original].path)
        );
        Remark::new(words, [*original])
    });
    counted(pairs.collect(), "copies are set aside")
}

/// Pictures of kinds that are not read and have no still of their name: what a camera took, and no clip shows.
pub(super) fn unread(items: &[Item], set_aside: &[SetAside]) -> Vec<Remark> {
    let stem = |path: &Path| path.file_stem().unwrap_or_default().to_string_lossy().to_lowercase();
    let read: BTreeSet<String> = items.iter().map(|item| stem(&item.path)).collect();
    let mut alone: BTreeMap<&str, Vec<&SetAside>> = BTreeMap::new();
    for file in
        set_aside.iter().filter(|file| class::instead(file.reason).is_some() && !read.contains(&stem(&file.path)))
    {
        alone.entry(file.reason).or_default().push(file);
    }
    let words = |(reason, files): (&str, Vec<&SetAside>)| {
        let (first, count) = (shown(&files[0].path), files.len());
        let what = if count == 1 {
            format!("{first} is {reason}")
        } else {
            format!("{count} files ({}), {first} the first, are each {reason}", kinds(&files))
        };
        Remark::new(
            format!("{what}, without a still of its name: not used; {}", class::instead(reason).unwrap_or_default()),
            [],
        )
    };
    alone.into_iter().map(words).collect()
}

/// How many files there are of each extension.
pub(super) fn kinds(files: &[&SetAside]) -> String {
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for file in files {
        *counts.entry(file.path.extension().unwrap_or_default().to_string_lossy().to_uppercase()).or_default() += 1;
    }
    let kinds: Vec<String> = counts.iter().map(|(kind, count)| format!("{count} {kind}")).collect();
    kinds.join(", ")
}

/// Wraps of the number and new folders.
fn course(items: &[Item], sequence: &[usize], runs: &[usize], remarks: &mut Vec<Remark>) {
    let mut wraps = Vec::new();
    let mut folders = Vec::new();
    for (at, pair) in sequence.windows(2).enumerate() {
        let (before, after) = (&items[pair[0]], &items[pair[1]]);
        let counter = |item: &Item| item.name.number.is_some_and(|number| number.digits >= 4);
        let lower = counter(before) && counter(after) && after.number() < before.number();
        let ends = || (shown(&before.path), shown(&after.path));
        if runs[at] != runs[at + 1] {
            let (from, to) = ends();
            let how = match lower {
                true if past_the_last(before, after) => "the numbers wrap",
                true => "the numbers begin again",
                false => "the numbers go on",
            };
            folders.push(Remark::new(format!("a new folder after {from}: {to}; {how}"), [pair[0], pair[1]]));
        } else if lower && (before.folder == after.folder || past_the_last(before, after)) {
            let (from, to) = ends();
            wraps.push(Remark::new(format!("the numbers wrap from {from} to {to}"), [pair[0], pair[1]]));
        } else if before.folder != after.folder {
            let (from, to) = ends();
            folders.push(Remark::new(format!("another folder after {from}: {to}"), [pair[0], pair[1]]));
        }
    }
    remarks.extend(counted(wraps, "wraps of the number"));
    remarks.extend(counted(folders, "changes of folder"));
}

/// Whether a counter ran past 9999 between two stills.
fn past_the_last(before: &Item, after: &Item) -> bool {
    const NEAR: u64 = 100;
    after.number() % (LAST_NUMBER + 1) + LAST_NUMBER <= before.number() % (LAST_NUMBER + 1) + NEAR
}

/// What capture times say of the order.
fn times(items: &[Item], sequence: &[usize], remarks: &mut Vec<Remark>) {
    let untimed: Vec<usize> = sequence.iter().copied().filter(|index| items[*index].time.is_none()).collect();
    if untimed.len() == sequence.len() {
        remarks.push(Remark::new("no still has a capture time: ordered by name alone", []));
        return;
    }
    let readable = untimed.iter().copied().filter(|index| items[*index].read.is_ok()).collect::<Vec<_>>();
    if !readable.is_empty() {
        let words = format!("{} of {} stills have no capture time", readable.len(), sequence.len());
        remarks.push(Remark::new(words, readable));
    }
    let timed: Vec<usize> = sequence.iter().copied().filter(|index| items[*index].time.is_some()).collect();
    let steps: Vec<f64> =
        timed.windows(2).filter_map(|pair| seconds_between(&items[pair[0]], &items[pair[1]])).collect();
    let usual = median(steps.iter().copied().filter(|seconds| *seconds > 0.0).collect());
    let mut back = Vec::new();
    let mut pauses = Vec::new();
    for (pair, seconds) in timed.windows(2).zip(&steps) {
        let ends = || (shown(&items[pair[0]].path), shown(&items[pair[1]].path));
        if *seconds < 0.0 {
            let (from, to) = ends();
            let words =
                format!("the clock steps back by {} from {from} to {to}: the order by name is kept", spoken(-seconds));
            back.push(Remark::new(words, [pair[0], pair[1]]));
        } else if usual.is_some_and(|usual| *seconds > PAUSE * usual) {
            let (from, to) = ends();
            pauses
                .push(Remark::new(format!("a pause of {} from {from} to {to}", spoken(*seconds)), [pair[0], pair[1]]));
        }
    }
    remarks.extend(counted(back, "steps back of the clock"));
    remarks.extend(counted(pauses, "pauses of more than 3 intervals"));
}

/// What is odd about single files.
fn files(items: &[Item], sequence: &[usize], remarks: &mut Vec<Remark>) {
    let whole = || sequence.iter().filter_map(|index| Some((*index, items[*index].read.as_ref().ok()?)));
    let mut lying: BTreeMap<(String, &str), Vec<usize>> = BTreeMap::new();
    for (index, header) in whole().filter(|(index, header)| !fits(&items[*index].name.extension, header.format)) {
        lying.entry((items[index].name.extension.clone(), format_name(header.format))).or_default().push(index);
    }
    for ((extension, format), about) in lying {
        let named =
            if extension.is_empty() { "without an extension".to_owned() } else { format!("named .{extension}") };
        remarks.push(grouped(items, about, &format!("{named} and {format} by content: the content counts")));
    }
    let some = |wanted: &dyn Fn(&Header) -> bool| {
        whole().filter(|(_, header)| wanted(header)).map(|(index, _)| index).collect()
    };
    let trailing: Vec<usize> = some(&|header| matches!(header.ending, Ending::Trailing(_)));
    if !trailing.is_empty() {
        remarks.push(grouped(items, trailing, "followed by bytes after the picture's end: used, the rest ignored"));
    }
    let open: Vec<usize> = some(&|header| header.ending == Ending::Open);
    if !open.is_empty() {
        remarks.push(grouped(items, open, "without an end mark, but with all rows: used"));
    }
    let mut turns = Vec::new();
    let orientations: Vec<(usize, Orientation)> = whole().map(|(index, header)| (index, header.orientation)).collect();
    for pair in orientations.windows(2).filter(|pair| pair[0].1 != pair[1].1) {
        let (from, to) = (shown(&items[pair[0].0].path), shown(&items[pair[1].0].path));
        let words = format!(
            "the orientation tag changes from {from} to {to}: each is used; orientation = \"ignore\" uses none"
        );
        turns.push(Remark::new(words, [pair[0].0, pair[1].0]));
    }
    remarks.extend(counted(turns, "changes of the orientation tag"));
    let twins: Vec<usize> = sequence
        .windows(2)
        .filter(|pair| items[pair[0]].read.is_ok() && copies::identical(&items[pair[0]], &items[pair[1]]))
        .map(|pair| pair[1])
        .collect();
    if !twins.is_empty() {
        remarks.push(grouped(items, twins, "byte-identical to the still before: kept"));
    }
}

/// One remark on several files that have the same oddity.
fn grouped(items: &[Item], about: Vec<usize>, what: &str) -> Remark {
    let first = shown(&items[about[0]].path);
    let message = match about.len() {
        1 => format!("{first} is {what}"),
        count => format!("{count} stills, {first} the first, are {what}"),
    };
    Remark::new(message, about)
}

/// The first few of a kind, and a count of the rest.
fn counted(mut remarks: Vec<Remark>, kind: &str) -> Vec<Remark> {
    if remarks.len() > NAMED {
        let rest = remarks.split_off(NAMED);
        let words = format!("{} more {kind}", rest.len());
        remarks.push(Remark::new(words, rest.into_iter().flat_map(|remark| remark.about)));
    }
    remarks
}

fn fits(extension: &str, format: Format) -> bool {
    let usual: &[&str] = match format {
        Format::Jpeg => &["jpg", "jpeg", "jpe", "jfif"],
        Format::Png => &["png"],
        Format::Tiff => &["tif", "tiff"],
        Format::Webp => &["webp"],
        Format::Heic => &["heic", "heif", "hif"],
        Format::Avif => &["avif", "heif", "hif"],
        Format::Frame => &[],
    };
    usual.contains(&extension)
}

fn format_name(format: Format) -> &'static str {
    match format {
        Format::Jpeg => "JPEG",
        Format::Png => "PNG",
        Format::Tiff => "TIFF",
        Format::Webp => "WebP",
        Format::Heic => "HEIC",
        Format::Avif => "AVIF",
        Format::Frame => "a recording's frame",
    }
}
