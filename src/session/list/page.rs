//! What is told of a folder as one page for a browser, with some stills of each shoot in small. It needs no other file.

use std::fmt::Write as _;
use std::path::Path;

use base64::Engine as _;

use super::receipts::Seal;
use super::shoots::Found;
use super::stopped;
use super::text::{days, size};
use super::told::{Told, count};
use crate::decode::{Decoder, Want, denominator, header, reduced};
use crate::diag::{Diagnostic, fit};
use crate::ffi::jpeg;
use crate::picture::{Picture, Samples};
use crate::session::{Failure, Watch, bytes};
use crate::units::Size;

/// Stills of a shoot that are shown.
const SHOWN: usize = 8;
/// Pixels of a small still's longer side, at least, where the still has them.
const LONGER_SIDE: u32 = 180;
/// The largest scale that decoding makes.
const MOST_SCALED: u32 = 8;

/// A page of this program.
#[derive(Debug, Clone, Copy)]
pub(super) struct Html;

/// What a page is written as, by its file's name.
///
/// # Errors
/// [`Failure`] where that is no page's.
pub(super) fn check(path: &Path) -> Result<Html, Failure> {
    let is_html = path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("html"));
    if is_html {
        return Ok(Html);
    }
    let mistake = Diagnostic::mistake(format!("a list is written as .html; seen {}", path.display()));
    Err(Failure::refused(mistake.help("name a file that ends in .html; or --json > list.json")))
}

const STYLE: &str = "\
body{font:15px/1.5 system-ui,sans-serif;color:#20242c;background:#fff;max-width:76rem;margin:2rem auto;padding:0 1rem}\
h1{font-size:1.4rem}h2{font-size:1.1rem;margin:2rem 0 .3rem}p{margin:.2rem 0}.q{color:#5a6270}.w{color:#a3131b;font-weight:600}\
.strip{display:flex;gap:6px;overflow-x:auto;margin:.5rem 0}.strip img{height:96px;width:auto;flex:none;border:1px solid #c9ced6}\
table{border-collapse:collapse;margin:.4rem 0;width:100%}th,td{text-align:left;padding:.2rem .8rem .2rem 0;vertical-align:top;\
border-bottom:1px solid #e4e7eb}th{font-weight:600;color:#5a6270}td.n{text-align:right}td,p,h2{overflow-wrap:anywhere}";

/// The page.
///
/// # Errors
/// [`Failure`] where it was interrupted.
pub(super) fn page(told: &Told, shoots: &[Found], watch: &Watch) -> Result<String, Failure> {
    let mut page = format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
         <style>{STYLE}</style>\n</head>\n<body>\n<h1>{title}</h1>\n<p class=\"q\">{}</p>\n",
        text(&told.summary()),
        title = text(&told.folder)
    );
    for (shoot, found) in told.shoots.iter().zip(shoots) {
        heading(&mut page, &shoot.path);
        let facts = [count(shoot.stills, "still"), bytes(shoot.bytes), size(shoot), days(shoot)];
        paragraph(&mut page, "", &facts.join(", "));
        strip(&mut page, found, watch)?;
        if shoot.raw > 0 {
            paragraph(&mut page, "q", &format!("beside {}, which are not read", count(shoot.raw, "raw file")));
        }
        if !shoot.scripts.is_empty() {
            paragraph(&mut page, "q", &format!("scripts: {}", shoot.scripts.join(", ")));
        }
        if !shoot.receipts.is_empty() {
            paragraph(&mut page, "q", &format!("clips: {}", shoot.receipts.join(", ")));
        }
    }
    if !told.videos.is_empty() {
        heading(&mut page, "Videos without a receipt");
        let rows = told.videos.iter().map(|video| [video.path.clone(), bytes(video.bytes), video.words()]);
        table(&mut page, ["file", "size", ""], rows);
    }
    if !told.scripts.is_empty() {
        heading(&mut page, "Scripts");
        let rows = told.scripts.iter().map(|script| {
            let takes: Vec<&str> = script.sources.iter().map(|source| source.written.as_str()).collect();
            let makes = match &script.first_mistake {
                Some(first) => format!("{}: {first}", count(script.mistakes, "mistake")),
                None => script.deliveries.join(", "),
            };
            [script.path.clone(), takes.join(", "), makes]
        });
        table(&mut page, ["script", "takes", "makes"], rows);
    }
    for render in &told.renders {
        heading(&mut page, &render.receipt);
        let is_wrong = render.wrong.is_some() || render.state() == "NOT AS RENDERED";
        let made = render.made.as_deref().map_or_else(String::new, |made| format!(", made {made}"));
        paragraph(&mut page, if is_wrong { "w" } else { "" }, &format!("{}{made}", render.state()));
        if let Some(wrong) = &render.wrong {
            let what = if render.seal == Seal::Edited { "edited since" } else { "no receipt that can be read" };
            paragraph(&mut page, "q", &format!("{what}: {wrong}"));
            continue;
        }
        let rows = render.clips.iter().map(|clip| {
            [
                clip.file.path.clone(),
                bytes(clip.bytes),
                format!("{} x {}", clip.width, clip.height),
                format!("{} at {}", clip.frames, clip.rate_in_words()),
                clip.file.state.words().to_owned(),
            ]
        });
        table(&mut page, ["clip", "size", "frame", "frames", "is"], rows);
        paragraph(&mut page, "q", &format!("stills: {}", render.stills_in_words()));
        if let Some(script) = &render.script {
            paragraph(&mut page, "q", &format!("script {}: {}", script.path, script.state.words()));
        }
    }
    if !told.passed_over.is_empty() {
        heading(&mut page, "Passed over");
        table(&mut page, ["path", "why"], told.passed_over.iter().map(|one| [one.path.clone(), one.why.clone()]));
    }
    if !told.hashed && !told.renders.is_empty() {
        paragraph(&mut page, "q", "Held against receipts by presence and size only: with --hash all bytes are read.");
    }
    Ok(page + "</body>\n</html>\n")
}

/// Some stills of a shoot, evenly; those that cannot be decoded are left out.
fn strip(page: &mut String, shoot: &Found, watch: &Watch) -> Result<(), Failure> {
    let last = shoot.stills.len().saturating_sub(1);
    let mut decoder = Decoder::new();
    let mut places: Vec<usize> = (0..SHOWN).map(|part| last * part / (SHOWN - 1)).collect();
    places.dedup();
    *page += "<div class=\"strip\">";
    for place in places {
        stopped(watch)?;
        let path = &shoot.stills[place];
        let Some((image, size)) = small(&mut decoder, path) else { continue };
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let image = base64::engine::general_purpose::STANDARD.encode(image);
        let _infallible = write!(
            page,
            "<img src=\"data:image/jpeg;base64,{image}\" width=\"{}\" height=\"{}\" alt=\"{name}\" title=\"{name}\">",
            size.width,
            size.height,
            name = text(&name)
        );
    }
    *page += "</div>\n";
    Ok(())
}

/// A still in small, as a JPEG.
fn small(decoder: &mut Decoder, path: &Path) -> Option<(Vec<u8>, Size)> {
    let still = header::read(path).ok()?.still(path);
    let scale = denominator(still.stored, LONGER_SIDE);
    let mut picture = decoder.decode(&still, Want::Rgb { scale }, None).ok()?;
    if scale == MOST_SCALED {
        picture = reduced(&picture, denominator(picture.size, LONGER_SIDE), None);
    }
    Some((jpeg::encode_rgb(&interleaved(&picture)?, picture.size, 78, (2, 2), &[]), picture.size))
}

/// R'G'B' of 8 bits, pixel by pixel; of a grey picture three times its one plane.
fn interleaved(picture: &Picture) -> Option<Vec<u8>> {
    let plane = |index: usize| {
        let plane = picture.planes.get(index).or(picture.planes.first())?;
        match &plane.samples {
            Samples::Eight(samples) => Some((samples, plane.stride)),
            Samples::Sixteen(_) => None,
        }
    };
    let planes = [plane(0)?, plane(1)?, plane(2)?];
    let (width, height) = (picture.size.width as usize, picture.size.height as usize);
    let mut rgb = Vec::with_capacity(3 * width * height);
    for y in 0..height {
        for x in 0..width {
            rgb.extend(planes.map(|(samples, stride)| samples[y * stride + x]));
        }
    }
    Some(rgb)
}

fn heading(page: &mut String, heading: &str) {
    let _infallible = writeln!(page, "<h2>{}</h2>", text(heading));
}

fn paragraph(page: &mut String, class: &str, words: &str) {
    let _infallible = match class {
        "" => writeln!(page, "<p>{}</p>", text(words)),
        _ => writeln!(page, "<p class=\"{class}\">{}</p>", text(words)),
    };
}

fn table<const COLUMNS: usize>(
    page: &mut String,
    head: [&str; COLUMNS],
    rows: impl Iterator<Item = [String; COLUMNS]>,
) {
    *page += "<table><tr>";
    head.iter().for_each(|cell| *page += &format!("<th>{}</th>", text(cell)));
    *page += "</tr>\n";
    for row in rows {
        *page += "<tr>";
        row.iter().for_each(|cell| *page += &format!("<td>{}</td>", text(cell)));
        *page += "</tr>\n";
    }
    *page += "</table>\n";
}

/// A text as a page has it: what HTML gives a meaning is escaped, and so is what cannot be seen.
fn text(words: &str) -> String {
    let mut escaped = String::with_capacity(words.len());
    for letter in fit(words).chars() {
        match letter {
            '&' => escaped += "&amp;",
            '<' => escaped += "&lt;",
            '>' => escaped += "&gt;",
            '"' => escaped += "&quot;",
            '\'' => escaped += "&#39;",
            letter => escaped.push(letter),
        }
    }
    escaped
}
