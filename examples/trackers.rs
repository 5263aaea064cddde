//! Tracks people that were marked by hand in a recording, and prints how well: the rows "Stillpath" of the table
//! "Tracking" in `scripts/bench.md`.
//!
//! Usage: `trackers FRAMES WIDTH HEIGHT MARKS EVERY`, where FRAMES holds frames of R'G'B' of 8 bits one after the
//! other, MARKS is `tests/tracking/people.csv`, and every EVERY-th frame is a still. Run by `scripts/trackers`.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{Read as _, Seek as _, SeekFrom};
use std::sync::Arc;

use kurbo::Rect;
use stillpath::track::{Check, Found, Small, SpotState, State, Task, Told, Tracker, overlap};

/// Marks of one person by frame; none where the person is hidden.
type Marks = BTreeMap<usize, Option<Rect>>;

struct Frames {
    file: File,
    width: usize,
    height: usize,
}

impl Frames {
    fn small(&mut self, frame: usize) -> Arc<Small> {
        let mut bytes = vec![0; 3 * self.width * self.height];
        self.file.seek(SeekFrom::Start((frame * bytes.len()) as u64)).expect("a frame");
        self.file.read_exact(&mut bytes).expect("a whole frame");
        let plane = |channel: usize| bytes.iter().skip(channel).step_by(3).copied().collect::<Vec<u8>>();
        let (red, green, blue) = (plane(0), plane(1), plane(2));
        Arc::new(Small::colour([&red, &green, &blue], self.width, self.width, self.height))
    }
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [frames, width, height, marks, every] = &arguments[..] else { panic!("see the head of this file") };
    let number = |text: &String| text.parse::<usize>().expect("a number");
    let file = File::open(frames).expect("frames");
    let mut frames = Frames { file, width: number(width), height: number(height) };
    let people = marks_of(&std::fs::read_to_string(marks).expect("marks"));
    let every = number(every);
    for (what, keys_apart) in [("Stillpath, one box", usize::MAX), ("Stillpath, a key at every fourth mark", 4)] {
        let mut sum = 0.0;
        let mut cells = Vec::new();
        for marks in people.values() {
            let keys: Vec<(usize, Rect)> = marks
                .iter()
                .filter_map(|(frame, mark)| Some((*frame, (*mark)?)))
                .enumerate()
                .filter(|(at, _)| at % keys_apart == 0)
                .map(|(_, key)| key)
                .collect();
            let (mean, silent) = judged(&mut frames, marks, &keys, every);
            sum += mean;
            cells.push(format!("{mean:.3}{}", if silent > 0 { format!(" ({silent})") } else { String::new() }));
        }
        #[expect(clippy::cast_precision_loss, reason = "a few people")]
        let mean = sum / people.len() as f64;
        #[expect(clippy::print_stdout, reason = "the table is what it is run for")]
        {
            println!("| {what} | {every} | {} | **{mean:.3}** |", cells.join(" | "));
        }
    }
}

fn marks_of(text: &str) -> BTreeMap<String, Marks> {
    let mut people: BTreeMap<String, Marks> = BTreeMap::new();
    for line in text.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let sides: Vec<f64> = fields[2..].iter().filter_map(|side| side.parse().ok()).collect();
        let mark = (sides.len() == 4).then(|| Rect::new(sides[0], sides[1], sides[0] + sides[2], sides[1] + sides[3]));
        people.entry(fields[0].to_owned()).or_default().insert(fields[1].parse().expect("a frame"), mark);
    }
    people
}

/// Mean overlap at the marks that are no keys, and how many of them are missed without a word.
fn judged(frames: &mut Frames, marks: &Marks, keys: &[(usize, Rect)], every: usize) -> (f64, usize) {
    let (first, last) = (keys[0].0, *marks.keys().last().expect("a mark"));
    let order: Vec<usize> = (first..=last).step_by(every).collect();
    let key = |frame: usize| keys.iter().find(|(at, _)| *at == frame).map(|(_, area)| *area);
    let forwards = told(frames, &order, &key);
    let reversed: Vec<usize> = order.iter().rev().copied().collect();
    let backwards = told(frames, &reversed, &key);
    let mut doubted = Vec::new();
    let mut check = Check::default();
    for frame in &reversed {
        let small = frames.small(*frame);
        if let Some(area) = key(*frame) {
            doubted.extend(check.end(&small, area));
            break;
        }
        let seen = forwards[*frame - first].filter(|told| told.seen).map(|told| told.area);
        doubted.extend(check.next(*frame - first, &small, seen));
    }
    let task = Task { keys: keys.iter().map(|(frame, area)| (frame - first, *area)).collect() };
    let side: Vec<usize> = order.iter().map(|frame| frame - first).collect();
    let mut back = backwards;
    back.resize(last - first + 1, None);
    let mut forwards = forwards;
    forwards.resize(last - first + 1, None);
    let found = Found::woven(&task, &[side], last - first + 1, (&forwards, &back), &doubted);
    let (mut sum, mut count, mut silent) = (0.0, 0, 0);
    for (frame, mark) in marks.iter().filter(|(frame, _)| key(**frame).is_none()) {
        let (Some(mark), Some(spot)) = (mark, found.spots[*frame - first]) else { continue };
        let common = overlap(*mark, spot.area);
        sum += common;
        count += 1;
        silent += usize::from(common < 0.1 && spot.state == SpotState::Seen);
    }
    (sum / f64::from(count.max(1)), silent)
}

/// By frame counted from the first, what trackers told on the way through `order`.
fn told(frames: &mut Frames, order: &[usize], key: &dyn Fn(usize) -> Option<Rect>) -> Vec<Option<Told>> {
    let first = order.iter().min().copied().unwrap_or(0);
    let last = order.iter().max().copied().unwrap_or(0);
    let mut told = vec![None; last - first + 1];
    let mut tracker: Option<Tracker> = None;
    for frame in order {
        let small = frames.small(*frame);
        if let Some(tracker) = &mut tracker {
            let sight = tracker.next(&small);
            let seen = sight.state == State::Seen;
            told[frame - first] = Some(Told { area: sight.area, confidence: sight.confidence, seen });
        }
        if let Some(area) = key(*frame) {
            tracker = Tracker::new(&small, area).ok();
        }
    }
    told
}
