//! A decoded frame to a picture: planes as coded, where they sit over square upright pixels, and what their codes mean.
//!
//! ## Decisions
//!
//! - Samples keep the file's depth, range and matrix up to the sampler's one conversion. Untagged means limited range,
//!   and BT.601 up to 576 lines, else BT.709. BT.709's and BT.601's transfer and primaries are carried as sRGB's. PQ,
//!   HLG and BT.2020 are refused.
//! - Pixels that are not square become so by the planes' siting: rows are kept, the width follows the aspect. Of
//!   interlaced frames the field taken first is shown, every other line at its own place: one moment a still, half the
//!   lines.

use super::SequentialDecoder;
use crate::decode::buffers::{self, Shape};
use crate::decode::recording::supported;
use crate::decode::turn;
use crate::ffi::ffmpeg::{ColourCodes, Component, DecodedFrame, FrameLayout};
use crate::picture::{Coding, LumaWeights, Meaning, Model, Picture, Plane, Profile, Siting};
use crate::shoot::{Damage, Orientation, Recording};

/// The most lines of a recording that says nothing of its matrix and is taken for BT.601 (common practice, no source).
const MOST_LINES_601: u32 = 576;

/// FFmpeg's numbers for full range, and for where chroma sits.
const FULL: u32 = 2;
const CENTRE: u32 = 2;
const TOP_LEFT: u32 = 3;
const TOP: u32 = 4;
const BOTTOM_LEFT: u32 = 5;
const BOTTOM: u32 = 6;

impl SequentialDecoder<'_> {
    /// The decoder's frame as a picture.
    pub(super) fn develop(&mut self, spare: Option<Picture>) -> Result<Picture, Damage> {
        let Some(running) = &self.running else { return Err(Damage::Corrupt("the recording is not open".into())) };
        let (frame, recording) = (running.decoder.frame(), self.recording);
        if frame.size() != recording.stored {
            let words = format!("its frames change their size from {} to {}", recording.stored, frame.size());
            return Err(Damage::Unsupported(words));
        }
        let layout =
            frame.layout().map_err(|name| Damage::Unsupported(format!("samples of the kind {name} are not read")))?;
        let colour = frame.colour();
        supported(colour)?;
        let meaning = recording.master.as_ref().and_then(|master| {
            let frame = recording.frame_at(frame.shown()?)?;
            master.codings.get(frame).and_then(|coding| master.meanings.get(*coding))
        });
        let model = match meaning {
            Some(meaning) => as_written(meaning, &layout)?,
            None => model(recording, &layout, colour, &mut self.remarks)?,
        };
        let field = field(recording, frame, &mut self.remarks);
        let mut planes = spare.map(|picture| picture.planes).unwrap_or_default();
        let (squared, orientation) = (recording.squared(), recording.orientation);
        if orientation == Orientation::Upright {
            copy(frame, &layout, recording, colour, field, &mut planes);
        } else {
            copy(frame, &layout, recording, colour, field, &mut self.stored);
            turn::turn(&self.stored, squared, orientation, &mut planes);
        }
        let size = orientation.upright(squared);
        let mut picture = Picture { size, model, planes, profile: Profile::Srgb, first_row: 0, end_row: size.height };
        if let Some(meaning) = meaning {
            picture.profile.clone_from(&meaning.profile);
            for (plane, siting) in picture.planes.iter_mut().zip(&meaning.sitings) {
                plane.siting = *siting;
            }
        }
        Ok(picture)
    }
}

/// What the planes of a master's frame are, by its sidecar: it must be true of the frame's own layout.
fn as_written(meaning: &Meaning, layout: &FrameLayout) -> Result<Model, Damage> {
    let fits = match meaning.model {
        Model::Rgb => layout.rgb,
        Model::YCbCr601 | Model::Grey => !layout.rgb,
        Model::Video(Coding { bits, .. }) => !layout.rgb && bits == layout.components[0].depth,
    };
    // Samples lie as far apart as the layout says; where the first one sits is for the sidecar to say.
    let apart = |(siting, component): (&Siting, &Component)| {
        (siting.step_x, siting.step_y) == (f64::from(component.spacing.0), f64::from(component.spacing.1))
    };
    let same =
        meaning.sitings.len() == layout.components.len() && meaning.sitings.iter().zip(&layout.components).all(apart);
    if fits && same {
        return Ok(meaning.model);
    }
    Err(Damage::Unsupported("its frames are not coded as its sidecar says".into()))
}

/// Which field of an interlaced frame is shown: the one taken first, so that a frame is one moment. 0 is the upper.
fn field(recording: &Recording, frame: DecodedFrame<'_>, remarks: &mut Vec<String>) -> Option<u32> {
    let upper_first = frame.fields().or(recording.interlaced.then_some(true))?;
    remarks.push("interlaced: the field taken first is shown, every other line, at full height".into());
    Some(u32::from(!upper_first))
}

/// What the codes of a frame mean.
fn model(
    recording: &Recording,
    layout: &FrameLayout,
    colour: ColourCodes,
    remarks: &mut Vec<String>,
) -> Result<Model, Damage> {
    if layout.rgb {
        return Ok(Model::Rgb);
    }
    let weights = match colour.matrix {
        1 => LumaWeights::Bt709,
        5 | 6 => LumaWeights::Bt601,
        0 | 2 | 3 => {
            let guess = if recording.stored.height > MOST_LINES_601 { LumaWeights::Bt709 } else { LumaWeights::Bt601 };
            let name = if guess == LumaWeights::Bt709 { "BT.709" } else { "BT.601" };
            if layout.components.len() == 3 {
                remarks
                    .push(format!("the recording does not say by which matrix it is coded: {name} goes with its size"));
            }
            guess
        }
        other => {
            return Err(Damage::Unsupported(format!(
                "its colour matrix (number {other} of ITU-T H.273) is not converted"
            )));
        }
    };
    Ok(Model::Video(Coding { weights, full_range: colour.range == FULL, bits: layout.components[0].depth }))
}

/// Copies a frame's samples, or one field's, at their own depth.
fn copy(
    frame: DecodedFrame<'_>,
    layout: &FrameLayout,
    recording: &Recording,
    colour: ColourCodes,
    field: Option<u32>,
    planes: &mut Vec<Plane>,
) {
    let (first, step) = field.map_or((0, 1), |field| (field, 2));
    // A frame of one row has no lower field.
    let first_of = |component: &Component| first.min(component.height - 1);
    let shape = |(index, component): (usize, &Component)| {
        let (height, width) = ((component.height - first_of(component)).div_ceil(step), component.width);
        let siting = siting(component, index > 0, recording, colour, first_of(component), step);
        Shape { width, height, stride: width as usize, rows: height as usize, siting }
    };
    let shapes: Vec<Shape> = layout.components.iter().enumerate().map(shape).collect();
    if layout.components[0].depth == 8 {
        buffers::eight(planes, &shapes);
    } else {
        buffers::sixteen(planes, &shapes);
    }
    for (component, plane) in layout.components.iter().zip(planes) {
        let (rows, width) = ((first_of(component)..component.height).step_by(step as usize), component.width as usize);
        if component.depth == 8 {
            for (out, row) in buffers::bytes(plane).chunks_exact_mut(width).zip(rows) {
                let row = frame.row(component, row);
                if component.step == 1 {
                    out.copy_from_slice(row);
                } else {
                    out.iter_mut().zip(row.iter().step_by(component.step)).for_each(|(out, sample)| *out = *sample);
                }
            }
            continue;
        }
        let (mask, up) = (u16::MAX >> (16 - component.depth), 16 - component.depth);
        // R'G'B' takes the whole of 16 bits, as a still's does; Y'CbCr keeps its codes in the high ones.
        let fill = |code: u16| {
            if layout.rgb && up > 0 {
                (code << up) | (code >> (component.depth - up.min(component.depth)))
            } else {
                code << up
            }
        };
        for (out, row) in buffers::words(plane).chunks_exact_mut(width).zip(rows) {
            let row = frame.row(component, row);
            for (out, sample) in out.iter_mut().zip(row.chunks(component.step)) {
                *out = fill((u16::from_le_bytes([sample[0], sample[1]]) >> component.shift) & mask);
            }
        }
    }
}

/// Where a component's samples sit over square pixels, before they are turned.
fn siting(
    component: &Component,
    chroma: bool,
    recording: &Recording,
    colour: ColourCodes,
    first: u32,
    step: u32,
) -> Siting {
    let (across, down) = (f64::from(component.spacing.0), f64::from(component.spacing.1));
    let location = match colour.siting {
        // Where nothing is said: in the middle for the codecs that descend from JPEG and MPEG-1, else to the left.
        0 if matches!(recording.codec.as_str(), "mjpeg" | "mpeg1video") => CENTRE,
        said => said,
    };
    let (origin_x, origin_y) = match location {
        _ if !chroma => (0.5, 0.5),
        CENTRE => (across / 2.0, down / 2.0),
        TOP_LEFT => (0.5, 0.5),
        TOP => (across / 2.0, 0.5),
        BOTTOM_LEFT => (0.5, down - 0.5),
        BOTTOM => (across / 2.0, down - 0.5),
        _ => (0.5, down / 2.0),
    };
    let square = f64::from(recording.squared().width) / f64::from(recording.stored.width);
    Siting {
        step_x: across * square,
        step_y: down * f64::from(step),
        origin_x: origin_x * square,
        origin_y: origin_y + down * f64::from(first),
    }
}
