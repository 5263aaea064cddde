//! A camera for the tests: small stills of every kind with EXIF blocks put together here, byte by byte (Exif 2.31, TIFF
//! 6.0), and never by the code under test.

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use image::{DynamicImage, ImageFormat, RgbImage};
use stillpath::diag::Diagnostics;
use stillpath::shoot::{Content, Damage, Shoot};
use stillpath::survey::{Request, survey};
use tempfile::TempDir;

/// A picture of this size that says what `mark` it has.
pub(crate) fn picture(width: u32, height: u32, mark: u8) -> DynamicImage {
    let pixel =
        |x: u32, y: u32| image::Rgb([u8::try_from(x * 7 % 256).unwrap(), u8::try_from(y * 5 % 256).unwrap(), mark]);
    DynamicImage::ImageRgb8(RgbImage::from_fn(width, height, pixel))
}

/// The bytes of that picture in a format.
pub(crate) fn encoded(width: u32, height: u32, mark: u8, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture(width, height, mark).write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

/// What a still's EXIF block says.
#[derive(Default, Clone)]
pub(crate) struct Tags<'a> {
    pub(crate) taken: Option<&'a str>,
    pub(crate) fraction: Option<&'a str>,
    pub(crate) offset: Option<&'a str>,
    pub(crate) orientation: Option<u16>,
    pub(crate) model: Option<&'a str>,
    pub(crate) serial: Option<&'a str>,
}

impl Tags<'_> {
    /// The block from its TIFF header on: little-endian, IFD0 with the orientation, an Exif IFD with the times.
    pub(crate) fn block(&self) -> Vec<u8> {
        self.with_directory(&[])
    }

    /// A grey TIFF of one strip with these tags.
    pub(crate) fn tiff(&self, width: u32, height: u32) -> Vec<u8> {
        let count = width * height;
        let directory = |strip| {
            [
                (0x100, 4, width),
                (0x101, 4, height),
                (0x102, 3, 8),
                (0x103, 3, 1),
                (0x106, 3, 1),
                (0x111, 4, strip),
                (0x115, 3, 1),
                (0x116, 4, height),
                (0x117, 4, count),
            ]
        };
        let strip = u32::try_from(self.with_directory(&directory(0)).len()).unwrap();
        let mut out = self.with_directory(&directory(strip));
        out.extend(std::iter::repeat_n(100, usize::try_from(count).unwrap()));
        out
    }

    fn with_directory(&self, more: &[(u16, u16, u32)]) -> Vec<u8> {
        let fields = [(0x9003, self.taken), (0x9011, self.offset), (0x9291, self.fraction), (0xA431, self.serial)];
        let texts: Vec<(u16, String)> =
            fields.into_iter().filter_map(|(tag, text)| Some((tag, format!("{}\0", text?)))).collect();
        let mut entries: Vec<(u16, u16, u32)> = more.to_vec();
        entries.push((0x0112, 3, self.orientation.unwrap_or(1).into()));
        let model = self.model.map(|model| format!("{model}\0")).unwrap_or_default();
        let mut sub = 8 + 2 + (u32::try_from(entries.len()).unwrap() + 1) * 12 + 4;
        if !model.is_empty() {
            // The model stands between the two directories.
            sub += 12;
            assert!(model.len() > 4, "a name that would lie in the entry itself");
            entries.push((0x0110, 2, sub));
            sub += u32::try_from(model.len()).unwrap();
        }
        entries.push((0x8769, 4, sub));
        entries.sort_unstable();
        let mut out = b"II*\0\x08\0\0\0".to_vec();
        out.extend(u16::try_from(entries.len()).unwrap().to_le_bytes());
        for (tag, kind, value) in entries {
            let count = if tag == 0x0110 { u32::try_from(model.len()).unwrap() } else { 1 };
            entry(&mut out, tag, kind, count, value);
        }
        out.extend(0_u32.to_le_bytes());
        out.extend(model.as_bytes());
        let mut data = sub + 2 + u32::try_from(texts.len()).unwrap() * 12 + 4;
        let mut heap = Vec::new();
        out.extend(u16::try_from(texts.len()).unwrap().to_le_bytes());
        for (tag, text) in &texts {
            let count = u32::try_from(text.len()).unwrap();
            if count <= 4 {
                let mut inline = [0; 4];
                inline[..text.len()].copy_from_slice(text.as_bytes());
                entry(&mut out, *tag, 2, count, u32::from_le_bytes(inline));
            } else {
                entry(&mut out, *tag, 2, count, data);
                heap.extend_from_slice(text.as_bytes());
                data += count;
            }
        }
        out.extend(0_u32.to_le_bytes());
        out.extend(heap);
        out
    }

    /// A JPEG with this block behind its start marker.
    pub(crate) fn jpeg(&self, width: u32, height: u32, mark: u8) -> Vec<u8> {
        let plain = encoded(width, height, mark, ImageFormat::Jpeg);
        let block = self.block();
        let mut out = plain[..2].to_vec();
        out.extend(b"\xff\xe1");
        out.extend(u16::try_from(block.len() + 8).unwrap().to_be_bytes());
        out.extend(b"Exif\0\0");
        out.extend(block);
        out.extend(&plain[2..]);
        out
    }
}

fn entry(out: &mut Vec<u8>, tag: u16, kind: u16, count: u32, value: u32) {
    out.extend(tag.to_le_bytes());
    out.extend(kind.to_le_bytes());
    out.extend(count.to_le_bytes());
    out.extend(value.to_le_bytes());
}

/// `seconds` after noon of 1 May 2026, as EXIF writes it.
pub(crate) fn noon_plus(seconds: u32) -> String {
    let of_day = 12 * 3600 + seconds;
    format!("2026:05:{:02} {:02}:{:02}:{:02}", 1 + of_day / 86_400, of_day / 3600 % 24, of_day / 60 % 60, of_day % 60)
}

/// A folder that goes when the test ends.
pub(crate) struct Card {
    dir: TempDir,
}

impl Card {
    pub(crate) fn new() -> Self {
        Self { dir: tempfile::tempdir().unwrap() }
    }

    pub(crate) fn path(&self) -> &Path {
        self.dir.path()
    }

    /// Writes a file, long enough ago that nobody takes it for one still being written.
    pub(crate) fn put(&self, name: impl AsRef<Path>, bytes: &[u8]) -> PathBuf {
        let path = self.dir.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, bytes).unwrap();
        let file = fs::File::options().write(true).open(&path).unwrap();
        file.set_modified(SystemTime::now() - Duration::from_secs(3600)).unwrap();
        path
    }

    /// A small still taken so many seconds after noon.
    pub(crate) fn still(&self, name: &str, seconds: u32) -> PathBuf {
        let taken = noon_plus(seconds);
        let mark = u8::try_from(name.bytes().map(u32::from).sum::<u32>() % 251).unwrap();
        self.put(name, &Tags { taken: Some(&taken), ..Tags::default() }.jpeg(48, 32, mark))
    }

    /// Stills of these names, 5 s apart.
    pub(crate) fn stills<S: AsRef<str>>(&self, names: impl IntoIterator<Item = S>) {
        for (at, name) in names.into_iter().enumerate() {
            self.still(name.as_ref(), u32::try_from(at).unwrap() * 5);
        }
    }

    /// A small still that does not tell its time.
    pub(crate) fn timeless(&self, name: &str) -> PathBuf {
        let mark = u8::try_from(name.bytes().map(u32::from).sum::<u32>() % 251).unwrap();
        self.put(name, &encoded(48, 32, mark, ImageFormat::Jpeg))
    }

    pub(crate) fn survey(&self) -> Result<Shoot, Diagnostics> {
        self.survey_of(&["."])
    }

    pub(crate) fn survey_of(&self, paths: &[&str]) -> Result<Shoot, Diagnostics> {
        let paths = paths.iter().map(|path| (*path).to_owned()).collect();
        survey(&Request {
            base: self.dir.path().to_owned(),
            paths,
            obey_orientation: true,
            pairs: stillpath::shot::Pairs::Stop,
            camera: None,
        })
    }

    pub(crate) fn shoot(&self) -> Shoot {
        self.survey().unwrap_or_else(|mistakes| panic!("{}", words(&mistakes)))
    }
}

/// Names of all slots in order; `-` before a missing one, `!` before a damaged one.
pub(crate) fn slots(shoot: &Shoot) -> Vec<String> {
    let mark = |content: &Content| match content {
        Content::Whole(_) => "",
        Content::Damaged { .. } => "!",
        Content::Missing => "-",
    };
    shoot.slots.iter().map(|slot| format!("{}{}", mark(&slot.content), slot.name)).collect()
}

/// What is wrong with the still of this name.
pub(crate) fn damage<'a>(shoot: &'a Shoot, name: &str) -> &'a Damage {
    let slot = shoot.slots.iter().find(|slot| slot.name == name).unwrap();
    match &slot.content {
        Content::Damaged { damage, .. } => damage,
        other => panic!("{name} is {other:?}"),
    }
}

/// All notes, a line each.
pub(crate) fn notes(shoot: &Shoot) -> String {
    shoot.notes.iter().map(|note| format!("{}\n", note.message)).collect()
}

/// All messages and help, a line each.
pub(crate) fn words(mistakes: &Diagnostics) -> String {
    let lines = mistakes.0.iter().flat_map(|mistake| std::iter::once(&mistake.message).chain(&mistake.help));
    lines.map(|line| format!("{line}\n")).collect()
}
