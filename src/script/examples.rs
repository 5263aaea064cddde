//! An example of every constructor, for the reference page: each is an expression that a test runs.

/// The example of a form by its name.
pub(super) fn of(form: &str) -> Option<&'static str> {
    EXAMPLES.iter().find(|(name, _)| *name == form).map(|(_, text)| *text)
}

const EXAMPLES: [(&str, &str); 40] = [
    (
        "shot",
        r#"shot {
  source = stills { "stills" },
  pace = over "20s",
  framing = framing { key { at = "end", on = point(0.6, 0.5), zoom = 1.5 } },
  deliveries = { delivery { "wide", frame = { 1920, 1080 } } },
}"#,
    ),
    (
        "reel",
        r#"reel {
  mix = "1s",
  shot { source = stills { "spring" }, pace = over "8s", deliveries = { delivery { "year", frame = { 1920, 1080 } } } },
  shot { source = stills { "autumn" }, pace = over "8s", deliveries = { delivery { "year", frame = { 1920, 1080 } } } },
}"#,
    ),
    (
        "shot.level",
        r#"shot {
  source = stills { "stills" },
  pace = over "20s",
  deliveries = { delivery { "wide", frame = { 1920, 1080 } } },
  level = { radius = 20, region = box(0, 0.4, 1, 0.6) },
}"#,
    ),
    (
        "shot.steady",
        r#"shot {
  source = stills { "stills" },
  pace = over "20s",
  deliveries = { delivery { "wide", frame = { 1920, 1080 } } },
  steady = { region = box(0, 0.5, 1, 0.5), room = 0.95 },
}"#,
    ),
    (
        "gather",
        r#"delivery { "trails", frame = { 1920, 1080 }, gather = { "brightest", grow = true, from = clock "22:40" } }"#,
    ),
    ("stills", r#"stills { "stills", missing = "hold", from = still "TIDE0120", to = clock "15:10" }"#),
    ("recording", r#"recording { "day.mov", from = clock "14:32", to = still(-1) }"#),
    (
        "pace",
        r#"pace {
  key { at = "start", rate = stills_per_frame(4) },
  key { at = clock "14:32", rate = stills_per_frame(4) },
  key { at = clock "14:40", rate = frames_per_still(2), ease = "ease-in-out" },
  fit = "20s",
}"#,
    ),
    (
        "framing",
        r#"framing {
  key { at = "start", show = box(0, 0, 1, 1) },
  key { at = part(0.6), on = point(0.62, 0.48), zoom = 2.2, ease = "ease-in-out" },
}"#,
    ),
    (
        "follow",
        r#"follow {
  zoom = 2, margin = 0.05,
  key { at = still(10), box(0.2, 0.6, 0.1, 0.08) },
  key { at = still(60), box(0.5, 0.55, 0.1, 0.08) },
}"#,
    ),
    ("action", "action { zoom = 1.6, calm = 0.9 }"),
    ("liveliest", r#"liveliest { length = "30s", slowest = frames_per_still(3), fastest = stills_per_frame(6) }"#),
    ("cover", r#"cover { box(0.62, 0.7, 0.1, 0.08), from = clock "09:10", to = clock "09:40", with = "blur" }"#),
    ("stamp", r##"stamp { text = "{name}, {clock:%H:%M}", at = point(0.05, 0.95), size = 0.04, colour = "#ffd200" }"##),
    ("stamp.outline", r##"stamp { text = "{elapsed:%h h %M}", outline = { width = 0.1, colour = "#203040" } }"##),
    ("key", r#"key { at = clock "14:36", on = point(0.62, 0.48), zoom = 2.2, ease = "ease-in-out" }"#),
    ("delivery", r#"delivery { "vertical", frame = { 1080, 1920 }, fps = 30, place = point(0.5, 0.4) }"#),
    (
        "delivery.codec",
        r#"delivery { "edit", frame = { 1920, 1080 }, codec = { "prores", profile = "hq" }, timecode = "01:00:00:00" }"#,
    ),
    (
        "delivery.quality",
        r#"delivery { "wide", frame = { 1920, 1080 }, quality = { crf = 16, preset = "slow", tune = "grain" } }"#,
    ),
    (
        "delivery.safe",
        r#"delivery { "vertical", frame = { 1080, 1920 }, safe = { top = 0.1, bottom = 0.25, right = 0.12 } }"#,
    ),
    ("linear", "linear { 0, { 0.7, 0.3 }, 1 }"),
    ("box", r#"key { at = 0, show = box(0.25, 0.3, 0.5, 0.4), margin = 0.05 }"#),
    ("point", "key { at = 3.5, on = point(0.62, 0.48), zoom = 2 }"),
    (
        "drawing",
        r#"framing {
  path = drawing("M 0.3 0.5 C 0.4 0.4 0.6 0.4 0.7 0.5"),
  key { at = "start", zoom = 2 },
  key { at = "end", zoom = 2.5 },
}"#,
    ),
    ("cut", r#"stills { "stills", cuts = { cut(still(10), still(20)), cut(clock "22:00", "end") } }"#),
    ("every", r#"stills { "stills", hours = { "07:00", "18:00" }, days = "weekdays", only = every("1h") }"#),
    ("px", "key { at = 3.5, on = px(2847.5, 1655), span = 0.4 }"),
    ("still", r#"key { at = still(120), on = point(0.5, 0.5), zoom = 1 }"#),
    ("clock", r#"key { at = clock "day 2 14:32:05", on = point(0.5, 0.5), zoom = 1 }"#),
    ("part", "key { at = part(0.25), on = point(0.5, 0.5), zoom = 1 }"),
    ("stills_per_frame", "pace { key { at = 0, rate = stills_per_frame(8) } }"),
    ("frames_per_still", "pace { key { at = 0, rate = frames_per_still(2) } }"),
    ("times", "pace { key { at = 0, rate = times(600) } }"),
    ("percent", "pace { key { at = 0, rate = percent(50) } }"),
    ("over", r#"over "20s""#),
    ("cubic_bezier", "key { at = 2, on = point(0.5, 0.5), zoom = 2, ease = cubic_bezier(0.4, 0, 0.2, 1) }"),
    ("steps", r#"key { at = 2, on = point(0.5, 0.5), zoom = 2, ease = steps(4, "jump-none") }"#),
    ("dial", r#"dial("near", 1.25, { min = 1, max = 2, help = "how close the window comes" })"#),
    ("dial.options", r#"dial("look", "calm", { choices = { "calm", "quick" }, help = "how it moves" })"#),
    (
        "arguments",
        r#"function(given)
  local a = arguments("rise", given, { zoom = 1.5, stop = "end" })
  return framing { key { at = a.stop, on = point(0.5, 0.3), zoom = a.zoom } }
end"#,
    ),
];
