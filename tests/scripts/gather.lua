-- Light gathered over many stills: what a script may say of it, and beside what.
local all = {
  delivery { "word", frame = { 64, 64 }, gather = "max" }, --! delivery.gather must be "mean" or "brightest" or "darkest" or "median"; seen "max" --? available: mean, brightest, darkest, median
  delivery { "near", frame = { 64, 64 }, gather = { "brigthest", stills = 9 } }, --! gather[1] (its word) must be "mean" or "brightest" --? did you mean "brightest"?
  delivery { "number", frame = { 64, 64 }, gather = 12 }, --! delivery.gather must be "mean" or "brightest" or "darkest" or "median"; seen 12
  delivery { "wordless", frame = { 64, 64 }, gather = { stills = 12 } }, --! gather takes its word, exactly 1; seen 0
  delivery { "none", frame = { 64, 64 }, gather = { "brightest", stills = 0 } }, --! gather.stills must be a whole number from 2 to 10000; seen 0 --? write stills = 2
  delivery { "one", frame = { 64, 64 }, gather = { "median", stills = 1 } }, --! gather.stills must be a whole number from 2 to 10000; seen 1 --? write stills = 2
  delivery { "half", frame = { 64, 64 }, gather = { "median", stills = 2.5 } }, --! gather.stills must be a whole number from 2 to 10000; seen 2.5
  delivery { "misspelt", frame = { 64, 64 }, gather = { "median", still = 9 } }, --! gather has no field 'still' --? did you mean 'stills'?
  delivery { "grown", frame = { 64, 64 }, gather = { "median", grow = true } }, --! a median does not grow --? write gather = { "median", stills = 31 }
  delivery { "both", frame = { 64, 64 }, gather = { "darkest", stills = 9, grow = true } }, --! gather takes stills or grow, not both --? write gather = { "darkest", grow = true }
  delivery { "begin", frame = { 64, 64 }, gather = { "brightest", stills = 9, from = still(3) } }, --! gather.from is where a growing gather begins --? write gather = { "brightest", grow = true, from = still(1) }
  delivery { "when", frame = { 64, 64 }, gather = { "brightest", grow = true, from = "noon" } }, --! gather.from must be a moment
  delivery { "mean", frame = { 64, 64 }, gather = { "mean", stills = 9 } }, --! gather.stills does not go with "mean" --? write gather = "mean"
  delivery { "open", frame = { 64, 64 }, shutter = 720, gather = { "brightest", stills = 9 } }, --! shutter does not go with a gather that says its stills itself --? leave shutter out
  delivery { "shut", frame = { 64, 64 }, gather = "brightest" }, --! gather = "brightest" gathers nothing in 'shut' --? write gather = { "brightest", stills = 31 }
  delivery { "mixed", frame = { 64, 64 }, gather = { "brightest", stills = 9 }, between = "mix" }, --! gather = "brightest" does not go with between = "mix" in 'mixed' --? write between = "nearest"
  delivery { "moved", frame = { 64, 64 }, gather = { "median", stills = 9 }, between = "motion" }, --! gather = "median" does not go with between = "motion" in 'moved' --? write between = "nearest"
  delivery { "counted", frame = { 64, 64 }, gather = { "darkest", grow = true, from = "00:00:01:30" } }, --! 00:00:01:30
  delivery { "master", frame = "full", every = "still", gather = { "median", stills = 9 } }, --! delivery.gather does not go with every = "still" --? leave gather out
  delivery { "plain", frame = { 64, 64 }, gather = "mean", between = "mix" },
  delivery { "passing", frame = { 64, 64 }, gather = "darkest", shutter = 720 },
  delivery { "trails", frame = { 64, 64 }, gather = { "brightest", grow = true, from = "0.5s" } },
  delivery { "good", frame = { 64, 64 }, gather = { "median", stills = 9, grow = false } },
}
return shot { source = stills { "stills" }, pace = stills_per_frame(2), deliveries = all }
