//! Whole stretches → one file, packet by packet: nothing is encoded again, and every frame stands at its own tick.
//!
//! A stretch's encoder counts its frames from 0 and decodes its first packet a few ticks before that. Side by side, the
//! n-th packet of the file is decoded at `n - delay`: without a gap or a step at the seams, whatever the length of a
//! stretch.
//!
//! ## Decisions
//!
//! - Packets of another stream (sound) are written here, stretch by stretch. Stretches stay until the file made of them
//!   has its name.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::level::{Declaration, Load};
use super::recipe::{Container, Recipe};
use super::record::{self, Body, Record, Writer};
use super::sound::{Soundtrack, Unmade, samples_of, ticks_of_both};
use super::timing::timescale;
use crate::decode::Unread;
use crate::ffi::ffmpeg::{Encoder, Fault, Muxer, MuxerSettings, Packet};
use crate::master::Coded;
use crate::units::FrameRate;
use crate::work::Met;

/// What is known of a stretch's packets.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Packets {
    /// Frames that the first packet is decoded before the first frame is shown.
    pub(super) delay: i64,
    /// The encoder's parameter sets.
    pub(super) extradata: Vec<u8>,
    /// How its frames are coded, where they are a master's.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) stills: Option<StillCodings>,
    /// Bytes of all of them.
    #[serde(default)]
    pub(super) bytes: u64,
}

/// How the frames of a master are coded.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct StillCodings {
    /// FFmpeg's name of the layout that all of them have.
    pub(super) layout: String,
    /// What the stream says of its colours, by FFmpeg's numbers: primaries, transfer, matrix, range, siting.
    pub(super) colour: [u32; 5],
    /// Every way in which samples are coded.
    pub(super) codings: Vec<Coded>,
    /// Which of them, by frame.
    pub(super) each: Vec<usize>,
}

impl StillCodings {
    /// Adds a frame.
    pub(super) fn push(&mut self, coded: Coded) {
        let known = self.codings.iter().position(|known| *known == coded).unwrap_or_else(|| {
            self.codings.push(coded);
            self.codings.len() - 1
        });
        self.each.push(known);
    }

    /// Adds the frames of a stretch.
    fn add(&mut self, stretch: Self) {
        let Self { layout, colour, codings, each } = stretch;
        (self.layout, self.colour) = (layout, colour);
        for index in each {
            if let Some(coded) = codings.get(index) {
                self.push(coded.clone());
            }
        }
    }
}

/// Bytes before a packet's own: its length, when it is shown (in frames of the stretch), whether it is a key frame.
const BEFORE: usize = 4 + 8 + 1;

/// Adds a packet to a stretch in the making.
pub(super) fn keep(packet: &Packet, writer: &mut Writer) -> io::Result<()> {
    let mut before = [0; BEFORE];
    before[..4].copy_from_slice(&u32::try_from(packet.data().len()).map_err(io::Error::other)?.to_le_bytes());
    before[4..12].copy_from_slice(&packet.times().0.to_le_bytes());
    before[12] = packet.is_key().into();
    writer.write(&before)?;
    writer.write(packet.data())
}

/// Why stretches could not be put together.
#[derive(Debug)]
pub(super) enum Trouble {
    /// FFmpeg, or the disk by way of it.
    Ffmpeg(Fault),
    /// A stretch is not what it was when it was made.
    Stretch(PathBuf, &'static str),
    /// A recording's sound cannot be read, and the policy is to stop.
    Unread(PathBuf, Unread),
}

impl From<Fault> for Trouble {
    fn from(fault: Fault) -> Self {
        Self::Ffmpeg(fault)
    }
}

impl From<Unmade> for Trouble {
    fn from(unmade: Unmade) -> Self {
        match unmade {
            Unmade::Ffmpeg(fault) => Self::Ffmpeg(fault),
            Unmade::Unread(recording, unread) => Self::Unread(recording, unread),
        }
    }
}

/// What came of the stretches.
pub(super) struct Muxed {
    /// BLAKE3 of every frame's planes.
    pub(super) planes: Vec<blake3::Hash>,
    /// What was met in decoding their stills.
    pub(super) met: Met,
    /// How its frames are coded, where they are a master's.
    pub(super) stills: StillCodings,
    /// Bytes of each frame's packet, in the order of showing.
    pub(super) packets: Vec<u64>,
    /// How heavy the stream of pictures is.
    pub(super) load: Load,
    /// What a person should know of the sound.
    pub(super) remarks: Vec<String>,
}

/// What is written into a file beside its pictures, where it was asked for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Words {
    /// What the file calls itself.
    pub(super) title: Option<String>,
    /// The first frame's timecode.
    pub(super) timecode: Option<String>,
    /// Its chapters, each with its first frame, in order.
    pub(super) chapters: Vec<(u64, String)>,
    /// Frames that it is going to hold.
    pub(super) frames: u64,
}

/// Writes the packets of whole stretches, in their order, into `to`, and beside them what is heard. `encoder` is one
/// like theirs.
pub(super) fn mux(
    to: &Path,
    stretches: &[PathBuf],
    encoder: &Encoder,
    mut sound: Option<Soundtrack>,
    fps: FrameRate,
    recipe: &Recipe,
    words: &Words,
) -> Result<Muxed, Trouble> {
    let ticks = ticks(recipe.container, fps);
    let options = match recipe.container {
        Container::Mp4 | Container::QuickTime => vec![
            ("movflags", "faststart+write_colr".to_owned()),
            ("video_track_timescale", ticks.to_string()),
            // The lengths in the file's head count in this: in milliseconds most of them would be rounded.
            ("movie_timescale", sound.as_ref().map_or(ticks, |_| ticks_of_both(ticks)).to_string()),
        ],
        Container::Matroska => Vec::new(),
    };
    let settings = MuxerSettings {
        format: recipe.container.writer(),
        fps,
        timescale: ticks,
        options: &options,
        master: false,
        tag: (recipe.codec == "hevc").then_some(*b"hvc1"),
        timecode: words.timecode.as_deref(),
        title: words.title.as_deref(),
        chapters: &words.chapters,
        frames: words.frames,
    };
    let muxer = Muxer::open(to, encoder, sound.as_ref().map(Soundtrack::encoder), &settings)?;
    let poured = pour(muxer, stretches, encoder, sound.as_mut(), fps, &recipe.declarations);
    poured.and_then(|(mut muxed, mut muxer)| {
        if let Some(sound) = sound {
            muxed.remarks = sound.finish(samples_of(muxed.planes.len() as u64, fps), &mut muxer)?;
        }
        muxer.finish()?;
        Ok(muxed)
    })
}

/// Ticks a second of the pictures' track.
pub(super) fn ticks(container: Container, fps: FrameRate) -> u32 {
    match container {
        Container::Mp4 | Container::QuickTime => timescale(fps),
        Container::Matroska => MILLISECONDS,
    }
}

/// Writes the packets of a master's stretches into Matroska, as [`mux`] does. Matroska counts milliseconds: every frame
/// is shown at the one nearest to its time, and the header says the exact rate.
pub(super) fn mux_master(
    to: &Path,
    stretches: &[PathBuf],
    encoder: &Encoder,
    fps: FrameRate,
) -> Result<Muxed, Trouble> {
    let settings = MuxerSettings {
        format: "matroska",
        fps,
        timescale: MILLISECONDS,
        options: &[],
        master: true,
        tag: None,
        timecode: None,
        title: None,
        chapters: &[],
        frames: 0,
    };
    let (muxed, muxer) = pour(Muxer::open(to, encoder, None, &settings)?, stretches, encoder, None, fps, &[])?;
    muxer.finish()?;
    Ok(muxed)
}

/// Matroska's ticks a second, as FFmpeg writes it.
pub(super) const MILLISECONDS: u32 = 1000;

/// Writes all packets, each at its time, with what is heard up to then.
fn pour(
    mut muxer: Muxer,
    stretches: &[PathBuf],
    encoder: &Encoder,
    mut sound: Option<&mut Soundtrack>,
    fps: FrameRate,
    declarations: &[Declaration],
) -> Result<(Muxed, Muxer), Trouble> {
    let mut packet = Packet::new()?;
    let mut muxed = Muxed {
        planes: Vec::new(),
        met: Met::default(),
        stills: StillCodings::default(),
        packets: Vec::new(),
        load: Load::new(fps, declarations),
        remarks: Vec::new(),
    };
    let (mut delay, mut decoded) = (None, 0);
    for path in stretches {
        let trouble = |what| Trouble::Stretch(path.clone(), what);
        let (stretch, mut body): (Record<Packets>, Body) =
            record::whole(path).ok_or_else(|| trouble("it was changed"))?;
        if stretch.body.extradata != encoder.extradata() {
            return Err(trouble("it was encoded with other settings"));
        }
        muxed
            .packets
            .resize(muxed.packets.len() + stretch.body.stills.as_ref().map_or(0, |stills| stills.each.len()), 0);
        let (delay, first) =
            (*delay.get_or_insert(stretch.body.delay), i64::try_from(muxed.planes.len()).unwrap_or(i64::MAX));
        while body.left() > 0 {
            let (shown, key) = next(&mut body, &mut packet).map_err(|_short| trouble("it ends early"))?;
            packet.place((first + shown, decoded - delay), key);
            muxed.load.add(packet.bytes());
            if let Some(bytes) = usize::try_from(first + shown).ok().and_then(|frame| muxed.packets.get_mut(frame)) {
                *bytes = packet.bytes();
            }
            if let Some(sound) = &mut sound {
                let due = samples_of(u64::try_from(decoded - delay).unwrap_or(0), fps);
                sound.write_until(due, &mut muxer)?;
            }
            muxer.write(&mut packet)?;
            decoded += 1;
        }
        muxed.planes.extend(stretch.planes().ok_or_else(|| trouble("its record is not written as it should be"))?);
        muxed.met.add(stretch.met);
        if let Some(stills) = stretch.body.stills {
            muxed.stills.add(stills);
        }
    }
    Ok((muxed, muxer))
}

/// Reads the next packet of a stretch: when it is shown, and whether it is a key frame.
fn next(body: &mut Body, packet: &mut Packet) -> io::Result<(i64, bool)> {
    let mut before = [0; BEFORE];
    body.read_exact(&mut before)?;
    let [a, b, c, d, shown @ .., key] = before;
    let length = u32::from_le_bytes([a, b, c, d]);
    if u64::from(length) > body.left() {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    let room = packet.room(length as usize).map_err(io::Error::other)?;
    body.read_exact(room)?;
    Ok((i64::from_le_bytes(shown), key != 0))
}
