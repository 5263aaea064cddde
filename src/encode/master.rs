//! Masters: every whole still of a shoot as a frame of one Matroska file, with a sidecar of what that cannot hold.
//!
//! Frames hold the stills' planes as they are; where stills are levelled or steadied, the pipeline paints them at 16
//! bits first. How a still is coded is known only when it has been decoded, so the encoder of a stretch is opened for
//! its first frame. All frames of a file have one layout: a still of another one is refused by name.
//!
//! ## Decisions
//!
//! - Rows of a master: one for each place of the axis that has its own whole still, all of it (or the largest window of
//!   what steadying leaves), without stand-ins. A still that only decoding shows to be damaged is marked, and the rows
//!   are laid out again.
//! - Planes are copied, not painted (`FrameKind::Planes`). Where any gain is other than 1, or stills are steadied,
//!   frames are painted in R'G'B' of 16 bits with the plain kernel, whose weights at phase 0 are a single 1. Which of
//!   the two is known from the plan.
//! - Matroska counts milliseconds: frames stand at the nearest, the header has the exact rate, and frames are found by
//!   their times within a tick and a half.
//! - Stretches are kept until the file made of them has its name, so a master needs twice its room.

mod ffv1;
mod hevc;
mod layout;

use std::io::Write as _;
use std::path::Path;

use self::layout::Held;
use super::Goal;
use super::mux::{self, MILLISECONDS, Muxed};
use super::resume::Taken;
use super::stretch::{StretchWriter, counted, failed, not_put_together};
use super::temporary::{Unfinished, disk};
use super::verify::due;
use super::{ffv1 as plain_ffv1, hevc as plain_hevc};
use crate::ffi::ffmpeg::{self, ColourCodes, Encoder, StreamFacts};
use crate::master::{self, Coded, Sidecar, Video};
use crate::picture::{Frame, FrameKind, Model, Picture, Pixels, Plane, Profile, Samples, Siting};
use crate::plan::DeliveryPlan;
use crate::shoot::Shoot;
use crate::shot::{Codec, Hevc};
use crate::units::{FrameRate, Size, SlotIndex};
use crate::work::{Known, Met, Sink, SinkError, Stretches, Written};

/// What a master's frames are encoded with.
#[derive(Debug, Clone)]
enum Coder {
    Ffv1,
    Hevc(Hevc),
}

impl Coder {
    fn of(codec: &Codec) -> Self {
        match codec {
            Codec::Hevc(hevc) => Self::Hevc(hevc.clone()),
            _ => Self::Ffv1,
        }
    }

    fn name(&self) -> &'static str {
        match self {
            Self::Ffv1 => plain_ffv1::NAME,
            Self::Hevc(_) => plain_hevc::NAME,
        }
    }

    /// FFmpeg's name of the codec.
    fn codec(&self) -> &'static str {
        match self {
            Self::Ffv1 => "ffv1",
            Self::Hevc(_) => "hevc",
        }
    }

    fn held(&self, picture: &Picture) -> Result<Held, String> {
        if !layout::is_plain(picture) {
            return Err("its pixels are not square, or not all of its rows are there".into());
        }
        match self {
            Self::Ffv1 => ffv1::held(picture),
            Self::Hevc(_) => hevc::held(picture),
        }
    }

    fn open(
        &self,
        (layout, colour): (&str, ColourCodes),
        size: Size,
        fps: FrameRate,
        threads: usize,
    ) -> Result<Encoder, ffmpeg::Fault> {
        match self {
            Self::Ffv1 => ffv1::open((layout, colour), size, fps, threads),
            Self::Hevc(codec) => hevc::open(codec, (layout, colour), size, fps, threads),
        }
    }
}

/// Says why a master of such stills cannot be made, in one line: all that can be known without one.
pub(super) fn preflight(codec: &Codec, size: Size, fps: FrameRate) -> Result<(), String> {
    match Coder::of(codec) {
        Coder::Ffv1 => ffv1::preflight(size, fps),
        Coder::Hevc(codec) => hevc::preflight(&codec, size, fps),
    }
}

/// Frames of a stretch.
pub(super) fn stretch(codec: &Codec, fps: FrameRate) -> usize {
    match Coder::of(codec) {
        Coder::Ffv1 => plain_ffv1::STRETCH,
        Coder::Hevc(_) => hevc::stretch(fps),
    }
}

/// Whether a master's frames are painted, because its stills are levelled or steadied: else they are the stills' own
/// planes.
pub(super) fn is_painted(plan: &DeliveryPlan) -> bool {
    plan.corrected
}

/// One file in the making.
pub(super) struct MasterSink {
    /// Whether its stretches stay, and no file is made of them.
    is_left: bool,
    coder: Coder,
    kind: FrameKind,
    size: Size,
    fps: FrameRate,
    threads: usize,
    stretches: StretchWriter,
    /// The layout of all frames and what the stream says of its colours, once there is one.
    layout: Option<(String, ColourCodes)>,
    sidecar: Sidecar,
    /// Room for the planes of a painted frame.
    painted: Option<Picture>,
    rows: hevc::Rows,
}

impl MasterSink {
    /// A sink for what is not whole yet. The shoot is what the sidecar will tell of.
    pub(super) fn open(
        plan: &DeliveryPlan,
        shoot: &Shoot,
        unfinished: Unfinished,
        stretches: Stretches,
        threads: usize,
        goal: Goal<'_>,
    ) -> Result<(Self, Taken), SinkError> {
        let coder = Coder::of(&plan.codec);
        let DeliveryPlan { frame: size, fps, .. } = *plan;
        let (stretches, taken) = StretchWriter::open(coder.name(), unfinished, stretches, goal)?;
        let layout = stretches.known.as_ref().map(|known| (known.layout.clone(), codes(known.colour)));
        let video = Video {
            bytes: 0,
            frames: plan.rows.len(),
            codec: coder.codec().to_owned(),
            layout: String::new(),
            size: [size.width, size.height],
            rate: [fps.numerator(), fps.denominator()],
        };
        let shown: Vec<SlotIndex> = plan.rows.iter().map(|row| row.shown).collect();
        let mut sidecar = Sidecar::of(shoot, &shown, video);
        let painted = is_painted(plan);
        if painted {
            // What their files did to them is no longer where it was.
            for frame in sidecar.frames_mut() {
                frame.format = crate::shoot::Format::Frame;
                frame.stored = [size.width, size.height];
                frame.orientation = crate::shoot::Orientation::Upright;
            }
        }
        let kind = if painted { FrameKind::Rgb16 } else { FrameKind::Planes };
        let (rows, is_left) = (hevc::Rows::default(), goal.which().is_some());
        Ok((Self { is_left, coder, kind, size, fps, threads, stretches, layout, sidecar, painted: None, rows }, taken))
    }

    fn refused(&self, message: String) -> SinkError {
        SinkError::Encoder { codec: self.coder.name(), message }
    }

    /// Why the next frame's still cannot be held, in words that name it.
    fn refused_still(&self, why: &str) -> SinkError {
        let row = self.stretches.row();
        let mut whole =
            self.sidecar.stills.iter().enumerate().filter(|(_, still)| matches!(still.state, master::State::Whole(_)));
        let (slot, name) = whole.nth(row).map_or((row, ""), |(slot, still)| (slot, still.name.as_str()));
        let slot = slot + 1;
        self.refused(format!(
            "still({slot}), {name}, cannot be a frame of this master: {why}; leave it out with cuts = {{ cut(still({slot}), still({slot})) }}, \
             or make a master of those that are alike"
        ))
    }

    fn encoder(&self) -> Result<Encoder, SinkError> {
        let Some((layout, colour)) = &self.layout else { return Err(self.refused("no frame was given".to_owned())) };
        self.coder
            .open((layout, *colour), self.size, self.fps, self.threads)
            .map_err(|fault| self.refused(fault.to_string()))
    }

    /// Holds the finished file against what it has to be.
    fn as_promised(&self, facts: &StreamFacts, frames: usize) -> Result<(), String> {
        let is = |what: &str, seen: String, due: String| match seen == due {
            true => Ok(()),
            false => Err(format!("the finished file is wrong: {what} is {seen}, expected {due}")),
        };
        is("its codec", facts.codec.clone(), self.coder.codec().to_owned())?;
        is("its size", facts.size.to_string(), self.size.to_string())?;
        let layout = self.layout.as_ref().map(|(layout, _)| layout.clone()).unwrap_or_default();
        is("its layout", facts.layout.clone(), layout)?;
        is("the number of its frames", facts.packets.len().to_string(), frames.to_string())?;
        let mut times: Vec<i64> = facts.packets.iter().map(|packet| packet.pts).collect();
        times.sort_unstable();
        for (frame, time) in times.into_iter().enumerate() {
            is(
                &format!("the time of frame {frame}"),
                time.to_string(),
                due(frame, MILLISECONDS, self.fps).to_string(),
            )?;
        }
        let alone = matches!(self.coder, Coder::Ffv1);
        match facts.packets.iter().position(|packet| alone && !packet.key) {
            Some(packet) => Err(format!("the finished file is wrong: packet {packet} does not stand alone")),
            None => Ok(()),
        }
    }

    /// Writes the sidecar beside the file that is about to get its name.
    fn write_sidecar(&mut self, muxed: &Muxed, target: &Path, bytes: u64) -> Result<(), SinkError> {
        self.sidecar.video.bytes = bytes;
        self.sidecar.video.layout = muxed.stills.layout.clone();
        self.sidecar.codings = muxed.stills.codings.clone();
        let facts = muxed.planes.iter().zip(&muxed.packets).zip(&muxed.stills.each);
        for (frame, ((planes, packet), coding)) in self.sidecar.frames_mut().zip(facts) {
            (frame.planes, frame.packet, frame.coding) = (planes.to_hex().to_string(), *packet, *coding);
        }
        let text = self.sidecar.to_json().map_err(|error| self.refused(error.to_string()))?;
        let path = master::beside(target);
        let folder = path.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."));
        let write = || -> std::io::Result<()> {
            let mut file = tempfile::Builder::new().prefix(".sidecar-").permissions(readable()).tempfile_in(folder)?;
            file.write_all(text.as_bytes())?;
            file.as_file().sync_all()?;
            file.persist(&path).map_err(|error| error.error)?;
            Ok(())
        };
        write().map_err(|source| disk(&path, source))
    }
}

/// What other files of the folder have, and not a temporary file's.
fn readable() -> std::fs::Permissions {
    std::os::unix::fs::PermissionsExt::from_mode(0o666)
}

fn codes([primaries, transfer, matrix, range, siting]: [u32; 5]) -> ColourCodes {
    ColourCodes { primaries, transfer, matrix, range, siting }
}

fn numbers(colour: ColourCodes) -> [u32; 5] {
    [colour.primaries, colour.transfer, colour.matrix, colour.range, colour.siting]
}

/// A picture of painted frames without its planes yet.
fn empty(size: Size) -> Picture {
    let (model, profile) = (Model::Rgb, Profile::Srgb);
    Picture { size, model, planes: Vec::new(), profile, first_row: 0, end_row: size.height }
}

/// Interleaved R'G'B' as planes, in the room there is.
fn apart(samples: &[u16], size: Size, picture: &mut Picture) {
    let (width, height) = (size.width, size.height);
    if picture.planes.is_empty() {
        let plane = || Plane {
            samples: Samples::Sixteen(Vec::new()),
            width,
            height,
            stride: width as usize,
            siting: Siting::FULL,
        };
        picture.planes = (0..3).map(|_| plane()).collect();
    }
    for (channel, plane) in picture.planes.iter_mut().enumerate() {
        if let Samples::Sixteen(own) = &mut plane.samples {
            own.clear();
            own.extend(samples.iter().skip(channel).step_by(3));
        }
    }
}

impl Sink for MasterSink {
    fn kind(&self) -> FrameKind {
        self.kind
    }

    fn write(&mut self, frame: &Frame) -> Result<(), SinkError> {
        self.write_known(frame, &Known { hash: frame.hash(), met: &Met::default })
    }

    fn write_known(&mut self, frame: &Frame, known: &Known<'_>) -> Result<(), SinkError> {
        let mut painted = self.painted.take().unwrap_or_else(|| empty(self.size));
        let picture = match (&frame.pixels, self.kind) {
            (Pixels::Planes(picture), FrameKind::Planes) => picture,
            (Pixels::Rgb16(samples), FrameKind::Rgb16) => {
                apart(samples, frame.size, &mut painted);
                &painted
            }
            _ => return Err(self.refused("it was given another kind of frame".to_owned())),
        };
        if frame.size != self.size || picture.size != self.size {
            return Err(self.refused(format!("it was opened for {} and given a frame of {}", self.size, picture.size)));
        }
        if self.stretches.turns().is_over() {
            return Err(self.refused("it was given more frames than announced".to_owned()));
        }
        let held = self.coder.held(picture).map_err(|why| self.refused_still(&why))?;
        let (layout, colour) = self.layout.get_or_insert_with(|| (held.layout.clone(), held.colour())).clone();
        if layout != held.layout {
            let why = format!("it is coded as {}, but the stills before it as {layout}", held.layout);
            return Err(self.refused_still(&why));
        }
        if !self.stretches.is_begun() {
            let encoder = self.encoder()?;
            self.stretches.begin(encoder)?;
        }
        if let Some(stills) = self.stretches.stills() {
            (stills.layout, stills.colour) = (layout, numbers(colour));
            stills.push(Coded::of(&held.meaning));
        }
        let (coder, rows) = (&self.coder, &mut self.rows);
        self.stretches.add(known, |encoder| match coder {
            Coder::Ffv1 => encoder.send_rows(|plane, row, out| ffv1::fill(picture, plane, row, out)),
            Coder::Hevc(_) => {
                rows.prepare(picture, &held);
                encoder.send_rows(|plane, row, out| rows.fill(picture, plane, row, out))
            }
        })?;
        self.painted = Some(painted);
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<Written, SinkError> {
        if self.is_left {
            self.stretches.settle()?;
            return Ok(Written::left(self.stretches.unfinished.target()));
        }
        let stretches = self.stretches.finish()?;
        let encoder = self.encoder()?;
        let output = self.stretches.unfinished.output();
        let target = self.stretches.unfinished.target().to_owned();
        let muxed = mux::mux_master(&output, &stretches, &encoder, self.fps);
        let muxed = muxed.map_err(|trouble| not_put_together(self.coder.name(), &target, trouble))?;
        drop(encoder);
        let frames = muxed.planes.len();
        counted(&target, self.sidecar.video.frames as u64, frames as u64)?;
        let facts =
            ffmpeg::read_back(&output, "matroska").map_err(|fault| failed(self.coder.name(), &target, &fault))?;
        counted(&target, frames as u64, facts.packets.len() as u64)?;
        self.as_promised(&facts, frames).map_err(|why| self.refused(why))?;
        let bytes = output.metadata().map_err(|source| disk(&target, source))?.len();
        self.write_sidecar(&muxed, &target, bytes)?;
        let Self { stretches: StretchWriter { unfinished, turns, .. }, .. } = *self;
        let Muxed { planes, met, .. } = muxed;
        let bytes = unfinished.place_file(|placed| turns.mark(&unfinished, &planes, met, placed))?;
        Ok(Written { path: target, frames: frames as u64, bytes, blake3: None, remarks: Vec::new() })
    }
}
