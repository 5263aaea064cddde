//! Shoots that grow: a render of more stills makes what is new, and what comes out is what a render of all of them makes.

use std::fs;
use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use stillpath::ffi::jpeg;

use super::common::{Bench, Ran, STILL, exif, picture, write_still};

/// A frame a still, in stretches of eight.
const SCRIPT: &str = r#"
return shot {
  source = stills { "stills" },
  fps = 2,
  pace = stills_per_frame(1),
  framing = framing { key { at = still(1), on = point(0.5, 0.5), zoom = 1 }, key { at = still(6), on = point(0.6, 0.4), zoom = 1.5 } },
  deliveries = {
    delivery { "wide", frame = { 128, 72 }, quality = { crf = 18, preset = "medium" } },
    delivery { "square", frame = { 64, 64 }, codec = "png", poster = part(0.5) },
    delivery { "master", frame = "full", every = "still" },
  },
}
"#;

fn grown(bench: &Bench, more: &[&str]) -> Ran {
    bench.run(&[&["render", "move.lua", "--threads", "2", "--out", "clips", "--growing"], more].concat())
}

/// Bytes of the outputs, by name.
fn outputs(bench: &Bench, out: &str) -> Vec<(String, Vec<u8>)> {
    let mut files = Vec::new();
    for name in bench.list(out).into_iter().filter(|name| !name.starts_with('.') && !name.ends_with("receipt.json")) {
        let path = bench.path(out).join(&name);
        if path.is_dir() {
            let frames = bench.list(&format!("{out}/{name}"));
            files.extend(frames.iter().map(|frame| (format!("{name}/{frame}"), fs::read(path.join(frame)).unwrap())));
        } else {
            files.push((name, fs::read(path).unwrap()));
        }
    }
    files
}

#[test]
fn a_render_of_more_stills_makes_the_new_stretches_alone_and_is_the_render_of_all() {
    let bench = Bench::new(20);
    bench.script(SCRIPT);
    let json = grown(&bench, &["--json"]).expect(0).json();
    assert_eq!((json["outputs"][0]["frames"].as_u64(), json["outputs"][0]["taken_over"].as_u64()), (Some(20), Some(0)));
    // Nothing new: nothing is made.
    let json = grown(&bench, &["--json"]).expect(0).json();
    assert_eq!(json["outputs"][0]["taken_over"], 20);
    let mut stills = 20;
    for more in [1, 7, 9] {
        (stills + 1..=stills + more).for_each(|number| write_still(&bench.still(number), STILL, number));
        let before = stills;
        stills += more;
        let json = grown(&bench, &["--json"]).expect(0).json();
        // Stretches of a clip have eight frames here, those of a sequence four.
        for (output, every) in [8, 4].into_iter().enumerate() {
            let [frames, kept] = ["frames", "taken_over"].map(|field| json["outputs"][output][field].as_u64().unwrap());
            assert_eq!((frames, kept), (stills as u64, (before / every * every) as u64), "{stills} stills");
        }
        // Stills of the stretches that are made, and those beside them; the poster's is another one.
        let decoded = json["stills_decoded"].as_u64().unwrap();
        assert!(decoded <= stills as u64, "{decoded} decoded for {stills} stills");
        bench.run(&["prove", "clips/move-receipt.json", "--frames", "3"]).expect(0);
    }
    let whole = ["render", "move.lua", "--threads", "2", "--out", "whole"];
    bench.run(&whole).expect(0);
    let [grown_to, whole] = ["clips", "whole"].map(|out| outputs(&bench, out));
    let names = |files: &[(String, Vec<u8>)]| files.iter().map(|(name, _)| name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&grown_to), names(&whole));
    for ((name, one), (_, other)) in grown_to.iter().zip(&whole) {
        assert!(one == other, "{name} differs");
    }
    // A still of long ago that is another one now: its stretch is made again, and no other.
    write_still(&bench.still(3), STILL, 99);
    let json = grown(&bench, &["--json"]).expect(0).json();
    assert_eq!(json["outputs"][0]["taken_over"], stills as u64 - 8);

    // A clip that is not as it was left is nobody's to replace.
    fs::write(bench.path("clips/move-wide.mp4"), b"mine").unwrap();
    write_still(&bench.still(stills + 1), STILL, 5);
    let ran = grown(&bench, &[]).expect(1);
    assert!(ran.err.contains("move-wide.mp4 is already there") && ran.err.contains("--force"), "{}", ran.err);
    assert_eq!(fs::read(bench.path("clips/move-wide.mp4")).unwrap(), b"mine");
    grown(&bench, &["--force"]).expect(0);
    // A render that is not of a growing shoot leaves nothing behind.
    bench.run(&["render", "move.lua", "--threads", "2", "--out", "clips", "--force"]).expect(0);
    assert!(!bench.list("clips").iter().any(|name| name.starts_with('.')), "{:?}", bench.list("clips"));
}

/// A still of one second after the last.
fn taken(number: usize) -> Vec<u8> {
    let time = format!("2031:05:04 12:{:02}:{:02}", number / 60, number % 60);
    jpeg::encode_rgb(&picture(STILL, number), STILL, 92, (2, 2), &[(0xE1, &exif(&time))])
}

/// `tend`, and what it says as it says it.
struct Tending {
    child: Child,
    said: Arc<Mutex<String>>,
}

impl Tending {
    fn begin(bench: &Bench, more: &[&str]) -> Self {
        let arguments =
            [&["tend", "move.lua", "--out", "clips", "--threads", "2", "--every", "1s", "--quiet"], more].concat();
        let mut command = bench.command(&arguments);
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let said = Arc::new(Mutex::new(String::new()));
        let streams: [Box<dyn std::io::Read + Send>; 2] =
            [Box::new(child.stdout.take().unwrap()), Box::new(child.stderr.take().unwrap())];
        for stream in streams {
            let said = Arc::clone(&said);
            std::thread::spawn(move || {
                for line in BufReader::new(stream).lines().map_while(Result::ok) {
                    let mut said = said.lock().unwrap_or_else(PoisonError::into_inner);
                    said.push_str(&line);
                    said.push('\n');
                }
            });
        }
        Self { child, said }
    }

    fn said(&self) -> String {
        self.said.lock().unwrap().clone()
    }

    /// Waits until it has said this.
    fn says(&self, words: &str) {
        let began = Instant::now();
        while !self.said().contains(words) {
            assert!(began.elapsed() < Duration::from_secs(60), "it never said {words:?}:\n{}", self.said());
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for Tending {
    fn drop(&mut self) {
        let _ended = self.child.kill();
        let _reaped = self.child.wait();
    }
}

/// Fault 17: still being written.
#[test]
fn tending_renders_what_comes_waits_for_what_is_written_and_survives_its_folder() {
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    bench.script(&SCRIPT.replace("still(6)", "still(3)"));
    let put = |number: usize| fs::write(bench.still(number), taken(number)).unwrap();
    (1..=6).for_each(put);
    let tending = Tending::begin(&bench, &[]);
    tending.says("6 stills; waiting for more");
    let frames = || {
        let json = bench.run(&["prove", "clips/move-receipt.json", "--frames", "1", "--json"]).expect(0).json();
        assert!(json.is_object());
        let receipt: serde_json::Value =
            serde_json::from_slice(&fs::read(bench.path("clips/move-receipt.json")).unwrap()).unwrap();
        receipt["deliveries"][0]["frames"].as_u64().unwrap()
    };
    assert_eq!(frames(), 6);
    // They were a second apart.
    tending.says("no still has come for");
    tending.says("is the camera still running?");
    // One that takes its time to be written: it is not taken for a broken one, and the script has no policy for those.
    let bytes = taken(7);
    for part in bytes.chunks(bytes.len().div_ceil(6)) {
        let mut file = fs::File::options().create(true).append(true).open(bench.still(7)).unwrap();
        std::io::Write::write_all(&mut file, part).unwrap();
        std::thread::sleep(Duration::from_millis(700));
    }
    tending.says("1 new stills, 7 in all");
    tending.says("stills come again");
    assert!(!tending.said().contains("LAPS0007"), "{}", tending.said());
    assert_eq!(frames(), 7);
    // The folder goes, and comes back with more.
    fs::rename(bench.path("stills"), bench.path("elsewhere")).unwrap();
    tending.says("the stills cannot be found");
    fs::write(bench.path("elsewhere/LAPS0008.JPG"), taken(8)).unwrap();
    fs::rename(bench.path("elsewhere"), bench.path("stills")).unwrap();
    tending.says("1 new stills, 8 in all");
    assert_eq!(frames(), 8);
    // Fewer of them shorten no clip; more than before do lengthen it.
    fs::remove_file(bench.still(2)).unwrap();
    fs::remove_file(bench.still(1)).unwrap();
    tending.says("6 stills are there, and 8 were");
    assert!(bench.path("clips/move-receipt.json").exists());
    put(1);
    put(2);
    put(9);
    tending.says("1 new stills, 9 in all");
    // A mistake in the script is said, and the next save is rendered.
    bench.script("return shot {");
    tending.says("mistake");
    bench.script(SCRIPT);
    tending.says("0 new stills, 9 in all");
    let mut tending = tending;
    assert!(Command::new("kill").args(["-INT", &tending.child.id().to_string()]).status().unwrap().success());
    let ended = tending.child.wait().unwrap();
    assert_eq!(ended.code(), Some(0), "{}", tending.said());
    assert_eq!(frames(), 9);
    // Begun again over fewer stills, it shortens nothing either; what it says to type does.
    fs::remove_file(bench.still(9)).unwrap();
    bench.script(
        &SCRIPT.replace("source = stills { \"stills\" }", "source = stills { \"stills\", missing = \"hold\" }"),
    );
    let tending = Tending::begin(&bench, &[]);
    tending.says("8 stills are there, and 9 were");
    let said = tending.said();
    drop(tending);
    let receipt: serde_json::Value =
        serde_json::from_slice(&fs::read(bench.path("clips/move-receipt.json")).unwrap()).unwrap();
    assert_eq!(receipt["deliveries"][0]["frames"], 9);
    let typed = said.lines().find_map(|line| line.split_once("of what is there: stillpath ")).unwrap().1;
    bench.run(&typed.split(' ').collect::<Vec<_>>()).expect(0);
    assert_eq!(frames(), 8);
}

#[test]
fn tending_says_at_once_what_is_wrong_from_the_beginning() {
    let bench = Bench::new(0);
    bench.script(SCRIPT);
    let ran = bench.run(&["tend", "move.lua", "--out", "clips"]).expect(1);
    assert!(ran.err.contains("stills"), "{}", ran.err);
    for wrong in ["10", "0s", "1.5h", "ten", "10d", "99999999999s"] {
        let ran = bench.run(&["tend", "move.lua", "--out", "clips", "--every", wrong]).expect(64);
        assert!(ran.err.contains("30s, 10m or 1h"), "{wrong}: {}", ran.err);
    }
}

#[test]
fn a_clip_that_grows_tells_its_flashes_as_a_render_of_all_of_it_does() {
    let bench = Bench::new(0);
    fs::create_dir(bench.path("stills")).unwrap();
    bench.script(
        r#"return shot { source = stills { "stills" }, fps = 12, pace = stills_per_frame(1), deliveries = {
  delivery { "wide", frame = { 128, 96 } }, delivery { "square", frame = { 96, 96 }, codec = "png" } } }"#,
    );
    // Black and white in turn, or grey that hardly moves.
    let put = |number: usize, flashes: bool| {
        let shade = if flashes { 250 * (number % 2) } else { 100 + number % 3 };
        let rgb = vec![u8::try_from(shade).unwrap(); 3 * 160 * 120];
        let size = stillpath::units::Size::new(160, 120);
        fs::write(bench.still(number), jpeg::encode_rgb(&rgb, size, 90, (2, 2), &[])).unwrap();
    };
    let flashes = |out: &str| {
        let receipt = fs::read(bench.path(out).join("move-receipt.json")).unwrap();
        let receipt: serde_json::Value = serde_json::from_slice(&receipt).unwrap();
        [0, 1].map(|delivery| receipt["deliveries"][delivery]["flashes"].clone())
    };
    let mut stills = 0;
    // An end that flashes, one that does not, ones over whose seams flashes go on.
    for (round, (more, does)) in
        [(60, true), (70, false), (50, true), (20, true), (80, false), (1, true)].iter().enumerate()
    {
        (stills + 1..=stills + more).for_each(|number| put(number, *does));
        stills += more;
        grown(&bench, &[]).expect(0);
        let whole = format!("whole{round}");
        bench.run(&["render", "move.lua", "--threads", "2", "--out", &whole, "--no-strip"]).expect(0);
        for (grown_to, due) in flashes("clips").iter().zip(&flashes(&whole)) {
            assert_eq!((&grown_to["general"], &grown_to["red"]), (&due["general"], &due["red"]), "round {round}");
            let [grown_to, due] = [grown_to, due].map(|told| told["above"].as_array().unwrap().clone());
            assert!(!due.is_empty() && grown_to.len() == due.len(), "round {round}: {grown_to:?} and {due:?}");
            // Whether a change is the first of a flash hangs on the one before it, which may lie behind what is looked at.
            for (one, other) in grown_to.iter().zip(&due) {
                for end in 0..2 {
                    let apart = one[end].as_u64().unwrap().abs_diff(other[end].as_u64().unwrap());
                    assert!(apart <= 1, "round {round}: {grown_to:?} and {due:?}");
                }
            }
        }
    }
}

#[test]
fn what_goes_by_the_end_of_a_shoot_that_grows_is_said_with_what_keeps_frames_as_they_are() {
    let bench = Bench::new(8);
    let said = |script: &str| {
        bench.script(script);
        let ran = grown(&bench, &["--no-strip", "--delivery", "wide"]).expect(0);
        ran.err.matches("frames that are made already change with every still that is added").count()
    };
    assert_eq!(said(SCRIPT), 0);
    let with = |from: &str, to: &str| SCRIPT.replace(from, to);
    for (from, to, mended) in [
        ("pace = stills_per_frame(1)", "pace = over \"4s\"", "pace = stills_per_frame(1)"),
        ("at = still(6)", "at = \"end\"", "at = still(6)"),
        ("at = still(6)", "at = part(0.5)", "at = 3"),
        ("at = still(6)", "at = still(-1)", "at = still(6)"),
        ("fps = 2,", "fps = 2, level = true,", "fps = 2, level = { radius = 30 },"),
    ] {
        assert_eq!(said(&with(from, to)), 1, "{to}");
        assert_eq!(said(&with(from, mended)), 0, "{mended}");
    }
    let calm = with("key { at = still(1), on = point(0.5, 0.5), zoom = 1 }, key { at = still(6)", "key { at = 2");
    assert_eq!((said(&calm), said(&calm.replace("fps = 2,", "fps = 2, loop = true,"))), (0, 1));
}
