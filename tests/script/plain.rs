//! Scripts that are right.

use stillpath::curve::arc_length::Drawing;
use stillpath::curve::ease::{Ease, Jump};
use stillpath::script;
use stillpath::shot::{
    Between, Blend, Closeness, Codec, Light, Moment, Pace, Path, Policy, Rate, Sharpness, StillPoint, View,
};
use stillpath::units::Size;

use super::{Folder, mistakes, run, shot};

const HARBOUR: &str = r#"
local moves = require "moves"

local far = dial("far", 1.0, { min = 1, max = 8, help = "zoom at the start" })

return shot {
  source  = stills { "stills", interval = 3, missing = "hold", damaged = "skip", from = still "TIDE9950", to = clock "15:10" },
  fps     = 24,
  pace    = pace {
    key { at = still(1),        rate = stills_per_frame(8) },
    key { at = clock "14:32",   rate = stills_per_frame(8) },
    key { at = clock "14:40",   rate = frames_per_still(2), ease = "ease-in-out", keep = true },
    fit = "20s",
  },
  length = 25,
  framing = framing {
    key { at = 0,               show = box(0, 0, 1, 1) },
    key { at = clock "14:36",   on = point(0.62, 0.48), zoom = 2.2, ease = cubic_bezier(.4, 0, .2, 1) },
    key { at = "00:00:03:12",   on = px(100, 200.5), span = 0.5, ease = steps(3, "jump-none") },
    key { at = "3.5s",          show = box(0.1, 0.2, 0.3, 0.4), margin = 0.1, ease = linear { 0, { 0.5, 0.2 }, 1 } },
    key { at = "end",           on = point(0.62, 0.48), zoom = far },
  },
  deliveries = {
    delivery { "wide",     frame = { 1920, 1080 }, fps = 24 },
    delivery { "vertical", frame = { 1080, 1920 }, fps = "30000/1001", place = point(0.5, 0.4), quality = 100 },
    delivery { "square",   frame = { 1080, 1080 }, quality = { crf = 16, preset = "slow", tune = "film" }, sharpness = "full" },
    delivery { "master",   frame = { 1081, 1079 }, codec = "png", framing = moves.push_in { to = 3 } },
  },
  strict = true,
}
"#;

#[test]
fn a_whole_script_comes_to_a_shot_with_its_places() {
    let folder = Folder::new().with("main.lua", HARBOUR);
    let script = folder.run(&[]).unwrap_or_else(|refused| panic!("{:#?}", refused.diagnostics));
    let [shot] = &script.shots[..] else { panic!("one shot") };
    assert_eq!(shot.place.to_string(), format!("{}:6", folder.path("main.lua").display()));
    assert_eq!(shot.source.paths, ["stills"]);
    assert_eq!(
        (shot.source.interval, shot.source.missing, shot.source.damaged),
        (Some(3.0), Policy::Hold, Policy::Skip)
    );
    assert_eq!(shot.source.from.as_ref().unwrap().value, Moment::StillNamed("TIDE9950".into()));
    assert_eq!(shot.length.as_ref().unwrap().value, 25.0);
    assert!(shot.strict && shot.source.obey_orientation);

    let Pace::Keyed { keys, fit } = &shot.pace.value else { panic!("keyed") };
    assert_eq!(keys.iter().map(|key| key.place.line).collect::<Vec<_>>(), [10, 11, 12]);
    assert_eq!((keys[2].rate, keys[2].keep), (Some(Rate::FramesPerStill(2.0)), true));
    assert_eq!(keys[2].ease, Ease::CubicBezier { x1: 0.42, y1: 0.0, x2: 0.58, y2: 1.0 });
    assert_eq!(fit.as_ref().unwrap().value, 20.0);

    let keys = &shot.framing.keys;
    assert_eq!(keys.iter().map(|key| key.place.line).collect::<Vec<_>>(), [17, 18, 19, 20, 21]);
    assert_eq!((&keys[0].at, &keys[0].ease), (&Moment::Screen(0.0), &Ease::Linear));
    assert_eq!(keys[2].at, Moment::Timecode(84));
    assert_eq!(keys[2].view, View::On { point: StillPoint::Pixels(100.0, 200.5), closeness: Closeness::Span(0.5) });
    assert_eq!(keys[2].ease, Ease::Steps { count: 3, jump: Jump::None });
    assert_eq!(keys[3].at, Moment::Screen(3.5));
    assert_eq!(keys[3].ease, Ease::Points(vec![(0.0, 0.0), (0.2, 0.5), (1.0, 1.0)]));
    assert_eq!(keys[4].at, Moment::End);

    let names: Vec<&str> = shot.deliveries.iter().map(|delivery| delivery.name.as_str()).collect();
    assert_eq!(names, ["wide", "vertical", "square", "master"]);
    assert_eq!(shot.deliveries[1].fps.to_string(), "30000/1001");
    assert_eq!(shot.deliveries[2].fps, shot.fps);
    assert_eq!(shot.deliveries[1].subject_at, (0.5, 0.4));
    let Codec::H264(finest) = &shot.deliveries[1].codec else { panic!("h264") };
    assert_eq!(finest.crf, 13.0);
    let Codec::H264(own) = &shot.deliveries[2].codec else { panic!("h264") };
    assert_eq!((own.crf, own.preset.as_str(), own.tune.as_deref()), (16.0, "slow", Some("film")));
    assert_eq!(shot.deliveries[2].sharpness, Sharpness::Full);
    assert_eq!((shot.deliveries[3].frame, &shot.deliveries[3].codec), (Size::new(1081, 1079), &Codec::PNG));
    let pushed = shot.deliveries[3].framing.as_ref().unwrap();
    assert_eq!(pushed.place.line, 27, "a move's framing is the caller's");
    assert_eq!(pushed.keys.len(), 2);
}

#[test]
fn what_is_not_said_has_its_default() {
    let script = run(&shot("")).unwrap();
    let shot = &script.shots[0];
    assert_eq!(shot.fps.to_string(), "24");
    assert_eq!(shot.pace.value, Pace::Constant(Rate::StillsPerFrame(1.0)));
    assert!(shot.framing.keys.is_empty() && shot.length.is_none() && !shot.strict && shot.name.is_empty());
    let Codec::H264(h264) = &shot.deliveries[0].codec else { panic!("h264") };
    assert_eq!((h264.crf, h264.preset.as_str()), (18.0, "medium"));
    assert_eq!(shot.deliveries[0].subject_at, (0.5, 0.5));
}

#[test]
fn a_delivery_has_the_shots_shutter_unless_it_says_otherwise() {
    let script = run(
        "return shot { source = stills { 'stills' }, pace = stills_per_frame(4), shutter = 180, light = 'encoded', deliveries = {\n\
         delivery { 'a', frame = { 64, 64 } }, delivery { 'b', frame = { 64, 64 }, shutter = 0, between = 'mix', light = 'linear' },\n\
         delivery { 'c', frame = { 64, 64 }, between = 'motion' } } }",
    );
    let [a, b, c] = &script.unwrap().shots[0].deliveries[..] else { panic!("three deliveries") };
    assert_eq!(a.blend, Blend { shutter: 180.0, between: Between::Nearest, light: Light::Encoded });
    assert_eq!(b.blend, Blend { shutter: 0.0, between: Between::Mix, light: Light::Linear });
    assert_eq!(c.blend, Blend { shutter: 180.0, between: Between::Motion, light: Light::Encoded });
    let said_nothing = run(&shot("")).unwrap();
    assert_eq!(
        said_nothing.shots[0].deliveries[0].blend,
        Blend { shutter: 0.0, between: Between::Nearest, light: Light::Linear }
    );
}

#[test]
fn several_shots_keep_their_order() {
    let one = |name: &str| {
        format!(
            "shot {{ name = '{name}', source = stills {{ 'a' }}, pace = over '20s', deliveries = {{ delivery {{ '{name}-wide', frame = {{ 64, 64 }} }} }} }}"
        )
    };
    let script = run(&format!("return {{ {}, {} }}", one("noon"), one("dusk"))).unwrap();
    assert_eq!(script.shots.iter().map(|shot| shot.name.as_str()).collect::<Vec<_>>(), ["noon", "dusk"]);
    assert_eq!(script.shots[0].pace.value, Pace::Over(20.0));
}

#[test]
fn a_dial_is_set_from_outside_in_its_own_type() {
    let text = r#"
local far = dial("far", 2, { min = 1, max = 8, help = "zoom at the start" })
local what = dial("what", "day", { choices = { "day", "night" } })
local fast = dial("fast", false)
print(math.type(far), far, what, fast)
"#;
    let folder = Folder::new().with("main.lua", text.to_owned() + &shot(""));
    let script = folder.run(&[]).unwrap();
    assert_eq!(script.messages, ["integer\t2\tday\tfalse"]);
    assert_eq!((script.dials[0].allowed.as_str(), script.dials[0].help.as_str()), ("1 to 8", "zoom at the start"));
    assert_eq!(script.dials[1].allowed, "one of \"day\", \"night\"");
    let script = folder.run(&[("far", "3.5"), ("what", "night"), ("fast", "true"), ("far", "4.5")]).unwrap();
    assert_eq!(script.messages, ["float\t4.5\tnight\ttrue"], "the last one set holds");
    assert_eq!((script.dials[0].default.as_str(), script.dials[0].value.as_str()), ("2", "4.5"));
}

#[test]
fn a_dial_set_wrongly_is_a_mistake_of_its_line() {
    let text = "dial('far', 2, { min = 1, max = 8 })\ndial('fast', false)\ndial('what', 'day', { choices = { 'day', 'night' } })\n";
    let folder = Folder::new().with("main.lua", text.to_owned() + &shot(""));
    let outcome = folder.run(&[("far", "9"), ("fast", "yes"), ("what", "noon"), ("farr", "2")]);
    assert_eq!(
        mistakes(&outcome),
        [
            "1: --set far: the dial must be 1 to 8; seen \"9\"",
            "2: --set fast: the dial must be true or false; seen \"yes\"",
            "3: --set what: the dial must be one of \"day\", \"night\"; seen \"noon\"",
            "-: --set farr: the script has no dial of that name",
        ]
    );
    assert_eq!(outcome.unwrap_err().diagnostics.0[3].help, ["did you mean 'far'?"]);
    for bad in ["nan", "inf", "1e999", "two", "", "0x10"] {
        assert_eq!(mistakes(&folder.run(&[("far", bad)])).len(), 1, "{bad} was taken");
    }
}

/// Fault 63: files, clock, chance.
#[test]
fn chance_is_seeded_by_the_text_alone() {
    let text = "print(math.random(1 << 40), math.random(1 << 40))\n".to_owned() + &shot("");
    let first = run(&text).unwrap().messages;
    assert_eq!(first, run(&text).unwrap().messages);
    assert_ne!(first, run(&(text + "\n-- another text")).unwrap().messages);
}

#[test]
fn a_run_shows_nothing_of_addresses_or_of_the_order_of_a_hash() {
    let text = r#"
local t = {}
for _, name in ipairs { "z", "ab", "m", "q", "x1", "x2", "x3", 3.5, "b" } do t[name] = true end
t[2], t[1], t[print] = true, true, true
local names = {}
for name in pairs(t) do names[#names + 1] = tostring(name) end
print(table.concat(names, " "))
print(t, print, function() end, string.format("%s %q %d%%", {}, "a", 3), point(0, 0), next({ b = 1, a = 2 }))
print(setmetatable({}, { __tostring = function() return "mine" end }))
"#;
    let text = text.to_owned() + &shot("");
    let seen = run(&text).unwrap().messages;
    assert_eq!(
        seen,
        ["1 2 3.5 ab b m q x1 x2 x3 z function", "table\tfunction\tfunction\ttable \"a\" 3%\ta point\ta\t2", "mine"]
    );
}

#[test]
fn sorting_is_stable_and_right() {
    let text = r#"
local list = {}
for index = 1, 1000 do list[index] = { math.random(20), index } end
table.sort(list, function(a, b) return a[1] < b[1] end)
for index = 2, 1000 do
  local a, b = list[index - 1], list[index]
  assert(a[1] < b[1] or a[1] == b[1] and a[2] < b[2])
end
local few = { 3, 1, 2 }
table.sort(few)
print(table.concat(few, ","), #list)
"#;
    let seen = run(&(text.to_owned() + &shot(""))).unwrap().messages;
    assert_eq!(seen, ["1,2,3\t1000"]);
}

#[test]
fn modules_are_found_beside_the_script_then_in_the_users_folder_then_among_the_moves() {
    let text = r#"print(require "both", require "deep.er", require "rise", require("moves").rise, require "both")
"#;
    let folder = Folder::new()
        .with("main.lua", text.to_owned() + &shot("framing = require 'moves.push_in' { to = 2 },"))
        .with("both.lua", "print 'run once' return ... .. ' beside'")
        .with("deep/er.lua", "return 'deeper'")
        .with("own/both.lua", "return 'own'")
        .with("own/rise.lua", "return 'own rise'");
    let script = folder.run(&[]).unwrap_or_else(|refused| panic!("{:#?}", refused.diagnostics));
    assert_eq!(script.messages, ["run once", "both beside\tdeeper\town rise\town rise\tboth beside"]);
    assert_eq!(script.shots[0].framing.keys.len(), 2);
}

#[test]
fn every_embedded_move_runs_without_arguments_and_says_in_a_line_what_it_does() {
    let moves = script::moves();
    assert!(moves.len() >= 3);
    for one in moves {
        assert!(one.help.len() > 20 && one.help.ends_with('.'), "{}: {}", one.name, one.help);
        let call = format!("require 'moves.{}' {{}}", one.name);
        if one.gives == "pace" {
            let outcome = run(&format!("local made = {call}\n{}", shot("")));
            assert_eq!(mistakes(&outcome), [""; 0], "{}", one.name);
            continue;
        }
        let outcome = run(&shot(&format!("framing = {call},")));
        assert_eq!(mistakes(&outcome), [""; 0], "{}", one.name);
        let framing = &outcome.unwrap().shots[0].framing;
        assert!(!framing.keys.is_empty() || matches!(framing.path, Path::Action(_)), "{}", one.name);
    }
}

#[test]
fn a_byte_order_mark_and_a_shell_line_move_no_line_numbers() {
    let text = format!("\u{feff}#!/usr/bin/env stillpath\n{}", shot(""));
    assert_eq!(run(&text).unwrap().shots[0].place.line, 2);
}

#[test]
fn cuts_keep_their_moments_and_their_lines() {
    let text = shot("")
        .replace("{ 'stills' }", "{ 'stills', cuts = {\ncut(still(3), still 'B'),\ncut(clock '22:00', 'end') } }");
    let script = run(&text).unwrap_or_else(|refused| panic!("{:#?}", refused.diagnostics));
    let cuts = &script.shots[0].source.cuts;
    assert_eq!(cuts.iter().map(|cut| cut.place.line).collect::<Vec<_>>(), [2, 3]);
    assert_eq!((&cuts[0].from, &cuts[0].to), (&Moment::Still(3), &Moment::StillNamed("B".into())));
    assert_eq!(cuts[1].to, Moment::End);
}

#[test]
fn a_pace_may_rest_and_turn_back() {
    let text = shot("").replace(
        "stills_per_frame(1)",
        "pace { key { at = 'end', rate = times(60) }, key { at = still(9), freeze = '2s' }, key { at = 'start', rate = times(30), reverse = true } }",
    );
    let script = run(&text).unwrap_or_else(|refused| panic!("{:#?}", refused.diagnostics));
    let Pace::Keyed { keys, fit: None } = &script.shots[0].pace.value else { panic!("keyed") };
    let seen: Vec<_> = keys.iter().map(|key| (key.rate, key.freeze, key.reverse)).collect();
    let due = [(Some(Rate::Times(60.0)), None, false), (None, Some(2.0), false), (Some(Rate::Times(30.0)), None, true)];
    assert_eq!(seen, due);
}

#[test]
fn a_framing_says_which_path_it_follows_and_its_keys_where_the_window_rests() {
    let framed = |text: &str| {
        let script = run(&shot(&format!("framing = framing {{ {text} }},")))
            .unwrap_or_else(|refused| panic!("{:#?}", refused.diagnostics));
        script.shots[0].framing.clone()
    };
    let keys = "key { at = 0, on = point(0.2, 0.5), hold = '1.5s' }, key { at = 9, on = point(0.8, 0.5), zoom = 2, stop = true }";
    let plain = framed(keys);
    assert_eq!(plain.path, Path::Straight);
    assert_eq!((plain.keys[0].hold, plain.keys[0].stop), (1.5, false));
    assert_eq!((plain.keys[1].hold, plain.keys[1].stop), (0.0, true));
    assert_eq!(framed(&format!("path = 'smooth', {keys}")).path, Path::Smooth);
    assert_eq!(framed(&format!("path = 'flight', {keys}")).path, Path::Flight { rho: std::f64::consts::SQRT_2 });
    assert_eq!(framed(&format!("path = 'flight', rho = 1.2, {keys}")).path, Path::Flight { rho: 1.2 });
    let drawn = framed("path = drawing('M 0 0.5 L 1 0.5'), key { at = 0, span = 0.5 }, key { at = 'end' }");
    assert_eq!(drawn.path, Path::Drawing(Drawing::parse("M 0 0.5 L 1 0.5").unwrap()));
    assert_eq!(drawn.keys[0].view, View::Along { closeness: Closeness::Span(0.5) });
    assert_eq!(drawn.keys[1].view, View::Along { closeness: Closeness::Zoom(1.0) });
}

#[test]
fn a_loop_is_true_or_the_length_of_its_mix() {
    let looped = |written: &str| {
        run(&shot(&format!("loop = {written},"))).unwrap().shots[0].looped.clone().map(|looped| looped.value)
    };
    assert_eq!(
        [looped("true"), looped("\"0.5s\""), looped("2"), looped("false")],
        [Some(1.0), Some(0.5), Some(2.0), None]
    );
    let said = mistakes(&run(&shot("loop = 0,")));
    assert_eq!(
        said,
        ["2: shot.loop must be true, or the seconds of the mix, above 0 and up to 86400: a number or \"1s\"; seen 0"]
    );
    assert!(mistakes(&run(&shot("loop = \"yes\","))).iter().any(|said| said.contains("seen \"yes\"")));
}
