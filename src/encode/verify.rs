//! A finished file, read back before it gets its name: is it what the delivery promises?

use std::fmt::Debug;

use super::level::Declaration;
use super::mux::ticks;
use super::recipe::{Container, Recipe};
use crate::ffi::ffmpeg::{Colour, SOUND_RATE, SoundTrackFacts, StreamFacts};
use crate::picture::FrameKind;
use crate::units::{FrameRate, Size};

/// What a delivery promises of its file.
pub(super) struct Promise<'a> {
    pub(super) recipe: &'a Recipe,
    pub(super) size: Size,
    pub(super) fps: FrameRate,
    /// What it declares of its weight, where its codec has that.
    pub(super) declaration: Option<&'a Declaration>,
    /// Samples of sound, where there is any.
    pub(super) sound: Option<u64>,
    /// Whether there is a track of timecode.
    pub(super) timecode: bool,
    /// Its chapters, each with its first frame.
    pub(super) chapters: &'a [(u64, String)],
}

/// Holds a file read back against what a delivery promises: size, codec, profile, level, tags in container and stream,
/// a frame at every tick that is due and nowhere else, a key frame often enough; and sound, or none. Says what is not
/// right, in one line.
pub(super) fn as_promised(facts: &StreamFacts, promise: &Promise<'_>) -> Result<(), String> {
    let Promise { recipe, size, fps, declaration, sound, timecode, chapters } = promise;
    let fps = *fps;
    is("its size", facts.size.to_string(), size.to_string())?;
    is("its codec", facts.codec.as_str(), recipe.codec)?;
    is("its layout", facts.layout.as_str(), recipe.decoded)?;
    if let Some(profile) = recipe.profile {
        is("its profile", facts.profile, profile)?;
    }
    if let Some(declaration) = declaration {
        let due = i32::from(declaration.level);
        // libx265 declares its level itself, which may be higher.
        let enough = declaration.high_tier.is_some() && facts.level > due;
        is("its level", if enough { due } else { facts.level }, due)?;
    }
    colours_as_promised(facts, recipe)?;
    let clock = ticks(recipe.container, fps);
    is("its time base", facts.time_base, (1, clock))?;
    is("its first time", facts.start, 0)?;
    is("the number of its sound tracks", usize::from(facts.sound.is_some()), usize::from(sound.is_some()))?;
    is("whether it has timecode", facts.timecode, *timecode)?;
    chapters_as_promised(&facts.chapters, chapters, fps)?;
    if let (Some(sound), Some(samples)) = (&facts.sound, *sound) {
        sound_as_promised(sound, samples)?;
    }

    let mut times: Vec<i64> = facts.packets.iter().map(|packet| packet.pts).collect();
    times.sort_unstable();
    for (frame, time) in times.iter().enumerate() {
        is(&format!("the time of frame {frame}"), *time, due(frame, clock, fps))?;
    }
    // Matroska's tracks say nothing of their length, and a frame lasts until the next.
    let exact = recipe.container != Container::Matroska;
    let tick = due(1, clock, fps);
    if exact {
        is("its length", facts.duration, due(times.len(), clock, fps))?;
    }

    let mut since_key = recipe.group;
    for (index, packet) in facts.packets.iter().enumerate() {
        if exact {
            is(&format!("the duration of packet {index}"), packet.duration, tick)?;
        }
        since_key = if packet.key { 0 } else { since_key + 1 };
        if since_key >= recipe.group {
            return Err(format!(
                "the finished file is wrong: packet {index} comes at least {} after a key frame",
                recipe.group
            ));
        }
    }
    Ok(())
}

/// The tick of a frame, rounded as FFmpeg does: halves away from zero.
pub(super) fn due(frame: usize, ticks: u32, fps: FrameRate) -> i64 {
    let time = frame as u128 * u128::from(fps.denominator()) * u128::from(ticks);
    let rate = u128::from(fps.numerator());
    i64::try_from((2 * time + rate) / (2 * rate)).unwrap_or(i64::MAX)
}

/// BT.709 of limited range, or sRGB of R'G'B', in the container and in the stream. QuickTime's tag has no word for the
/// range, which its readers take as limited.
fn colours_as_promised(facts: &StreamFacts, recipe: &Recipe) -> Result<(), String> {
    let rgb = matches!(recipe.kind, FrameKind::Rgb8 | FrameKind::Rgb16);
    let (transfer, matrix, range) = if rgb { ("iec61966-2-1", "gbr", "pc") } else { ("bt709", "bt709", "tv") };
    let some = |word: &str| Some(word.to_owned());
    let colour =
        Colour { primaries: some("bt709"), transfer: some(transfer), matrix: some(matrix), range: some(range) };
    for (whose, seen) in [("the container's colour", &facts.container), ("the stream's colour", &facts.stream)] {
        let untold = recipe.container == Container::QuickTime && seen.range.is_none();
        let due = if untold { Colour { range: None, ..colour.clone() } } else { colour.clone() };
        is(whose, seen, &due)?;
    }
    Ok(())
}

/// AAC at the one rate, on two sides, from the first moment to the last without a gap.
fn sound_as_promised(sound: &SoundTrackFacts, samples: u64) -> Result<(), String> {
    is("its sound's codec", sound.codec.as_str(), "aac")?;
    is("its sound's rate", sound.rate, SOUND_RATE)?;
    is("its sound's channels", sound.channels, 2)?;
    is("its sound's time base", sound.time_base, (1, SOUND_RATE))?;
    is("its sound's first time", sound.start, 0)?;
    is("its sound's length", u64::try_from(sound.duration).unwrap_or(0), samples)?;
    is("the number of breaks in its sound", sound.breaks, 0)
}

/// All there, in order, each at its frame to the millisecond that containers keep.
fn chapters_as_promised(seen: &[(f64, String)], due: &[(u64, String)], fps: FrameRate) -> Result<(), String> {
    is("the number of its chapters", seen.len(), due.len())?;
    for ((at, title), (frame, name)) in seen.iter().zip(due) {
        is("a chapter's title", title, name)?;
        let due = fps.time_of(*frame).0;
        if (at - due).abs() > 0.001 {
            return Err(format!(
                "the finished file is wrong: chapter {name:?} begins at {at:.3} s, expected {due:.3} s"
            ));
        }
    }
    Ok(())
}

fn is<T: PartialEq + Debug>(what: &str, seen: T, due: T) -> Result<(), String> {
    if seen == due { Ok(()) } else { Err(format!("the finished file is wrong: {what} is {seen:?}, expected {due:?}")) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ffi::ffmpeg::PacketFacts;

    const SIZE: Size = Size { width: 1920, height: 1080 };

    fn recipe() -> Recipe {
        crate::encode::h264::recipe(&crate::shot::H264::default(), SIZE, FrameRate::new(24, 1).unwrap()).unwrap()
    }

    /// What a right file of six frames at 24 has to say, B-frames out of order.
    fn right() -> StreamFacts {
        let bt709 = || Some("bt709".to_owned());
        let colour = Colour { primaries: bt709(), transfer: bt709(), matrix: bt709(), range: Some("tv".to_owned()) };
        let packets = [0, 2, 1, 3, 5, 4].map(|index| PacketFacts {
            pts: index * 1000,
            duration: 1000,
            bytes: 9,
            key: index == 0,
        });
        StreamFacts {
            size: SIZE,
            codec: "h264".into(),
            layout: "yuv420p".into(),
            profile: 100,
            level: 40,
            time_base: (1, 24_000),
            start: 0,
            duration: 6000,
            container: colour.clone(),
            stream: colour,
            packets: packets.to_vec(),
            sound: None,
            timecode: false,
            chapters: Vec::new(),
        }
    }

    fn verdict(spoil: impl Fn(&mut StreamFacts)) -> String {
        let mut facts = right();
        spoil(&mut facts);
        judged(&facts, None)
    }

    fn judged(facts: &StreamFacts, sound: Option<u64>) -> String {
        let (recipe, fps) = (&recipe(), FrameRate::new(24, 1).unwrap());
        let declaration = recipe.declarations.first();
        let promise = Promise { recipe, size: SIZE, fps, declaration, sound, timecode: false, chapters: &[] };
        as_promised(facts, &promise).err().unwrap_or_default()
    }

    #[test]
    fn a_frame_is_shown_at_the_tick_nearest_to_its_time() {
        let due = |rate: &str| (0..4).map(|frame| super::due(frame, 1000, rate.parse().unwrap())).collect::<Vec<_>>();
        assert_eq!(due("24"), [0, 42, 83, 125]);
        assert_eq!(due("30000/1001"), [0, 33, 67, 100]);
        assert_eq!(due("25"), [0, 40, 80, 120]);
        assert_eq!(due("480"), [0, 2, 4, 6]);
    }

    #[test]
    fn a_right_file_passes() {
        assert_eq!(verdict(|_| ()), "");
    }

    #[test]
    fn every_way_of_being_wrong_is_found_and_named() {
        type Spoil = fn(&mut StreamFacts);
        let spoilt: [(Spoil, &str); 18] = [
            (|facts| facts.codec = "hevc".into(), "its codec is \"hevc\", expected \"h264\""),
            (|facts| facts.layout = "yuv422p".into(), "its layout is \"yuv422p\""),
            (|facts| facts.timecode = true, "whether it has timecode is true, expected false"),
            (|facts| facts.size.width = 1918, "its size is \"1918x1080\", expected"),
            (|facts| facts.profile = 77, "its profile is 77, expected 100"),
            (|facts| facts.level = 41, "its level is 41, expected 40"),
            (|facts| facts.container.matrix = None, "the container's colour"),
            (|facts| facts.stream.range = Some("pc".into()), "the stream's colour"),
            (|facts| facts.time_base = (1, 12_288), "its time base is (1, 12288)"),
            (|facts| facts.start = 1000, "its first time is 1000"),
            (
                |facts| facts.packets.iter_mut().for_each(|packet| packet.pts += 1000),
                "the time of frame 0 is 1000, expected 0",
            ),
            (|facts| facts.packets[2].pts = 2000, "the time of frame 1 is 2000, expected 1000"),
            (|facts| facts.packets[1].pts = 2001, "the time of frame 2 is 2001, expected 2000"),
            (|facts| facts.packets.retain(|packet| packet.pts != 3000), "the time of frame 3 is 4000, expected 3000"),
            (|facts| facts.packets.truncate(5), "the time of frame 4 is 5000, expected 4000"),
            (|facts| facts.duration = 6001, "its length is 6001, expected 6000"),
            (|facts| facts.packets[4].duration = 502, "the duration of packet 4 is 502, expected 1000"),
            (|facts| facts.packets[0].key = false, "packet 0 comes at least 48 after a key frame"),
        ];
        for (spoil, words) in spoilt {
            let said = verdict(spoil);
            assert!(said.contains(words), "{said:?} where {words:?} is due");
        }
    }

    #[test]
    fn sound_that_is_missing_too_much_or_not_as_promised_is_found_and_named() {
        let right_sound = || SoundTrackFacts {
            codec: "aac".into(),
            rate: 48_000,
            channels: 2,
            time_base: (1, 48_000),
            start: 0,
            duration: 12_000,
            breaks: 0,
        };
        let heard = |spoil: fn(&mut SoundTrackFacts)| {
            let mut sound = right_sound();
            spoil(&mut sound);
            judged(&StreamFacts { sound: Some(sound), ..right() }, Some(12_000))
        };
        assert_eq!(heard(|_| ()), "");
        type Spoil = fn(&mut SoundTrackFacts);
        let spoilt: [(Spoil, &str); 7] = [
            (|sound| sound.codec = "mp3".into(), "its sound's codec is \"mp3\", expected \"aac\""),
            (|sound| sound.rate = 44_100, "its sound's rate is 44100, expected 48000"),
            (|sound| sound.channels = 1, "its sound's channels is 1, expected 2"),
            (|sound| sound.time_base = (1, 1000), "its sound's time base is (1, 1000)"),
            (|sound| sound.start = -1024, "its sound's first time is -1024, expected 0"),
            (|sound| sound.duration = 13_024, "its sound's length is 13024, expected 12000"),
            (|sound| sound.breaks = 1, "the number of breaks in its sound is 1, expected 0"),
        ];
        for (spoil, words) in spoilt {
            let said = heard(spoil);
            assert!(said.contains(words), "{said:?} where {words:?} is due");
        }
        let words = "the number of its sound tracks is 1, expected 0";
        assert!(judged(&StreamFacts { sound: Some(right_sound()), ..right() }, None).contains(words));
        assert!(judged(&right(), Some(12_000)).contains("the number of its sound tracks is 0, expected 1"));
    }
}
