//! Rolled frames against an independent rotation.
//!
//! Values from SciPy 1.17.1: `scipy.ndimage.affine_transform(still, k R, c - k R m, (8, 12), order=5, mode="mirror") /
//! 257` of the still of 16 bits of [`waves`], where `k` is the scale, `R = [[cos, sin], [-sin, cos]]` of the roll (rows
//! before columns), `m = (3.5, 5.5)` the frame's middle and `c = (151.3, 198.8)` the window's, both in indices. Splines
//! of order 5 follow the formula itself to 0.003 codes here, so that what is measured is the program's own kernel: the
//! bar is what Lanczos-3 lets through unevenly of waves of 12 pixels and longer.

use kurbo::Point;
use stillpath::geom::Window;
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

use crate::rolled::waves;
use crate::stills::{Field, grey16, paint_rgb};

struct Reference {
    roll: f64,
    scale: f64,
    codes: [[f64; 12]; 8],
}

#[test]
fn rolled_frames_agree_with_scipy() {
    let still = grey16(&Field::from_fn(Size::new(400, 300), |x, y| 257.0 * waves(x as f64 + 0.5, y as f64 + 0.5)));
    for Reference { roll, scale, codes } in &REFERENCES {
        let window = Window::around(Point::new(199.3, 151.8), 12.0 * scale, 8.0 * scale).rolled(*roll);
        for sharpness in [Sharpness::Even, Sharpness::Full] {
            let [seen, ..] = paint_rgb(&mut Painter::new(), &still, window, sharpness, Size::new(12, 8));
            let errors = seen.values.iter().zip(codes.iter().flatten()).map(|(seen, must)| (seen / 257.0 - must).abs());
            let worst = errors.fold(0.0, f64::max);
            println!("SciPy's spline at {scale}x rolled by {roll}, {sharpness:?}: {worst:.3} codes");
            assert!(worst < 0.5, "{worst}");
        }
    }
}

#[rustfmt::skip]
static REFERENCES: [Reference; 3] = [
    Reference { roll: 7.3, scale: 1.0, codes: [
        [129.18, 139.06, 149.93, 159.72, 166.95, 171.04, 172.41, 172.23, 172.10, 173.47, 177.24, 183.40],
        [126.47, 135.52, 145.97, 155.65, 162.94, 167.08, 168.35, 167.84, 167.10, 167.67, 170.55, 175.87],
        [121.97, 129.96, 139.69, 148.91, 155.83, 159.57, 160.28, 158.98, 157.23, 156.63, 158.31, 162.60],
        [116.18, 123.20, 132.21, 140.86, 147.25, 150.36, 150.25, 147.88, 144.83, 142.80, 143.06, 146.13],
        [110.12, 116.54, 125.10, 133.36, 139.30, 141.80, 140.81, 137.26, 132.78, 129.15, 127.83, 129.53],
        [105.11, 111.52, 120.11, 128.36, 134.14, 136.23, 134.47, 129.80, 123.87, 118.58, 115.58, 115.80],
        [102.40, 109.49, 118.71, 127.46, 133.50, 135.49, 133.23, 127.59, 120.30, 113.38, 108.65, 107.26],
        [102.87, 111.31, 121.76, 131.53, 138.27, 140.55, 138.05, 131.68, 123.17, 114.69, 108.23, 105.15],
    ] },
    Reference { roll: -61.0, scale: 1.3, codes: [
        [101.53, 99.35, 100.62, 106.12, 115.54, 127.47, 139.73, 149.84, 155.68, 155.99, 150.65, 140.72],
        [111.31, 108.12, 108.12, 112.82, 122.30, 135.15, 148.74, 159.84, 165.57, 164.07, 155.11, 140.14],
        [130.84, 125.28, 121.86, 123.05, 129.74, 140.95, 153.99, 165.21, 171.04, 168.97, 158.36, 140.67],
        [155.13, 145.84, 137.19, 132.78, 134.58, 142.37, 153.78, 165.02, 171.91, 171.21, 161.59, 144.11],
        [178.23, 164.44, 149.73, 138.79, 134.80, 138.52, 148.19, 160.01, 169.37, 172.20, 166.24, 151.77],
        [194.88, 176.86, 156.55, 139.58, 130.25, 130.39, 138.91, 152.24, 165.39, 173.47, 173.16, 163.70],
        [201.87, 181.04, 156.90, 135.69, 122.60, 120.38, 128.68, 144.23, 161.82, 175.87, 182.00, 178.28],
        [198.73, 177.46, 152.19, 129.34, 114.62, 111.47, 120.24, 138.05, 159.69, 179.10, 191.02, 192.45],
    ] },
    Reference { roll: 133.0, scale: 0.7, codes: [
        [160.28, 151.76, 143.73, 136.81, 131.49, 128.18, 127.11, 128.34, 131.79, 137.15, 144.00, 151.78],
        [164.05, 157.06, 150.11, 143.74, 138.41, 134.53, 132.36, 132.03, 133.53, 136.68, 141.17, 146.56],
        [167.32, 161.95, 156.15, 150.38, 145.08, 140.63, 137.34, 135.40, 134.89, 135.74, 137.78, 140.71],
        [169.92, 166.17, 161.52, 156.35, 151.08, 146.08, 141.70, 138.19, 135.72, 134.33, 133.98, 134.51],
        [171.68, 169.46, 165.88, 161.29, 156.06, 150.56, 145.17, 140.22, 135.93, 132.49, 129.95, 128.31],
        [172.50, 171.61, 168.99, 164.91, 159.71, 153.79, 147.54, 141.33, 135.50, 130.30, 125.91, 122.43],
        [172.28, 172.48, 170.63, 166.98, 161.83, 155.58, 148.66, 141.48, 134.45, 127.90, 122.10, 117.23],
        [171.02, 172.00, 170.72, 167.38, 162.29, 155.84, 148.48, 140.67, 132.85, 125.43, 118.74, 113.02],
    ] },
];
