//! `dials`, and what `--set` says of a dial that is not there.

use crate::common::Bench;

const SCRIPT: &str = r#"
local far = dial("far", 1.5, { min = 1, max = 8, help = "zoom at the end" })
local look = dial("look", "calm", { choices = { "calm", "quick" }, help = "how it moves" })
local wide = dial("wide-only", false)
return shot {
  source = stills { "there is no such folder" },
  pace = stills_per_frame(1),
  framing = framing { key { at = "end", on = point(0.5, 0.5), zoom = far } },
  deliveries = { delivery { "wide", frame = { 128, 72 } } },
}
"#;

#[test]
fn dials_are_listed_with_range_value_and_help_and_no_shoot_is_looked_at() {
    let bench = Bench::new(0);
    bench.script(SCRIPT);
    let ran = bench.run(&["dials", "move.lua"]).expect(0);
    assert_eq!(
        ran.out,
        "--set far=1.5          1 to 8                  zoom at the end\n\
         --set look=\"calm\"      one of \"calm\", \"quick\"  how it moves\n\
         --set wide-only=false  true or false\n"
    );
    let ran = bench.run(&["dials", "move.lua", "--set", "far=3"]).expect(0);
    assert!(ran.out.starts_with("--set far=3            1 to 8, default 1.5"), "{}", ran.out);
}

#[test]
fn dials_are_listed_as_json() {
    let bench = Bench::new(0);
    bench.script(SCRIPT);
    let json = bench.run(&["dials", "move.lua", "--json", "--set", "look=quick"]).expect(0).json();
    let look = &json["dials"][1];
    let seen = ["name", "default", "value", "allowed", "help", "place"].map(|field| look[field].as_str().unwrap());
    assert_eq!(seen, ["look", "\"calm\"", "\"quick\"", "one of \"calm\", \"quick\"", "how it moves", "move.lua:3"]);
}

#[test]
fn a_setting_that_no_dial_takes_names_the_nearest_and_a_value_out_of_range_the_range() {
    let bench = Bench::new(0);
    bench.script(SCRIPT);
    for command in ["dials", "check"] {
        bench
            .run(&[command, "move.lua", "--set", "fat=2"])
            .expect(1)
            .says("no dial of that name")
            .says("did you mean 'far'?");
        bench.run(&[command, "move.lua", "--set", "far=9"]).expect(1).says("must be 1 to 8").says("its default is 1.5");
        bench.run(&[command, "move.lua", "--set", "far=much"]).expect(1).says("must be a number");
    }
}

#[test]
fn a_script_without_dials_says_so() {
    let bench = Bench::new(0);
    bench.script(
        "return shot { source = stills { 'x' }, pace = over '1s', deliveries = { delivery { 'w', frame = { 64, 64 } } } }",
    );
    let ran = bench.run(&["dials", "move.lua"]).expect(0).says("declares no dials");
    assert_eq!(ran.out, "");
}
