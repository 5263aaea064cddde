//! What FFmpeg says, kept by who says it instead of printed.

use std::collections::HashMap;
use std::ffi::{CStr, c_char, c_int, c_void};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{LazyLock, Mutex, Once, PoisonError};

use ffmpeg_next::ffi as c;

/// The C library's argument list as the callback is handed it on this processor.
#[cfg(target_arch = "x86_64")]
type Arguments = *mut c::__va_list_tag;
#[cfg(not(target_arch = "x86_64"))]
type Arguments = c::va_list;

/// Lines kept for one speaker: the first ones tell the cause.
const LINES: usize = 8;

/// Errors that change no pixel: H.264's orders to forget frames that a decoder begun in the middle never had, and its
/// supplemental information.
const HARMLESS: [&str; 3] = ["mmco: ", "SEI type", "referenced in buffering period"];

/// Lines of warnings and errors by the address of the context that said them. Encoders speak from their own threads.
static SAID: LazyLock<Mutex<HashMap<usize, Said>>> = LazyLock::new(Mutex::default);

#[derive(Default)]
struct Said {
    /// Whose: an address is given out again as soon as its context is freed.
    listener: u64,
    lines: Vec<String>,
    /// How many of them are errors.
    errors: usize,
}

/// Has SVT-AV1 print nothing: it speaks past FFmpeg's log, unless the environment says otherwise. To be called as the
/// program starts, while it has no second thread.
pub fn quieten() {
    if std::env::var_os("SVT_LOG").is_none() {
        // SAFETY: no other thread reads the environment, by the caller's word.
        unsafe { std::env::set_var("SVT_LOG", "-1") };
    }
}

/// Keeps what one context says for as long as this lives.
#[derive(Debug)]
pub(super) struct Kept {
    address: usize,
    listener: u64,
}

impl Kept {
    /// Starts to keep what `context` says.
    pub(super) fn of<T>(context: *mut T) -> Self {
        static NEXT: AtomicU64 = AtomicU64::new(0);
        silence();
        let kept = Self { address: context as usize, listener: NEXT.fetch_add(1, Ordering::Relaxed) };
        speakers(|said| said.insert(kept.address, Said { listener: kept.listener, ..Said::default() }));
        kept
    }

    /// How many errors were said since it was last asked for, and forgets what they were.
    pub(super) fn errors(&self) -> usize {
        let take = |said: &mut Said| {
            said.lines.clear();
            std::mem::take(&mut said.errors)
        };
        speakers(|said| said.get_mut(&self.address).map(take)).unwrap_or_default()
    }

    /// What was said since it was last asked for.
    pub(super) fn take(&self) -> Vec<String> {
        speakers(|said| said.get_mut(&self.address).map(|said| std::mem::take(&mut said.lines))).unwrap_or_default()
    }
}

impl Drop for Kept {
    fn drop(&mut self) {
        speakers(|said| {
            if said.get(&self.address).is_some_and(|said| said.listener == self.listener) {
                said.remove(&self.address);
            }
        });
    }
}

/// From here on nothing of FFmpeg's reaches the terminal.
pub(super) fn silence() {
    static ONCE: Once = Once::new();
    // SAFETY: the callback is a plain function with C's calling convention that may be called from any thread.
    ONCE.call_once(|| unsafe { c::av_log_set_callback(Some(keep)) });
}

fn speakers<R>(use_them: impl FnOnce(&mut HashMap<usize, Said>) -> R) -> R {
    use_them(&mut SAID.lock().unwrap_or_else(PoisonError::into_inner))
}

unsafe extern "C" fn keep(speaker: *mut c_void, level: c_int, format: *const c_char, arguments: Arguments) {
    if level > c::AV_LOG_WARNING || !speakers(|said| said.contains_key(&(speaker as usize))) {
        return;
    }
    let mut line: [c_char; 512] = [0; 512];
    let mut with_speaker = 0;
    // SAFETY: speaker, format and arguments are handed on as they came; the buffer's real length goes with it.
    let text = unsafe {
        c::av_log_format_line2(speaker, level, format, arguments, line.as_mut_ptr(), 512, &mut with_speaker);
        CStr::from_ptr(line.as_ptr()).to_string_lossy().trim().to_owned()
    };
    speakers(|said| {
        if let Some(kept) = said.get_mut(&(speaker as usize))
            && kept.lines.len() < LINES
            && !text.is_empty()
        {
            kept.errors +=
                usize::from(level <= c::AV_LOG_ERROR && !HARMLESS.iter().any(|harmless| text.contains(harmless)));
            kept.lines.push(text);
        }
    });
}
