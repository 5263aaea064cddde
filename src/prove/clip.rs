//! A clip that was looked at, held against what its receipt promises of it: what is proved, and each fault by its name.

use super::bar::Bar;
use super::compare::{decibels, error_at};
use super::look::Looked;
use super::places::{Misplaced, misplaced};
use super::times::{Uneven, uneven};
use super::{Finding, count};
use crate::decode::clip::{ClipError, Tags};
use crate::diag::plain;
use crate::receipt::Delivery;
use crate::shoot::Orientation;
use crate::units::Size;

/// A clip, and what is known of what it should be.
pub struct Clip<'a> {
    /// What the receipt says.
    pub delivery: &'a Delivery,
    /// What looking at it gave.
    pub looked: &'a Looked,
    /// Hashes of the planes of all frames due.
    pub planes: &'a [Option<blake3::Hash>],
    /// How near its frames have to be to those made anew; none where none could be made.
    pub bar: Option<Bar>,
    /// The still that a frame is due to show.
    pub due: &'a dyn Fn(u64) -> Option<String>,
    /// The still that the frame in a row's place shows, where one was found.
    pub shown: &'a dyn Fn(u64) -> Option<String>,
}

/// What came of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Judged {
    /// What is proved, a line each.
    pub proved: Vec<String>,
    /// What is not.
    pub findings: Vec<Finding>,
}

/// Holds a clip against its receipt.
#[must_use]
pub fn judge(clip: &Clip<'_>) -> Judged {
    let mut judged = Judged { proved: Vec::new(), findings: Vec::new() };
    let (delivery, looked) = (clip.delivery, clip.looked);
    let facts = match &looked.facts {
        Ok(facts) => facts,
        Err(error) => {
            judged.findings.push(match error {
                ClipError::Unreadable(_) => Finding::unknown("unreadable", plain(&error.to_string())),
                ClipError::NotThere => Finding::wrong("gone", "it does not exist"),
                ClipError::SomethingElse(_) => Finding::wrong("something-else", error.to_string()),
                ClipError::NoVideo(_) => Finding::wrong("no-video", plain(&error.to_string())),
            });
            return judged;
        }
    };
    let guessed = looked.guessed();
    let found = &mut judged.findings;
    // FFmpeg has one name for DNxHD and for DNxHR.
    let due = if delivery.codec == "dnxhr" { "dnxhd" } else { delivery.codec.as_str() };
    if facts.codec != due {
        found.push(Finding::wrong(
            "codec",
            format!("it is coded as {}, expected {}", plain(&facts.codec), plain(&delivery.codec)),
        ));
    }
    let due = Size::new(delivery.width, delivery.height);
    if facts.size != due && !guessed.is_some_and(super::Guess::is_turn) {
        found.push(Finding::wrong("size", format!("its frames are {}, expected {due}", facts.size)));
    }
    if let Some(told) = facts.told.filter(|told| *told != due && facts.size == due) {
        found.push(Finding::wrong(
            "header-lies",
            format!("its header says that its frames are {told}, but they are {due}"),
        ));
    }
    if facts.aspect.0 != facts.aspect.1 {
        let (across, down) = facts.aspect;
        found.push(Finding::wrong("aspect", format!("its pixels are shown {across} to {down}, expected square")));
    }
    if facts.turned != Some(Orientation::Upright) {
        found.push(Finding::wrong("rotated", format!("it is shown rotated: {}", turn(facts.turned))));
    }
    if facts.interlaced {
        found.push(Finding::wrong("interlaced", "its frames are interlaced, expected whole frames"));
    }
    if facts.sound != delivery.sound {
        let words = if facts.sound { "it has sound, expected none" } else { "its sound is missing" };
        found.push(Finding::wrong("sound", words));
    }
    tags(clip, &facts.tags, found);
    if let Some((place, what)) = &looked.odd {
        found.push(Finding::wrong("samples", format!("frame {place} is of another kind: {}", plain(what))));
    }
    frames(clip, guessed, found);
    if judged.findings.is_empty() {
        judged.proved = proved(clip);
    }
    judged
}

/// What can be said of a clip with nothing wrong about it.
fn proved(clip: &Clip<'_>) -> Vec<String> {
    let (delivery, looked) = (clip.delivery, clip.looked);
    let rate = match delivery.rate {
        [whole, 1] => whole.to_string(),
        [numerator, denominator] => format!("{numerator}/{denominator}"),
    };
    let size = Size::new(delivery.width, delivery.height);
    let frames = count(delivery.frames, "frame");
    let mut lines =
        vec![format!("{frames} of {size}, decoded to the end, each at its time at {rate} a second; tags are right")];
    let anew = count(looked.rows.len() as u64, "frame");
    let all = looked.rows.len() as u64 == delivery.frames;
    lines.extend(match (clip.bar, looked.worst()) {
        (Some(Bar::Exact), _) => Some(format!(
            "every frame is the one that the receipt says, to the bit; {} made anew from the stills {} the same",
            if all { "all".to_owned() } else { anew },
            if looked.rows.len() == 1 { "is" } else { "are" },
        )),
        (Some(Bar::Decibels { due, .. }), Some((row, fit))) => Some(format!(
            "{} made anew from the stills fit{}: frame {row} least, with {} dB of luma ({due:.1} due{})",
            if all { format!("all {anew}") } else { anew },
            if looked.rows.len() == 1 { "s" } else { "" },
            figure(fit.luma),
            if fit.luma > error_at(due) { ", less for a frame full of noise, such as this one" } else { "" },
        )),
        _ => None,
    });
    lines
}

fn figure(error: f64) -> String {
    let seen = decibels(error);
    if seen.is_finite() { format!("{seen:.1}") } else { "no error, infinite".to_owned() }
}

fn turn(turned: Option<Orientation>) -> &'static str {
    match turned {
        Some(Orientation::QuarterClockwise) => "by 90 degrees, clockwise",
        Some(Orientation::HalfTurn) => "by 180 degrees",
        Some(Orientation::QuarterAnticlockwise) => "by 90 degrees, anticlockwise",
        Some(_) => "it is mirrored",
        None => "by an angle that is no quarter turn",
    }
}

/// Holds the tags of container and stream against the receipt's.
fn tags(clip: &Clip<'_>, container: &Tags, found: &mut Vec<Finding>) {
    let (stream, changed) = &clip.looked.tags;
    let words = |tags: &Tags| [tags.primaries.clone(), tags.transfer.clone(), tags.matrix.clone(), tags.range.clone()];
    let kinds = [
        ("primaries", "wrong-primaries"),
        ("transfer", "wrong-transfer"),
        ("matrix", "wrong-matrix"),
        ("range", "wrong-range"),
    ];
    for ((kind, fault), (of_container, of_stream)) in
        kinds.into_iter().zip(words(container).into_iter().zip(words(stream)))
    {
        let due = clip.delivery.tags.get(kind).map(String::as_str);
        for (who, said) in [("container", of_container), ("stream", of_stream)] {
            // One of them may say nothing, the container, or a stream that has no place for it (FFV1: RFC 9043, section
            // 4; DNxHR: SMPTE ST 2019-1, from memory); what is said has to be right.
            let silent = ["ffv1", "dnxhr"].contains(&clip.delivery.codec.as_str());
            let may_be_silent = who == if silent { "stream" } else { "container" };
            let right = said.as_deref() == due || said.is_none() && (may_be_silent || clip.looked.places.is_empty());
            if !right {
                let name =
                    |tag: Option<&str>| tag.map_or_else(|| "nothing".to_owned(), |tag| format!("'{}'", plain(tag)));
                let words =
                    format!("wrong tag: its {who} says {} for {kind}, expected {}", name(said.as_deref()), name(due));
                found.push(Finding::wrong(fault, words));
            }
        }
    }
    if let Some(place) = changed {
        found.push(Finding::wrong("tags-change", format!("its colour tags change at frame {place}")));
    }
}

/// Frames: how many there are, when they are shown, which they are, and how near.
fn frames(clip: &Clip<'_>, guessed: Option<super::Guess>, found: &mut Vec<Finding>) {
    let (delivery, looked) = (clip.delivery, clip.looked);
    let held = looked.places.len() as u64;
    let promised = looked.facts.as_ref().ok().and_then(|facts| facts.promised);
    if looked.endless {
        found
            .push(Finding::wrong("endless", format!("it holds more than {held} frames, expected {}", delivery.frames)));
        return;
    }
    let short =
        promised.is_some_and(|promised| promised > held) || looked.broken.is_some() || ends_damaged(looked, held);
    if short && held < delivery.frames {
        let promised = promised.filter(|promised| *promised > held);
        let promise = promised.map_or_else(String::new, |promised| format!(": its index promises {promised} frames"));
        let why = looked.broken.as_ref().map_or_else(String::new, |why| format!(" ({})", plain(why)));
        found.push(Finding::wrong(
            "cut-short",
            format!("the file is cut short{promise}, and {held} can be decoded{why}"),
        ));
    } else if let Some((place, why, places)) = &looked.damaged {
        let more = if *places > 1 { format!(", and {} more", places - 1) } else { String::new() };
        found.push(Finding::wrong("damaged", format!("frame {place} is damaged{more}: {}", plain(why))));
    } else if let Some(why) = &looked.broken {
        found.push(Finding::unknown("broken", format!("it cannot be decoded to its end: {}", plain(why))));
    }
    let cut_short = found.iter().any(|finding| finding.fault == "cut-short");
    if let Some(guess) = guessed {
        found.push(Finding::wrong(fault_of(guess), guess.words()));
    } else if let Some(bar) = clip.bar {
        let out_of_place = which(clip, bar);
        let early = |misplaced: &Misplaced| cut_short && matches!(misplaced, Misplaced::EndsEarly { .. });
        found.extend(
            out_of_place.iter().filter(|misplaced| !early(misplaced)).map(|misplaced| in_words(clip, misplaced)),
        );
        if let (true, Some((row, fit)), Bar::Decibels { due, .. }) = (looked.is_coarse(bar), looked.worst(), bar) {
            let words = "its frames are the right ones, but coarser than they were delivered";
            found.push(Finding::wrong(
                "coarse",
                format!("{words}: frame {row} has {} dB of luma, expected {due:.1}", figure(fit.luma)),
            ));
        }
    }
    let told = [
        "cut-short",
        "frame-dropped",
        "frame-doubled",
        "off-by-one-at-start",
        "last-frame-missing",
        "frames-at-end",
        "damaged",
    ];
    let explained = found.iter().any(|finding| told.contains(&finding.fault));
    if held != delivery.frames && !explained {
        found.push(Finding::wrong(
            "frame-count",
            format!("it has {}, expected {}", count(held, "frame"), delivery.frames),
        ));
    }
    times(clip, explained, found);
    if let Some(none) = clip.planes.iter().position(Option::is_none) {
        found.push(Finding::wrong("not-made-alike", format!("the receipt's hash of frame {none} is not a hash")));
    }
    if let [first, ref others @ ..] = looked.unlike[..] {
        let words = "made anew from the stills is not the one that was handed to the encoder, by the receipt";
        let more = if others.is_empty() { String::new() } else { format!(" (nor are {} more)", others.len()) };
        found.push(Finding::wrong("not-made-alike", format!("frame {first} {words}{more}")));
    }
}

/// Whether the last frames that came out are damaged: a file without an index that ends too early.
fn ends_damaged(looked: &Looked, held: u64) -> bool {
    looked.damaged.as_ref().is_some_and(|(place, _, places)| place + places >= held)
}

fn fault_of(guess: super::Guess) -> &'static str {
    match guess {
        super::Guess::FullRange | super::Guess::LimitedTwice => "wrong-range",
        super::Guess::Bt601 => "wrong-matrix",
        _ => "rotated",
    }
}

/// Which frames are not where they should be.
fn which(clip: &Clip<'_>, bar: Bar) -> Vec<Misplaced> {
    let (looked, due) = (clip.looked, clip.delivery.frames);
    let held = looked.places.len() as u64;
    if bar == Bar::Exact {
        return misplaced(&looked.by_hash(clip.planes), &(0..due).collect::<Vec<_>>(), due, held);
    }
    let rows: Vec<u64> = looked.rows.iter().map(|row| row.row).collect();
    misplaced(&looked.by_sight(bar), &rows, due, held)
}

/// Rows whose places show nothing known, in runs so short that a still may be looked for that they show.
#[must_use]
pub fn short_runs(clip: &Clip<'_>) -> Vec<u64> {
    let Some(bar) = clip.bar.filter(|_| clip.looked.facts.is_ok() && clip.looked.guessed().is_none()) else {
        return Vec::new();
    };
    let short = |misplaced| match misplaced {
        Misplaced::Strange { first, last, looked_at } if looked_at <= 2 => vec![first, last],
        _ => Vec::new(),
    };
    let mut rows: Vec<u64> = which(clip, bar).into_iter().flat_map(short).collect();
    rows.dedup();
    rows
}

fn in_words(clip: &Clip<'_>, misplaced: &Misplaced) -> Finding {
    let last = clip.delivery.frames.saturating_sub(1);
    match *misplaced {
        Misplaced::BeginsLate { by: 1 } => Finding::wrong(
            "off-by-one-at-start",
            "off by one at the start: frame 0 is missing, and it begins with frame 1",
        ),
        Misplaced::BeginsLate { by } => {
            Finding::wrong("off-by-one-at-start", format!("its first {by} frames are missing"))
        }
        Misplaced::BeginsEarly { by } => {
            let words = format!(
                "off by {} at the start: {} too many before frame 0",
                if by == 1 { "one".into() } else { by.to_string() },
                count(by, "frame")
            );
            Finding::wrong("off-by-one-at-start", words)
        }
        Misplaced::Dropped { count: missing, first, last } => {
            let which = if last + 1 - first == missing {
                if missing == 1 {
                    format!("frame {first} was dropped")
                } else {
                    format!("frames {first} to {last} were dropped")
                }
            } else {
                format!(
                    "{} dropped somewhere in frames {first} to {last}",
                    if missing == 1 { "a frame was".into() } else { format!("{missing} frames were") }
                )
            };
            Finding::wrong("frame-dropped", which)
        }
        Misplaced::Doubled { count: extra, before, after, same } => {
            let which = match (same, extra, before - after) {
                (true, 1, 1) if after == 0 => "frame 0 is doubled: all after it is off by one".to_owned(),
                (true, 1, 1) => format!("frame {after} is doubled: it is shown twice"),
                (_, 1, _) => format!("an extra frame (doubled or inserted) comes between frames {after} and {before}"),
                _ => format!("{extra} extra frames (doubled or inserted) come between frames {after} and {before}"),
            };
            Finding::wrong("frame-doubled", which)
        }
        Misplaced::EndsEarly { by: 1 } => {
            Finding::wrong("last-frame-missing", format!("the last frame, {last}, is missing"))
        }
        Misplaced::EndsEarly { by } => {
            Finding::wrong("last-frame-missing", format!("its last {by} frames are missing, the last one among them"))
        }
        Misplaced::EndsLate { by } => {
            Finding::wrong("frames-at-end", format!("{} too many at its end", count(by, "frame")))
        }
        Misplaced::Swapped { one, other } => {
            Finding::wrong("frames-swapped", format!("frames {one} and {other} are swapped"))
        }
        Misplaced::Instead { row, shown } => instead(clip, row, shown),
        Misplaced::Strange { first, last, looked_at } => strange(clip, first, last, looked_at),
    }
}

fn instead(clip: &Clip<'_>, row: u64, shown: u64) -> Finding {
    let stills = (clip.due)(shown).zip((clip.due)(row)).filter(|(shows, due)| shows != due);
    if row.abs_diff(shown) == 1 {
        return Finding::wrong(
            "frame-doubled",
            format!("frame {shown} is doubled: it stands in the place of frame {row} too"),
        );
    }
    let what = stills
        .map_or_else(String::new, |(shows, due)| format!(": still {} in the place of {}", plain(&shows), plain(&due)));
    Finding::wrong("another-still", format!("frame {row} shows what frame {shown} should{what}"))
}

fn strange(clip: &Clip<'_>, first: u64, last: u64, looked_at: u64) -> Finding {
    let stills = (clip.shown)(first).zip((clip.due)(first));
    if let Some((shows, due)) = stills.filter(|_| looked_at == 1) {
        return Finding::wrong(
            "another-still",
            format!("frame {first} shows still {}, expected still {}", plain(&shows), plain(&due)),
        );
    }
    let words = "what this script makes of these stills: made by another version of the script, or elsewhere";
    let which = match (last - first + 1, looked_at) {
        (1, _) => format!("frame {first} is not"),
        (all, looked_at) if all == looked_at => format!("frames {first} to {last} are not"),
        (_, looked_at) => format!("{looked_at} frames that were looked at, {first} to {last}, are not"),
    };
    Finding::wrong("another-script", format!("{which} {words}"))
}

/// Holds the times of all frames against the rate. Where frames are missing, times without a frame are no news.
fn times(clip: &Clip<'_>, explained: bool, found: &mut Vec<Finding>) {
    let Ok(facts) = &clip.looked.facts else { return };
    let [numerator, denominator] = clip.delivery.rate;
    let rate = if facts.rate.is_none() && facts.time_base == (1, 1) { (1, 1) } else { (numerator, denominator) };
    let Some(uneven) = uneven(&clip.looked.places, rate, facts.time_base) else {
        let even = |seen: (u32, u32)| {
            let (seen, due) = (f64::from(seen.0) / f64::from(seen.1), f64::from(rate.0) / f64::from(rate.1));
            (seen / due - 1.0).abs() < 1e-3
        };
        if let Some(seen) = facts.rate.filter(|seen| !even(*seen) && !explained && clip.looked.places.len() > 1) {
            let words =
                format!("its header says {}/{} frames a second, expected {numerator}/{denominator}", seen.0, seen.1);
            found.push(Finding::wrong("rate", words));
        }
        let due = clip.delivery.frames as f64 * f64::from(denominator) / f64::from(numerator);
        let off = facts
            .lasts
            .into_iter()
            .flatten()
            .find(|lasts| (lasts - due).abs() * f64::from(numerator) > 1.5 * f64::from(denominator));
        if let Some(lasts) = off.filter(|_| !explained) {
            found.push(Finding::wrong(
                "header-lies",
                format!("its header says that it lasts {lasts:.3} s, but it lasts {due:.3} s"),
            ));
        }
        return;
    };
    let seconds = |micros: i64| format!("{:.4} s", micros as f64 / 1e6);
    match uneven {
        Uneven::Gaps { .. } if explained => {}
        Uneven::Gaps { first, count: 1 } => {
            found.push(Finding::wrong(
                "frame-dropped",
                format!("no frame comes at the time of frame {first}: a frame was dropped"),
            ));
        }
        Uneven::Gaps { first, count } => {
            let words = format!(
                "frames are not evenly apart (variable rate): at {count} times, from that of frame {first} on, none comes"
            );
            found.push(Finding::wrong("variable-rate", words));
        }
        Uneven::Late { thousandths: 1000 } => {
            found.push(Finding::wrong("off-by-one-at-start", "off by one at the start: it begins one frame late"));
        }
        Uneven::Late { thousandths } => {
            #[expect(clippy::cast_precision_loss, reason = "a figure to read")]
            let words =
                format!("it does not begin at 0: all frames come {:.3} frames late", thousandths as f64 / 1000.0);
            found.push(Finding::wrong("begins-late", words));
        }
        Uneven::Varies { place, shown, due } => {
            let (shown, due) = (seconds(shown), seconds(due));
            let words = format!(
                "frames are not evenly apart (variable rate): frame {place} is shown at {shown}, expected at {due}"
            );
            found.push(Finding::wrong("variable-rate", words));
        }
        Uneven::Untold { place } => {
            found.push(Finding::wrong("no-times", format!("frame {place} does not say when it is shown")))
        }
    }
}
