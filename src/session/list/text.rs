//! What is told of a folder, as lines of at most 120 columns.

use super::receipts::Seal;
use super::told::{Shoot, Told, count};
use crate::diag::fit;
use crate::session::bytes;

/// Columns of a line.
const COLUMNS: usize = 120;
/// Columns of a path at the beginning of a line, at most.
const PATH: usize = 44;

/// All of it.
pub(super) fn text(told: &Told) -> String {
    let mut lines = vec![told.summary()];
    if !told.shoots.is_empty() {
        lines.push(String::new());
        shoots(told, &mut lines);
    }
    if !told.videos.is_empty() {
        lines.push(String::new());
        let widest = widest(told.videos.iter().map(|video| video.path.as_str()));
        for video in &told.videos {
            lines.push(format!("{}  {:>9}  {}", padded(&video.path, widest), bytes(video.bytes), video.words()));
        }
    }
    if !told.scripts.is_empty() {
        lines.push(String::new());
        let widest = widest(told.scripts.iter().map(|script| script.path.as_str()));
        for script in &told.scripts {
            let takes: Vec<&str> = script.sources.iter().map(|source| source.written.as_str()).collect();
            let takes = if takes.is_empty() { "no source".to_owned() } else { takes.join(", ") };
            let makes = match &script.first_mistake {
                Some(first) => format!("{}: {first}", count(script.mistakes, "mistake")),
                None => format!("makes {}", script.deliveries.join(", ")),
            };
            lines.push(format!("{}  takes {takes}; {makes}", padded(&script.path, widest)));
        }
    }
    for render in &told.renders {
        lines.push(String::new());
        let made = render.made.as_deref().map_or_else(String::new, |made| format!(", made {made}"));
        lines.push(format!("{}  {}{made}", render.receipt, render.state()));
        if let Some(wrong) = &render.wrong {
            let what = if render.seal == Seal::Edited { "edited since" } else { "no receipt that can be read" };
            lines.push(format!("  {what}: {wrong}"));
            continue;
        }
        let widest = widest(render.clips.iter().map(|clip| clip.file.path.as_str()));
        for clip in &render.clips {
            lines.push(format!(
                "  {}  {:>9}  {} x {}, {} at {}, {}: {}",
                padded(&clip.file.path, widest),
                bytes(clip.bytes),
                clip.width,
                clip.height,
                count(usize::try_from(clip.frames).unwrap_or(usize::MAX), "frame"),
                clip.rate_in_words(),
                clip.codec,
                clip.file.state.words()
            ));
        }
        lines.push(format!("  stills  {}", render.stills_in_words()));
        if let Some(script) = &render.script {
            lines.push(format!("  script  {}: {}", script.path, script.state.words()));
        }
    }
    if !told.renders.is_empty() && !told.hashed {
        lines.push(String::new());
        lines
            .push("by presence and size only; --hash reads all bytes, `stillpath prove RECEIPT` remakes frames".into());
    }
    if !told.passed_over.is_empty() {
        lines.push(String::new());
        lines.extend(told.passed_over.iter().map(|one| format!("passed over: {}, {}", one.path, one.why)));
    }
    lines.iter().map(|line| fitted(line) + "\n").collect()
}

fn shoots(told: &Told, lines: &mut Vec<String>) {
    let widest = widest(told.shoots.iter().map(|shoot| shoot.path.as_str()));
    let sizes: Vec<String> = told.shoots.iter().map(size).collect();
    let size_widest = sizes.iter().map(|size| letters(size)).max().unwrap_or(0);
    for (shoot, size) in told.shoots.iter().zip(&sizes) {
        lines.push(format!(
            "{}  {:>7} stills  {:>9}  {size:size_widest$}  {}",
            padded(&shoot.path, widest),
            shoot.stills,
            bytes(shoot.bytes),
            days(shoot)
        ));
        if shoot.raw > 0 {
            lines.push(format!("  beside {}, which are not read", count(shoot.raw, "raw file")));
        }
        if !shoot.scripts.is_empty() {
            lines.push(format!("  script  {}", shoot.scripts.join(", ")));
        }
        if !shoot.receipts.is_empty() {
            lines.push(format!("  clips   {}", shoot.receipts.join(", ")));
        }
    }
}

/// `6000 x 4000`.
pub(super) fn size(shoot: &Shoot) -> String {
    match shoot.size {
        None => "no size".into(),
        Some([width, height]) if shoot.other_sizes => format!("{width} x {height} and others"),
        Some([width, height]) => format!("{width} x {height}"),
    }
}

/// `2026-05-01 to 2026-05-03, 3 days`.
pub(super) fn days(shoot: &Shoot) -> String {
    let dated = match shoot.days.as_slice() {
        [] => return "no times".into(),
        [one] => one.date.clone(),
        [first, .., last] => format!("{} to {}, {}", first.date, last.date, count(shoot.days.len(), "day")),
    };
    let more = if shoot.days_cut_short { " or more" } else { "" };
    let undated = if shoot.undated > 0 { format!(", {} without", shoot.undated) } else { String::new() };
    format!("{dated}{more}{undated}")
}

fn widest<'a>(paths: impl Iterator<Item = &'a str>) -> usize {
    paths.map(|path| letters(&cut(path, PATH))).max().unwrap_or(0)
}

/// A path in so many columns.
fn padded(path: &str, columns: usize) -> String {
    let path = cut(path, PATH);
    let spaces = columns.saturating_sub(letters(&path));
    path + &" ".repeat(spaces)
}

/// A text without its beginning, where it is too long.
fn cut(text: &str, columns: usize) -> String {
    let text = fit(text).into_owned();
    if letters(&text) <= columns {
        return text;
    }
    let from = letters(&text) + 1 - columns;
    format!("…{}", text.chars().skip(from).collect::<String>())
}

/// A line in the columns there are, without its end where it is too long.
fn fitted(line: &str) -> String {
    let line = fit(line).trim_end().to_owned();
    if letters(&line) <= COLUMNS {
        return line;
    }
    line.chars().take(COLUMNS - 1).chain(['…']).collect()
}

fn letters(text: &str) -> usize {
    text.chars().count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_paths_lose_their_beginning_and_long_lines_their_end() {
        assert_eq!(cut("short", 10), "short");
        assert_eq!(cut("a-path-that-is-long", 10), "…t-is-long");
        let long = "x".repeat(300);
        assert_eq!((letters(&fitted(&long)), fitted("x")), (COLUMNS, "x".to_owned()));
    }
}
