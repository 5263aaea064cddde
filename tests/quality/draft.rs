//! Drafts beside what they are drafts of: things are in the same places to a quarter of a pixel, and colours the same
//! to a code. Stills are JPEG files here, decoded small for the one and whole for the other. The bars are our
//! choice, no source.

use std::time::UNIX_EPOCH;

use kurbo::{Point, Vec2};
use stillpath::decode::{Decoder, Want};
use stillpath::ffi::jpeg::encode_rgb;
use stillpath::geom::Window;
use stillpath::picture::{Picture, Profile, Siting};
use stillpath::sample::{Painter, denominator};
use stillpath::shoot::{Format, Orientation, Settings, Still};
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::blobs::{
    AROUND, Blob, FRAMES, Move, SIGMA, blobs, chart, corner, difference_601, find_blob, luma_601, still_size,
};
use crate::stills::{Field, Noise, paint_rgb, paint_yuv};

const FINAL: Size = Size { width: 1280, height: 720 };
const DRAFT: Size = Size { width: 640, height: 360 };

/// A JPEG on the disk.
struct File {
    still: Still,
    _folder: tempfile::TempDir,
}

impl File {
    fn new(size: Size, subsampling: (u8, u8), rgb: &[u8]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("still.jpg");
        std::fs::write(&path, encode_rgb(rgb, size, 95, subsampling, &[])).unwrap();
        let seen = std::fs::metadata(&path).unwrap();
        let modified = i128::try_from(seen.modified().unwrap().duration_since(UNIX_EPOCH).unwrap().as_nanos()).unwrap();
        let (format, orientation, settings) = (Format::Jpeg, Orientation::Upright, Settings::default());
        let still =
            Still { path, format, stored: size, orientation, captured: None, settings, bytes: seen.len(), modified };
        Self { still, _folder: folder }
    }

    fn decoded(&self, denominator: u32) -> Picture {
        Decoder::new()
            .decode(&self.still, Want::Planes { rows: 0..self.still.stored.height, scale: denominator }, None)
            .unwrap()
    }
}

/// R'G'B' of Y'CbCr by JFIF 1.02.
fn rgb([luma, blue, red]: [f64; 3]) -> [u8; 3] {
    let (blue, red) = (blue - 128.0, red - 128.0);
    [luma + 1.402 * red, luma - 0.344_136 * blue - 0.714_136 * red, luma + 1.772 * blue].map(|code| code.round() as u8)
}

#[test]
fn a_draft_shows_everything_within_a_quarter_of_a_pixel_of_where_the_finished_frame_does() {
    let (mut worst, mut shifted) = (0.0_f64, 0.0_f64);
    for (times, subsampling, due) in
        [(1, (2, 2), 2), (1, (2, 1), 2), (1, (4, 1), 2), (2, (2, 2), 4), (2, (1, 1), 4), (4, (2, 2), 8)]
    {
        let size = still_size(times);
        let spots = chart(times, Siting::FULL, size, 0.0, 1.0);
        // Blobs that are bright, and differ in colour from what is around them, so that luma and chroma both tell.
        let pixels: Vec<u8> =
            spots.values.iter().flat_map(|light| rgb([40.0 + 120.0 * light, 118.0 + 30.0 * light, 128.0])).collect();
        let file = File::new(size, subsampling, &pixels);
        let pictures = [1, 2, 4, 8].map(|denominator| file.decoded(denominator));
        for way in [Move::PushIn, Move::Pan, Move::Roll] {
            let shape = if way == Move::Roll { Size::new(480, 640) } else { FINAL };
            let half = Size::new(shape.width / 2, shape.height / 2);
            for frame in [0, FRAMES / 2, FRAMES - 1] {
                let window = way.window(frame, shape, times);
                let small = denominator(window, half);
                assert!(small == due || small == due / 2, "{small}");
                let places = |denominator: u32, frame: Size| -> Vec<Vec<Point>> {
                    let painted = paint_rgb(
                        &mut Painter::new(),
                        &pictures[denominator.ilog2() as usize],
                        window,
                        Sharpness::Even,
                        frame,
                    );
                    let found = |field: Field, ground: f64| {
                        let near = |blob: Blob| {
                            let scale = window.enlargement(frame);
                            Blob { middle: window.to_frame(blob.middle, frame), sigma: blob.sigma * scale }
                        };
                        let inside = |place: Point| {
                            let place = window.to_frame(place, shape);
                            let edge = AROUND * SIGMA + 8.0;
                            (edge..f64::from(shape.width) - edge).contains(&place.x)
                                && (edge..f64::from(shape.height) - edge).contains(&place.y)
                        };
                        let seen = blobs(times).into_iter().filter(|blob| inside(blob.middle));
                        seen.map(|blob| find_blob(&field, Siting::FULL, ground, near(blob))).collect::<Vec<_>>()
                    };
                    let blue = difference_601(&painted, 2);
                    let (luma, ground) = (luma_601(&painted), corner(&blue));
                    let dark = corner(&luma);
                    vec![found(luma, dark), found(blue, ground)]
                };
                let (finished, draft) = (places(1, shape), places(small, half));
                for (plane, (finished, draft)) in finished.iter().zip(&draft).enumerate() {
                    assert!(finished.len() >= 4, "{} blobs", finished.len());
                    let apart = finished.iter().zip(draft).map(|(a, b)| a.distance(Point::new(2.0 * b.x, 2.0 * b.y)));
                    let most = apart.fold(0.0, f64::max);
                    // A shift of everything would be a wrong phase, and no blob's own rounding.
                    let shift = finished.iter().zip(draft).map(|(a, b)| *a - Point::new(2.0 * b.x, 2.0 * b.y));
                    let shift = shift.fold(Vec2::ZERO, |sum, one| sum + one).hypot() / finished.len() as f64;
                    shifted = shifted.max(shift);
                    println!(
                        "1/{small} of {subsampling:?}, {way:?}, frame {frame}, {}: {most:.4} px, all of it {shift:.4}",
                        ["luma", "blue"][plane]
                    );
                    worst = worst.max(most);
                }
            }
        }
    }
    assert!(worst <= 0.25 && shifted <= 0.08, "{worst} pixels of the finished frame, {shifted} all of it");
}

/// Fine texture, hard edges and full colours: what means of clipped and unclipped codes would differ in.
fn harsh(size: Size) -> Vec<u8> {
    let mut noise = Noise(5);
    let mut pixels = Vec::with_capacity(3 * size.pixels() as usize);
    for y in 0..size.height {
        for x in 0..size.width {
            let bars = [[235, 20, 30], [250, 250, 248], [20, 180, 40], [5, 5, 8], [40, 60, 220], [128, 120, 110]];
            let bar = bars[((x / 37 + y / 53) % 6) as usize];
            let line = if (x + y) % 9 == 0 { 60 } else { 0 };
            let grain = (noise.normal() * 9.0) as i32;
            pixels.extend(bar.map(|code: i32| (code + line + grain).clamp(0, 255) as u8));
        }
    }
    pixels
}

#[test]
fn a_drafts_colours_are_those_of_the_finished_frame_to_a_code_on_the_whole() {
    let size = Size::new(2624, 1504);
    let pixels = harsh(size);
    let mut worst = 0.0_f64;
    for subsampling in [(2, 2), (2, 1), (1, 1)] {
        let file = File::new(size, subsampling, &pixels);
        for (zoom, due) in [(1.0, 4), (1.5, 2), (3.0, 1)] {
            let (width, height) = (2560.0 / zoom, 1440.0 / zoom);
            let window = Window::new(17.3, 29.8, width, height);
            assert_eq!(denominator(window, DRAFT), due);
            for profile in [Profile::Srgb, Profile::AdobeRgb] {
                let means = |denominator: u32, frame: Size| {
                    let picture = Picture { profile: profile.clone(), ..file.decoded(denominator) };
                    let planes = paint_yuv(&mut Painter::new(), &picture, window, Sharpness::Even, frame);
                    planes.map(|plane| plane.values.iter().sum::<f64>() / plane.values.len() as f64)
                };
                let (finished, draft) = (means(1, FINAL), means(due, DRAFT));
                let apart: Vec<f64> = finished.iter().zip(draft).map(|(one, other)| (one - other).abs()).collect();
                println!("1/{due} of {subsampling:?}, {profile:?}: {apart:.3?} codes");
                worst = apart.into_iter().fold(worst, f64::max);
            }
        }
    }
    assert!(worst <= 1.0, "{worst} codes");
}
