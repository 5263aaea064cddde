//! How long a frame takes to paint: from stills of 4592 × 3448 to 1920 × 1080, by kind of still, window at rest and
//! moving.
//!
//! Prints the least of 20 times in milliseconds, of the one thread that paints.
#![expect(clippy::print_stdout, reason = "the figures are the point")]

use std::time::Instant;

use stillpath::geom::Window;
use stillpath::picture::{Frame, FrameKind, Model, Picture, Plane, Profile, Samples, Siting};
use stillpath::sample::Painter;
use stillpath::shot::Sharpness;
use stillpath::units::Size;

const STILL: Size = Size { width: 4592, height: 3448 };

/// Noise by the generator of Numerical Recipes.
fn plane(siting: Siting, sixteen: bool) -> Plane {
    let [across, down] = if siting == Siting::FULL { [1, 1] } else { [2, 1] };
    let (width, height) = (STILL.width / across, STILL.height / down);
    let mut state = 1_u32;
    let noise = std::iter::repeat_with(|| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        state.to_be_bytes()
    });
    let noise = noise.take(width as usize * height as usize);
    let samples = if sixteen {
        Samples::Sixteen(noise.map(|[high, low, ..]| u16::from_be_bytes([high, low])).collect())
    } else {
        Samples::Eight(noise.map(|[high, ..]| high).collect())
    };
    Plane { samples, width, height, stride: width as usize, siting }
}

fn main() {
    let half = Siting { step_x: 2.0, step_y: 1.0, origin_x: 1.0, origin_y: 0.5 };
    let picture =
        |model, planes, profile| Picture { size: STILL, model, planes, profile, first_row: 0, end_row: STILL.height };
    let jpeg = [Siting::FULL, half, half].map(|siting| plane(siting, false)).to_vec();
    let deep = vec![plane(Siting::FULL, true); 3];
    let stills = [
        ("grey, 8 bits", picture(Model::Grey, vec![plane(Siting::FULL, false)], Profile::Srgb)),
        ("JPEG 4:2:2", picture(Model::YCbCr601, jpeg.clone(), Profile::Srgb)),
        ("JPEG 4:2:2, Adobe RGB", picture(Model::YCbCr601, jpeg, Profile::AdobeRgb)),
        ("R'G'B', 16 bits", picture(Model::Rgb, deep, Profile::Srgb)),
    ];
    let start = Window::largest(STILL, 16.0 / 9.0, 0.0);
    for (name, still) in &stills {
        for kind in [FrameKind::Yuv420, FrameKind::Rgb16] {
            // Rolled windows have one pixel, and two, of the still for each of the frame.
            let rolled =
                [("rolled by 3 at 1x", 3.0, 1.0), ("rolled by 45 at 1x", 45.0, 1.0), ("rolled by 3 at 2x", 3.0, 2.0)];
            for (what, roll, scale) in rolled {
                let mut painter = Painter::new();
                let mut frame = Frame::new(kind, Size::new(1920, 1080));
                let times = (0..20).map(|step| {
                    let window = Window::around(start.centre(), 1920.0 * scale, 1080.0 * scale);
                    let started = Instant::now();
                    let window = window.rolled(roll + 0.01 * f64::from(step));
                    painter.paint(still, window, Sharpness::Even, &mut frame).expect("a still that can be painted");
                    started.elapsed().as_secs_f64() * 1e3
                });
                println!("{name}, {kind:?}, window {what}: {:.1} ms", times.fold(f64::MAX, f64::min));
            }
            for (what, pull) in [("at rest", 0.0), ("moving", 1.0)] {
                let mut painter = Painter::new();
                let mut frame = Frame::new(kind, Size::new(1920, 1080));
                let times = (0..20).map(|step| {
                    let closer = pull * f64::from(step);
                    let window =
                        Window::around(start.centre(), start.width - 16.0 * closer, start.height - 9.0 * closer);
                    let started = Instant::now();
                    painter.paint(still, window, Sharpness::Even, &mut frame).expect("a still that can be painted");
                    started.elapsed().as_secs_f64() * 1e3
                });
                println!("{name}, {kind:?}, window {what}: {:.1} ms", times.fold(f64::MAX, f64::min));
            }
        }
    }
}
