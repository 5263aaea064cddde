//! Whole stills: every layout against an independent decoder.

use stillpath::decode::Decoder;
use stillpath::picture::{Model, Profile, Siting};
use stillpath::units::Size;

use super::{Folder, SUBSAMPLINGS, rows, ycbcr};

#[test]
fn a_baseline_jpeg_becomes_planes_of_its_own_sizes() {
    let folder = Folder::new();
    for (across, down) in SUBSAMPLINGS {
        for size in [Size::new(96, 64), Size::new(97, 53), Size::new(1, 1), Size::new(15, 17)] {
            let still = folder.jpeg(size, &ycbcr(size, (across, down)));
            let picture = Decoder::new().decode(&still, 0..size.height, None).unwrap();
            assert_eq!((picture.size, picture.model, &picture.profile), (size, Model::YCbCr601, &Profile::Srgb));
            assert_eq!((picture.first_row, picture.end_row), (0, size.height));
            assert_eq!((picture.planes[0].width, picture.planes[0].height), (size.width, size.height));
            assert_eq!(picture.planes[0].siting, Siting::FULL);
            for plane in &picture.planes[1..] {
                let expected = (size.width.div_ceil(across.into()), size.height.div_ceil(down.into()));
                assert_eq!((plane.width, plane.height), expected, "{across}x{down}, {size}");
                let (step_x, step_y) = (f64::from(across), f64::from(down));
                let centred = Siting { step_x, step_y, origin_x: step_x / 2.0, origin_y: step_y / 2.0 };
                assert_eq!(plane.siting, centred);
            }
            assert_eq!(rows(&picture, 0).len(), size.height as usize);
        }
    }
}
