//! Frames of recordings for the page: a thread a recording, which decodes what is asked for in the order of the
//! recording, however the questions come in.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, unbounded};
use tokio::sync::oneshot;

use crate::decode::SequentialDecoder;
use crate::picture::Picture;
use crate::shoot::{Damage, Recording};

/// Recordings that are kept open.
const OPEN: usize = 4;

/// How long one is kept open that nobody looks at.
const IDLE: Duration = Duration::from_secs(60);

/// How long the first question after a pause waits for others: a page asks for several frames at once, and what it
/// asked for first may come in last.
const TOGETHER: Duration = Duration::from_millis(4);

/// All recordings that were asked for lately.
#[derive(Default)]
pub(super) struct Footage(Mutex<Vec<Open>>);

struct Open {
    recording: Arc<Recording>,
    questions: Sender<Question>,
}

/// Takes a frame, or what is wrong with it.
type Answer = oneshot::Sender<Result<Picture, Damage>>;

/// A frame wanted, and who wants it.
struct Question {
    slot: usize,
    answer: Answer,
}

impl Footage {
    /// Decodes a frame to upright planes.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub(super) async fn show(&self, recording: &Arc<Recording>, slot: usize) -> Result<Picture, String> {
        let (answer, answered) = oneshot::channel();
        let gave_up = || "its decoder gave up".to_owned();
        if self.questions(recording).send(Question { slot, answer }).is_err() {
            // Its thread met a bug in a library: the next question begins anew.
            self.lock().retain(|open| !is_same(&open.recording, recording));
            return Err(gave_up());
        }
        answered.await.map_err(|_| gave_up())?.map_err(|damage| damage.to_string())
    }

    fn lock(&self) -> MutexGuard<'_, Vec<Open>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn questions(&self, recording: &Arc<Recording>) -> Sender<Question> {
        let mut open = self.lock();
        if let Some(known) = open.iter().find(|open| is_same(&open.recording, recording)) {
            return known.questions.clone();
        }
        let (questions, asked) = unbounded();
        let shared = Arc::clone(recording);
        std::thread::spawn(move || answer(&shared, &asked));
        open.insert(0, Open { recording: Arc::clone(recording), questions: questions.clone() });
        // A thread whose questions nobody can ask any more ends.
        open.truncate(OPEN);
        questions
    }
}

fn is_same(one: &Recording, other: &Recording) -> bool {
    (&one.path, one.bytes, one.modified, one.orientation)
        == (&other.path, other.bytes, other.modified, other.orientation)
}

/// Answers until nobody can ask any more.
fn answer(recording: &Recording, asked: &Receiver<Question>) {
    let mut sequential: Option<SequentialDecoder<'_>> = None;
    let mut waiting = Waiting::default();
    loop {
        if waiting.is_empty() {
            match asked.recv_timeout(IDLE) {
                Ok(question) => waiting.add(question),
                Err(RecvTimeoutError::Timeout) => {
                    sequential = None;
                    continue;
                }
                Err(RecvTimeoutError::Disconnected) => return,
            }
            std::thread::sleep(TOGETHER);
        }
        while let Ok(question) = asked.try_recv() {
            waiting.add(question);
        }
        let Some((slot, answers)) = waiting.next() else { continue };
        let sequential = sequential.get_or_insert_with(|| {
            SequentialDecoder::new(recording, (0..recording.ticks.len()).map(|frame| recording.slot_of(frame)))
        });
        let shown = sequential.show(slot, None);
        for answer in answers {
            // Whoever has gone meanwhile hears nothing.
            let _gone = answer.send(shown.clone());
        }
    }
}

/// Questions by slot, and how far the recording has been shown.
#[derive(Default)]
struct Waiting {
    by_slot: BTreeMap<usize, Vec<Answer>>,
    shown: usize,
}

impl Waiting {
    fn add(&mut self, question: Question) {
        self.by_slot.entry(question.slot).or_default().push(question.answer);
    }

    fn is_empty(&self) -> bool {
        self.by_slot.is_empty()
    }

    /// The next one on from the frame shown last, or else the first; those that nobody waits for any more are passed
    /// over.
    fn next(&mut self) -> Option<(usize, Vec<Answer>)> {
        self.by_slot.retain(|_, answers| {
            answers.retain(|answer| !answer.is_closed());
            !answers.is_empty()
        });
        let on = self.by_slot.range(self.shown..).next().map(|(slot, _)| *slot);
        let slot = on.or_else(|| self.by_slot.keys().next().copied())?;
        self.shown = slot;
        self.by_slot.remove_entry(&slot)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_are_shown_in_the_recordings_order_and_none_that_nobody_waits_for() {
        let mut waiting = Waiting::default();
        let ask = |waiting: &mut Waiting, slot: usize| {
            let (answer, answered) = oneshot::channel();
            waiting.add(Question { slot, answer });
            answered
        };
        let _kept: Vec<_> = [12, 10, 11, 3].map(|slot| ask(&mut waiting, slot)).into();
        drop(ask(&mut waiting, 13));
        waiting.shown = 10;
        let order: Vec<usize> = std::iter::from_fn(|| waiting.next().map(|(slot, _)| slot)).collect();
        assert_eq!(order, [10, 11, 12, 3]);
    }
}
