//! FFmpeg's libraries: frames into an encoder, packets into a container, a finished file read back.
//!
//! FFmpeg prints to the terminal unless told otherwise; here what it says is kept and becomes part of the [`Fault`].
//! "Not yet" (`EAGAIN`) and "no more" (`EOF`) are the only two of its errors that mean "carry on".
#![expect(unsafe_code, reason = "calls into FFmpeg's C libraries")]

mod container;
mod encoder;
mod footage;
mod log;
mod muxer;
mod reader;
mod regions;
mod sound;

use std::ffi::{CStr, CString, c_char, c_int};
use std::os::unix::ffi::OsStrExt as _;
use std::path::Path;
use std::ptr;

use ffmpeg_next::ffi as c;

pub(crate) use encoder::{Encoder, EncoderSettings, FrameFormat, Packet, encoder_exists, encoder_takes};
pub(crate) use footage::{
    ColourCodes, Component, DecodedFrame, Footage, FootageDecoder, FootageFacts, FootagePacket, FrameLayout, Received,
    StillCoding,
};
pub use log::quieten;
pub(crate) use muxer::{Muxer, MuxerSettings};
pub(crate) use reader::colours;
pub use reader::{Colour, PacketFacts, SoundTrackFacts, StreamFacts, read_back};
pub(crate) use regions::Region;
pub(crate) use sound::{
    Heard, Resampler, SOUND_BLOCK, SOUND_RATE, SoundEncoder, SoundFacts, SoundSource, sound_encoder_exists,
};

use crate::units::FrameRate;

/// Why a call into FFmpeg failed: its code and, in words, all it said.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct Fault {
    code: c_int,
    message: String,
}

impl Fault {
    /// Something FFmpeg let pass and we do not.
    pub(crate) fn refused(message: impl Into<String>) -> Self {
        Self { code: c::AVERROR_EXTERNAL, message: message.into() }
    }

    /// A call's negative result, with what was said in the course of it.
    fn new(code: c_int, doing: &str, said: &[String]) -> Self {
        let mut text: [c_char; 256] = [0; 256];
        // SAFETY: the buffer's real length is handed over, and FFmpeg ends what it writes with a zero.
        let reason = unsafe {
            c::av_strerror(code, text.as_mut_ptr(), text.len());
            CStr::from_ptr(text.as_ptr()).to_string_lossy().into_owned()
        };
        let mut message = format!("{doing}: {reason}");
        if !said.is_empty() {
            message.push_str(&format!(" ({})", said.join("; ")));
        }
        Self { code, message }
    }

    /// The operating system's error, where that is what went wrong (disk full, no permission).
    pub(crate) fn system(&self) -> Option<std::io::Error> {
        // Errors of the system are -errno, FFmpeg's own are four-letter tags far below. These two are said by FFmpeg
        // itself where no system call failed.
        let its_own = self.code == c::AVERROR(c::EINVAL) || self.code == c::AVERROR(c::ENOMEM);
        (!its_own && (-4095..0).contains(&self.code)).then(|| std::io::Error::from_raw_os_error(-self.code))
    }
}

/// The versions of the libraries that encode and write.
pub(crate) fn versions() -> String {
    // SAFETY: these take nothing and give numbers, and a static string that ends with a zero.
    unsafe {
        let release = CStr::from_ptr(c::av_version_info()).to_string_lossy();
        format!("{release}, {}, {}", c::avcodec_version(), c::avformat_version())
    }
}

/// FFmpeg's release, and the library of its codecs, as people write them.
pub(crate) fn release() -> (String, String) {
    // SAFETY: these take nothing and give a number, and a static string that ends with a zero.
    let (release, codecs) = unsafe { (CStr::from_ptr(c::av_version_info()).to_string_lossy(), c::avcodec_version()) };
    (release.into_owned(), format!("libavcodec {}.{}.{}", codecs >> 16, codecs >> 8 & 0xFF, codecs & 0xFF))
}

/// The result of a call, negative where it failed.
fn check(code: c_int, doing: &str, log: Option<&log::Kept>) -> Result<c_int, Fault> {
    if code < 0 { Err(Fault::new(code, doing, &log.map(log::Kept::take).unwrap_or_default())) } else { Ok(code) }
}

/// The pointer a call allocated.
fn allocated<T>(pointer: *mut T) -> Result<*mut T, Fault> {
    if pointer.is_null() { Err(Fault::new(c::AVERROR(c::ENOMEM), "allocating", &[])) } else { Ok(pointer) }
}

/// `path` as FFmpeg's file protocol takes it, so that no name is ever mistaken for an option or another protocol.
fn file_url(path: &Path) -> Result<CString, Fault> {
    let mut bytes = b"file:".to_vec();
    bytes.extend_from_slice(path.as_os_str().as_bytes());
    CString::new(bytes).map_err(|_holds_a_zero| Fault::refused("a file name holds a zero byte"))
}

fn c_text(text: &str) -> Result<CString, Fault> {
    CString::new(text).map_err(|_holds_a_zero| Fault::refused(format!("{text:?} holds a zero byte")))
}

fn rational(numerator: u32, denominator: u32) -> Result<c::AVRational, Fault> {
    let part = |value: u32| {
        c_int::try_from(value).map_err(|_too_large| Fault::refused(format!("{value} is too large a time base")))
    };
    Ok(c::AVRational { num: part(numerator)?, den: part(denominator)? })
}

/// FFmpeg's name of a layout by its number; empty where there is none.
fn layout_name(format: c_int) -> String {
    if !(0..c::AVPixelFormat::AV_PIX_FMT_NB as c_int).contains(&format) {
        return String::new();
    }
    // SAFETY: one of the enumeration's values, which are without gaps; names are static, or null.
    unsafe {
        let name = c::av_get_pix_fmt_name(std::mem::transmute::<c_int, c::AVPixelFormat>(format));
        if name.is_null() { String::new() } else { CStr::from_ptr(name).to_string_lossy().into_owned() }
    }
}

/// One frame's duration in seconds as FFmpeg writes it.
fn frame_duration(fps: FrameRate) -> Result<c::AVRational, Fault> {
    rational(fps.denominator(), fps.numerator())
}

/// Options by name; what nobody took can be asked for.
struct Options(*mut c::AVDictionary);

impl Options {
    fn new(options: &[(&str, String)]) -> Result<Self, Fault> {
        let mut made = Self(ptr::null_mut());
        for (name, value) in options {
            let (name, value) = (c_text(name)?, c_text(value)?);
            // SAFETY: both strings end with a zero and are copied.
            check(unsafe { c::av_dict_set(&mut made.0, name.as_ptr(), value.as_ptr(), 0) }, "setting an option", None)?;
        }
        Ok(made)
    }

    /// Fails where an option is left that nobody took: it is misspelt, or the library has no such thing.
    fn all_taken(&self) -> Result<(), Fault> {
        let mut left = Vec::new();
        let mut entry: *mut c::AVDictionaryEntry = ptr::null_mut();
        loop {
            // SAFETY: the dictionary outlives its entries, and an empty key with this flag walks over all of them.
            entry = unsafe { c::av_dict_get(self.0, c"".as_ptr(), entry, c::AV_DICT_IGNORE_SUFFIX) };
            if entry.is_null() {
                break;
            }
            // SAFETY: key and value of an entry are strings that end with a zero.
            let (name, value) = unsafe { (CStr::from_ptr((*entry).key), CStr::from_ptr((*entry).value)) };
            left.push(format!("{} = {}", name.to_string_lossy(), value.to_string_lossy()));
        }
        if left.is_empty() { Ok(()) } else { Err(Fault::refused(format!("no such option: {}", left.join(", ")))) }
    }
}

impl Drop for Options {
    fn drop(&mut self) {
        // SAFETY: a dictionary of ours or null, freed once.
        unsafe { c::av_dict_free(&mut self.0) };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_disk_is_the_systems_error_and_a_bad_stream_is_not() {
        let full = Fault::new(c::AVERROR(c::ENOSPC), "writing a packet", &[]);
        assert_eq!(full.system().unwrap().kind(), std::io::ErrorKind::StorageFull);
        for code in [c::AVERROR_INVALIDDATA, c::AVERROR_EXTERNAL, c::AVERROR(c::EINVAL), c::AVERROR(c::ENOMEM)] {
            assert!(Fault::new(code, "writing a packet", &[]).system().is_none(), "{code}");
        }
    }

    #[test]
    fn a_fault_says_what_was_being_done_what_failed_and_what_ffmpeg_said() {
        let said = ["non monotonous times".to_owned(), "giving up".to_owned()];
        let fault = Fault::new(c::AVERROR_INVALIDDATA, "writing a packet", &said);
        let words = "writing a packet: Invalid data found when processing input (non monotonous times; giving up)";
        assert_eq!(fault.to_string(), words);
    }
}
