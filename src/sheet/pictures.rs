//! Small stills as pictures, and places in words.

use base64::Engine as _;
use fast_image_resize::images::Image;
use fast_image_resize::{FilterType, PixelType, ResizeAlg, ResizeOptions, Resizer};
use kurbo::Rect;

use crate::ffi::jpeg;
use crate::ink::svg::Svg;
use crate::measures::Thumbnail;
use crate::units::Size;

/// A small still in the colours it has on screen: R'G'B', 8 bits, rows tightly packed.
pub(super) fn on_screen(still: &Thumbnail) -> Vec<u8> {
    let pixel = |at: usize| [0, 1, 2].map(|channel| code(still.light(channel, at)));
    (0..still.width * still.height).flat_map(pixel).collect()
}

/// Puts a picture into a drawing.
pub(super) fn put(svg: &mut Svg, rgb: &[u8], (width, height): (usize, usize), place: Rect, class: &str) {
    let size = Size::new(u32::try_from(width).unwrap_or(1), u32::try_from(height).unwrap_or(1));
    let jpeg = jpeg::encode_rgb(rgb, size, 88, (1, 1), &[]);
    let data = format!("data:image/jpeg;base64,{}", base64::engine::general_purpose::STANDARD.encode(jpeg));
    let image = svg.element("image").text("class", class).number("x", place.x0).number("y", place.y0);
    let image = image.number("width", place.width()).number("height", place.height());
    image.text("preserveAspectRatio", "none").text("href", &data).empty();
}

/// One channel at another size: samples sit in the middles of their cells, and a smooth curve leads from one to the next. All dark where it
/// has no samples.
pub(super) fn resized(samples: &[f32], (width, height): (usize, usize), (across, down): (usize, usize)) -> Vec<f32> {
    let side = |side: usize| u32::try_from(side.max(1)).unwrap_or(1);
    let mut from = Image::new(side(width), side(height), PixelType::F32);
    from.buffer_mut()
        .chunks_exact_mut(4)
        .zip(samples)
        .for_each(|(bytes, sample)| bytes.copy_from_slice(&sample.to_ne_bytes()));
    let mut to = Image::new(side(across), side(down), PixelType::F32);
    let linear = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::Mitchell));
    // Of two pictures of one kind it cannot fail.
    let _same_kind = Resizer::new().resize(&from, &mut to, &linear);
    to.buffer().as_chunks::<4>().0.iter().map(|bytes| f32::from_ne_bytes(*bytes)).collect()
}

/// The sRGB code of linear light (IEC 61966-2-1).
fn code(light: f64) -> u8 {
    let code = if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 };
    byte(code)
}

/// A share of white as a code.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 255")]
pub(super) fn byte(share: f64) -> u8 {
    (share * 255.0).round().clamp(0.0, 255.0) as u8
}
