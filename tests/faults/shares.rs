//! Renders that many machines make in shares: what comes out is what one machine makes, whatever happens on the way; and
//! what cannot be put together is named.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

use super::astray;
use super::common::{Bench, Ran, corrupt, write_still};

/// Two stills a second, for two frames each: a clip of 24 frames in stretches of 8.
const SCRIPT: &str = r#"
return shot {
  source = stills { "stills" SOURCE },
  fps = 2,
  pace = frames_per_still(2),
  framing = framing {
    key { at = "start", on = point(0.5, 0.5), zoom = 1 },
    key { at = "end", on = point(0.6, 0.4), zoom = 1.5 },
  },
  deliveries = {
    delivery { "wide", frame = { 128, 72 }, quality = { crf = 18, preset = "medium" } },
    delivery { "square", frame = { 64, 64 }, codec = "png", poster = part(0.5) },
    delivery { "master", frame = "full", every = "still" },
  },
}
"#;

const STILLS: usize = 12;

fn script(bench: &Bench, source: &str) -> PathBuf {
    bench.script(&SCRIPT.replace("SOURCE", source))
}

fn bench() -> Bench {
    let bench = Bench::new(STILLS);
    script(&bench, "");
    bench
}

const RENDER: [&str; 6] = ["render", "move.lua", "--threads", "2", "--no-strip", "--out"];

fn whole(bench: &Bench, out: &str) -> Ran {
    bench.run(&[&RENDER[..], &[out]].concat())
}

fn share(bench: &Bench, out: &str, share: &str) -> Ran {
    bench.run(&[&RENDER[..], &[out, "--share", share]].concat())
}

fn begin(bench: &Bench, out: &str, share: &str) -> Child {
    let mut command = bench.command(&[&RENDER[..], &[out, "--share", share]].concat());
    command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
}

fn join(bench: &Bench, out: &str) -> Ran {
    bench.run(&["join", "move.lua", "--no-strip", "--out", out])
}

/// Everything that a render left, but for the receipt: names below its folder, and bytes.
fn files(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let all = walkdir::WalkDir::new(folder).sort_by_file_name().into_iter().map(Result::unwrap);
    let all = all.filter(|entry| entry.file_type().is_file());
    let all = all.filter(|entry| !entry.path().to_string_lossy().ends_with("-receipt.json"));
    all.map(|entry| (entry.path().strip_prefix(folder).unwrap().to_owned(), fs::read(entry.path()).unwrap())).collect()
}

/// A receipt without what tells one run from another.
fn receipt(bench: &Bench, out: &str) -> Value {
    let mut receipt: Value =
        serde_json::from_slice(&fs::read(bench.path(out).join("move-receipt.json")).unwrap()).unwrap();
    for field in ["hash", "made", "stages"] {
        receipt[field] = Value::Null;
    }
    receipt["deliveries"].as_array_mut().unwrap().iter_mut().for_each(|delivery| delivery["taken_over"] = Value::Null);
    receipt
}

/// Asserts that two folders hold the same files with the same bytes, and the same receipt.
fn same(bench: &Bench, one: &str, other: &str) {
    let [one_has, other_has] = [one, other].map(|out| files(&bench.path(out)));
    let names = |files: &[(PathBuf, Vec<u8>)]| files.iter().map(|(path, _)| path.clone()).collect::<Vec<_>>();
    assert_eq!(names(&one_has), names(&other_has));
    for ((path, one), (_, other)) in one_has.iter().zip(&other_has) {
        assert!(one == other, "{} differs", path.display());
    }
    assert_eq!(receipt(bench, one), receipt(bench, other));
}

/// The lines of `text` that are to be typed, as a shell takes them apart.
fn advice(text: &str) -> Vec<Vec<String>> {
    let lines = text.lines().filter_map(|line| line.split_once("stillpath ").map(|(_, rest)| rest));
    lines.filter(|line| line.contains("--out")).map(|line| shlex::split(line).unwrap()).collect()
}

fn typed(bench: &Bench, words: &[String]) -> Ran {
    bench.run(&words.iter().map(String::as_str).collect::<Vec<_>>())
}

/// Fault 75: two runs, one output.
#[test]
fn shares_made_in_any_order_twice_and_side_by_side_join_to_what_one_machine_makes() {
    let bench = bench();
    whole(&bench, "alone").expect(0);
    // Backwards, one of them twice.
    for number in ["3/3", "1/3", "3/3"] {
        share(&bench, "clips", number).expect(0);
    }
    let again = share(&bench, "clips", "1/3").expect(0);
    assert!(again.out.contains("of them there already") && !again.out.contains("move-wide.mp4\n"), "{}", again.out);
    let last = share(&bench, "clips", "2/3").expect(0);
    let joining = advice(&last.out);
    assert_eq!(joining.len(), 1, "{}", last.out);
    typed(&bench, &[&joining[0][..], &["--no-strip".to_owned()]].concat()).expect(0);
    same(&bench, "alone", "clips");
    assert!(!bench.list("clips").iter().any(|name| name.starts_with('.')), "{:?}", bench.list("clips"));

    // All at once, one of them by two runs.
    let runs: Vec<Child> = ["1/2", "2/2", "2/2"].iter().map(|number| begin(&bench, "busy", number)).collect();
    for mut run in runs {
        assert!(run.wait().unwrap().success());
    }
    let joined = join(&bench, "busy").expect(0);
    assert!(joined.out.contains("of them made in shares"), "{}", joined.out);
    same(&bench, "alone", "busy");
    // What was joined is proved as what was rendered is.
    bench.run(&["prove", "busy/move-receipt.json"]).expect(0);

    // More shares than stretches.
    for number in 1..=20 {
        share(&bench, "many", &format!("{number}/20")).expect(0);
    }
    join(&bench, "many").expect(0);
    same(&bench, "alone", "many");
}

/// Fault 72: interrupt, kill.
#[test]
fn a_share_that_is_killed_goes_on_when_it_is_begun_again_and_is_named_till_then() {
    let bench = bench();
    bench.script(&SCRIPT.replace("SOURCE", "").replace("{ 128, 72 }", "{ 640, 360 }").replace("medium", "veryslow"));
    whole(&bench, "alone").expect(0);
    share(&bench, "clips", "2/2").expect(0);
    let mut run = begin(&bench, "clips", "1/2");
    let (began, folder) = (Instant::now(), bench.path("clips/.move-wide.mp4.part"));
    let is_making = || {
        let names = fs::read_dir(&folder).into_iter().flatten().flatten().map(|entry| entry.file_name());
        names
            .filter_map(|name| name.into_string().ok())
            .any(|name| name.ends_with(".unfinished") && name.starts_with('0'))
    };
    while !is_making() && began.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(1));
    }
    run.kill().unwrap();
    run.wait().unwrap();
    let refused = join(&bench, "clips").expect(1);
    assert!(refused.err.contains("share 1/2 was begun") && refused.err.contains("has not ended"), "{}", refused.err);
    assert!(!refused.err.contains("share 2/2"), "{}", refused.err);
    assert!(!bench.path("clips/move-wide.mp4").exists() && !bench.path("clips/move-receipt.json").exists());
    let words = advice(&refused.err);
    assert_eq!(words.len(), 1, "{}", refused.err);
    // What it says to type makes it whole, and says that another run had begun.
    let ran = typed(&bench, &words[0]).expect(0);
    assert!(ran.err.contains("share 1/2 was begun"), "{}", ran.err);
    join(&bench, "clips").expect(0);
    same(&bench, "alone", "clips");
}

#[test]
fn missing_shares_are_named_with_what_makes_them() {
    let bench = bench();
    let none = join(&bench, "clips").expect(1);
    assert!(none.err.contains("no share of this render is in clips"), "{}", none.err);
    let words = advice(&none.err);
    typed(&bench, &words[0]).expect(0);
    let half = join(&bench, "clips").expect(1);
    assert!(half.err.contains("share 2/2 was not made") && !half.err.contains("share 1/2"), "{}", half.err);
    let words = advice(&half.err);
    typed(&bench, &words[0]).expect(0);
    join(&bench, "clips").expect(0);
    // By then it is there.
    let again = join(&bench, "clips").expect(1);
    assert!(again.err.contains("is already there"), "{}", again.err);
}

/// Fault 76: what is kept is another script's or version's.
#[test]
fn shares_made_of_or_with_something_else_are_named_and_never_mixed_in() {
    let bench = bench();
    let both = |bench: &Bench| ["1/2", "2/2"].iter().for_each(|number| drop(share(bench, "clips", number).expect(0)));
    both(&bench);
    // Another still under the same name.
    write_still(&bench.still(2), super::common::STILL, 77);
    let ran = join(&bench, "clips").expect(1);
    assert!(ran.err.contains("share 1/2 was made on") && ran.err.contains("LAPS0002.JPG"), "{}", ran.err);
    assert!(!ran.err.contains("share 2/2"), "{}", ran.err);
    typed(&bench, &advice(&ran.err)[0]).expect(0);
    whole(&bench, "alone").expect(0);

    // Another number of threads.
    bench
        .run(&["render", "move.lua", "--threads", "5", "--no-strip", "--out", "clips", "--share", "2/2", "--fresh"])
        .expect(0);
    let ran = bench.run(&["join", "move.lua", "--threads", "2", "--out", "clips"]).expect(1);
    assert!(ran.err.contains("--threads 5"), "{}", ran.err);
    share(&bench, "clips", "2/2").expect(0);

    // Another script.
    bench.script(&SCRIPT.replace("SOURCE", "").replace("zoom = 1.5", "zoom = 1.6"));
    let ran = join(&bench, "clips").expect(1);
    for words in ["share 1/2 was made", "share 2/2 was made", "by another script or with other settings"] {
        assert!(ran.err.contains(words), "{words}: {}", ran.err);
    }
    script(&bench, "");

    // Another build of the program: one byte more at the end of its file changes nothing that it does.
    let other = bench.path("other");
    fs::copy(env!("CARGO_BIN_EXE_stillpath"), &other).unwrap();
    fs::set_permissions(&other, fs::Permissions::from_mode(0o755)).unwrap();
    std::io::Write::write_all(&mut fs::File::options().append(true).open(&other).unwrap(), b"\n").unwrap();
    let arguments = [&RENDER[..], &["clips", "--share", "2/2", "--fresh"]].concat();
    let made = Command::new(&other).args(arguments).current_dir(bench.folder.path()).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let ran = join(&bench, "clips").expect(1);
    assert!(ran.err.contains("share 2/2 was made") && ran.err.contains("another build of this program"), "{}", ran.err);
    share(&bench, "clips", "2/2").expect(0);

    // A stretch of which one bit has changed, and one that is gone.
    let kept = bench.path("clips/.move-wide.mp4.part/000000.stretch");
    let mut bytes = fs::read(&kept).unwrap();
    bytes[100] ^= 1;
    fs::write(&kept, &bytes).unwrap();
    let ran = join(&bench, "clips").expect(1);
    assert!(ran.err.contains("share 1/2") && ran.err.contains("not all of it is there or whole"), "{}", ran.err);
    fs::remove_file(&kept).unwrap();
    let ran = join(&bench, "clips").expect(1);
    typed(&bench, &advice(&ran.err)[0]).expect(0);

    // A note that somebody wrote into is said, and is in nobody's way.
    let note = bench.path("clips/.move-shares/00001-of-00002.json");
    let text = fs::read_to_string(&note).unwrap();
    fs::write(&note, text.replace("\"threads\": 2", "\"threads\": 3")).unwrap();
    let frame = bench.path("clips/.move-square.part/output/000003.png");
    fs::write(&frame, b"no picture").unwrap();
    let ran = join(&bench, "clips").expect(1);
    assert!(ran.err.contains("is not a share's note, or was changed"), "{}", ran.err);
    assert!(ran.err.contains("share 1/2 was not made"), "{}", ran.err);
    typed(&bench, &advice(&ran.err)[0]).expect(0);
    join(&bench, "clips").expect(0);
    same(&bench, "alone", "clips");
}

/// Fault 14: corrupt in the middle (by the decoder's warnings, and by the neighbours).
#[test]
fn stills_that_turn_out_damaged_come_to_the_same_in_shares_wherever_the_shares_meet() {
    // Damage of which no decoder tells, found by the stills beside it; a frame a still.
    let bench = astray::shoot(9);
    for policy in ["hold", "skip"] {
        let text = SCRIPT
            .replace("SOURCE", &format!(", damaged = \"{policy}\""))
            .replace("fps = 2,", "fps = 24,")
            .replace("frames_per_still(2)", "stills_per_frame(1)")
            .replace("codec = \"png\", poster = part(0.5)", "codec = \"png\"");
        // A second has as many stretches as it takes for cuts to fall everywhere around the damaged still.
        bench.script(&text.replace("fps = 24,", "fps = 1,"));
        let alone = format!("alone-{policy}");
        whole(&bench, &alone).expect(0);
        for of in [2, 3, 5] {
            let out = format!("{policy}-{of}");
            let mut rounds = 0;
            let names: Vec<String> = (1..=of).map(|number| format!("{number}/{of}")).collect();
            names.iter().for_each(|name| drop(share(&bench, &out, name).expect(0)));
            // Shares that were made before the damage was found are named, and made again.
            loop {
                let ran = join(&bench, &out);
                if ran.code == 0 {
                    break;
                }
                rounds += 1;
                assert!(rounds < 3, "{}", ran.err);
                let words = advice(&ran.err);
                assert!(!words.is_empty(), "{}", ran.err);
                words.iter().for_each(|words| drop(typed(&bench, words).expect(0)));
            }
            same(&bench, &alone, &out);
        }
    }
    // Damage that the decoder tells of, with a stand-in in the plan.
    let bench = Bench::new(STILLS);
    script(&bench, ", damaged = \"hold\"");
    corrupt(&bench.still(7));
    whole(&bench, "alone").expect(0);
    ["1/2", "2/2"].iter().for_each(|number| drop(share(&bench, "clips", number).expect(0)));
    join(&bench, "clips").expect(0);
    same(&bench, "alone", "clips");
    // Without a policy the share stops by name, and says what to do.
    script(&bench, "");
    let all: Vec<Ran> = ["1/2", "2/2"].iter().map(|number| share(&bench, "stopped", number)).collect();
    let stopped: Vec<&Ran> = all.iter().filter(|ran| ran.code == 2).collect();
    assert!(!stopped.is_empty());
    for ran in stopped {
        assert!(ran.err.contains("LAPS0007") && ran.err.contains("damaged = \"hold\""), "{}", ran.err);
    }
}

/// Fault 75: two runs, one output.
#[test]
fn a_whole_render_and_shares_keep_out_of_each_others_way() {
    let bench = bench();
    let locked = |lock: fn(&fs::File) -> Result<(), fs::TryLockError>, arguments: &[&str]| {
        let folder = bench.path("clips/.move-wide.mp4.part");
        fs::create_dir_all(&folder).unwrap();
        let file = fs::File::open(&folder).unwrap();
        lock(&file).unwrap();
        bench.run(arguments)
    };
    let of_share = [&RENDER[..], &["clips", "--share", "1/2"]].concat();
    // As a run does that makes all of it.
    locked(fs::File::try_lock, &of_share).expect(2).says("another run is making this output");
    // As a share does.
    locked(fs::File::try_lock_shared, &of_share).expect(0);
    let of_all = [&RENDER[..], &["clips"]].concat();
    locked(fs::File::try_lock_shared, &of_all).expect(2).says("another run is making this output");
    // Then it goes on from what the share has made.
    let json = bench.run(&[&of_all[..], &["--json"]].concat()).expect(0).json();
    assert!(json["outputs"][0]["taken_over"].as_u64().unwrap() > 0);
    assert!(!bench.list("clips").iter().any(|name| name.starts_with('.')), "{:?}", bench.list("clips"));
    // And a share has nothing to do where the outputs are.
    let ran = bench.run(&of_share).expect(1);
    assert!(ran.err.contains("is already there"), "{}", ran.err);
}

#[test]
fn deliveries_with_a_size_are_left_to_the_join_which_says_so() {
    let bench = bench();
    let text = SCRIPT.replace("SOURCE", "");
    bench.script(&text.replace("quality = { crf = 18, preset = \"medium\" }", "size = \"40kB\""));
    whole(&bench, "alone").expect(0);
    let ran = share(&bench, "clips", "1/1").expect(0);
    assert!(ran.err.contains("no share makes wide") && ran.err.contains("join makes them whole"), "{}", ran.err);
    assert!(!bench.path("clips/.move-wide.mp4.part").exists());
    join(&bench, "clips").expect(0);
    same(&bench, "alone", "clips");
}

#[test]
fn a_share_is_asked_for_in_one_form() {
    let bench = Bench::new(0);
    for (wrong, words) in [
        ("3", "a share is given as 3/16"),
        ("x/2", "a share is given as 3/16"),
        ("0/2", "1/2 to 2/2"),
        ("3/2", "1/2 to 2/2"),
        ("1/0", "there are 1 to 10000 shares"),
        ("1/10001", "there are 1 to 10000 shares"),
        ("-1/2", "a share is given as 3/16"),
    ] {
        let ran = bench.run(&["render", "move.lua", "--out", "clips", "--threads", "2", &format!("--share={wrong}")]);
        assert!(ran.expect(64).err.contains(words), "{wrong}");
    }
    let ran = bench.run(&["render", "move.lua", "--out", "clips", "--share", "1/2"]).expect(64);
    assert!(ran.err.contains("--threads"), "{}", ran.err);
    let draft = ["render", "move.lua", "--out", "clips", "--share", "1/2", "--threads", "2", "--draft"];
    assert!(bench.run(&draft).expect(64).err.contains("--draft"));
}

/// Everything below a folder of what is kept, by name.
fn kept(folder: &Path) -> Vec<PathBuf> {
    files(folder).into_iter().map(|(path, _)| path).collect()
}

// JOB, capability 11: the same on another machine.
#[test]
fn looking_in_shares_leaves_what_one_look_leaves_and_the_tables_are_equal() {
    // One still that decodes in silence and is wrong, at every place that shares may have in their middle or at an end;
    // then a shoot without any.
    looking_in_shares(&astray::shoot(9), false);
    looking_in_shares(&Bench::new(9), true);
}

/// Where a still is damaged, the stretch of stills around it is registered again by whoever knows that.
fn looking_in_shares(bench: &Bench, is_whole: bool) {
    let text =
        SCRIPT.replace("SOURCE", ", damaged = \"hold\"").replace("fps = 2,", "fps = 2, level = true, steady = true,");
    bench.script(&text);
    let run = |cache: &str, arguments: &[&str]| {
        Ran::of(bench.command(arguments).env("XDG_CACHE_HOME", bench.path(cache)).output().unwrap())
    };
    let tables = |cache: &str| {
        ["level", "steady"].map(|kind| run(cache, &[kind, "move.lua", "--delivery", "wide"]).expect(0).out)
    };
    let alone = tables("alone");
    assert!(alone[0].lines().count() > 5 && alone[1].lines().count() > 5, "{alone:?}");
    for of in [1, 2, 3, 9] {
        let cache = format!("shared-{of}");
        // In no order.
        for number in (1..=of).rev() {
            let ran = run(&cache, &["look", "move.lua", "--share", &format!("{number}/{of}")]).expect(0);
            assert!(ran.out.contains("measured for levelling") && ran.out.contains("for steadying"), "{}", ran.out);
        }
        let below = if is_whole { "stillpath" } else { "stillpath/look" };
        let [before, due] = [&cache, "alone"].map(|cache| kept(&bench.path(cache).join(below)));
        assert_eq!(before, due, "{of} shares");
        assert_eq!(tables(&cache), alone, "{of} shares");
        assert_eq!(kept(&bench.path(&cache).join(below)), before, "nothing was measured again");
    }
    // Shares of frames, made with what shares of looking have left, are those of one machine.
    whole(bench, "one").expect(0);
    for number in ["2/2", "1/2"] {
        share(bench, "many", number).expect(0);
    }
    join(bench, "many").expect(0);
    same(bench, "one", "many");

    script(bench, "");
    let ran = bench.run(&["look", "move.lua"]).expect(1);
    assert!(ran.err.contains("neither levels nor steadies") && ran.err.contains("level = true"), "{}", ran.err);
    bench.script(&text);
    let ran = run("stills", &["look", "move.lua", "--share", "1/2"]).expect(2);
    assert!(ran.err.contains("lies among the stills") && ran.err.contains("XDG_CACHE_HOME"), "{}", ran.err);
}

/// Fault 67: the disk fills up.
#[test]
fn a_share_whose_disk_is_full_is_named_and_the_others_stay() {
    let bench = bench();
    whole(&bench, "alone").expect(0);
    share(&bench, "clips", "2/2").expect(0);
    // A limit on the size of files stands in for a full disk: both reach the program as an error of the same calls.
    let mut command = Command::new("sh");
    let program = env!("CARGO_BIN_EXE_stillpath");
    command.args(["-c", "trap '' XFSZ; ulimit -f 8; exec \"$0\" \"$@\"", program]);
    command.args(RENDER).args(["clips", "--share", "1/2"]).current_dir(bench.folder.path());
    let ran = Ran::of(command.env("XDG_CACHE_HOME", bench.path("cache")).output().unwrap()).expect(2);
    assert!(ran.err.contains("clips/") && ran.err.contains("File too large"), "{}", ran.err);
    let ran = join(&bench, "clips").expect(1);
    assert!(ran.err.contains("share 1/2 was begun") && !ran.err.contains("share 2/2"), "{}", ran.err);
    typed(&bench, &advice(&ran.err)[0]).expect(0);
    join(&bench, "clips").expect(0);
    same(&bench, "alone", "clips");
}

/// A file of `examples/cluster/`.
fn example(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/cluster").join(name);
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Runs a shell's words as a cluster would, in the folder of a bench, with the program in reach as `stillpath`.
fn in_a_shell(bench: &Bench, words: &[&str], variables: &[(&str, &str)]) -> Ran {
    let bin = bench.path("bin");
    if !bin.exists() {
        fs::create_dir(&bin).unwrap();
        std::os::unix::fs::symlink(env!("CARGO_BIN_EXE_stillpath"), bin.join("stillpath")).unwrap();
        // A cluster that says what it was asked for: whoever begins a task again, and whoever submits jobs.
        for name in ["scontrol", "sbatch"] {
            fs::write(bin.join(name), format!("#!/bin/sh\necho {name} \"$@\" >>asked\necho 77\n")).unwrap();
            fs::set_permissions(bin.join(name), fs::Permissions::from_mode(0o755)).unwrap();
        }
    }
    let path = format!("{}:{}", bin.display(), std::env::var("PATH").unwrap());
    let mut command = Command::new("sh");
    command.args(words).current_dir(bench.folder.path()).env("PATH", path).env("XDG_CACHE_HOME", bench.path("cache"));
    Ran::of(command.envs(variables.iter().copied()).output().unwrap())
}

#[test]
fn the_tasks_of_the_example_for_slurm_make_their_shares_and_a_killed_one_begins_again() {
    let bench = bench();
    whole(&bench, "alone").expect(0);
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/cluster/slurm");
    let [submit, share, join] =
        ["submit.sh", "share.sh", "join.sh"].map(|name| folder.join(name).display().to_string());
    // What is submitted: arrays of three, each after the one before.
    let ran = in_a_shell(&bench, &[&submit, "move.lua", "clips", "3", "look"], &[]).expect(0);
    assert_eq!(ran.out, "looking: 77\nshares: 77\njoin: 77\n");
    let asked = fs::read_to_string(bench.path("asked")).unwrap();
    let asked: Vec<&str> = asked.lines().collect();
    assert_eq!(asked.len(), 3);
    assert!(asked[0].contains("--array=1-3") && asked[0].ends_with("look.sh move.lua"), "{}", asked[0]);
    assert!(asked[1].contains("--dependency=afterok:77 --array=1-3") && asked[1].ends_with("share.sh move.lua clips"));
    assert!(asked[2].contains("--dependency=afterok:77") && asked[2].ends_with("join.sh move.lua clips"));
    assert_eq!(in_a_shell(&bench, &[&submit], &[]).code, 64);
    // Its tasks, as the cluster begins them.
    let task = |number: &'static str| {
        let of = [("SLURM_CPUS_PER_TASK", "2"), ("SLURM_ARRAY_TASK_ID", number), ("SLURM_ARRAY_TASK_COUNT", "3")];
        in_a_shell(&bench, &[&share, "move.lua", "clips"], &[&of[..], &[("SLURM_ARRAY_JOB_ID", "5")]].concat())
    };
    for number in ["1", "2", "3"] {
        task(number).expect(0);
    }
    in_a_shell(&bench, &[&join, "move.lua", "clips"], &[]).expect(0);
    for strip in bench.list("clips").iter().filter(|name| name.ends_with("-strip.png")) {
        fs::remove_file(bench.path("clips").join(strip)).unwrap();
    }
    same(&bench, "alone", "clips");
    // What is refused is not begun again; what was killed is.
    fs::remove_file(bench.path("asked")).unwrap();
    task("1").expect(1);
    assert!(!bench.path("asked").exists());
    fs::remove_file(bench.path("bin/stillpath")).unwrap();
    fs::write(bench.path("bin/stillpath"), "#!/bin/sh\nkill -9 $$\n").unwrap();
    fs::set_permissions(bench.path("bin/stillpath"), fs::Permissions::from_mode(0o755)).unwrap();
    task("1").expect(0);
    assert_eq!(fs::read_to_string(bench.path("asked")).unwrap(), "scontrol requeue 5_1\n");
}

#[test]
fn the_pods_of_the_example_for_kubernetes_make_their_shares() {
    let bench = bench();
    whole(&bench, "alone").expect(0);
    let here = |text: &str| text.replace("/work/site.lua", "move.lua").replace("/work/clips", "clips");
    // The one command of a container, over two lines of a folded block.
    let render = example("kubernetes/render.yaml");
    let command = &render[render.find("exec stillpath").unwrap()..];
    let command: Vec<&str> = command.lines().take(2).map(str::trim).collect();
    let command = here(&command.join(" "));
    assert!(render.contains("completions: 16") && command.contains("/16\""), "{command}");
    for index in 0..16 {
        in_a_shell(&bench, &["-c", &command], &[("JOB_COMPLETION_INDEX", &index.to_string())]).expect(0);
    }
    let join = example("kubernetes/join.yaml");
    let words = join.lines().find_map(|line| line.trim().strip_prefix("args: ")).unwrap();
    let mut words: Vec<String> = serde_json::from_str(&here(words)).unwrap();
    words.push("--no-strip".to_owned());
    typed(&bench, &words).expect(0);
    same(&bench, "alone", "clips");
    let look = example("kubernetes/look.yaml");
    assert!(
        look.contains("completions: 16")
            && look.contains("stillpath look /work/site.lua --share \"$((JOB_COMPLETION_INDEX + 1))/16\"")
    );
}
