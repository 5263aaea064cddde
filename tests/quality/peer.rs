//! Full sharpness against an exact peer, over whole frames: `fast_image_resize`'s Lanczos-3 of 32-bit floats from a
//! crop box with fractions, on a photo-like picture with hard edges.
//!
//! Its weights are plain normalised Lanczos-3; ours keep the first moment as well (the weights themselves are compared
//! in `src/sample/weights.rs`, to rounding). What is measured here is what keeping it changes in a picture.

use fast_image_resize::images::Image;
use fast_image_resize::{FilterType, PixelType, ResizeAlg, ResizeOptions, Resizer};
use stillpath::geom::Window;
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::stills::{Field, grey16, paint_rgb};
use crate::texture;

const STILL: Size = Size { width: 900, height: 640 };
const FRAME: Size = Size { width: 320, height: 200 };

/// A photograph's spectrum, with a bright and a dark box and a disc for edges; whole 16-bit values.
fn still() -> Field {
    let mut field = texture::photo_like(STILL, 7);
    for (at, value) in field.values.iter_mut().enumerate() {
        let (x, y) = (at % STILL.width as usize, at / STILL.width as usize);
        *value = 128.0 + 40.0 * *value;
        match (x, y) {
            (230..=330, 210..=280) => *value = 235.0,
            (340..=430, 300..=350) => *value = 20.0,
            _ if (x as f64 - 600.0).hypot(y as f64 - 400.0) < 70.0 => *value += 60.0,
            _ => {}
        }
        *value = (257.0 * value.clamp(0.0, 255.0)).round();
    }
    field
}

fn peer(still: &Field, window: Window) -> Vec<f64> {
    let bytes = still.values.iter().flat_map(|&value| (value as f32).to_ne_bytes()).collect();
    let source = Image::from_vec_u8(still.width as u32, still.height as u32, bytes, PixelType::F32).unwrap();
    let mut frame = Image::new(FRAME.width, FRAME.height, PixelType::F32);
    let options = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::Lanczos3)).crop(
        window.x,
        window.y,
        window.width,
        window.height,
    );
    Resizer::new().resize(&source, &mut frame, &options).unwrap();
    frame.buffer().as_chunks::<4>().0.iter().map(|bytes| f64::from(f32::from_ne_bytes(*bytes))).collect()
}

#[test]
fn full_sharpness_agrees_with_an_exact_peer_over_whole_frames() {
    let field = still();
    let still = grey16(&field);
    let mut painter = Painter::new();
    // Off every edge where there is room, and in two corners.
    let corners = [(57.37, 41.81), (0.0, 0.0)];
    for scale in [1.3, 2.7, 1.0, 0.6] {
        let (width, height) = (f64::from(FRAME.width) * scale, f64::from(FRAME.height) * scale);
        let last = (f64::from(STILL.width) - width, f64::from(STILL.height) - height);
        for (x, y) in corners.into_iter().chain([last]) {
            let (x, y) = (x.min(last.0), y.min(last.1));
            let window = Window::new(x, y, width, height);
            let [seen, ..] = paint_rgb(&mut painter, &still, window, Sharpness::Full, FRAME);
            let wanted = peer(&field, window);
            let errors: Vec<f64> = seen
                .values
                .iter()
                .zip(&wanted)
                .map(|(seen, wanted)| (seen - wanted.clamp(0.0, 65_535.0)).abs() / 257.0)
                .collect();
            let mean = errors.iter().sum::<f64>() / errors.len() as f64;
            let worst = errors.iter().copied().fold(0.0, f64::max);
            println!("exact peer at {scale}x from ({x:.2}, {y:.2}): {mean:.4} codes mean, {worst:.3} max");
            assert!(mean <= 0.25 && worst <= 2.0, "{mean} mean, {worst} max at {scale}x");
        }
    }
}
