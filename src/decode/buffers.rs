//! Planes whose room is used again.

use crate::picture::{Plane, Samples, Siting};

/// A plane's shape.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shape {
    /// Samples across that mean something.
    pub(super) width: u32,
    /// Rows that mean something.
    pub(super) height: u32,
    /// Samples from one row to the next.
    pub(super) stride: usize,
    /// Rows there is room for, at least `height`.
    pub(super) rows: usize,
    /// Where the samples sit.
    pub(super) siting: Siting,
}

impl Shape {
    /// A plane with one sample a pixel and no padding.
    pub(super) fn full(size: crate::units::Size) -> Self {
        let (stride, rows) = (size.width as usize, size.height as usize);
        Self { width: size.width, height: size.height, stride, rows, siting: Siting::FULL }
    }
}

/// Gives `planes` these shapes and samples of 8 bits, in the room they have.
pub(super) fn eight(planes: &mut Vec<Plane>, shapes: &[Shape]) {
    reshape(planes, shapes, |samples| match samples {
        Samples::Eight(samples) => Samples::Eight(samples),
        Samples::Sixteen(_) => Samples::Eight(Vec::new()),
    });
}

/// Gives `planes` these shapes and samples of 16 bits, in the room they have.
pub(super) fn sixteen(planes: &mut Vec<Plane>, shapes: &[Shape]) {
    reshape(planes, shapes, |samples| match samples {
        Samples::Sixteen(samples) => Samples::Sixteen(samples),
        Samples::Eight(_) => Samples::Sixteen(Vec::new()),
    });
}

fn reshape(planes: &mut Vec<Plane>, shapes: &[Shape], deep: impl Fn(Samples) -> Samples) {
    planes.truncate(shapes.len());
    while planes.len() < shapes.len() {
        let samples = Samples::Eight(Vec::new());
        planes.push(Plane { samples, width: 0, height: 0, stride: 0, siting: Siting::FULL });
    }
    for (plane, shape) in planes.iter_mut().zip(shapes) {
        let mut samples = deep(std::mem::replace(&mut plane.samples, Samples::Eight(Vec::new())));
        let room = shape.stride * shape.rows;
        match &mut samples {
            Samples::Eight(samples) => samples.resize(room, 0),
            Samples::Sixteen(samples) => samples.resize(room, 0),
        }
        let Shape { width, height, stride, siting, .. } = *shape;
        *plane = Plane { samples, width, height, stride, siting };
    }
}

/// The samples of a plane made by [`eight`].
pub(super) fn bytes(plane: &mut Plane) -> &mut [u8] {
    match &mut plane.samples {
        Samples::Eight(samples) => samples,
        Samples::Sixteen(_) => unreachable!("a plane just made with 8 bits"),
    }
}

/// The samples of a plane made by [`sixteen`].
pub(super) fn words(plane: &mut Plane) -> &mut [u16] {
    match &mut plane.samples {
        Samples::Sixteen(samples) => samples,
        Samples::Eight(_) => unreachable!("a plane just made with 16 bits"),
    }
}
