//! Reads all headers on a few threads, gives files still being written a moment, and test-decodes those without an end.

use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant, SystemTime};
use std::{fs, thread};

use crate::decode::header::{self, Ending, Header, Refused};
use crate::decode::{self, KnownFiles};
use crate::shoot::Damage;

/// How often a file that cannot be read is tried again, and how long after.
const RETRIES: usize = 2;
const RETRY_AFTER: Duration = Duration::from_millis(50);

/// A file changed less than this ago may still be being written.
const FRESH: Duration = Duration::from_secs(2);
/// Unchanged for this long, it is taken as it is.
const QUIET: Duration = Duration::from_millis(600);
/// The longest wait for all of them together.
const LONGEST_WAIT: Duration = Duration::from_secs(5);
const LOOK_AGAIN: Duration = Duration::from_millis(150);

/// What reading a file's header gave.
pub(super) type Read = Result<Header, Refused>;

/// Reads the headers of all files, in their order, but for those that are known.
pub(super) fn all<P: AsRef<Path> + Sync>(paths: &[P], known: &KnownFiles) -> Vec<Read> {
    known.begin(paths);
    let mut read = on_threads(paths, |path| known.header(path.as_ref()));
    for _ in 0..RETRIES {
        let refused = chosen(&read, |read, _| matches!(read, Err(Refused { damage: Damage::Unreadable(_), .. })));
        if refused.is_empty() {
            break;
        }
        thread::sleep(RETRY_AFTER);
        again(&mut read, paths, &refused);
    }
    let unfinished = chosen(&read, |read, index| unfinished(read, paths[index].as_ref()));
    if !unfinished.is_empty() {
        wait_until_quiet(&unfinished.iter().map(|index| paths[*index].as_ref()).collect::<Vec<_>>());
        again(&mut read, paths, &unfinished);
    }
    let open: Vec<(usize, &Header)> = read
        .iter()
        .enumerate()
        .filter_map(|(index, read)| Some((index, read.as_ref().ok()?)))
        .filter(|(_, header)| header.ending == Ending::Open)
        .collect();
    let decoded = on_threads(&open, |(index, header)| test_decode(paths[*index].as_ref(), header));
    let found: Vec<(usize, Damage)> =
        open.iter().zip(decoded).filter_map(|((index, _), decoded)| Some((*index, decoded.err()?))).collect();
    for (index, damage) in found {
        let captured = read[index].as_ref().ok().and_then(|header| header.captured);
        read[index] = Err(Refused { damage, captured });
    }
    known.end(paths);
    read
}

/// Does `work` for each of `inputs` on a few threads; results are in the inputs' order.
fn on_threads<I: Sync, O: Send>(inputs: &[I], work: impl Fn(&I) -> O + Sync) -> Vec<O> {
    const CHUNK: usize = 32;
    const MOST: usize = 8;
    let threads = thread::available_parallelism().map_or(2, usize::from).clamp(2, MOST);
    let chunks: Vec<&[I]> = inputs.chunks(CHUNK).collect();
    if chunks.len() < 2 {
        return inputs.iter().map(work).collect();
    }
    let next = AtomicUsize::new(0);
    let mut done: Vec<(usize, Vec<O>)> = thread::scope(|scope| {
        let worker = || {
            let mut mine = Vec::new();
            loop {
                let index = next.fetch_add(1, Ordering::Relaxed);
                let Some(chunk) = chunks.get(index) else { return mine };
                mine.push((index, chunk.iter().map(&work).collect()));
            }
        };
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(worker)).collect();
        workers
            .into_iter()
            .flat_map(|worker| worker.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    done.sort_by_key(|(index, _)| *index);
    done.into_iter().flat_map(|(_, outputs)| outputs).collect()
}

/// The indices of those that fit.
fn chosen(read: &[Read], fits: impl Fn(&Read, usize) -> bool) -> Vec<usize> {
    read.iter().enumerate().filter(|(index, read)| fits(read, *index)).map(|(index, _)| index).collect()
}

/// Reads these headers once more.
fn again<P: AsRef<Path> + Sync>(read: &mut [Read], paths: &[P], indices: &[usize]) {
    let fresh = on_threads(indices, |index| header::read(paths[*index].as_ref()));
    for (index, fresh) in indices.iter().zip(fresh) {
        read[*index] = fresh;
    }
}

/// Whether a file has no end and was changed a moment ago.
fn unfinished(read: &Read, path: &Path) -> bool {
    let whole = match read {
        Ok(header) => header.ending != Ending::Open,
        Err(refused) => {
            matches!(refused.damage, Damage::Unreadable(_) | Damage::Unsupported(_) | Damage::TooLarge(_))
        }
    };
    !whole && fs::metadata(path).and_then(|metadata| metadata.modified()).is_ok_and(is_fresh)
}

fn is_fresh(modified: SystemTime) -> bool {
    SystemTime::now().duration_since(modified).is_ok_and(|age| age < FRESH)
}

/// Waits until size and modification time of all files have stood still for a while, or the wait is long enough.
fn wait_until_quiet(paths: &[&Path]) {
    let look = || -> Vec<Option<(u64, SystemTime)>> {
        let stamp =
            |path: &&Path| fs::metadata(path).and_then(|metadata| Ok((metadata.len(), metadata.modified()?))).ok();
        paths.iter().map(stamp).collect()
    };
    let started = Instant::now();
    let (mut seen, mut since) = (look(), Instant::now());
    while since.elapsed() < QUIET && started.elapsed() < LONGEST_WAIT {
        thread::sleep(LOOK_AGAIN);
        let now = look();
        if now != seen {
            (seen, since) = (now, Instant::now());
        }
    }
}

/// Decodes a file without an end mark: whole rows make it a still all the same.
fn test_decode(path: &Path, header: &Header) -> Result<(), Damage> {
    decode::test_decode(&header.still(path))
}
