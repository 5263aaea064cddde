//! Light gathered over many stills, from script to file: to the code of numpy's maximum, minimum and median.
#![expect(clippy::cast_possible_truncation, reason = "codes of 16 bits")]

use std::fs;
use std::ops::Range;
use std::process::Command;

use serde_json::json;
use stillpath::receipt::Receipt;

use crate::common::{Bench, corrupt};

const STILLS: usize = 9;
const SIDES: [usize; 2] = [32, 18];

/// A sample of a still: noise of 16 bits that numpy makes too, by whole numbers alone.
fn sample(still: usize, x: usize, y: usize, channel: usize) -> u16 {
    let seed = still * 7919 + x * 104_729 + y * 1_299_709 + channel * 15_485_863;
    ((seed.wrapping_mul(2_654_435_761) % (1 << 32)) >> 16) as u16
}

/// A shoot of such stills, as PNGs of 16 bits.
fn bench(script: &str) -> Bench {
    let bench = Bench::new(0);
    fs::create_dir_all(bench.path("stills")).unwrap();
    for still in 0..STILLS {
        let file = fs::File::create(bench.path(&format!("stills/S{still:03}.png"))).unwrap();
        let mut encoder = png::Encoder::new(file, SIDES[0] as u32, SIDES[1] as u32);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Sixteen);
        let places = (0..SIDES[1]).flat_map(|y| (0..SIDES[0]).map(move |x| (x, y)));
        let samples = places.flat_map(|(x, y)| (0..3).map(move |channel| sample(still, x, y, channel)));
        let bytes: Vec<u8> = samples.flat_map(u16::to_be_bytes).collect();
        encoder.write_header().unwrap().write_image_data(&bytes).unwrap();
    }
    bench.script(script);
    bench
}

/// A script of these deliveries at one still a frame, in the stills' own size.
fn script(deliveries: &[(&str, &str)]) -> String {
    let each = deliveries.iter().map(|(name, more)| {
        format!("delivery {{ \"{name}\", frame = {{ 32, 18 }}, sharpness = \"full\", {more} }},\n")
    });
    format!(
        "return shot {{ source = stills {{ \"stills\", interval = 5 }}, pace = stills_per_frame(1), deliveries = {{\n{} }} }}",
        each.collect::<String>()
    )
}

const SCRIPT: [(&str, &str); 6] = [
    ("bright", "codec = \"png\", gather = { \"brightest\", stills = 4 }"),
    ("dark", "codec = \"png\", gather = { \"darkest\", stills = 4 }"),
    ("median", "codec = \"png\", gather = { \"median\", stills = 5 }"),
    ("even", "codec = \"png\", gather = { \"median\", stills = 4 }"),
    ("grown", "codec = \"png\", gather = { \"brightest\", grow = true, from = still(3) }"),
    ("open", "codec = { \"ffv1\", samples = \"rgb\" }, gather = \"darkest\", shutter = 720"),
];

/// A frame's codes.
fn png_of(bench: &Bench, delivery: &str, frame: usize) -> Vec<u16> {
    let file = fs::File::open(bench.path(&format!("clips/move-{delivery}/{frame:06}.png"))).unwrap();
    let mut reader = png::Decoder::new(std::io::BufReader::new(file)).read_info().unwrap();
    let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
    reader.next_frame(&mut bytes).unwrap();
    bytes.as_chunks::<2>().0.iter().map(|code| u16::from_be_bytes(*code)).collect()
}

/// The most by which codes are off from what each sample's own stills come to.
fn off(seen: &[u16], stills: Range<usize>, due: impl Fn(&[u16]) -> f64) -> f64 {
    assert_eq!(seen.len(), SIDES[0] * SIDES[1] * 3);
    let one = |(at, seen): (usize, &u16)| {
        let (x, y, channel) = (at / 3 % SIDES[0], at / 3 / SIDES[0], at % 3);
        let mut own: Vec<u16> = stills.clone().map(|still| sample(still, x, y, channel)).collect();
        own.sort_unstable();
        (f64::from(*seen) - due(&own)).abs()
    };
    seen.iter().enumerate().map(one).fold(0.0, f64::max)
}

/// IEC 61966-2-1, from a code of 16 bits and back.
fn light(code: u16) -> f64 {
    let value = f64::from(code) / 65_535.0;
    if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
}

fn code(light: f64) -> f64 {
    65_535.0 * if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

// The samples at four places, by numpy 2 over the same stills: max, min and median along the stills' axis; for the even
// median numpy.median of linear light (IEC 61966-2-1 in 64 bits), encoded again and rounded.
const PLACES: [(usize, usize); 4] = [(0, 0), (5, 3), (17, 9), (31, 17)];
const NUMPY: [(&str, usize, [[u16; 3]; 4]); 5] = [
    (
        "bright",
        5,
        [[55_349, 46_150, 60_974], [54_658, 59_296, 50_097], [53_759, 58_397, 49_198], [55_729, 60_367, 61_354]],
    ),
    ("dark", 5, [[3650, 4637, 9275], [2959, 7597, 8585], [2061, 6698, 7686], [4030, 18_855, 9655]]),
    (
        "median",
        5,
        [[31_325, 32_312, 36_950], [30_634, 35_272, 36_259], [29_735, 34_373, 35_360], [31_705, 32_692, 37_330]],
    ),
    (
        "even",
        4,
        [[35_456, 26_517, 37_615], [24_904, 39_324, 30_336], [24_043, 38_442, 29_463], [32_717, 40_376, 31_376]],
    ),
    (
        "grown",
        8,
        [[55_349, 59_987, 64_625], [58_309, 59_296, 63_934], [57_410, 58_397, 63_035], [59_379, 60_367, 65_005]],
    ),
];

#[test]
fn frames_of_16_bits_are_numpys_maximum_minimum_and_median_to_the_code() {
    let bench = bench(&script(&SCRIPT));
    bench.render().expect(0);
    for (delivery, frame, due) in NUMPY {
        let seen = png_of(&bench, delivery, frame);
        for ((x, y), due) in PLACES.into_iter().zip(due) {
            let at = 3 * (y * SIDES[0] + x);
            for (seen, due) in seen[at..at + 3].iter().zip(due) {
                assert!(seen.abs_diff(due) <= 1, "{delivery}, frame {frame}, {x} {y}: {seen} for {due}");
            }
        }
    }
    let brightest = |own: &[u16]| f64::from(own[own.len() - 1]);
    let darkest = |own: &[u16]| f64::from(own[0]);
    for frame in 0..STILLS {
        let last = (frame + 1).saturating_sub(4)..frame + 1;
        assert_eq!(off(&png_of(&bench, "bright", frame), last.clone(), brightest), 0.0, "frame {frame}");
        assert_eq!(off(&png_of(&bench, "dark", frame), last, darkest), 0.0, "frame {frame}");
        let around = |stills: usize| {
            let start = frame.saturating_sub(stills / 2).min(STILLS - stills);
            start..start + stills
        };
        assert_eq!(off(&png_of(&bench, "median", frame), around(5), |own| f64::from(own[2])), 0.0, "frame {frame}");
        let two = |own: &[u16]| code(f64::midpoint(light(own[1]), light(own[2])));
        let even = off(&png_of(&bench, "even", frame), around(4), two);
        assert!(even <= 1.0, "frame {frame}: {even}");
        let grown = 2.min(frame)..frame + 1;
        let grown = if frame < 2 { frame..frame + 1 } else { grown };
        assert_eq!(off(&png_of(&bench, "grown", frame), grown, brightest), 0.0, "frame {frame}");
    }
    // FFmpeg reads what is written as FFV1.
    let path = bench.path("clips/move-open.mkv");
    let mut ffmpeg = Command::new("ffmpeg");
    ffmpeg.args(["-v", "error", "-i"]).arg(&path).args(["-f", "rawvideo", "-pix_fmt", "rgb48le", "-"]);
    let bytes = ffmpeg.output().unwrap().stdout;
    let codes: Vec<u16> = bytes.as_chunks::<2>().0.iter().map(|code| u16::from_le_bytes(*code)).collect();
    let frames: Vec<&[u16]> = codes.chunks(SIDES[0] * SIDES[1] * 3).collect();
    assert_eq!(frames.len(), STILLS);
    for (frame, seen) in frames.iter().enumerate() {
        assert_eq!(off(seen, frame..(frame + 2).min(STILLS), darkest), 0.0, "frame {frame}");
    }
}

#[test]
fn what_is_gathered_is_in_the_receipt_and_proved_resumed_and_shared_to_the_byte() {
    let bench = bench(&script(&SCRIPT));
    let made = bench.run(&["render", "move.lua", "--out", "clips", "--json"]).expect(0).json();
    assert_eq!(made["outputs"][0]["gathered"], json!({ "frames": 8, "stills": 4 }));
    assert_eq!(made["outputs"][4]["gathered"], json!({ "frames": 6, "stills": 7 }));
    let text = fs::read_to_string(bench.path("clips/move-receipt.json")).unwrap();
    let receipt = Receipt::from_json(&text).unwrap();
    let gathered: Vec<_> = receipt.deliveries.iter().map(|delivery| delivery.gathered.clone()).collect();
    assert_eq!(gathered, [vec![[1, 8]], vec![[1, 8]], vec![[0, 8]], vec![[0, 8]], vec![[3, 8]], vec![[0, 7]]]);
    assert!(receipt.deliveries.iter().all(|delivery| delivery.mixed.is_empty()));
    let proved = bench.run(&["prove", "clips/move-receipt.json", "--frames", "all"]).expect(0);
    assert!(proved.out.contains("Every one of the 54 frames was made anew"), "{}", proved.out);
    // One frame by itself is that of the render.
    let alone = bench.run(&["frame", "move.lua", "--delivery", "grown", "--frame", "7", "-o", "x.png"]).expect(0);
    assert!(alone.out.contains("brightest light of stills S002 to S007"), "{}", alone.out);
    assert_eq!(fs::read(bench.path("x.png")).unwrap(), fs::read(bench.path("clips/move-grown/000007.png")).unwrap());
    // Any number of workers, and shares, give the same files.
    for (out, threads) in [("one", "1"), ("four", "4")] {
        bench.run(&["render", "move.lua", "--out", out, "--threads", threads]).expect(0);
    }
    for share in ["2/2", "1/2"] {
        bench.run(&["render", "move.lua", "--out", "shared", "--threads", "2", "--share", share]).expect(0);
    }
    bench.run(&["join", "move.lua", "--out", "shared"]).expect(0);
    for delivery in ["bright", "median", "grown"] {
        for frame in 0..STILLS {
            let read = |out: &str| fs::read(bench.path(&format!("{out}/move-{delivery}/{frame:06}.png"))).unwrap();
            let due = read("clips");
            assert!(["one", "four", "shared"].iter().all(|out| read(out) == due), "{delivery}, frame {frame}");
        }
    }
    let draft = bench.run(&["render", "move.lua", "--out", "drafts", "--draft"]).expect(0);
    assert!(draft.out.contains("gather light"), "{}", draft.out);
    // Another gather makes other frames of the same stills; the one that stays is the same.
    let before = made["outputs"].clone();
    bench.script(&script(&SCRIPT).replace("{ \"brightest\", stills = 4 }", "{ \"darkest\", stills = 4 }"));
    let after = bench.run(&["render", "move.lua", "--out", "clips", "--force", "--json"]).expect(0).json();
    assert_eq!(after["outputs"][0]["frame_planes"], before[1]["frame_planes"]);
    assert_eq!(after["outputs"][4]["frame_planes"], before[4]["frame_planes"]);
}

#[test]
fn covers_come_before_the_gathering_and_a_damaged_still_is_left_out_of_it() {
    let covered = "covers = { cover { box(0.5, 0.5, 0.5, 0.5) } }, deliveries";
    let bench = bench(&script(&SCRIPT[..2]).replace("deliveries", covered));
    bench.render().expect(0);
    let [bright, dark] = ["bright", "dark"].map(|delivery| png_of(&bench, delivery, 8));
    let at = |x: usize, y: usize| 3 * (y * SIDES[0] + x);
    assert_eq!(bright[at(20, 12)..at(31, 12)], dark[at(20, 12)..at(31, 12)], "one grey, whatever the stills are");
    assert_ne!(bright[at(0, 0)..at(9, 0)], dark[at(0, 0)..at(9, 0)]);
    // A still that turns out damaged gives way to the one before, which is there already.
    let jpegs = Bench::new(6);
    let script = "return shot { source = stills { \"stills\", damaged = \"hold\" }, pace = stills_per_frame(1), deliveries = {\n\
                  delivery { \"a\", frame = { 64, 48 }, codec = \"png\", gather = { \"brightest\", grow = true } } } }";
    jpegs.script(script);
    corrupt(&jpegs.still(4));
    let ran = jpegs.render().expect(0);
    assert!(ran.out.contains("1 damaged"), "{}", ran.out);
    let damaged: Vec<Vec<u16>> = (0..6).map(|frame| png_of(&jpegs, "a", frame)).map(|codes| codes.to_vec()).collect();
    fs::remove_file(jpegs.still(4)).unwrap();
    jpegs.script(&script.replace("damaged", "missing"));
    jpegs.run(&["render", "move.lua", "--out", "clips", "--force"]).expect(0);
    for (frame, damaged) in damaged.iter().enumerate() {
        assert_eq!(*damaged, png_of(&jpegs, "a", frame), "frame {frame}");
    }
}
