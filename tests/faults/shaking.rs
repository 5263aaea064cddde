//! Cameras in the wind and foregrounds that move as one, of real photographs (Debian's `lomiri-wallpapers-16.04`): a
//! still is a part of one, four by four pixels to one, so that a part that begins a pixel farther on is moved by exactly
//! a quarter of a pixel.

use std::fs;
use std::path::Path;

use stillpath::ffi::jpeg;
use stillpath::register::Table;
use stillpath::units::Size;

use crate::common::Bench;

const STILL: Size = Size { width: 480, height: 360 };
/// Pixels of a photograph to one of a still, along each side.
const BY: i32 = 4;
/// Where stills begin that are not moved, in pixels of the photograph.
const FROM: i32 = 240;

fn photograph(name: &str) -> image::GrayImage {
    let path = Path::new("/usr/share/backgrounds").join(name);
    image::open(&path)
        .unwrap_or_else(|error| panic!("{}: {error}: sh scripts/test installs it", path.display()))
        .to_luma8()
}

/// A part of a photograph, moved by so many pixels of it.
struct Layer<'a> {
    photograph: &'a image::GrayImage,
    moved: [i32; 2],
}

impl Layer<'_> {
    fn value(&self, x: u32, y: u32) -> u32 {
        let [left, top] = [(x, 0), (y, 1)].map(|(at, axis)| at as i32 * BY + FROM - self.moved[axis]);
        let mut sum = 0;
        for row in top..top + BY {
            for column in left..left + BY {
                sum += u32::from(self.photograph.get_pixel(column as u32, row as u32).0[0]);
            }
        }
        sum
    }
}

/// Writes still `number`: what lies still, and in the columns from `from` on what moves.
fn write(bench: &Bench, number: usize, lies: &Layer<'_>, moves: &Layer<'_>, within: &dyn Fn(u32, u32) -> bool) {
    let mut rgb = Vec::with_capacity(3 * STILL.pixels() as usize);
    for y in 0..STILL.height {
        for x in 0..STILL.width {
            let sum = if within(x, y) { moves.value(x, y) } else { lies.value(x, y) };
            // Noise of about a code, the same every time.
            let noise =
                (u32::wrapping_mul(x * 7919 + y * 104_729 + number as u32 * 1_299_709, 2_654_435_761) >> 24) % 4;
            rgb.extend([((sum + 8) / 16 + noise).min(255) as u8; 3]);
        }
    }
    let path = bench.still(number);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, jpeg::encode_rgb(&rgb, STILL, 95, (1, 1), &[])).unwrap();
}

fn script(bench: &Bench, steady: &str) {
    bench.script(&format!(
        r#"return shot {{ source = stills {{ "stills" }}, fps = 24, pace = stills_per_frame(1), {steady},
  deliveries = {{ delivery {{ "wide", frame = {{ 240, 136 }} }} }} }}"#
    ));
}

/// How far the measured stands are from where the stills lie, root mean square, in pixels: what all are off by apart.
fn off(bench: &Bench, due: &[[i32; 2]]) -> f64 {
    let table = Table::from_csv(&bench.run(&["steady", "move.lua"]).expect(0).out).unwrap();
    assert_eq!(table.lines.len(), due.len());
    let mut squares = 0.0;
    for axis in [0, 1] {
        let is = |line: &stillpath::register::StillPose| if axis == 0 { line.stand.x } else { line.stand.y };
        let apart: Vec<f64> =
            table.lines.iter().zip(due).map(|(line, due)| is(line) - f64::from(due[axis]) / f64::from(BY)).collect();
        let mean = apart.iter().sum::<f64>() / apart.len() as f64;
        squares += apart.iter().map(|apart| (apart - mean).powi(2)).sum::<f64>() / apart.len() as f64;
    }
    squares.sqrt()
}

/// Quarters of a pixel at random, about normal, the same every time.
fn shaking(sigma: f64, stills: usize) -> Vec<[i32; 2]> {
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    let mut even = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / f64::from(1 << 24) - 0.5
    };
    let mut normal = || (0..4).map(|_| even()).sum::<f64>() * 1.732;
    (0..stills).map(|_| [0, 1].map(|_| (f64::from(BY) * sigma * normal()).round() as i32)).collect()
}

/// Fault 43: bumps and sags.
#[test]
fn photographs_that_shake_are_steadied_to_a_tenth_of_a_pixel_and_the_shaking_is_told() {
    let (scene, other) = (photograph("aitzgorri_by_Aitzol_Berasategi.jpg"), photograph("Dragonfly_by_Bolly.jpg"));
    for sigma in [0.8, 3.0, 8.0] {
        let bench = Bench::new(0);
        let stands = shaking(sigma, 40);
        for (at, moved) in stands.iter().enumerate() {
            // A quarter of the picture, which goes its own way.
            let own = [moved[0] + 3 * at as i32, moved[1] + (12.0 * (0.8 * at as f64).sin()) as i32];
            let lies = Layer { photograph: &scene, moved: *moved };
            let moves = Layer { photograph: &other, moved: own };
            write(&bench, at + 1, &lies, &moves, &|x, y| x >= 240 && y >= 180);
        }
        script(&bench, "steady = { room = 0.6 }");
        bench.run(&["check", "move.lua"]).expect(0).says("shaking of the camera undone from LAPS0001 to LAPS0040");
        let left = off(&bench, &stands);
        println!("photographs that shake by {sigma} px: {left:.3} px left");
        assert!(left <= 0.1, "{sigma}: {left}");
    }
}

#[test]
fn a_foreground_that_moves_as_one_is_named_with_the_box_beside_it_and_the_box_can_be_typed() {
    let scene = photograph("aitzgorri_by_Aitzol_Berasategi.jpg");
    let other = photograph("analogpattern_by_Peter_Nerlich.jpg");
    let bench = Bench::new(0);
    for at in 0..40 {
        let lies = Layer { photograph: &scene, moved: [0, 0] };
        let moves = Layer { photograph: &other, moved: [3 * at, 0] };
        // 45 % of the picture, at the right.
        write(&bench, at as usize + 1, &lies, &moves, &|x, _| x >= 264);
    }
    script(&bench, "steady = true");
    let said = bench.run(&["check", "move.lua"]).expect(0).says("something moves by itself in");
    let left = off(&bench, &vec![[0, 0]; 40]);
    println!("a foreground of 45 % at .75 px a still: {left:.3} px left");
    assert!(left <= 0.1, "{left}");
    let text = format!("{}{}", said.out, said.err);
    let (_, rest) = text.split_once("steady = { region = box(").expect("the box is named");
    let (numbers, _) = rest.split_once(") }").unwrap();
    let [x, _, width, _] = numbers.split(", ").map(|number| number.parse::<f64>().unwrap()).collect::<Vec<_>>()[..]
    else {
        panic!("{numbers}")
    };
    assert!(x + width <= 0.56 && width > 0.2, "{numbers}");
    script(&bench, &format!("steady = {{ region = box({numbers}) }}"));
    let said = bench.run(&["check", "move.lua"]).expect(0);
    assert!(!format!("{}{}", said.out, said.err).contains("moves by itself"));
    assert!(off(&bench, &vec![[0, 0]; 40]) <= 0.1);
}
