//! Reads folders, patterns and files, headers and tails only, and gives the catalogue of the shoot.
//!
//! `find` follows every path once, `read` opens what was found, `order` puts it into one order by names and checks it
//! against capture times, `gaps` says which numbers are missing. Every file found is then a slot of the shoot or set
//! aside with a reason: none is lost in silence.
//!
//! ## Decisions
//!
//! - A still that cannot be read because its folder is gone (or is empty as an unmounted drive's would be, or the
//!   system says that device or share is gone) is not damaged. It is waited for, 20 s, and then the run stops. A file
//!   missing among others follows the policy.
//! - To add a source format: see `DEVELOPERS.md`, "How to add".

mod bodies;
mod camera;
mod class;
mod clock;
mod copies;
mod describe;
mod find;
mod findings;
mod gaps;
mod listing;
mod master;
mod name;
mod order;
mod read;
mod recording;
mod remarks;
mod rhythm;
mod runs;
mod sizes;
mod stamp;
mod takes;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

pub use camera::{Change, Room};
pub use class::{Named, by_name};
pub use describe::{advice, describe};
pub use findings::{Report, findings, in_words, report};
pub use listing::{Listing, listing};
pub use name::natural;
pub use recording::{is_recording, recording};
pub use rhythm::Rhythm;
pub use takes::would_take;

use crate::decode::KnownFiles;
use crate::diag::{Diagnostic, Diagnostics, fit};
use crate::shoot::{Captured, Content, Note, Orientation, SetAside, Shoot, Slot};
use crate::shot::Pairs;
use crate::units::SlotIndex;
use name::Name;
use read::Read;

/// What to survey.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// Where relative paths start: the script's folder.
    pub base: PathBuf,
    /// Folders, patterns (`stills/*.JPG`) or files.
    pub paths: Vec<String>,
    /// Whether orientation tags are obeyed.
    pub obey_orientation: bool,
    /// Which of two pictures of one name and different kinds is the still.
    pub pairs: Pairs,
    /// The camera whose stills are meant, where there are several's; `"any"` takes all.
    pub camera: Option<String>,
}

/// Surveys a shoot.
///
/// # Errors
/// Mistakes without a place in the script: nothing found, two stills that cannot be ordered, sizes that disagree.
pub fn survey(request: &Request) -> Result<Shoot, Diagnostics> {
    survey_known(request, &KnownFiles::default())
}

/// Surveys a shoot of which some files may be known from before.
///
/// # Errors
/// As [`survey`].
pub fn survey_known(request: &Request, known: &KnownFiles) -> Result<Shoot, Diagnostics> {
    let found = find::find(request)?;
    if found.files.is_empty() {
        return Err(nothing(request, &found.set_aside).into());
    }
    let (mut items, stamps) = items(found.files, request.obey_orientation, known);
    let mut set_aside = found.set_aside;
    let (others, turns) = bodies::chosen(&items, request.camera.as_deref())?;
    let mut kept = others.iter().map(|other| !other);
    items.retain(|item| {
        let kept = kept.next().unwrap_or(true);
        if !kept {
            set_aside.push(SetAside { path: item.path.clone(), reason: bodies::OTHER });
        }
        kept
    });
    // A choice leaves out stills that a remark may be about, and what follows in turn needs none.
    let all = others.iter().all(|other| !other);
    let order = order::order(&items, &found.folders, request.pairs)?;
    let gaps = gaps::gaps(&items, &order);
    let catalogue = Catalogue::new(&items, &order.sequence, &gaps.gaps);
    let size = sizes::agreed(&items, &order.sequence)?;
    let mut said: Vec<Remark> = stamps.into_iter().chain(turns).collect();
    if !all {
        said.iter_mut().for_each(|remark| remark.about.clear());
    }
    said.extend(order.remarks);
    said.extend(gaps.remarks);
    said.extend(remarks::all(&items, &order.sequence, &order.runs));
    said.extend(remarks::copies(&items, &order.copies));
    said.extend(remarks::unread(&items, &set_aside));
    set_aside.extend(order.copies.iter().map(|(copy, _)| SetAside {
        path: items[*copy].path.clone(),
        reason: "a byte-identical copy of another still",
    }));
    set_aside
        .extend(order.passed.iter().map(|index| SetAside { path: items[*index].path.clone(), reason: copies::PASSED }));
    set_aside.sort_by(|a, b| (a.reason, &a.path).cmp(&(b.reason, &b.path)));
    let notes = said.into_iter().map(|remark| catalogue.note(remark)).collect();
    let interval = rhythm::interval(&items, &order.sequence, &gaps.gaps);
    Ok(Shoot { slots: catalogue.slots, size, interval, set_aside, notes, recording: None, members: Vec::new() })
}

/// A file that should be a still, and what its header says.
#[derive(Debug)]
struct Item {
    path: PathBuf,
    /// Which of the folders found it lies in.
    folder: usize,
    name: Name,
    read: Read,
    /// Bytes in the file.
    bytes: u64,
    /// When it was taken, in nanoseconds: of UTC where every still has an offset, else of the camera's local time.
    time: Option<i128>,
}

impl Item {
    fn captured(&self) -> Option<Captured> {
        match &self.read {
            Ok(header) => header.captured,
            Err(refused) => refused.captured,
        }
    }

    /// Its number, 0 where it has none.
    fn number(&self) -> u64 {
        self.name.number.map_or(0, |number| number.value)
    }
}

/// The items, and what to say of their times.
fn items(files: Vec<find::Candidate>, obey_orientation: bool, known: &KnownFiles) -> (Vec<Item>, Option<Remark>) {
    let paths: Vec<&Path> = files.iter().map(|file| file.path.as_path()).collect();
    let read = read::all(&paths, known);
    let mut items: Vec<Item> = files
        .into_iter()
        .zip(read)
        .map(|(file, mut read)| {
            if let Ok(header) = &mut read
                && !obey_orientation
            {
                header.orientation = Orientation::Upright;
            }
            let bytes = match &read {
                Ok(header) => header.bytes,
                Err(_) => fs::metadata(&file.path).map_or(0, |metadata| metadata.len()),
            };
            Item { name: Name::of(&file.path), path: file.path, folder: file.folder, read, bytes, time: None }
        })
        .collect();
    let stamps = stamp::fill(&mut items);
    let universal = items.iter().filter_map(Item::captured).all(|captured| captured.offset.is_some());
    for item in &mut items {
        item.time = item.captured().map(|captured| clock::nanoseconds(captured, universal));
    }
    (items, stamps)
}

/// A note to be, about items rather than slots.
#[derive(Debug)]
struct Remark {
    message: String,
    about: Vec<usize>,
}

impl Remark {
    fn new(message: impl Into<String>, about: impl IntoIterator<Item = usize>) -> Self {
        Self { message: message.into(), about: about.into_iter().collect() }
    }
}

/// The slots, and which one each item has.
struct Catalogue {
    slots: Vec<Slot>,
    slot_of: Vec<Option<SlotIndex>>,
}

impl Catalogue {
    fn new(items: &[Item], sequence: &[usize], gaps: &[gaps::Gap]) -> Self {
        let mut slots = Vec::with_capacity(sequence.len());
        let mut slot_of = vec![None; items.len()];
        let mut gaps = gaps.iter().peekable();
        for (position, index) in sequence.iter().enumerate() {
            let item = &items[*index];
            slot_of[*index] = Some(SlotIndex(slots.len()));
            let content = match &item.read {
                Ok(header) => Content::Whole(header.still(&item.path)),
                Err(refused) => Content::Damaged {
                    path: item.path.clone(),
                    damage: refused.damage.clone(),
                    captured: refused.captured,
                },
            };
            slots.push(Slot { name: fit(&item.name.stem).into_owned(), content });
            while let Some(gap) = gaps.next_if(|gap| gap.after == position) {
                slots.extend(
                    gap.names.iter().map(|name| Slot { name: fit(name).into_owned(), content: Content::Missing }),
                );
            }
        }
        Self { slots, slot_of }
    }

    fn note(&self, remark: Remark) -> Note {
        let slots = remark.about.into_iter().filter_map(|index| self.slot_of[index]).collect();
        Note { message: remark.message, slots }
    }
}

/// Nothing to work with: says what was there instead.
fn nothing(request: &Request, set_aside: &[SetAside]) -> Diagnostic {
    let paths: Vec<String> = request.paths.iter().map(|path| format!("'{path}'")).collect();
    let mistake = Diagnostic::mistake(match paths.is_empty() {
        true => "no folder, pattern or file of stills is given".to_owned(),
        false => format!("{} holds no stills", paths.join(", ")),
    });
    let mistake = match set_aside.is_empty() {
        true if paths.is_empty() => mistake,
        true => mistake.help("it is empty"),
        false => describe::by_reason(set_aside).into_iter().fold(mistake, |mistake, (reason, files)| {
            let of =
                if class::instead(reason).is_some() { format!(": {}", remarks::kinds(&files)) } else { String::new() };
            mistake.help(format!("set aside: {} ({reason}{of}), such as {}", files.len(), shown(&files[0].path)))
        }),
    };
    let mistake = match set_aside.iter().any(|file| file.reason == class::VIDEO) {
        true => mistake.help("a recorded video is a source of its own: source = recording \"FILE\""),
        false => mistake,
    };
    let unread = set_aside.iter().filter_map(|file| class::instead(file.reason)).collect::<BTreeSet<_>>();
    let mistake = unread.into_iter().fold(mistake, Diagnostic::help);
    mistake
        .help("stills are JPEG, PNG, TIFF, WebP, HEIC or AVIF files in the folder itself or in its direct sub-folders")
}

/// A path as messages show it: the file and the folder it lies in, fit to print.
fn shown(path: &Path) -> String {
    let parts: Vec<_> = path.components().rev().take(2).map(|part| part.as_os_str().to_string_lossy()).collect();
    let text = parts.into_iter().rev().filter(|part| part != "/").collect::<Vec<_>>().join("/");
    fit(&text).into_owned()
}
