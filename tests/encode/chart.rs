//! A chart for places: Gaussian blobs on stills with noise, a slow push-in over them, and where the blobs are found.
//!
//! A blob's middle is a mean with the blob's own weights, moved until it is the middle of them. Every frame is made of a
//! still of its own, with white noise of its own. `examples/moving_chart.rs` draws the large one, `moves.rs` a small one.

use kurbo::{Point, Vec2};
use stillpath::geom::Window;
use stillpath::picture::{Frame, FrameKind, Model, Picture, Plane, Profile, Samples, Siting};
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

/// Light between the blobs, and what a blob adds, in codes of 16 bits.
const BACKGROUND: f64 = 14_000.0;
const HEIGHT: f64 = 30_000.0;
/// Standard deviation of the noise of a still: 1 % of white.
const NOISE: f64 = 655.35;

pub(crate) struct Chart {
    pub(crate) frame: Size,
    pub(crate) frames: u32,
    /// Zoom of the last frame.
    pub(crate) zoom: f64,
    /// Blobs in the first frame, in its pixels.
    pub(crate) blobs: Vec<Point>,
    /// Their standard deviation there.
    pub(crate) sigma: f64,
}

impl Chart {
    /// Stills have twice the frame's width and height, so the noise in a frame is about half that in a still.
    fn size(&self) -> Size {
        Size::new(2 * self.frame.width, 2 * self.frame.height)
    }

    pub(crate) fn window(&self, frame: u32) -> Window {
        let Size { width, height } = self.size();
        let (width, height) = (f64::from(width), f64::from(height));
        let zoom = self.zoom.powf(f64::from(frame) / f64::from(self.frames - 1));
        Window::around(Point::new(width / 2.0, height / 2.0), width / zoom, height / zoom)
    }

    /// The still of a frame.
    fn still(&self, frame: u32) -> Picture {
        let (size, sigma) = (self.size(), 2.0 * self.sigma);
        // The generator of Numerical Recipes (Press et al., 2nd ed., section 7.1). The sum of four uniform numbers has
        // mean 2 and variance 1/3.
        let mut state = 0x9E37_79B9_u32 ^ frame.wrapping_mul(0x85EB_CA6B);
        let mut unit = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state) / 4_294_967_296.0
        };
        // A Gaussian is the product of one along each side.
        let profile = |middle: f64, length: u32| -> Vec<f64> {
            (0..length).map(|at| (-((f64::from(at) + 0.5 - 2.0 * middle) / sigma).powi(2) / 2.0).exp()).collect()
        };
        let blobs: Vec<_> =
            self.blobs.iter().map(|blob| (profile(blob.x, size.width), profile(blob.y, size.height))).collect();
        let mut samples = Vec::with_capacity(size.pixels() as usize);
        for row in 0..size.height as usize {
            let near: Vec<_> = blobs.iter().filter(|(_, down)| down[row] > 1e-9).collect();
            for column in 0..size.width as usize {
                let light: f64 = near.iter().map(|(across, down)| across[column] * down[row]).sum();
                let noise = ((0..4).map(|_| unit()).sum::<f64>() - 2.0) * 3.0_f64.sqrt();
                samples.push((BACKGROUND + HEIGHT * light + NOISE * noise).round() as u16);
            }
        }
        grey(samples, size)
    }

    pub(crate) fn painted(&self, painter: &mut Painter, kind: FrameKind, frame: u32) -> Frame {
        painted(painter, &self.still(frame), self.window(frame), (kind, self.frame))
    }

    /// How far the blobs are from where they must be, in pixels along either axis: the root of the mean square, the
    /// largest, and the mean error of their acceleration from frame to frame. Frames are luma, where black is 0 and
    /// white 1.
    pub(crate) fn followed(&self, frames: impl Iterator<Item = Vec<f32>>) -> [f64; 3] {
        let mut tracks = vec![Vec::new(); 2 * self.blobs.len()];
        for (number, luma) in frames.enumerate() {
            let window = self.window(number as u32);
            for (at, blob) in self.blobs.iter().enumerate() {
                let must = window.to_frame(Point::new(2.0 * blob.x, 2.0 * blob.y), self.frame);
                let found = self.find(&luma, must, 2.0 * self.sigma * window.enlargement(self.frame));
                tracks[2 * at].push(found.x - must.x);
                tracks[2 * at + 1].push(found.y - must.y);
            }
        }
        assert!(tracks.iter().all(|track| track.len() == self.frames as usize), "all frames are there");
        let errors: Vec<f64> = tracks.concat();
        let bends = tracks.iter().flat_map(|track| track.windows(3).map(|of| (of[0] - 2.0 * of[1] + of[2]).abs()));
        let bends: Vec<f64> = bends.collect();
        let mean = |of: &[f64]| of.iter().sum::<f64>() / of.len() as f64;
        let squares: Vec<f64> = errors.iter().map(|error| error * error).collect();
        [mean(&squares).sqrt(), errors.iter().fold(0.0, |most, error| error.abs().max(most)), mean(&bends)]
    }

    fn find(&self, luma: &[f32], must: Point, sigma: f64) -> Point {
        let weights = |middle: f64, length: u32| -> Vec<(usize, f64, f64)> {
            let first = (middle - 3.0 * sigma).max(0.0) as usize;
            let end = ((middle + 3.0 * sigma) as usize).min(length as usize);
            let weigh = |at: usize| {
                let away = at as f64 + 0.5 - middle;
                (at, away, (-(away / sigma).powi(2) / 2.0).exp())
            };
            (first..end).map(weigh).collect()
        };
        let mut middle = must;
        for _ in 0..8 {
            let columns = weights(middle.x, self.frame.width);
            let (mut sum, mut across, mut down) = (0.0, 0.0, 0.0);
            for (row, away_down, weight_down) in weights(middle.y, self.frame.height) {
                for &(column, away_across, weight_across) in &columns {
                    let light = f64::from(luma[row * self.frame.width as usize + column]) - BACKGROUND / 65_535.0;
                    let light = light * weight_down * weight_across;
                    (sum, across, down) = (sum + light, across + light * away_across, down + light * away_down);
                }
            }
            // The product of two equal Gaussians lies half-way between them.
            middle += Vec2::new(2.0 * across / sum, 2.0 * down / sum);
        }
        middle
    }
}

pub(crate) fn grey(samples: Vec<u16>, size: Size) -> Picture {
    let Size { width, height } = size;
    let samples = Samples::Sixteen(samples);
    let plane = Plane { samples, width, height, stride: width as usize, siting: Siting::FULL };
    Picture { size, model: Model::Grey, planes: vec![plane], profile: Profile::Srgb, first_row: 0, end_row: height }
}

pub(crate) fn painted(
    painter: &mut Painter,
    still: &Picture,
    window: Window,
    (kind, size): (FrameKind, Size),
) -> Frame {
    let mut frame = Frame::new(kind, size);
    painter.paint(still, window, Sharpness::Even, &mut frame).unwrap();
    frame
}
