//! HEIC, AVIF and WebP that decode in silence although their data are wrong: told by the stills beside them, the truth
//! known.
//!
//! Encoders that are not ours: libx265 (`heif-enc`), libaom (`avifenc`) and libwebp (FFmpeg). A case counts where
//! samples differ by more than 8 codes over more than 0.5 % of a plane, and where decoding says nothing.

#![expect(clippy::print_stdout, reason = "measured figures are what this test is run for")]

use std::path::{Path, PathBuf};

use stillpath::decode::{Decoder, Want, header};
use stillpath::integrity::{Means, judge};
use stillpath::picture::{Picture, Samples};
use stillpath::shoot::Still;
use stillpath::units::Size;

use super::Folder;
use super::astray::{Chance, Scene, beside, footage, photograph};
use super::heif::{Grid, grid, text, tool};

/// Side of a tile of a HEIC as cameras write it; and what is shown of three by two of them.
const TILE: u32 = 256;
const GRID: (u8, u8) = (3, 2);

/// Writes one still in a format.
type Write<'a> = &'a dyn Fn(&Folder, &[u8], Size, &Path);

fn png(folder: &Folder, rgb: &[u8], size: Size) -> PathBuf {
    let path = folder.path().join("scene.png");
    image::save_buffer(&path, rgb, size.width, size.height, image::ExtendedColorType::Rgb8).unwrap();
    path
}

fn avif(folder: &Folder, rgb: &[u8], size: Size, path: &Path) {
    let png = png(folder, rgb, size);
    tool("avifenc", &["-s", "10", "-y", "420", "--min", "20", "--max", "20", text(&png), "-o", text(path)]);
}

fn webp(folder: &Folder, rgb: &[u8], size: Size, path: &Path) {
    let png = png(folder, rgb, size);
    tool("ffmpeg", &["-v", "error", "-y", "-i", text(&png), "-c:v", "libwebp", "-quality", "80", text(path)]);
}

/// A grid of tiles, each coded from its first row to its last without entry points between.
fn heic(folder: &Folder, rgb: &[u8], size: Size, path: &Path) {
    let whole = image::RgbImage::from_raw(size.width, size.height, rgb.to_vec()).unwrap();
    let tiles: Vec<PathBuf> = (0..u32::from(GRID.0) * u32::from(GRID.1))
        .map(|index| {
            let (left, top) = (index % u32::from(GRID.0) * TILE, index / u32::from(GRID.0) * TILE);
            let tile = image::RgbImage::from_fn(TILE, TILE, |x, y| {
                *whole.get_pixel((left + x).min(size.width - 1), (top + y).min(size.height - 1))
            });
            let (png, heic) = (folder.path().join("tile.png"), folder.path().join(format!("tile{index}.heic")));
            tile.save(&png).unwrap();
            tool(
                "heif-enc",
                &["-q", "70", "-p", "preset=ultrafast", "-p", "x265:wpp=0", text(&png), "-o", text(&heic)],
            );
            heic
        })
        .collect();
    let [width, height] = [size.width, size.height].map(|side| u16::try_from(side).unwrap());
    let told = Grid { columns: GRID.0, rows: GRID.1, width, height, tile: TILE, properties: Vec::new(), exif: &[] };
    std::fs::write(path, grid(&tiles, &told)).unwrap();
}

fn still(path: &Path) -> Option<Still> {
    Some(header::read(path).ok()?.still(path))
}

fn means(decoder: &mut Decoder, path: &Path) -> Option<Means> {
    decoder.means_of(&still(path)?).ok()?
}

/// The largest share of a plane's samples that differ by more than 8 codes.
fn wrong(seen: &Picture, due: &Picture) -> f64 {
    let planes = seen.planes.iter().zip(&due.planes).map(|(seen, due)| {
        let (Samples::Eight(seen), Samples::Eight(due)) = (&seen.samples, &due.samples) else { panic!("8 bits") };
        let differs = seen.iter().zip(due).filter(|(seen, due)| seen.abs_diff(**due) > 8).count();
        differs as f64 / seen.len() as f64
    });
    planes.fold(0.0, f64::max)
}

/// How many damaged stills are named of how many that decode in silence and are wrong; no whole one is.
fn named(extension: &str, write: Write<'_>, scenes: &[&Scene]) -> (usize, usize) {
    let (folder, mut decoder, mut chance) = (Folder::new(), Decoder::new(), Chance(5));
    let (mut told, mut all) = (0, 0);
    for scene in scenes {
        let size = Size::new(640, 480);
        let files: Vec<PathBuf> = (0..scene.stills.len())
            .map(|at| {
                let path = folder.path().join(format!("{at}.{extension}"));
                let base =
                    image::RgbImage::from_raw(scene.size.width, scene.size.height, scene.stills[at].clone()).unwrap();
                let cut = image::imageops::crop_imm(&base, 0, 0, size.width, size.height).to_image();
                write(&folder, cut.as_raw(), size, &path);
                path
            })
            .collect();
        let whole: Vec<Means> = files.iter().map(|path| means(&mut decoder, path).unwrap()).collect();
        for at in 0..files.len() {
            let [before, after] = beside(at, files.len());
            let said = judge(&whole[at], &whole[before], &whole[after]);
            assert!(said.is_none(), "whole still {at} of {extension}: {said:?}");
        }
        for _ in 0..25 {
            let at = chance.below(files.len());
            let mut bytes = std::fs::read(&files[at]).unwrap();
            let count = chance.one_of(&[4, 40, 400]);
            let from = bytes.len() / 8 + chance.below(bytes.len() * 7 / 8 - count);
            bytes[from..from + count].iter_mut().for_each(|byte| *byte = chance.next().to_le_bytes()[0]);
            let path = folder.path().join(format!("spoilt.{extension}"));
            std::fs::write(&path, bytes).unwrap();
            let mut decoded = |path: &Path| decoder.decode(&still(path)?, Want::rows(0..size.height), None).ok();
            let (Some(seen), Some(due)) = (decoded(&path), decoded(&files[at])) else { continue };
            if wrong(&seen, &due) <= 0.005 {
                continue;
            }
            let [before, after] = beside(at, files.len());
            all += 1;
            told += usize::from(judge(&means(&mut decoder, &path).unwrap(), &whole[before], &whole[after]).is_some());
        }
    }
    println!("{extension}: {told} of {all} that decode in silence are named");
    (told, all)
}

#[test]
fn what_other_codecs_make_up_from_wrong_bytes_is_told_by_the_stills_beside_it() {
    let (photograph, footage) = (photograph(8, 9), footage(12, 8));
    let writers: [(&str, Write<'_>, usize); 3] = [("avif", &avif, 55), ("webp", &webp, 40), ("heic", &heic, 55)];
    for (extension, write, least) in writers {
        let (told, all) = named(extension, write, &[&photograph, &footage]);
        assert!(all >= 10, "only {all} cases of {extension} to tell");
        assert!(told * 100 >= all * least, "{told} of {all} of {extension}");
    }
}
