//! A plan as people read it: one line a frame, or one paragraph a plan.

use std::fmt::Write as _;

use crate::diag::fit;
use crate::shot::Gather;

use super::{Break, DeliveryPlan, Image, Layers, Lettered, Levelling, Plan, Row, Shows, Steadying, Tally, sound};

/// The whole table, a block a delivery and a line a frame, rounded: frame, seconds, position, still, window,
/// enlargement.
///
/// Stills are counted from 1 as `still(n)` counts them; `7<6` is still 7's turn with still 6 held in its place, `7..9`
/// the weighted mean of stills 7 to 9 (their weights are in the plan's JSON), `7~8` what is invented between the two,
/// `7^9` their brightest light, `7_9` their darkest, `7=9` their median.
/// The enlargement is in output pixels per pixel of the still: above 1 the frame is larger than its window. A delivery
/// whose window is rolled anywhere has the roll in degrees in a column of its own; `x` and `y` are the corner's before
/// the roll. What stamps say stands at the end of a line. Their pictures follow, and passages with sound, a line each.
#[must_use]
pub fn text(plan: &Plan) -> String {
    let mut out = String::new();
    for delivery in &plan.deliveries {
        let _infallible = writeln!(out, "{}", heading(delivery));
        let rolled = delivery.rows.iter().any(|row| row.window.roll != 0.0);
        let lettered = delivery.stamps.iter().any(|stamp| matches!(stamp.shows, Shows::Text(_)));
        let _infallible = writeln!(
            out,
            "{:>7} {:>9} {:>10} {:>9} {:>10} {:>10} {:>10} {:>10} {:>8}{}{}",
            "frame",
            "seconds",
            "position",
            "still",
            "x",
            "y",
            "width",
            "height",
            "enlarged",
            if rolled { "     roll" } else { "" },
            if lettered { "  stamps" } else { "" }
        );
        for (frame, row) in delivery.rows.iter().enumerate() {
            let _infallible = writeln!(
                out,
                "{frame:>7} {:>9.3} {:>10.3} {:>9} {:>10.2} {:>10.2} {:>10.2} {:>10.2} {:>8.3}{}{}",
                seconds(delivery, frame),
                row.position,
                still(row),
                row.window.x,
                row.window.y,
                row.window.width,
                row.window.height,
                row.window.enlargement(delivery.frame),
                if rolled { format!(" {:>8.3}", row.window.roll) } else { String::new() },
                if lettered { format!("  {}", stamps(delivery, row)) } else { String::new() },
            );
        }
        out += &pictures(delivery);
        out += &sound::table(&delivery.sound);
        out.push('\n');
    }
    out
}

/// A line a delivery: size, rate, frames, length, deepest enlargement and its frame, first and last still; then the
/// [`sum`], and the breaks where there are any.
#[must_use]
pub fn summary(plan: &Plan) -> String {
    let mut out = String::new();
    for delivery in &plan.deliveries {
        let _infallible = write!(out, "{}: {} frames, {:.3} s", heading(delivery), delivery.rows.len(), plan.length);
        let deepest = delivery
            .rows
            .iter()
            .enumerate()
            .min_by(|(_, one), (_, other)| one.window.width.total_cmp(&other.window.width));
        if let (Some((frame, row)), Some(first), Some(last)) = (deepest, delivery.rows.first(), delivery.rows.last()) {
            let _infallible = write!(
                out,
                "; deepest {:.3} output pixels per pixel of the still (frame {frame}); still({}) to still({})",
                row.window.enlargement(delivery.frame),
                first.slot.0 + 1,
                last.slot.0 + 1
            );
        }
        let means = || delivery.rows.iter().filter(|row| matches!(row.layers, Layers::Mean(_)));
        let most = means().map(|row| row.shares().count()).max().unwrap_or(0);
        if most > 0 {
            let blended = means().count();
            let _infallible = write!(out, "; {blended} frames are means of several stills, of up to {most}");
        }
        if let Some((gathering, most)) = delivery.gathers() {
            let by = delivery.rows.iter().find_map(|row| row.layers.gathered()).map_or("", |one| one.by.keyword());
            let _infallible = write!(out, "; {gathering} frames gather the {by} light of up to {most} stills");
        }
        if delivery.invented() > 0 {
            let _infallible = write!(out, "; {} frames are invented between two stills", delivery.invented());
        }
        for stamp in delivery.stamps.iter() {
            let _infallible = match &stamp.shows {
                Shows::Text(Lettered { said, .. }) => write!(out, "; stamped \"{}\"", fit(said)),
                Shows::Picture(image) => write!(out, "; stamped with {}", fit(&image.picture)),
            };
        }
        if !delivery.sound.is_empty() {
            let _infallible = write!(out, "; {}", sound::heard(&delivery.sound));
        }
        out.push('\n');
    }
    out += &plan.level.as_ref().map(Levelling::summary).unwrap_or_default();
    out += &plan.steady.as_ref().map(Steadying::summary).unwrap_or_default();
    out + &sum(&plan.tally) + &breaks(plan)
}

/// A line about a plan's breaks, where it has any.
fn breaks(plan: &Plan) -> String {
    const NAMED: usize = 3;
    if plan.breaks.is_empty() {
        return String::new();
    }
    let mut named: Vec<String> = plan.breaks.iter().take(NAMED).map(Break::words).collect();
    if plan.breaks.len() > NAMED {
        named.push(format!("and {} more", plan.breaks.len() - NAMED));
    }
    format!("breaks: {}, nothing is mixed across: {}\n", plan.breaks.len(), named.join("; "))
}

/// Where every slot of the shoot went, `stills: 120 = 117 used + 2 passed over by the pace + 1 missing`, and a line for
/// each damaged and missing one with its name and what was done.
#[must_use]
pub fn sum(tally: &Tally) -> String {
    let mut parts = vec![
        (tally.used, "used"),
        (tally.passed_over, "passed over by the pace"),
        (tally.outside_part, "outside the part used"),
    ];
    parts.extend(tally.left_out());
    parts.extend([(tally.damaged.len(), "damaged"), (tally.missing.len(), "missing")]);
    let total: usize = parts.iter().map(|(count, _)| count).sum();
    let said: Vec<String> =
        parts.iter().filter(|(count, _)| *count > 0).map(|(count, what)| format!("{count} {what}")).collect();
    let mut out = format!("stills: {total} = {}\n", said.join(" + "));
    for (what, listed) in [("damaged", &tally.damaged), ("missing", &tally.missing)] {
        for (name, done) in listed {
            let _infallible = writeln!(out, "  {what}: {}: {}", fit(name), fit(done));
        }
    }
    if tally.set_aside > 0 {
        let files = if tally.set_aside == 1 { "file" } else { "files" };
        let _infallible = writeln!(out, "  {} other {files} set aside (`stillpath survey` says why)", tally.set_aside);
    }
    out
}

/// What stamps say over a frame.
fn stamps(delivery: &DeliveryPlan, row: &Row) -> String {
    let Some(foremost) = row.layers.dominant() else { return String::new() };
    let said = delivery.stamps.iter().filter_map(|stamp| stamp.line(foremost.slot()));
    said.map(|line| format!("\"{}\"", fit(line))).collect::<Vec<_>>().join(", ")
}

/// The pictures that stamps lay over all frames, a line each.
fn pictures(delivery: &DeliveryPlan) -> String {
    let mut out = String::new();
    for stamp in delivery.stamps.iter() {
        if let Shows::Picture(image) = &stamp.shows {
            let Image { picture, size, .. } = &**image;
            let _infallible = writeln!(out, "stamp: {}, {size}, in every frame", fit(picture));
        }
    }
    out
}

fn heading(delivery: &DeliveryPlan) -> String {
    format!("{} {} at {}", delivery.name, delivery.frame, delivery.fps)
}

fn seconds(delivery: &DeliveryPlan, frame: usize) -> f64 {
    delivery.fps.time_of(frame as u64).0
}

/// What stands between the first and the last of gathered stills.
fn sign(by: Gather) -> &'static str {
    match by {
        Gather::Brightest => "^",
        Gather::Darkest => "_",
        Gather::Median => "=",
    }
}

fn still(row: &Row) -> String {
    let (first, sign, last) = match &row.layers {
        Layers::Mean(parts) => (parts.first().map(|part| &part.layer), "..", parts.last().map(|part| &part.layer)),
        Layers::Between(between) => (Some(&between.layers[0]), "~", Some(&between.layers[1])),
        Layers::Gathered(gathered) => {
            let [first, last] = [gathered.layers().first(), gathered.layers().last()];
            (first, sign(gathered.by), last)
        }
        Layers::One(_) => (None, "", None),
    };
    if let (Some(first), Some(last)) = (first, last) {
        return format!("{}{sign}{}", first.slot().0 + 1, last.slot().0 + 1);
    }
    if row.shown == row.slot { (row.slot.0 + 1).to_string() } else { format!("{}<{}", row.slot.0 + 1, row.shown.0 + 1) }
}
