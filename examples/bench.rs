//! Whole-program comparison with FFmpeg's command line: same stills, same windows, same encoder settings, in turn.
//!
//! `scripts/bench` sets this up and runs it: `bench PHOTOGRAPH WORK_FOLDER STILLPATH [RUNS]`. Both sides are run one
//! after the other, `RUNS` times (5 by default), under `/usr/bin/time`. The table on standard output gives medians, and
//! the median of the ratios run by run; standard error tells how far it is.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "pixel values are clamped and sizes are small"
)]
#![expect(clippy::disallowed_methods, reason = "it prints figures of its own")]

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};

use stillpath::ffi::jpeg;
use stillpath::units::Size;

/// The stills of the main comparison.
const STILL: Size = Size { width: 4592, height: 3448 };
/// How many.
const STILLS: usize = 120;
/// The small stills that memory is measured over.
const SMALL: Size = Size { width: 640, height: 480 };

type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [photograph, folder, stillpath, rest @ ..] = &arguments[..] else {
        tell("usage: bench PHOTOGRAPH WORK_FOLDER STILLPATH [RUNS]");
        return ExitCode::from(64);
    };
    let runs = rest.first().and_then(|runs| runs.parse().ok()).unwrap_or(5);
    match compare(Path::new(photograph), Path::new(folder), Path::new(stillpath), runs) {
        Ok(table) => {
            say(&table);
            ExitCode::SUCCESS
        }
        Err(error) => {
            tell(&format!("bench: {error}"));
            ExitCode::FAILURE
        }
    }
}

/// One comparison: what it is called, our script, FFmpeg's arguments between input and encoder.
struct Case {
    name: &'static str,
    script: &'static str,
    peer: &'static str,
}

/// FFmpeg's encoder settings; the scripts ask for the same, and deliveries have closed groups of two seconds.
const ENCODER: &str = "-c:v libx264 -preset medium -crf 18 -profile:v high -pix_fmt yuv420p -g 48 -flags +cgop";

const CASES: [Case; 3] = [
    Case {
        name: "fixed window",
        script: r#"return shot { source = stills { "stills" }, fps = 24, pace = stills_per_frame(1), deliveries = {
            delivery { "wide", frame = { 1920, 1080 }, quality = { crf = 18, preset = "medium" } } } }"#,
        peer: "-vf crop=4592:2582:0:432,scale=1920:1080:flags=lanczos:out_range=tv:out_color_matrix=bt709 {encoder} {out}-wide.mp4",
    },
    Case {
        name: "push-in 1.00 to 1.12",
        script: r#"return shot { source = stills { "stills" }, fps = 24, pace = stills_per_frame(1),
            framing = framing {
                key { at = "start", on = point(0.5, 0.5), zoom = 1 }, key { at = "end", on = point(0.5, 0.5), zoom = 1.12 } },
            deliveries = { delivery { "wide", frame = { 1920, 1080 }, quality = { crf = 18, preset = "medium" } } } }"#,
        peer: "-vf crop=4592:2582:0:432,zoompan=z='1+0.12*on/119':d=1:x='iw/2-iw/zoom/2':y='ih/2-ih/zoom/2':s=1920x1080:fps=24,\
               scale=out_range=tv:out_color_matrix=bt709 {encoder} {out}-wide.mp4",
    },
    Case {
        name: "three deliveries",
        script: r#"return shot { source = stills { "stills" }, fps = 24, pace = stills_per_frame(1), deliveries = {
            delivery { "wide", frame = { 1920, 1080 }, quality = { crf = 18, preset = "medium" } },
            delivery { "vertical", frame = { 1080, 1920 }, quality = { crf = 18, preset = "medium" } },
            delivery { "square", frame = { 1080, 1080 }, quality = { crf = 18, preset = "medium" } } } }"#,
        peer: "-filter_complex split=3[a][b][c];\
               [a]crop=4592:2582:0:432,scale=1920:1080:flags=lanczos:out_range=tv:out_color_matrix=bt709[wide];\
               [b]crop=1938:3448:1326:0,scale=1080:1920:flags=lanczos:out_range=tv:out_color_matrix=bt709[tall];\
               [c]crop=3448:3448:572:0,scale=1080:1080:flags=lanczos:out_range=tv:out_color_matrix=bt709[square] \
               -map [wide] {encoder} {out}-wide.mp4 -map [tall] {encoder} {out}-vertical.mp4 -map [square] {encoder} {out}-square.mp4",
    },
];

fn compare(photograph: &Path, folder: &Path, stillpath: &Path, runs: usize) -> Outcome<String> {
    prepare(photograph, folder)?;
    let mut table = String::from(
        "| what | Stillpath | FFmpeg | time ratio | Stillpath's memory | FFmpeg's memory | memory ratio |\n|---|---|---|---|---|---|---|\n",
    );
    for case in &CASES {
        let script = folder.join(format!("{}.lua", case.name.replace(' ', "-")));
        fs::write(&script, case.script)?;
        let (mut ours, mut theirs) = (Vec::new(), Vec::new());
        // The first round warms the disk's cache and does not count.
        for round in 0..=runs {
            tell(&format!("{}: round {round} of {runs}", case.name));
            let mut command = Command::new(stillpath);
            command.arg("render").arg(&script).arg("--out").arg(folder.join("out")).args(["--force", "--quiet"]);
            let mine = measure(&command)?;
            let mut peer = Command::new("ffmpeg");
            peer.args(["-v", "error", "-nostdin", "-y", "-framerate", "24", "-i"])
                .arg(folder.join("stills/still%04d.jpg"));
            let line = case.peer.replace("{encoder}", ENCODER);
            let line = line.replace("{out}", &folder.join("peer/clip").to_string_lossy());
            peer.args(line.split_whitespace().map(|word| word.replace('\'', "")));
            let other = measure(&peer)?;
            if round > 0 {
                ours.push(mine);
                theirs.push(other);
            }
        }
        let medians = |of: &[Measured], pick: fn(&Measured) -> f64| median(of.iter().map(pick).collect());
        let ratio =
            |pick: fn(&Measured) -> f64| median(ours.iter().zip(&theirs).map(|(a, b)| pick(a) / pick(b)).collect());
        let seconds = |run: &Measured| run.seconds;
        let megabytes = |run: &Measured| run.megabytes;
        writeln!(
            table,
            "| {} | {:.1} s | {:.1} s | **{:.2}** | {:.0} MB | {:.0} MB | {:.2} |",
            case.name,
            medians(&ours, seconds),
            medians(&theirs, seconds),
            ratio(seconds),
            medians(&ours, megabytes),
            medians(&theirs, megabytes),
            ratio(megabytes),
        )?;
    }
    table += &memory_of_long_shoots(folder, stillpath, runs)?;
    Ok(table)
}

/// Peak memory over 300 and over 3,000 small stills.
fn memory_of_long_shoots(folder: &Path, stillpath: &Path, runs: usize) -> Outcome<String> {
    let script = folder.join("small.lua");
    fs::write(
        &script,
        r#"local count = dial("count", 300, { min = 1, max = 3000 })
        return shot { source = stills { "small", to = still(count) }, fps = 24, pace = stills_per_frame(1),
            deliveries = { delivery { "wide", frame = { 480, 270 } } } }"#,
    )?;
    let mut medians = Vec::new();
    for count in ["300", "3000"] {
        tell(&format!("memory over {count} small stills"));
        let mut seen = Vec::new();
        for _ in 0..runs {
            let mut command = Command::new(stillpath);
            command.arg("render").arg(&script).arg("--out").arg(folder.join("out"));
            command.args(["--force", "--quiet", "--set", &format!("count={count}")]);
            seen.push(measure(&command)?.megabytes);
        }
        medians.push(median(seen));
    }
    let (short, long) = (medians[0], medians[1]);
    let more = (long / short - 1.0) * 100.0;
    Ok(format!("\nPeak memory over 300 small stills: {short:.1} MB; over 3,000: {long:.1} MB ({more:+.1} %).\n"))
}

/// What one run took.
struct Measured {
    seconds: f64,
    megabytes: f64,
}

/// Runs a command under `/usr/bin/time` and reads wall time and peak memory.
fn measure(command: &Command) -> Outcome<Measured> {
    let report = tempfile::NamedTempFile::new()?;
    let mut timed = Command::new("/usr/bin/time");
    timed.args(["-f", "%e %M", "-o"]).arg(report.path()).arg(command.get_program()).args(command.get_args());
    let status = timed.stdout(Stdio::null()).status()?;
    if !status.success() {
        return Err(format!("{command:?} ended with {status}").into());
    }
    let text = fs::read_to_string(report.path())?;
    let mut words = text.split_whitespace().map(str::parse::<f64>);
    let (Some(Ok(seconds)), Some(Ok(kilobytes))) = (words.next(), words.next()) else {
        return Err(format!("/usr/bin/time said {text:?}").into());
    };
    Ok(Measured { seconds, megabytes: kilobytes / 1024.0 })
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    if values.len() % 2 == 1 { values[middle] } else { f64::midpoint(values[middle - 1], values[middle]) }
}

/// Makes the stills once: the photograph enlarged to 4592 x 3448, something moving across it, sensor noise.
fn prepare(photograph: &Path, folder: &Path) -> Outcome<()> {
    fs::create_dir_all(folder.join("peer"))?;
    let picture = image::open(photograph)?.to_rgb8();
    let (width, height) = picture.dimensions();
    let across = (f64::from(height) * STILL.aspect()) as u32;
    let cut = image::imageops::crop_imm(&picture, (width - across) / 2, 0, across, height).to_image();
    write_stills(&cut, STILL, STILLS, &folder.join("stills"), "still")?;
    write_stills(&cut, SMALL, 3000, &folder.join("small"), "small")
}

/// Writes `count` stills `name0000.jpg` … of this size, unless the last of them is there already.
fn write_stills(picture: &image::RgbImage, size: Size, count: usize, folder: &Path, name: &str) -> Outcome<()> {
    let path = |index: usize| -> PathBuf { folder.join(format!("{name}{index:04}.jpg")) };
    if path(count - 1).exists() {
        return Ok(());
    }
    fs::create_dir_all(folder)?;
    let base =
        image::imageops::resize(picture, size.width, size.height, image::imageops::FilterType::CatmullRom).into_raw();
    let next = AtomicUsize::new(0);
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    let work = || -> std::io::Result<()> {
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            if index >= count {
                return Ok(());
            }
            if index.is_multiple_of(count / 6) {
                tell(&format!("making {name} {index} of {count}"));
            }
            fs::write(path(index), jpeg::encode_rgb(&expose(&base, size, index, count), size, 95, (2, 1), &[]))?;
        }
    };
    std::thread::scope(|scope| -> Outcome<()> {
        let working: Vec<_> = (0..workers).map(|_| scope.spawn(work)).collect();
        for worker in working {
            worker.join().map_err(|_panic| "a worker panicked")??;
        }
        Ok(())
    })
}

/// One still: a soft dark disc wanders across the picture, and every sample gets noise of about 3 codes.
fn expose(base: &[u8], size: Size, index: usize, count: usize) -> Vec<u8> {
    let (width, height) = (f64::from(size.width), f64::from(size.height));
    let along = index as f64 / count as f64;
    let (x, y) = (width * (0.1 + 0.8 * along), height * (0.6 - 0.2 * (along * 9.0).sin()));
    let radius = height * 0.08;
    let mut state = 0x9E37_79B9_7F4A_7C15_u64 ^ ((index as u64 + 1) << 20);
    let mut random = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state
    };
    let mut out = Vec::with_capacity(base.len());
    for (row, samples) in base.chunks_exact(3 * size.width as usize).enumerate() {
        let down = row as f64 - y;
        for (column, pixel) in samples.chunks_exact(3).enumerate() {
            let right = column as f64 - x;
            let near = down.abs() < radius && right.abs() < radius;
            let distance = if near { (right.hypot(down) / radius).min(1.0) } else { 1.0 };
            let light = 0.3 + 0.7 * distance * distance;
            let bits = random();
            for (channel, sample) in pixel.iter().enumerate() {
                let noise: i32 = (0..4).map(|part| ((bits >> (channel * 16 + part * 4)) & 15) as i32).sum::<i32>() - 30;
                out.push((f64::from(*sample) * light + f64::from(noise) * 0.33).round().clamp(0.0, 255.0) as u8);
            }
        }
    }
    out
}

fn say(text: &str) {
    use std::io::Write as _;
    let _reader_gone = std::io::stdout().write_all(text.as_bytes());
}

fn tell(text: &str) {
    use std::io::Write as _;
    let _reader_gone = writeln!(std::io::stderr(), "{text}");
}
