//! Colours all the way through the program: bars and wide-gamut patches, from files to files.

use std::borrow::Cow;
use std::fs;
use std::io::Cursor;

use exif::experimental::Writer;
use exif::{Field, In, Tag, Value};
use moxcms::ColorProfile;
use stillpath::ffi::jpeg::{Coding, Colour, Encoding, encode};
use stillpath::units::Size;

use crate::common::Bench;
use crate::ffmpeg;

/// An 8-bit R'G'B' PNG; `set` completes what it says beside its pixels.
pub(crate) fn png_still<'a>(size: Size, rgb: &[u8], set: impl FnOnce(&mut png::Info<'a>)) -> Vec<u8> {
    let mut info = png::Info::with_size(size.width, size.height);
    (info.color_type, info.bit_depth) = (png::ColorType::Rgb, png::BitDepth::Eight);
    set(&mut info);
    let mut file = Vec::new();
    png::Encoder::with_info(&mut file, info).unwrap().write_header().unwrap().write_image_data(rgb).unwrap();
    file
}

/// An Exif segment that marks Adobe RGB as DCF's optional files do: uncalibrated, interoperability index `R03`.
pub(crate) fn adobe_rgb_segment() -> Vec<u8> {
    let field = |tag, value| Field { tag, ifd_num: In::PRIMARY, value };
    let fields = [
        field(Tag::ColorSpace, Value::Short(vec![0xFFFF])),
        field(Tag::InteroperabilityIndex, Value::Ascii(vec![b"R03".to_vec()])),
    ];
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut block = Cursor::new(Vec::new());
    writer.write(&mut block, false).unwrap();
    [b"Exif\0\0".to_vec(), block.into_inner()].concat()
}

/// A JPEG at the highest quality with all of its chroma.
fn jpeg_still(colour: Colour, size: Size, rgb: &[u8], markers: &[(u8, &[u8])]) -> Vec<u8> {
    encode(
        rgb,
        size,
        &Encoding { quality: 100, colour, subsampling: (1, 1), coding: Coding::Baseline, restart_rows: 0, markers },
    )
}

/// Patches of colour in rows.
struct Chart {
    columns: usize,
    patches: Vec<[u8; 3]>,
}

impl Chart {
    /// Pixels along the side of a patch, in the still; half as many in the frame.
    const PATCH: usize = 64;

    fn size(&self) -> Size {
        let rows = self.patches.len() / self.columns;
        Size::new((self.columns * Self::PATCH) as u32, (rows * Self::PATCH) as u32)
    }

    fn rgb(&self) -> Vec<u8> {
        let size = self.size();
        let patch = |x: usize, y: usize| self.patches[y / Self::PATCH * self.columns + x / Self::PATCH];
        (0..size.height as usize).flat_map(|y| (0..size.width as usize).flat_map(move |x| patch(x, y))).collect()
    }

    /// The colours that a 4:4:4 JPEG of this chart stores, as another decoder reads them (FFmpeg's, planes untouched)
    /// and JFIF 1.02 means them (BT.601's weights, full range). 8 bits of Y'CbCr cannot hold every colour: 100 % green
    /// comes with 1.15 codes of blue.
    fn stored_in(&self, jpeg: &[u8]) -> Vec<[f64; 3]> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("still.jpg");
        fs::write(&path, jpeg).unwrap();
        let planes = ffmpeg(
            "ffmpeg",
            &["-v", "error", "-i", path.to_str().unwrap(), "-pix_fmt", "yuvj444p", "-f", "rawvideo", "-"],
        );
        let (width, height) = (self.size().width as usize, self.size().height as usize);
        assert_eq!(planes.len(), 3 * width * height);
        let middle = |patch: usize, plane: usize| {
            let (x, y) = (
                patch % self.columns * Self::PATCH + Self::PATCH / 2,
                patch / self.columns * Self::PATCH + Self::PATCH / 2,
            );
            f64::from(planes[plane * width * height + y * width + x])
        };
        let patches = 0..self.patches.len();
        patches
            .map(|patch| {
                let (luma, cb, cr) = (middle(patch, 0), middle(patch, 1) - 128.0, middle(patch, 2) - 128.0);
                let green = luma - (0.114 * 1.772 * cb + 0.299 * 1.402 * cr) / 0.587;
                [luma + 1.402 * cr, green, luma + 1.772 * cb].map(|code| code.clamp(0.0, 255.0))
            })
            .collect()
    }

    /// A shoot of one still, and a script with an H.264 and a PNG delivery at half the still's size.
    fn shoot(&self, name: &str, bytes: &[u8]) -> Bench {
        let bench = Bench::new(0);
        fs::create_dir(bench.path("stills")).unwrap();
        fs::write(bench.path("stills").join(name), bytes).unwrap();
        let frame = format!("{{ {}, {} }}", self.size().width / 2, self.size().height / 2);
        bench.script(&format!(
            r#"return shot {{ source = stills {{ "stills" }}, fps = 24, pace = frames_per_still(3),
  deliveries = {{ delivery {{ "wide", frame = {frame} }}, delivery {{ "deep", frame = {frame}, codec = "png" }} }} }}"#
        ));
        bench.render().expect(0);
        bench
    }

    /// The pixels of the middle of a patch, away from the edges that resampling softens.
    fn middle(&self, patch: usize, seen: impl Fn(u32, u32) -> [f64; 3]) -> Vec<[f64; 3]> {
        let side = Self::PATCH as u32 / 2;
        let (left, top) = ((patch % self.columns) as u32 * side, (patch / self.columns) as u32 * side);
        let within = side / 4..3 * side / 4;
        within.clone().flat_map(|y| within.clone().map(move |x| (left + x, top + y))).map(|(x, y)| seen(x, y)).collect()
    }

    /// A frame of the PNG delivery, in 8-bit codes.
    fn deep(&self, bench: &Bench) -> impl Fn(u32, u32) -> [f64; 3] {
        let image = image::open(bench.path("clips/move-deep/000000.png")).unwrap().to_rgb16();
        move |x, y| image.get_pixel(x, y).0.map(|value| f64::from(value) / 257.0)
    }
}

/// White, yellow, cyan, green, magenta, red, blue, black; at 100 % and at 75 % (191 is the 8-bit code nearest to
/// 191.25).
fn bars() -> Chart {
    let bars = [[1, 1, 1], [1, 1, 0], [0, 1, 1], [0, 1, 0], [1, 0, 1], [1, 0, 0], [0, 0, 1], [0, 0, 0]];
    let patches = [255, 191].into_iter().flat_map(|level| bars.map(|bar| bar.map(|on: u8| on * level))).collect();
    Chart { columns: 8, patches }
}

/// The furthest any of these colours is from one, in any channel.
fn furthest(colours: &[[f64; 3]], meant: [f64; 3]) -> f64 {
    colours.iter().flat_map(|seen| seen.iter().zip(meant).map(|(seen, meant)| (seen - meant).abs())).fold(0.0, f64::max)
}

/// Whether every pixel of a bar is within 1 code of what the still stores in the PNG delivery, and every bar within 2
/// of what it should be in what FFmpeg makes of the H.264 file by its tags.
///
/// A bar's value is its mean there: dither and the encoder move single samples by a code, and a code of chroma is 2.1
/// of blue.
fn bars_hold(name: &str, bytes: &[u8], stored: &[[f64; 3]]) {
    let chart = bars();
    let bench = chart.shoot(name, bytes);
    let clip = bench.path("clips/move-wide.mp4");
    // No matrix, range or transfer is named here: FFmpeg goes by the file's tags.
    let how = ["-vf", "scale=flags=accurate_rnd+full_chroma_int", "-pix_fmt", "rgb24", "-f", "rawvideo", "-"];
    let decoded = ffmpeg("ffmpeg", &[&["-v", "error", "-i", clip.to_str().unwrap()], &how[..]].concat());
    let (width, height) = (chart.size().width as usize / 2, chart.size().height as usize / 2);
    assert_eq!(decoded.len(), 3 * 3 * width * height, "three frames");
    let deep = chart.deep(&bench);
    let mut failed = Vec::new();
    for (patch, rgb) in chart.patches.iter().enumerate() {
        let before = furthest(&chart.middle(patch, &deep), stored[patch]);
        let (mut after, mut single) = (0.0_f64, 0.0_f64);
        for picture in decoded.chunks_exact(3 * width * height) {
            let pixels = chart.middle(patch, |x, y| {
                let at = 3 * (y as usize * width + x as usize);
                [picture[at], picture[at + 1], picture[at + 2]].map(f64::from)
            });
            let mean =
                [0, 1, 2].map(|channel| pixels.iter().map(|pixel| pixel[channel]).sum::<f64>() / pixels.len() as f64);
            after = after.max(furthest(&[mean], rgb.map(f64::from)));
            single = single.max(furthest(&pixels, rgb.map(f64::from)));
        }
        println!(
            "{name} bar {rgb:?}: off by {before:.2} before the encoder, {after:.2} after it, single pixels {single:.0}"
        );
        if before > 1.0 || after > 2.0 || single > 4.0 {
            failed.push((rgb, before, after, single));
        }
    }
    assert!(failed.is_empty(), "{name}: {failed:?}");
}

#[test]
fn png_bars_come_back_as_they_were_by_the_tags_of_the_clip() {
    let chart = bars();
    let stored: Vec<[f64; 3]> = chart.patches.iter().map(|rgb| rgb.map(f64::from)).collect();
    bars_hold("LAPS0001.PNG", &png_still(chart.size(), &chart.rgb(), |_| ()), &stored);
}

#[test]
fn jpeg_bars_come_back_as_they_were_by_the_tags_of_the_clip() {
    let chart = bars();
    let bytes = jpeg_still(Colour::YCbCr, chart.size(), &chart.rgb(), &[]);
    bars_hold("LAPS0001.JPG", &bytes, &chart.stored_in(&bytes));
}

/// 8-bit R'G'B'; as sRGB where it is Adobe RGB (1998); as sRGB where it is Display P3. Exact from the published
/// primaries (D65, transfer functions of IEC 61966-2-1 and γ = 563/256); lcms 2.19 says the same but for one code.
const PATCHES: [([u8; 3], [u8; 3], [u8; 3]); 6] = [
    ([128, 128, 128], [129, 129, 129], [128, 128, 128]),
    ([51, 102, 153], [0, 102, 156], [27, 104, 157]),
    ([204, 77, 26], [235, 76, 12], [221, 64, 0]),
    ([128, 64, 200], [146, 62, 205], [138, 59, 207]),
    ([200, 160, 120], [215, 161, 119], [208, 158, 114]),
    ([100, 150, 100], [66, 151, 97], [83, 152, 95]),
];

fn patches() -> Chart {
    Chart { columns: 3, patches: PATCHES.map(|(rgb, ..)| rgb).to_vec() }
}

/// Whether patches come out as meant: 1 code in gamut, 3 where a channel is clipped.
fn patches_hold(name: &str, bytes: &[u8], meant: [[f64; 3]; 6]) {
    let chart = patches();
    let bench = chart.shoot(name, bytes);
    let deep = chart.deep(&bench);
    let mut failed = Vec::new();
    for (patch, meant) in meant.into_iter().enumerate() {
        let clipped = meant.iter().any(|value| *value <= 0.0 || *value >= 255.0);
        let off = furthest(&chart.middle(patch, &deep), meant);
        println!("{name} {:?}: off by {off:.2} from {meant:.1?}", chart.patches[patch]);
        if off > if clipped { 3.0 } else { 1.0 } {
            failed.push((chart.patches[patch], off));
        }
    }
    assert!(failed.is_empty(), "{name}: {failed:?}");
}

/// Fault 31: Adobe RGB by EXIF alone.
#[test]
fn adobe_rgb_marked_by_exif_alone_comes_out_as_srgb() {
    let chart = patches();
    // R'G'B' stored as such: at quality 100 a flat patch keeps its very codes.
    let bytes = jpeg_still(Colour::Rgb, chart.size(), &chart.rgb(), &[(0xE1, &adobe_rgb_segment())]);
    patches_hold("LAPS0001.JPG", &bytes, PATCHES.map(|(_, from_adobe, _)| from_adobe.map(f64::from)));
}

/// Fault 31: Adobe RGB by EXIF alone.
#[test]
fn an_adobe_rgb_jpeg_of_a_camera_comes_out_as_what_it_stores() {
    // Y'CbCr of 8 bits is up to a code away from the patch, so what is meant is worked out from what is stored.
    let chart = patches();
    let bytes = jpeg_still(Colour::YCbCr, chart.size(), &chart.rgb(), &[(0xE1, &adobe_rgb_segment())]);
    let stored = chart.stored_in(&bytes);
    for (rgb, table, _) in PATCHES {
        let exact = srgb_from_adobe(rgb.map(f64::from));
        assert!(
            exact.iter().zip(table).all(|(exact, table)| (exact - f64::from(table)).abs() <= 0.51),
            "{exact:?} {table:?}"
        );
    }
    patches_hold("LAPS0001.JPG", &bytes, [0, 1, 2, 3, 4, 5].map(|patch| srgb_from_adobe(stored[patch])));
}

#[test]
fn a_display_p3_profile_in_a_png_comes_out_as_srgb() {
    let chart = patches();
    let p3 = ColorProfile::new_display_p3().encode().unwrap();
    let bytes = png_still(chart.size(), &chart.rgb(), |info| info.icc_profile = Some(Cow::Owned(p3)));
    patches_hold("LAPS0001.PNG", &bytes, PATCHES.map(|(_, _, from_p3)| from_p3.map(f64::from)));
}

/// Adobe RGB (1998) codes as sRGB codes: γ = 563/256, the matrix exact from the primaries at D65, IEC 61966-2-1.
fn srgb_from_adobe(codes: [f64; 3]) -> [f64; 3] {
    const MATRIX: [[f64; 3]; 3] =
        [[1.39835574396, -0.398355743961, 0.0], [0.0, 1.0, 0.0], [0.0, -0.0429289892945, 1.04292898929]];
    let linear = codes.map(|code| (code / 255.0).clamp(0.0, 1.0).powf(563.0 / 256.0));
    MATRIX.map(|row| {
        let value: f64 = row.iter().zip(linear).map(|(weight, value)| weight * value).sum();
        let value = value.clamp(0.0, 1.0);
        255.0 * if value <= 0.003_130_8 { 12.92 * value } else { 1.055 * value.powf(1.0 / 2.4) - 0.055 }
    })
}
