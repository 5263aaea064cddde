//! Scenes of our own, drawn by formula, of which the truth is known.

#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "small pictures, clamped"
)]

use std::f64::consts::TAU;

use super::correlate::Correlator;
use super::spectrum::Fourier;
use super::*;
use crate::level::Region;
use crate::units::Size;

mod apart;
mod sides;

const ALL: Wishes = Wishes { region: None, sags: true };

/// A plane wave of a scene.
struct Wave {
    across: f64,
    down: f64,
    phase: f64,
    size: f64,
}

/// Numbers at random, the same every time (xorshift64*).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 40) as f64 / (1_u64 << 24) as f64
    }

    /// About normal, of standard deviation 1: four even numbers.
    fn normal(&mut self) -> f32 {
        ((0..4).map(|_| self.next()).sum::<f64>() - 2.0) as f32 * 1.732
    }
}

fn waves(seed: u64) -> Vec<Wave> {
    let mut chance = Chance(seed);
    let wave = |at: usize| {
        // Detail at every scale, less of the finer.
        let frequency = 0.008 * (0.28_f64 / 0.008).powf(f64::from(at as u32) / 47.0);
        let way = TAU * chance.next();
        let size = 14.0 * (0.008 / frequency).powf(0.35);
        Wave {
            across: TAU * frequency * way.cos(),
            down: TAU * frequency * way.sin(),
            phase: TAU * chance.next(),
            size,
        }
    };
    (0..48).map(wave).collect()
}

/// A camera over a scene of which the right half moves: bands of texture that drift and change shape.
struct Scene {
    size: Size,
    ground: Vec<Wave>,
    moving: Vec<Wave>,
    /// Standard deviation of noise, in codes, and of the light's flicker.
    noise: f32,
    flicker: f64,
}

/// Where the camera stands: shift, turn, and how much it enlarges.
#[derive(Clone, Copy)]
struct Camera {
    stand: Pose,
    zoom: f64,
}

impl From<Pose> for Camera {
    fn from(stand: Pose) -> Self {
        Self { stand, zoom: 1.0 }
    }
}

fn shifted(x: f64, y: f64) -> Pose {
    Pose { x, y, turn: 0.0 }
}

impl Scene {
    fn new() -> Self {
        Self { size: Size::new(320, 240), ground: waves(7), moving: waves(99), noise: 3.0, flicker: 0.04 }
    }

    fn layout(&self) -> Layout {
        Layout::of(self.size, 1).unwrap()
    }

    /// A sum of waves over columns, `of(at)` the phases: `sin(a x + b y + p)` by the sum of angles.
    fn add(
        &self,
        sums: &mut [f32],
        waves: &[Wave],
        columns: std::ops::Range<usize>,
        rows: std::ops::Range<usize>,
        camera: Camera,
        change: f64,
    ) {
        let width = self.size.width as usize;
        let (cx, cy) = (f64::from(self.size.width) / 2.0, f64::from(self.size.height) / 2.0);
        let (sin, cos) = camera.stand.turn.to_radians().sin_cos();
        for (at, wave) in waves.iter().enumerate() {
            // What is shown at c + zoom · R(p - c) + t lies in the scene at p.
            let (a, b) = (
                (wave.across * cos - wave.down * sin) / camera.zoom,
                (wave.across * sin + wave.down * cos) / camera.zoom,
            );
            let phase =
                wave.phase + wave.across * cx + wave.down * cy - a * (cx + camera.stand.x) - b * (cy + camera.stand.y)
                    + change * (1.0 + (at % 5) as f64);
            let pairs = |by: f64, phase: f64, range: std::ops::Range<usize>| -> Vec<(f32, f32)> {
                range.map(|at| (by * (at as f64 + 0.5) + phase).sin_cos()).map(|(s, c)| (s as f32, c as f32)).collect()
            };
            let (across, down) = (pairs(a, 0.0, columns.clone()), pairs(b, phase, rows.clone()));
            let size = wave.size as f32;
            for (y, (sin_y, cos_y)) in rows.clone().zip(down) {
                let line = &mut sums[y * width..][columns.clone()];
                for (sum, (sin_x, cos_x)) in line.iter_mut().zip(&across) {
                    *sum += size * (sin_x * cos_y + cos_x * sin_y);
                }
            }
        }
    }

    fn still(&self, at: usize, camera: Camera) -> Vec<u8> {
        let (width, height) = (self.size.width as usize, self.size.height as usize);
        let mut sums = vec![0.0; width * height];
        let half = width / 2;
        self.add(&mut sums, &self.ground, 0..half, 0..height, camera, 0.0);
        let bands = [(1.3, 0.4), (-2.1, 0.7), (0.6, -1.7)];
        for (band, (right, down)) in bands.into_iter().enumerate() {
            let rows = height * band / 3..height * (band + 1) / 3;
            let (t, Camera { stand, zoom }) = (at as f64, camera);
            let gone = Camera { stand: Pose { x: stand.x + right * t, y: stand.y + down * t, ..stand }, zoom };
            self.add(&mut sums, &self.moving, half..width, rows, gone, 0.05 * t);
        }
        let mut chance = Chance(0x9E37_79B9 + at as u64 * 0x1_0001);
        let gain = 1.0 + self.flicker as f32 * chance.normal();
        sums.iter()
            .map(|sum| (gain * (110.0 + sum) + self.noise * chance.normal()).round().clamp(0.0, 255.0) as u8)
            .collect()
    }
}

/// Registers stills as `look` does, but in a row: each against an anchor and the one before.
fn registered(layout: Layout, count: usize, still: impl Fn(usize) -> Vec<u8>) -> Registered {
    let mut registrar = Registrar::new(layout);
    let (mut links, mut stills) = (Vec::new(), Vec::new());
    let mut anchors: Vec<(usize, Tiles)> = Vec::new();
    let mut before: Option<(usize, Tiles)> = None;
    for at in 0..count {
        let samples = still(at);
        let Size { width, height } = layout.small();
        let grey = Grey { samples: &samples, stride: width as usize, width: width as usize, height: height as usize };
        let mut tiles = registrar.tiles(grey, before.as_ref().map(|(_, tiles)| tiles));
        stills.push(tiles.sight());
        if tiles.sight() != Sight::Seen {
            continue;
        }
        let back = if at % 32 == 0 { &[1, 2, 4, 8][..] } else { &[1] };
        let anchors_back = back.iter().filter_map(|back| anchors.get(anchors.len().checked_sub(*back)?));
        for (earlier, other) in anchors_back.chain(&before) {
            links.extend(registrar.link((*earlier, other), (at, &mut tiles), grey));
        }
        if at % 32 == 0 {
            anchors.push((at, registrar.tiles(grey, None)));
        }
        before = Some((at, tiles));
    }
    links.sort_by_key(|link: &Link| (link.later, link.earlier));
    links.dedup_by_key(|link| (link.later, link.earlier));
    Registered { stills, layout: Some(layout), links }
}

/// How far a stand is off at the worst corner, in pixels, against what it should be.
fn residual(size: Size, is: Pose, due: Pose) -> f64 {
    let corners = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)];
    let at = |(x, y): (f64, f64)| kurbo::Point::new(x * f64::from(size.width), y * f64::from(size.height));
    corners
        .map(|corner| (is.point(size, at(corner)) - due.point(size, at(corner))).hypot())
        .into_iter()
        .fold(0.0, f64::max)
}

fn worst(size: Size, solved: &Solved, due: impl Fn(usize) -> Pose) -> f64 {
    solved.stands.iter().enumerate().map(|(at, stand)| residual(size, *stand, due(at))).fold(0.0, f64::max)
}

/// A texture of whole periods, so that it can be shifted round: every frequency up to 40 a side, one as strong as its
/// period is long.
fn circular(shift: [f64; 2]) -> Vec<u8> {
    let mut sums = vec![128.0; 128 * 128];
    let table: Vec<(f64, f64)> = (0..128).map(|at| (TAU * f64::from(at) / 128.0).sin_cos()).collect();
    for u in 0..=40_i32 {
        for v in -40..=40_i32 {
            let far = f64::from(u).hypot(f64::from(v));
            if far > 40.0 || (u == 0 && v <= 0) {
                continue;
            }
            let phase = 0.37 * f64::from(3 * u * u + 5 * v * v + 7 * u * v)
                - TAU * (f64::from(u) * shift[0] + f64::from(v) * shift[1]) / 128.0;
            let (sin, cos) = phase.sin_cos();
            for (at, sum) in sums.iter_mut().enumerate() {
                let (x, y) = ((at % 128) as i32, (at / 128) as i32);
                let (s, c) = table[(u * x + v * y).rem_euclid(128) as usize];
                *sum += 16.0 * (c * cos - s * sin) / (1.0 + far);
            }
        }
    }
    sums.into_iter().map(|sum: f64| sum.round().clamp(0.0, 255.0) as u8).collect()
}

// scikit-image 0.26.0, `phase_cross_correlation(still, moved, upsample_factor=100)` of `circular` before it is rounded
// to codes, moved by `scipy.ndimage.fourier_shift`: (22.4, -13.32), (-0.25, 0.75), (-1.37, 0.63) and (-3, 5), rows
// first and minus the motion, as ORACLES, section 11, has them of another picture. Rounded to codes first, that
// function is off by up to 0.09.
#[test]
fn shifts_of_a_circular_picture_are_those_that_scikit_image_finds() {
    let mut fourier = Fourier::new(128, false);
    let mut correlator = Correlator::new(128);
    let mut tile = |shift: [f64; 2]| {
        let samples = circular(shift);
        fourier.spectrum(Grey { samples: &samples, stride: 128, width: 128, height: 128 }, [0; 2]).unwrap()
    };
    let still = tile([0.0; 2]);
    let cases = [[13.32, -22.4], [-0.75, 0.25], [-0.63, 1.37], [-5.0, 3.0]];
    let moved = cases.map(&mut tile);
    for (due, moved) in cases.iter().zip(&moved) {
        let found = correlator.between(&mut fourier, &still, moved).unwrap();
        assert!((found.x - due[0]).abs() < 0.01 && (found.y - due[1]).abs() < 0.01, "{found:?} for {due:?}");
        assert!(found.alike > 0.95, "{found:?}");
    }
}

#[test]
fn a_tile_of_noise_or_of_nothing_says_nothing() {
    let mut fourier = Fourier::new(64, true);
    let mut correlator = Correlator::new(64);
    let mut chance = Chance(3);
    let mut noise = || (0..64 * 64).map(|_| (120.0 + 6.0 * chance.normal()) as u8).collect::<Vec<u8>>();
    fn grey(samples: &[u8]) -> Grey<'_> {
        Grey { samples, stride: 64, width: 64, height: 64 }
    }
    for _ in 0..200 {
        let (one, other) = (noise(), noise());
        let [one, other] = [&one, &other].map(|samples| fourier.spectrum(grey(samples), [0; 2]).unwrap());
        assert_eq!(correlator.between(&mut fourier, &one, &other), None);
    }
    assert!(fourier.spectrum(grey(&[90; 64 * 64]), [0; 2]).is_none());
    assert!(fourier.spectrum(grey(&[90; 64 * 64]), [1, 0]).is_none(), "not all within the picture");
}

/// Steps: the still that each comes before, its size and its way.
const STEPS: [(usize, f64, f64); 5] =
    [(40, 0.3, 0.3), (75, 0.5, 2.0), (110, 1.0, -1.0), (150, 3.0, 0.8), (190, 20.0, 2.6)];

fn stepped(at: usize) -> Pose {
    let gone = STEPS.iter().filter(|(from, ..)| at >= *from);
    gone.fold(Pose::STILL, |stand, (_, by, way)| shifted(stand.x + by * way.cos(), stand.y + by * way.sin()))
}

// Steps of 0.3 to 20 px in a scene half in motion, every step of 0.5 px found, residual 0.1 px at
// most.
/// Fault 43: bumps and sags.
#[test]
fn steps_are_found_at_their_stills_with_their_sizes_though_half_of_the_scene_moves() {
    let scene = Scene::new();
    let registered = registered(scene.layout(), 230, |at| scene.still(at, stepped(at).into()));
    let solved = solve(&registered, &ALL);
    let found: Vec<usize> = solved.bumps.iter().map(|bump| bump.at).collect();
    assert_eq!(found, STEPS.map(|(at, ..)| at), "{:?}", solved.bumps);
    for (bump, (_, by, way)) in solved.bumps.iter().zip(STEPS) {
        assert!((bump.by.x - by * way.cos()).hypot(bump.by.y - by * way.sin()) < 0.05, "{bump:?} for {by} px");
    }
    let worst = worst(scene.size, &solved, stepped);
    assert!(worst < 0.1, "{worst}");
    assert!(solved.unplaced.is_empty() && solved.sags.is_empty() && solved.views.is_empty());
    assert!(solved.stands[..40].iter().all(|stand| *stand == Pose::STILL), "before the first bump nothing moves");
}

// Drift of 0.01 px a frame.
/// Fault 43: bumps and sags.
#[test]
fn a_slow_drift_is_followed_and_no_bump() {
    let scene = Scene::new();
    let drift = |at: usize| shifted(0.008 * at as f64, -0.006 * at as f64);
    let registered = registered(scene.layout(), 300, |at| scene.still(at, drift(at).into()));
    let solved = solve(&registered, &ALL);
    assert_eq!(solved.bumps, []);
    let [sag] = solved.sags.as_slice() else { panic!("{:?}", solved.sags) };
    assert!((sag.by.x - 2.392).abs() < 0.1 && (sag.by.y + 1.794).abs() < 0.1, "{sag:?}");
    let worst = worst(scene.size, &solved, drift);
    assert!(worst < 0.1, "{worst}");
    let bumps = solve(&registered, &Wishes { sags: false, ..ALL });
    assert!(bumps.is_still() && bumps.sags.is_empty(), "asked for bumps alone, a drift stays");
}

// No false alarm in 1,000 stills.
/// Fault 43: bumps and sags.
#[test]
fn a_thousand_stills_of_a_steady_camera_raise_no_alarm() {
    let scene = Scene::new();
    let registered = registered(scene.layout(), 1000, |at| scene.still(at, Pose::STILL.into()));
    let solved = solve(&registered, &ALL);
    assert!(
        solved.is_still() && solved.bumps.is_empty() && solved.sags.is_empty(),
        "{:?} {:?}",
        solved.bumps,
        solved.sags
    );
    assert!(solved.unplaced.is_empty() && solved.views.is_empty(), "{:?}", solved.unplaced);
}

#[test]
fn turns_up_to_a_degree_are_found_about_the_stills_centre() {
    let scene = Scene::new();
    let camera = |at: usize| match at {
        0..12 => Pose::STILL,
        12..24 => Pose { x: 0.6, y: -0.4, turn: 0.2 },
        _ => Pose { x: -4.3, y: 2.2, turn: -0.8 },
    };
    let registered = registered(scene.layout(), 36, |at| scene.still(at, camera(at).into()));
    let solved = solve(&registered, &ALL);
    assert_eq!(solved.bumps.iter().map(|bump| bump.at).collect::<Vec<usize>>(), [12, 24], "{:?}", solved.bumps);
    let worst = worst(scene.size, &solved, camera);
    assert!(worst < 0.1, "{worst}");
}

#[test]
fn black_stills_have_no_stand_and_flashes_do_no_harm() {
    let scene = Scene::new();
    let camera = |at: usize| if at < 20 { Pose::STILL } else { shifted(2.0, 1.0) };
    let registered = registered(scene.layout(), 40, |at| match at {
        9 | 20 => vec![3; 320 * 240],
        14 => scene.still(at, camera(at).into()).iter().map(|code| code.saturating_add(code / 2)).collect(),
        32 => vec![255; 320 * 240],
        _ => scene.still(at, camera(at).into()),
    });
    let solved = solve(&registered, &ALL);
    assert_eq!(solved.unplaced, [(9, Reason::Blank), (20, Reason::Blank), (32, Reason::Blank)]);
    assert_eq!(solved.bumps.iter().map(|bump| bump.at).collect::<Vec<usize>>(), [21], "the first still that shows it");
    assert!(solved.stands[..21].iter().all(|stand| *stand == Pose::STILL));
    assert!(solved.stands[21..].iter().all(|stand| residual(scene.size, *stand, shifted(2.0, 1.0)) < 0.1));
}

/// Fault 42: focus or zoom changed.
#[test]
fn another_focal_length_is_another_view_and_begins_anew() {
    let scene = Scene::new();
    let camera = |at: usize| match at {
        0..20 => Camera::from(Pose::STILL),
        20..30 => Camera { stand: Pose::STILL, zoom: 1.02 },
        _ => Camera { stand: shifted(3.0, -2.0), zoom: 1.02 },
    };
    let registered = registered(scene.layout(), 45, |at| scene.still(at, camera(at)));
    let solved = solve(&registered, &ALL);
    assert_eq!(solved.views, [View { at: 20, enlarged: true }]);
    assert_eq!(solved.bumps.iter().map(|bump| bump.at).collect::<Vec<usize>>(), [30], "{:?}", solved.bumps);
    assert!(solved.stands[..30].iter().all(|stand| *stand == Pose::STILL));
    assert!(solved.stands[30..].iter().all(|stand| residual(scene.size, *stand, shifted(3.0, -2.0)) < 0.1));
}

#[test]
fn another_scene_for_one_still_moves_nothing_and_a_region_may_say_where_to_look() {
    let scene = Scene::new();
    let other = Scene { ground: waves(1234), moving: waves(4321), ..Scene::new() };
    let registered = registered(scene.layout(), 30, |at| match at {
        11 => other.still(at, Pose::STILL.into()),
        _ => scene.still(at, Pose::STILL.into()),
    });
    let solved = solve(&registered, &ALL);
    assert_eq!(solved.unplaced, [(11, Reason::Unlike)]);
    assert!(solved.is_still(), "{:?}", solved.bumps);
    let left = Region { x: 0.0, y: 0.0, width: 0.5, height: 1.0 };
    let solved = solve(&registered, &Wishes { region: Some(left), sags: true });
    assert!(solved.is_still() && solved.unplaced == [(11, Reason::Unlike)]);
    // What moves and changes shape all the time cannot be stood by.
    let nothing = Region { x: 0.45, y: 0.45, width: 0.01, height: 0.01 };
    let solved = solve(&registered, &Wishes { region: Some(nothing), sags: true });
    assert!(solved.is_still() && solved.unplaced.len() == 29, "{:?}", solved.unplaced);
}
