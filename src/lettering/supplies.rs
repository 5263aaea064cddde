//! Reads the fonts and pictures that stamps name.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::sync::{Arc, LazyLock, Mutex, OnceLock, PoisonError};

use image::{ImageError, ImageReader, Limits};
use resvg::usvg::fontdb;
use ttf_parser::Face;

use crate::plan::{Font, Image, Typeface};
use crate::units::Size;

/// The letters that come with the program; `src/ink/fonts/LICENSE` says from where.
const OWN: &[u8] = include_bytes!("../ink/fonts/sans-semibold.otf");

/// Most bytes of a font or a picture file.
const LARGEST_FILE: u64 = 256 << 20;

/// Most pixels of a picture: more than a frame of 4096 by 2304 by far.
const MOST_PIXELS: u64 = 1 << 24;

static OWN_FONT: LazyLock<Font> = LazyLock::new(|| Font {
    name: "Stillpath Sans SemiBold".into(),
    blake3: blake3::hash(OWN).to_hex().to_string(),
    index: 0,
    bytes: OWN.into(),
});

/// Why a stamp cannot be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// A file is not what it should be.
    #[error("{}: {why}", crate::diag::path(path))]
    File {
        /// Which.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// No font has a letter.
    #[error("no font here has the letter '{}' (U+{:04X})", .0, u32::from(*.0))]
    Letter(char),
}

/// The fonts and pictures that the stamps of a script name, each read once.
#[derive(Debug, Default)]
pub struct Supplies {
    base: PathBuf,
    fonts: Mutex<BTreeMap<String, Result<Font, Trouble>>>,
    pictures: Mutex<BTreeMap<String, Result<Arc<Image>, Trouble>>>,
    system: OnceLock<fontdb::Database>,
}

impl Supplies {
    /// For a script in this folder.
    #[must_use]
    pub fn of(base: &Path) -> Self {
        Self { base: base.to_owned(), ..Self::default() }
    }

    /// Fonts that have all of these letters, the one in the file `font` foremost where there is one.
    ///
    /// # Errors
    /// [`Trouble`] where the file is no font, or a letter is in none.
    pub fn typeface(&self, font: Option<&str>, letters: &BTreeSet<char>) -> Result<Typeface, Trouble> {
        let own = OWN_FONT.clone();
        let mut fonts = match font {
            None => Vec::new(),
            Some(path) => {
                let mut known = self.fonts.lock().unwrap_or_else(PoisonError::into_inner);
                vec![known.entry(path.to_owned()).or_insert_with(|| self.font(path)).clone()?]
            }
        };
        let lacking = |fonts: &[Font]| -> BTreeSet<char> {
            let faces: Vec<Face<'_>> = fonts.iter().filter_map(face).collect();
            let has = |letter: char| faces.iter().any(|face| face.glyph_index(letter).is_some());
            letters.iter().copied().filter(|letter| is_drawn(*letter) && !has(*letter)).collect()
        };
        let mut missing = lacking(&fonts);
        if fonts.is_empty() || !missing.is_empty() {
            let before = missing.len();
            fonts.push(own);
            missing = lacking(&fonts);
            // One that would add nothing is no part of the plan.
            if fonts.len() > 1 && missing.len() == before {
                fonts.pop();
            }
        }
        while let Some(letter) = missing.first().copied() {
            fonts.push(self.system_font(letter).ok_or(Trouble::Letter(letter))?);
            missing = lacking(&fonts);
        }
        Ok(Typeface { fonts })
    }

    /// A picture file, decoded.
    ///
    /// # Errors
    /// [`Trouble`] where it cannot be.
    pub fn picture(&self, path: &str) -> Result<Arc<Image>, Trouble> {
        let mut known = self.pictures.lock().unwrap_or_else(PoisonError::into_inner);
        known.entry(path.to_owned()).or_insert_with(|| self.decode(path).map(Arc::new)).clone()
    }

    fn read(&self, path: &str) -> Result<(PathBuf, Vec<u8>), Trouble> {
        let path = self.base.join(path);
        let refused = |why: String| Trouble::File { path: path.clone(), why };
        let there = std::fs::metadata(&path).map_err(|error| refused(error.to_string()))?;
        if !there.is_file() {
            return Err(refused("this is no file".into()));
        }
        if there.len() > LARGEST_FILE {
            return Err(refused(format!("a file of {} bytes is too large; at most {LARGEST_FILE}", there.len())));
        }
        let bytes = std::fs::read(&path).map_err(|error| refused(error.to_string()))?;
        Ok((path, bytes))
    }

    fn font(&self, path: &str) -> Result<Font, Trouble> {
        let (path, bytes) = self.read(path)?;
        let face = Face::parse(&bytes, 0).map_err(|error| Trouble::File {
            path: path.clone(),
            why: format!("this is no font of a kind that is read (TTF, OTF, TTC): {error}"),
        })?;
        // Widths and heights of letters are multiples of this.
        let (ascender, descender) = (i32::from(face.ascender()), i32::from(face.descender()));
        if ascender <= descender || face.number_of_glyphs() < 2 {
            return Err(Trouble::File { path, why: "this font has no letters, or no height".into() });
        }
        let name = face.names().into_iter().filter(|name| name.name_id == ttf_parser::name_id::FULL_NAME);
        let name = name.filter_map(|name| name.to_string()).next();
        let file = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let blake3 = blake3::hash(&bytes).to_hex().to_string();
        Ok(Font { name: crate::diag::fit(&name.unwrap_or(file)).into_owned(), blake3, index: 0, bytes: bytes.into() })
    }

    /// The first of the system's fonts, by name, that has a letter; upright ones before slanted ones.
    fn system_font(&self, letter: char) -> Option<Font> {
        let system = self.system.get_or_init(|| {
            let mut fonts = fontdb::Database::new();
            fonts.load_system_fonts();
            fonts
        });
        let mut faces: Vec<&fontdb::FaceInfo> = system.faces().collect();
        faces.sort_by_key(|face| {
            let weight = face.weight.0.abs_diff(fontdb::Weight::SEMIBOLD.0);
            (face.style != fontdb::Style::Normal, weight, &face.post_script_name, face.index)
        });
        faces.into_iter().find_map(|info| {
            system.with_face_data(info.id, |bytes, index| {
                let has = Face::parse(bytes, index).ok().is_some_and(|face| face.glyph_index(letter).is_some());
                has.then(|| Font {
                    name: info.post_script_name.clone(),
                    blake3: blake3::hash(bytes).to_hex().to_string(),
                    index,
                    bytes: bytes.into(),
                })
            })?
        })
    }

    fn decode(&self, path: &str) -> Result<Image, Trouble> {
        let (file, bytes) = self.read(path)?;
        let refused = |why: String| Trouble::File { path: file.clone(), why };
        let unread = |error: ImageError| match error {
            ImageError::Unsupported(_) => {
                refused("this is no picture of a kind that is read (PNG, WebP, TIFF, JPEG)".into())
            }
            other => refused(format!("this picture cannot be decoded: {other}")),
        };
        let open = || ImageReader::new(Cursor::new(&bytes)).with_guessed_format();
        let (width, height) = open().map_err(|error| refused(error.to_string()))?.into_dimensions().map_err(unread)?;
        let size = Size::new(width, height);
        if size.pixels() > MOST_PIXELS {
            return Err(refused(format!("a stamp's picture has at most {MOST_PIXELS} pixels; this has {size}")));
        }
        let mut reader = open().map_err(|error| refused(error.to_string()))?;
        let mut limits = Limits::no_limits();
        limits.max_alloc = Some(MOST_PIXELS * 16);
        reader.limits(limits);
        let rgba = reader.decode().map_err(unread)?.into_rgba8();
        if rgba.pixels().all(|pixel| pixel.0[3] == 0) {
            return Err(refused("nothing of this picture is to be seen: all of it is clear".into()));
        }
        let blake3 = blake3::hash(&bytes).to_hex().to_string();
        Ok(Image { picture: path.to_owned(), blake3, size, rgba: rgba.into_raw().into() })
    }
}

/// Whether a letter is drawn at all: spaces, marks of direction and the like are not.
fn is_drawn(letter: char) -> bool {
    let is_mark = matches!(letter, '\u{ad}' | '\u{34f}' | '\u{200b}'..='\u{200f}' | '\u{2060}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}');
    !(letter.is_control() || letter.is_whitespace() || is_mark)
}

/// A font's outlines.
pub(super) fn face(font: &Font) -> Option<Face<'_>> {
    Face::parse(&font.bytes, font.index).ok()
}
