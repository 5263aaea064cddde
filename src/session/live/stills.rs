//! Stills in small, by number: a number means one file as a survey saw it, and is given out by views only.

use std::collections::{BTreeSet, HashMap, VecDeque};
use std::path::PathBuf;
use std::sync::{Mutex, MutexGuard, PoisonError};

use axum::body::Bytes;

use crate::decode::{Decoder, denominator};
use crate::ffi::jpeg;
use crate::picture::{Model, Samples};
use crate::shoot::{Format, Still};

/// Pixels of a small still's longer side, at least, where the still has them: those of the page's preview.
const LONGER_SIDE: u32 = 960;

/// Bytes of finished pictures that are kept.
const KEPT: usize = 256 << 20;

/// All stills that views have named.
#[derive(Default)]
pub(super) struct Stills(Mutex<Inner>);

#[derive(Default)]
struct Inner {
    known: Vec<Still>,
    numbers: HashMap<(PathBuf, i128, u64, u64), usize>,
    made: HashMap<usize, Result<Bytes, String>>,
    order: VecDeque<usize>,
    bytes: usize,
}

impl Stills {
    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The number of a still, the `at`th of its shoot.
    pub(super) fn number(&self, still: &Still, at: u64) -> usize {
        let mut inner = self.lock();
        let turn = still.orientation as u64;
        let key = (still.path.clone(), still.modified, still.bytes, if still.format == Format::Frame { at } else { turn });
        if let Some(number) = inner.numbers.get(&key) {
            return *number;
        }
        inner.known.push(still.clone());
        let number = inner.known.len() - 1;
        inner.numbers.insert(key, number);
        number
    }

    pub(super) fn knows(&self, number: usize) -> bool {
        number < self.lock().known.len()
    }

    pub(super) fn is_ready(&self, number: usize) -> bool {
        self.lock().made.contains_key(&number)
    }

    /// The folders that stills lie in.
    pub(super) fn folders(&self) -> BTreeSet<PathBuf> {
        self.lock().known.iter().filter_map(|still| still.path.parent()).map(PathBuf::from).collect()
    }

    /// A known still in small.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub(super) fn jpeg(&self, number: usize) -> Result<Bytes, String> {
        let still = {
            let inner = self.lock();
            if let Some(made) = inner.made.get(&number) {
                return made.clone();
            }
            inner.known.get(number).cloned().ok_or("there is no such still")?
        };
        let made = small(&still);
        let mut inner = self.lock();
        if inner.made.insert(number, made.clone()).is_none() {
            inner.order.push_back(number);
            inner.bytes += made.as_ref().map_or(0, Bytes::len);
        }
        while inner.bytes > KEPT {
            let Some(oldest) = inner.order.pop_front() else { break };
            if let Some(Ok(dropped)) = inner.made.remove(&oldest) {
                inner.bytes -= dropped.len();
            }
        }
        made
    }
}

/// A still's own codes in small, whatever colour space they are in: for looking at where things are.
fn small(still: &Still) -> Result<Bytes, String> {
    if still.format == Format::Frame {
        return Err("frames of a recording are not shown here".into());
    }
    let picture =
        Decoder::new().small(still, denominator(still.stored, LONGER_SIDE), None).map_err(|damage| damage.to_string())?;
    let eight = |plane: usize| match &picture.planes[plane].samples {
        Samples::Eight(samples) => Ok((samples, picture.planes[plane].stride)),
        Samples::Sixteen(_) => Err("its small picture has more than 8 bits".to_owned()),
    };
    let all = match picture.model {
        Model::Rgb => [eight(0)?, eight(1)?, eight(2)?],
        Model::Grey => [eight(0)?; 3],
        Model::YCbCr601 | Model::Video(_) => return Err("its small picture is not R'G'B'".into()),
    };
    let (width, height) = (picture.size.width as usize, picture.size.height as usize);
    let mut rgb = Vec::with_capacity(width * height * 3);
    for y in 0..height {
        for x in 0..width {
            rgb.extend(all.map(|(samples, stride)| samples[y * stride + x]));
        }
    }
    Ok(jpeg::encode_rgb(&rgb, picture.size, 82, (2, 2), &[]).into())
}
