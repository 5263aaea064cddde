//! Full sharpness against an independent resampler.
//!
//! Values from Pillow 13.0.0: `Image.fromarray(noise, "F").resize((12, 8), Image.LANCZOS, box=(x, y, x + 12 k, y + 8
//! k))` of a 96 × 72 still of white noise, row by row the high bytes of [`Noise`] from seed 1. Pillow's weights are
//! plain normalised Lanczos-3; ours keep the first moment as well, which is the difference measured here.

use stillpath::geom::Window;
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::stills::{Field, Noise, grey16, paint_rgb};

struct Reference {
    scale: f64,
    corner: (f64, f64),
    codes: [[f64; 12]; 8],
}

#[test]
fn full_sharpness_agrees_with_pillow() {
    let mut noise = Noise(1);
    let mut still = Field::new(Size::new(96, 72), 0.0);
    still.values.iter_mut().for_each(|value| *value = 257.0 * f64::from(noise.byte()));
    let still = grey16(&still);
    for reference in &REFERENCES {
        let Reference { scale, corner, codes } = reference;
        let window = Window::new(corner.0, corner.1, 12.0 * scale, 8.0 * scale);
        let [seen, ..] = paint_rgb(&mut Painter::new(), &still, window, Sharpness::Full, Size::new(12, 8));
        let wanted = codes.iter().flatten().map(|code| code.clamp(0.0, 255.0));
        let errors: Vec<f64> =
            seen.values.iter().zip(wanted).map(|(seen, wanted)| (seen / 257.0 - wanted).abs()).collect();
        let mean = errors.iter().sum::<f64>() / errors.len() as f64;
        let worst = errors.iter().copied().fold(0.0, f64::max);
        println!("Pillow's float box at {scale}x from {corner:?}: {mean:.3} codes mean, {worst:.3} max");
        assert!(mean <= 0.25 && worst <= 2.0, "{mean} mean, {worst} max");
    }
}

#[rustfmt::skip]
static REFERENCES: [Reference; 3] = [
    Reference { scale: 1.3, corner: (17.3, 11.6), codes: [
        [44.25, 119.49, 187.46, 105.24, 209.81, 57.97, 105.77, 205.30, 183.25, 158.23, 92.59, 122.81],
        [94.45, 143.67, 191.16, 171.34, 132.74, 40.33, 21.49, 176.20, 125.82, 92.16, 103.50, 139.99],
        [75.31, 30.76, 181.00, 110.38, 155.51, 101.83, 64.35, 146.49, 98.24, 60.08, 111.10, 82.11],
        [140.85, 62.00, 177.65, 105.78, 83.53, 208.35, 163.01, 157.42, 115.98, 240.97, 155.63, 195.10],
        [137.08, 134.19, 79.67, 155.74, 167.85, 92.46, 133.19, 133.55, 89.20, 99.80, 166.08, 98.67],
        [91.58, 119.22, 106.25, 135.54, 144.57, 169.12, 101.75, 108.36, 104.40, 49.08, 220.41, 126.51],
        [147.58, 155.46, 63.98, 139.63, 134.69, 197.39, 40.13, 127.10, 129.20, 94.62, 112.72, 72.66],
        [154.39, 120.58, 154.58, 201.74, 174.89, 79.08, 88.12, -4.30, 127.33, 116.82, 104.12, 245.64],
    ] },
    Reference { scale: 2.7, corner: (20.3, 12.6), codes: [
        [166.50, 82.39, 126.88, 111.50, 108.53, 86.50, 168.25, 144.06, 156.65, 167.58, 188.66, 116.16],
        [122.52, 146.83, 128.31, 144.20, 131.91, 116.71, 130.26, 170.22, 94.19, 116.76, 105.91, 113.26],
        [136.66, 139.10, 89.62, 114.30, 112.53, 131.29, 127.22, 112.37, 94.09, 135.30, 103.54, 151.21],
        [138.87, 132.95, 88.87, 125.03, 158.27, 145.04, 135.31, 147.08, 118.10, 123.94, 127.49, 117.92],
        [144.95, 152.51, 120.11, 98.04, 144.70, 148.06, 98.41, 108.15, 107.85, 103.85, 83.68, 125.24],
        [123.84, 104.10, 160.02, 138.80, 122.40, 166.06, 167.50, 121.73, 136.00, 115.32, 75.64, 131.14],
        [117.71, 117.82, 161.46, 137.42, 130.95, 108.71, 79.34, 87.24, 91.91, 138.30, 155.77, 167.58],
        [115.96, 150.86, 169.88, 142.23, 129.35, 126.61, 69.06, 94.63, 93.57, 129.00, 118.41, 121.60],
    ] },
    Reference { scale: 1.3, corner: (0.0, 0.0), codes: [
        [91.72, 117.55, 152.48, 77.77, 113.18, 140.60, 67.77, 112.24, 78.63, 129.16, 171.16, 136.80],
        [186.50, 161.93, 137.90, 162.64, 28.60, 72.15, 134.66, 15.09, 35.47, 115.58, 147.94, 148.21],
        [183.01, 125.64, 96.34, 139.98, 182.36, 150.48, 94.91, 114.86, -10.92, 175.10, 169.17, 95.79],
        [147.41, 128.53, 168.59, 220.04, 171.91, 146.37, 134.72, 125.50, 178.11, 120.54, 233.83, 158.43],
        [169.66, 152.31, 61.19, 141.86, 103.28, 125.42, 152.17, 177.70, 167.39, 110.59, 141.86, 174.05],
        [118.70, 140.73, 46.25, 33.31, 122.01, 7.22, 37.12, 200.80, 167.91, 127.35, 155.66, 141.47],
        [176.89, 153.52, 164.20, 99.29, 145.00, 27.35, 64.00, 102.52, 151.03, 201.75, 199.85, 187.04],
        [87.28, 149.90, 77.38, 98.78, 208.92, 220.18, 193.59, 170.72, 111.67, 107.80, 151.99, 157.80],
    ] },
];
