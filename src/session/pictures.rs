//! Small pictures by the true pipeline: stills and frames for drawings.

use std::sync::{Arc, Mutex, PoisonError};

use super::outcome::describe_fault;
use super::{Failure, REFUSED, Reply};
use crate::diag::Diagnostic;
use crate::ffi::jpeg;
use crate::geom::Window;
use crate::picture::{Frame, FrameKind, Pixels};
use crate::pipeline::{Detail, Fault, Job, Output, Watch};
use crate::plan::{DeliveryPlan, Layers, Row};
use crate::shoot::Shoot;
use crate::shot::Codec;
use crate::units::Size;
use crate::work::{Sink, SinkError, Written};

/// A frame of the same shape with about this many pixels; never larger than it is.
pub(super) fn small(frame: Size, pixels: f64) -> Size {
    let scale = (pixels / frame.pixels() as f64).sqrt().min(1.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "no longer than a frame's side")]
    let side = |side: u32| ((f64::from(side) * scale).round() as u32).max(1);
    Size::new(side(frame.width), side(frame.height))
}

/// What fills a delivery's frames, in frames of another size.
pub(super) fn in_small(plan: &DeliveryPlan, frame: Size, rows: Vec<Row>) -> DeliveryPlan {
    DeliveryPlan { frame, codec: Codec::PNG, every_still: false, ..plan.with_rows(rows) }
}

/// The whole of the still that a row shows, the foremost of several, in a frame of its shape.
pub(super) fn whole_still(plan: &DeliveryPlan, row: &Row, shoot: &Shoot, size: Size) -> DeliveryPlan {
    let window = Window::whole(shoot.size);
    let rows = row.foremost().map(|layer| Row { window, layers: Layers::One(layer.through(window)), ..row.clone() });
    DeliveryPlan { stamps: [].into(), ..in_small(plan, size, rows.into_iter().collect()) }
}

/// Paints all rows of some plans over one shoot, decoding each still once: the frames of each plan, in order.
///
/// # Errors
/// [`Failure`] as a render's.
pub(super) fn paint(shoot: &Shoot, plans: &[DeliveryPlan], watch: &Watch) -> Result<Vec<Vec<Frame>>, Failure> {
    paint_in(Detail::Whole, shoot, plans, watch)
}

/// As [`paint`], with stills in this detail.
///
/// # Errors
/// As [`paint`].
pub(super) fn paint_in(
    detail: Detail<'_>,
    shoot: &Shoot,
    plans: &[DeliveryPlan],
    watch: &Watch,
) -> Result<Vec<Vec<Frame>>, Failure> {
    let kept: Vec<Keep> = plans.iter().map(|_| Keep(Arc::default())).collect();
    let outputs = plans.iter().zip(&kept).map(|(plan, kept)| {
        let sink = Box::new(kept.clone());
        Output { plan, rows: 0..plan.rows.len(), sink }
    });
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    let job = Job { detail, ..Job::new(shoot, outputs.collect(), workers) };
    job.run(watch).map_err(|fault| match fault {
        Fault::Interrupted => Failure::interrupted(),
        fault => {
            let reply = Reply { notes: describe_fault(&fault, shoot).into(), ..Reply::default() };
            Failure { reply, code: if matches!(fault, Fault::Damaged { .. }) { REFUSED } else { super::FAILED } }
        }
    })?;
    Ok(kept.iter().map(Keep::take).collect())
}

/// A frame as a JPEG, small rather than exact.
pub(super) fn as_jpeg(frame: &Frame) -> Vec<u8> {
    jpeg::encode_rgb(&eight_bits(frame), frame.size, 85, (2, 2), &[])
}

/// A frame as a JPEG to be kept: quality 95, chroma in full.
pub(super) fn as_fine_jpeg(frame: &Frame) -> Vec<u8> {
    jpeg::encode_rgb(&eight_bits(frame), frame.size, 95, (1, 1), &[])
}

/// A frame as a PNG of 8 bits.
pub(super) fn as_png(frame: &Frame) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, frame.size.width, frame.size.height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let written = encoder.write_header().and_then(|mut writer| {
        writer.write_image_data(&eight_bits(frame))?;
        writer.finish()
    });
    written.map_err(|error| Failure::failed(Diagnostic::mistake(error.to_string())))?;
    Ok(bytes)
}

/// R'G'B' at 8 bits, each code the nearest.
fn eight_bits(frame: &Frame) -> Vec<u8> {
    match &frame.pixels {
        Pixels::Rgb16(samples) =>
        {
            #[expect(clippy::cast_possible_truncation, reason = "at most 255")]
            samples.iter().map(|sample| ((u32::from(*sample) + 128) / 257) as u8).collect()
        }
        Pixels::Yuv420 { .. } | Pixels::Yuv10 { .. } | Pixels::Rgb8(_) | Pixels::Planes(_) => {
            unreachable!("Keep asks for R'G'B'")
        }
    }
}

/// A sink that keeps every frame instead of writing it.
#[derive(Clone)]
pub(super) struct Keep(pub(super) Arc<Mutex<Vec<Frame>>>);

impl Keep {
    /// Takes what it kept.
    pub(super) fn take(&self) -> Vec<Frame> {
        std::mem::take(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Sink for Keep {
    fn kind(&self) -> FrameKind {
        FrameKind::Rgb16
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).push(frame.clone());
        Ok(())
    }

    fn finish(self: Box<Self>) -> Result<Written, SinkError> {
        let frames = self.0.lock().unwrap_or_else(PoisonError::into_inner).len() as u64;
        Ok(Written { path: std::path::PathBuf::new(), frames, bytes: 0, remarks: Vec::new(), blake3: None })
    }
}
