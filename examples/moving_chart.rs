//! How well slow moves survive each codec: the table "Moves after encoding" of `scripts/bench.md`.
//!
//! `scripts/moving-chart` runs it: `moving_chart FOLDER [CODEC…]`. Frames are painted and encoded as deliveries are, and
//! decoded by FFmpeg's command line, whose filters `psnr` and `ssim` compare luma with what was painted.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "pixel values are clamped and sizes are small"
)]
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "it prints figures of its own")]

#[path = "../tests/encode/chart.rs"]
mod chart;

use std::fs::{self, File};
use std::io::{BufReader, BufWriter, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};

use chart::Chart;
use kurbo::Point;
use stillpath::encode;
use stillpath::picture::{Chroma, Frame, FrameKind, Pixels};
use stillpath::plan::DeliveryPlan;
use stillpath::sample::Painter;
use stillpath::shot::{Av1, Codec, H264, Hevc, Light, Policy, Prores, Sharpness};
use stillpath::units::Size;

type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

const FRAME: Size = Size { width: 1280, height: 720 };
const QUALITIES: [u8; 4] = [25, 50, 75, 90];

/// How a codec's frames are given to it.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Layout {
    name: &'static str,
    kind: FrameKind,
}

const EIGHT: Layout = Layout { name: "yuv420p", kind: FrameKind::Yuv420 };
const TEN: Layout = Layout { name: "yuv420p10le", kind: FrameKind::Yuv10(Chroma::Quarter) };
const TEN_422: Layout = Layout { name: "yuv422p10le", kind: FrameKind::Yuv10(Chroma::Half) };

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, asked @ ..] = &arguments[..] else {
        eprintln!("usage: moving_chart FOLDER [h264|hevc|av1|prores|dnxhr …]");
        return ExitCode::from(64);
    };
    match table(Path::new(folder), asked) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("moving_chart: {error}");
            ExitCode::FAILURE
        }
    }
}

fn the_chart() -> Chart {
    let columns = [160.21, 640.8, 1121.64];
    let rows = [118.43, 362.71, 604.19];
    let blobs = rows.into_iter().enumerate().flat_map(|(row, y)| {
        columns
            .into_iter()
            .enumerate()
            .map(move |(column, x)| Point::new(x + 0.317 * row as f64, y + 0.239 * column as f64))
    });
    Chart { frame: FRAME, frames: 120, zoom: 1.06, blobs: blobs.collect(), sigma: 10.0 }
}

fn table(folder: &Path, asked: &[String]) -> Outcome<()> {
    fs::create_dir_all(folder)?;
    let chart = the_chart();
    let wanted = |codec: &str| asked.is_empty() || asked.iter().any(|name| name == codec);
    println!("| codec | quality | bytes | PSNR, dB | SSIM | RMS, px | largest, px | acceleration, px a frame² |");
    println!("|---|---|---|---|---|---|---|---|");
    for layout in [EIGHT, TEN, TEN_422] {
        let raw = paint(&chart, layout, folder)?;
        let [rms, largest, bend] = follow(&chart, layout, &raw, true)?;
        println!("| as painted, {} | | | | | {rms:.4} | {largest:.3} | {bend:.4} |", layout.name);
        for quality in QUALITIES {
            for (codec, own) in [("h264", EIGHT), ("hevc", TEN), ("av1", TEN), ("prores", TEN_422), ("dnxhr", TEN_422)]
            {
                let once = codec == "prores" || codec == "dnxhr";
                if own != layout || !wanted(codec) || (once && quality != 75) {
                    continue;
                }
                let file = encoded(&chart, codec, f64::from(quality), (layout, &raw), folder)?;
                let [psnr, ssim] = compared(layout, &raw, &file)?;
                let [rms, largest, bend] = follow(&chart, layout, &file, false)?;
                let bytes = fs::metadata(&file)?.len();
                let quality = if once { "".to_owned() } else { quality.to_string() };
                println!(
                    "| {codec} | {quality} | {bytes} | {psnr:.2} | {ssim:.4} | {rms:.4} | {largest:.3} | {bend:.4} |"
                );
            }
        }
    }
    Ok(())
}

/// Paints all frames into a file without a header.
fn paint(chart: &Chart, layout: Layout, folder: &Path) -> Outcome<PathBuf> {
    let path = folder.join(format!("{}.yuv", layout.name));
    let mut file = BufWriter::new(File::create(&path)?);
    let mut painter = Painter::new();
    for frame in 0..chart.frames {
        match &chart.painted(&mut painter, layout.kind, frame).pixels {
            Pixels::Yuv420 { y, cb, cr } => {
                for plane in [y, cb, cr] {
                    file.write_all(plane)?;
                }
            }
            Pixels::Yuv10 { y, cb, cr, .. } => {
                for code in [y, cb, cr].into_iter().flatten() {
                    file.write_all(&code.to_le_bytes())?;
                }
            }
            _ => unreachable!("asked for Y'CbCr"),
        }
    }
    file.into_inner()?;
    Ok(path)
}

/// FFmpeg's arguments for frames of no header.
fn headless(layout: Layout, raw: &Path) -> Vec<String> {
    let before = format!("-f rawvideo -pix_fmt {} -s {FRAME} -r 24 -color_range tv -i", layout.name);
    before.split(' ').map(str::to_owned).chain([raw.display().to_string()]).collect()
}

/// Encodes all frames.
fn encoded(
    chart: &Chart,
    codec: &str,
    quality: f64,
    (layout, raw): (Layout, &Path),
    folder: &Path,
) -> Outcome<PathBuf> {
    let codec = match codec {
        "hevc" => Codec::Hevc(Hevc::from_quality(quality)),
        "av1" => Codec::Av1(Av1::from_quality(quality)),
        "prores" => Codec::Prores(Prores::from_quality(quality)),
        "dnxhr" => Codec::Dnxhr,
        _ => Codec::H264(H264::from_quality(quality)),
    };
    let delivery = delivery(codec);
    let path = encode::output_path(folder, "chart", &delivery);
    let mut sink = encode::open(&delivery, &path, 1)?;
    let mut painted = BufReader::new(File::open(raw)?);
    for _ in 0..chart.frames {
        let mut frame = Frame::new(layout.kind, FRAME);
        match &mut frame.pixels {
            Pixels::Yuv420 { y, cb, cr } => {
                for plane in [y, cb, cr] {
                    painted.read_exact(plane)?;
                }
            }
            Pixels::Yuv10 { y, cb, cr, .. } => {
                for code in [y, cb, cr].into_iter().flatten() {
                    let mut bytes = [0; 2];
                    painted.read_exact(&mut bytes)?;
                    *code = u16::from_le_bytes(bytes);
                }
            }
            _ => unreachable!("asked for Y'CbCr"),
        }
        sink.write(&frame)?;
    }
    sink.finish()?;
    Ok(path)
}

fn delivery(codec: Codec) -> DeliveryPlan {
    DeliveryPlan {
        name: codec.name().into(),
        frame: FRAME,
        fps: stillpath::units::FrameRate::new(24, 1).expect("a rate"),
        codec,
        sharpness: Sharpness::Even,
        resample: Light::Encoded,
        light: Light::Linear,
        room: FRAME.into(),
        rooms: Vec::new(),
        gathered: Vec::new(),
        corrected: false,
        sound: [].into(),
        unread_sound: Policy::default(),
        extras: stillpath::plan::Extras::default(),
        stamps: [].into(),
        every_still: false,
        rows: Vec::new(),
    }
}

/// PSNR and SSIM of luma.
fn compared(layout: Layout, raw: &Path, file: &Path) -> Outcome<[f64; 2]> {
    let filter = "[0:v]settb=1/24,setpts=N,split[a][b];[1:v]settb=1/24,setpts=N,split[c][d];[a][c]psnr;[b][d]ssim";
    let output = Command::new("ffmpeg")
        .args(["-nostdin", "-i"])
        .arg(file)
        .args(headless(layout, raw))
        .args(["-lavfi", filter, "-f", "null", "-"])
        .output()?;
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let after = |mark: &str, name: &str| -> Outcome<f64> {
        let line = said.lines().find(|line| line.contains(mark)).ok_or_else(|| format!("no {mark}in {said}"))?;
        let rest = line.split_once(name).ok_or_else(|| format!("no {name} in {line}"))?.1;
        Ok(rest.split(' ').next().unwrap_or_default().parse()?)
    };
    Ok([after(" PSNR ", " y:")?, after(" SSIM ", " Y:")?])
}

/// Where the blobs are in a file, encoded or not.
fn follow(chart: &Chart, layout: Layout, file: &Path, is_raw: bool) -> Outcome<[f64; 3]> {
    let mut ffmpeg = Command::new("ffmpeg");
    ffmpeg.args(["-v", "error", "-nostdin"]);
    if is_raw {
        ffmpeg.args(headless(layout, file));
    } else {
        ffmpeg.arg("-i").arg(file);
    }
    let mut ffmpeg = ffmpeg.args(["-f", "rawvideo", "-pix_fmt", layout.name, "-"]).stdout(Stdio::piped()).spawn()?;
    let mut out = BufReader::new(ffmpeg.stdout.take().ok_or("no pipe")?);
    let pixels = FRAME.pixels() as usize;
    let chroma = layout.kind.chroma().map_or(0, |chroma| 2 * chroma.size(FRAME).pixels() as usize);
    let mut bytes = vec![0; (pixels + chroma) * layout.kind.bits().div_ceil(8) as usize];
    let frames = std::iter::from_fn(|| {
        out.read_exact(&mut bytes).ok()?;
        Some(if layout.kind.bits() > 8 {
            let codes = bytes.chunks_exact(2).take(pixels).map(|code| u16::from_le_bytes([code[0], code[1]]));
            codes.map(|code| (f32::from(code) - 64.0) / 876.0).collect()
        } else {
            bytes[..pixels].iter().map(|&code| (f32::from(code) - 16.0) / 219.0).collect()
        })
    });
    let figures = chart.followed(frames);
    ffmpeg.wait()?;
    Ok(figures)
}
