//! HEIC and AVIF against the decoders of others: libde265 (`libde265-dec265`) and libavif with libaom (`avifdec`) for
//! every code, libheif (`heif-convert`) for turns, crops and tiles: it goes through R'G'B' on the way, so its codes are
//! near and not the same. The files are made by `heif-enc` and `avifenc`, but for grids of HEIC tiles, whose container
//! is put together here from tiles of `heif-enc` (ISO/IEC 23008-12, 6.6.2.3); libheif reads those too.

mod boxes;
mod container;
mod damage;
mod planes;

use std::path::{Path, PathBuf};
use std::process::Command;

use stillpath::decode::header::{self, Header};
use stillpath::decode::{Decoder, Want};
use stillpath::picture::{Picture, Samples};
use stillpath::shoot::{Damage, Still};
use stillpath::units::Size;

pub(super) use boxes::{Grid, grid};

use super::{Folder, scene};

/// Runs a tool that is not ours.
pub(super) fn tool(program: &str, arguments: &[&str]) {
    let ran = Command::new(program).args(arguments).output();
    let ran =
        ran.unwrap_or_else(|error| panic!("{program} is needed for this test ({error}): sh scripts/test installs it"));
    let said = [ran.stdout, ran.stderr].concat();
    assert!(ran.status.success(), "{program} {arguments:?}: {}", String::from_utf8_lossy(&said));
}

pub(super) fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

impl Folder {
    /// A scene as a PNG of 8 bits a sample.
    fn png(&self, size: Size) -> PathBuf {
        let path = self.path().join("scene.png");
        image::save_buffer(&path, &scene(size, 3), size.width, size.height, image::ExtendedColorType::Rgb8).unwrap();
        path
    }

    /// A HEIC of a scene.
    fn heic(&self, size: Size, arguments: &[&str]) -> PathBuf {
        let (png, heic) = (self.png(size), self.path().join("still.heic"));
        tool("heif-enc", &[arguments, &["-p", "preset=ultrafast", text(&png), "-o", text(&heic)]].concat());
        heic
    }

    /// An AVIF of a scene.
    fn avif(&self, size: Size, arguments: &[&str]) -> PathBuf {
        let (png, avif) = (self.png(size), self.path().join("still.avif"));
        tool("avifenc", &[&["-s", "9"], arguments, &[text(&png), "-o", text(&avif)]].concat());
        avif
    }

    /// What `heif-convert` makes of a file: 4:2:0 of 8 bits, cropped and turned.
    fn by_libheif(&self, file: &Path) -> Y4m {
        let out = self.path().join("libheif.y4m");
        tool("heif-convert", &["--quiet", text(file), text(&out)]);
        Y4m::read(&out)
    }

    /// What libde265 makes of the one picture in a file of `heif-enc`, as coded: 4:2:0.
    fn by_libde265(&self, file: &Path, size: Size, bits: u32) -> Y4m {
        let (stream, out) = (self.path().join("still.hevc"), self.path().join("libde265.yuv"));
        std::fs::write(&stream, boxes::stream(&std::fs::read(file).unwrap())).unwrap();
        tool("libde265-dec265", &["-q", "-o", text(&out), text(&stream)]);
        let kind = if bits > 8 { "420p10" } else { "420" };
        let head = format!("YUV4MPEG2 W{} H{} C{kind}\nFRAME\n", size.width, size.height);
        Y4m::of(&[head.as_bytes(), &std::fs::read(&out).unwrap()].concat())
    }

    /// What `avifdec` makes of a file, as coded, neither cropped nor turned.
    fn by_libavif(&self, file: &Path) -> Y4m {
        let out = self.path().join("libavif.y4m");
        tool("avifdec", &["-c", "aom", text(file), text(&out)]);
        Y4m::read(&out)
    }
}

/// A picture as YUV4MPEG2: planes without padding, codes as they are.
struct Y4m {
    size: Size,
    planes: Vec<Vec<u16>>,
}

impl Y4m {
    fn read(path: &Path) -> Self {
        Self::of(&std::fs::read(path).unwrap())
    }

    fn of(bytes: &[u8]) -> Self {
        let end = bytes.iter().position(|byte| *byte == b'\n').unwrap();
        let words: Vec<&str> = std::str::from_utf8(&bytes[..end]).unwrap().split(' ').collect();
        let field = |letter: char| words.iter().skip(1).find_map(|word| word.strip_prefix(letter)).unwrap_or_default();
        let size = Size::new(field('W').parse().unwrap(), field('H').parse().unwrap());
        let kind = field('C');
        let (across, down, planes) = match kind {
            _ if kind.starts_with("444") => (1, 1, 3),
            _ if kind.starts_with("422") => (2, 1, 3),
            _ if kind.starts_with("mono") => (1, 1, 1),
            _ => (2, 2, 3),
        };
        let deep = ["p10", "p12", "mono10", "mono12"].iter().any(|end| kind.ends_with(end));
        let mut rest = bytes[end + 1..].strip_prefix(b"FRAME\n").unwrap();
        let mut take = |width: u32, height: u32| {
            let count = width as usize * height as usize * if deep { 2 } else { 1 };
            let (taken, after) = rest.split_at(count);
            rest = after;
            if deep {
                taken.chunks(2).map(|word| u16::from_le_bytes([word[0], word[1]])).collect()
            } else {
                taken.iter().map(|byte| u16::from(*byte)).collect()
            }
        };
        let shape = |plane| {
            if plane == 0 {
                (size.width, size.height)
            } else {
                (size.width.div_ceil(across), size.height.div_ceil(down))
            }
        };
        let planes = (0..planes)
            .map(|plane| {
                let (width, height) = shape(plane);
                take(width, height)
            })
            .collect();
        Self { size, planes }
    }
}

/// A plane's samples without padding, as they stand.
fn samples(picture: &Picture, plane: usize) -> Vec<u16> {
    let plane = &picture.planes[plane];
    let (width, height) = (plane.width as usize, plane.height as usize);
    match &plane.samples {
        Samples::Eight(samples) => samples
            .chunks(plane.stride)
            .take(height)
            .flat_map(|row| row[..width].iter().map(|code| u16::from(*code)))
            .collect(),
        Samples::Sixteen(samples) => {
            samples.chunks(plane.stride).take(height).flat_map(|row| row[..width].to_vec()).collect()
        }
    }
}

/// Asserts that two planes show the same but for rounding: a picture turned, moved or cut otherwise is tens of codes
/// off.
fn assert_near(seen: &[u16], due: &[u16], what: &str) {
    assert_eq!(seen.len(), due.len(), "{what}");
    let off: u64 = seen.iter().zip(due).map(|(seen, due)| u64::from(seen.abs_diff(*due))).sum();
    #[expect(clippy::cast_precision_loss, reason = "small pictures")]
    let mean = off as f64 / seen.len() as f64;
    assert!(mean < 1.5, "{what}: {mean:.2} codes off in the mean");
}

/// A file's header, which must be readable.
fn header_of(path: &Path) -> Header {
    header::read(path).unwrap_or_else(|refused| panic!("{}: {}", path.display(), refused.damage))
}

/// The still that a file's header describes.
fn still(path: &Path) -> Still {
    header_of(path).still(path)
}

/// A file decoded, upright.
fn decoded(path: &Path) -> Picture {
    let still = still(path);
    let height = still.orientation.upright(still.stored).height;
    Decoder::new()
        .decode(&still, Want::rows(0..height), None)
        .unwrap_or_else(|damage| panic!("{}: {damage}", path.display()))
}

/// What is wrong with a file, be it by its header or only by decoding it.
fn damage_of(path: &Path) -> Option<Damage> {
    match header::read(path) {
        Err(refused) => Some(refused.damage),
        Ok(_) => {
            let still = still(path);
            Decoder::new().decode(&still, Want::rows(0..still.orientation.upright(still.stored).height), None).err()
        }
    }
}
