-- Deliveries that cannot be made (faults 65 and 66).
local all = {
  delivery { "half", frame = { 100.5, 100 } }, --! delivery.frame[1] must be a whole number from 16 to 16384; seen 100.5
  delivery { "small", frame = { 8, 0 } }, --! delivery.frame[1] must be a whole number --! delivery.frame[2] must be a whole number from 16 to 16384; seen 0
  delivery { "text", frame = { "1920", 1080 } }, --! delivery.frame[1] must be a whole number from 16 to 16384; seen "1920" --? write 1920 without quotes
  delivery { "flat", frame = 1920 }, --! delivery.frame must be { width, height } in whole pixels from 16 to 16384, or "full" in a master; seen 1920
  delivery { "three", frame = { 64, 64, 64 } }, --! delivery.frame is { width, height }
  delivery { "named", frame = { width = 64, height = 64 } }, --! seen a field
  delivery { "one", frame = { 64 } }, --! delivery.frame[2] must be a whole number from 16 to 16384; seen nil
  delivery { "still", frame = { 64, 64 }, fps = 0 }, --! delivery.fps must be frames a second, above 0 --? seen 0
  delivery { "near", frame = { 64, 64 }, fps = 29.97 }, --! delivery.fps must be --? write "30000/1001"
  delivery { "neartext", frame = { 64, 64 }, fps = "29.97" }, --! delivery.fps must be --? write "30000/1001"
  delivery { "fast", frame = { 64, 64 }, fps = 1 / 0 }, --! delivery.fps must be frames a second, above 0 and up to 480: a whole number or "30000/1001"; seen infinity
  delivery { "../up", frame = { 64, 64 } }, --! its name) must be 1 to 64 of the letters
  delivery { "", frame = { 64, 64 } }, --! its name) must be
  delivery { frame = { 64, 64 } }, --! delivery takes its name, exactly 1; seen 0
  delivery { "a", "b", frame = { 64, 64 } }, --! delivery takes its name, at most 1; seen 2
  delivery { "codec", frame = { 64, 64 }, codec = "h265" }, --! delivery.codec must be "h264" or "hevc" or "av1" or "prores" or "dnxhr" or "ffv1" or "png" or "tiff" or "jpeg"; seen "h265" --? did you mean "h264"?
  delivery { "fine", frame = { 64, 64 }, quality = 101 }, --! delivery.quality must be a number from 0 to 100; seen 101
  delivery { "own", frame = { 64, 64 }, quality = { crf = 52, presett = "slow" } }, --! delivery.quality.crf must be a number from 1 to 51; seen 52 --! delivery.quality has no field 'presett' --? did you mean 'preset'?
  delivery { "speed", frame = { 64, 64 }, quality = { crf = 18, preset = "quick" } }, --! delivery.quality.preset must be "ultrafast"
  delivery { "png", frame = { 65, 65 }, codec = "png", quality = 50 }, --! quality does not go with codec = "png"
  delivery { "where", frame = { 64, 64 }, place = px(32, 32) }, --! delivery.place must be a point --? in fractions of the frame
  delivery { "sharp", frame = { 64, 64 }, sharpness = "soft" }, --! delivery.sharpness must be "even" or "full"; seen "soft" --? available: even, full
  delivery { "open", frame = { 64, 64 }, shutter = 1441 }, --! delivery.shutter must be a number from 0 to 1440; seen 1441
  delivery { "shut", frame = { 64, 64 }, shutter = -1 }, --! delivery.shutter must be a number from 0 to 1440; seen -1
  delivery { "between", frame = { 64, 64 }, between = "mixed" }, --! delivery.between must be "nearest" or "mix" or "motion"; seen "mixed"
  delivery { "later", frame = { 64, 64 }, between = "motions" }, --! delivery.between must be "nearest" or "mix" or "motion"; seen "motions"
  delivery { "light", frame = { 64, 64 }, light = "gamma" }, --! delivery.light must be "linear" or "encoded"; seen "gamma"
  delivery { "full", frame = "full" }, --! frame = "full" goes with every = "still" --? delivery { "master", frame = "full", every = "still" }
  delivery { "every", frame = { 64, 64 }, every = "still" }, --! every = "still" goes with frame = "full" --? delivery { "master", frame = "full", every = "still" }
  delivery { "seconds", frame = "full", every = "second" }, --! delivery.every must be "still"; seen "second" --! frame = "full" goes with every = "still"
  delivery { "lossy", frame = "full", every = "still", codec = "h264" }, --! codec = "h264" is not for masters --? write codec = "ffv1" or "hevc"
  delivery { "lossless", frame = { 64, 64 }, codec = "ffv1" },
  delivery { "table", frame = { 64, 64 }, codec = { "hevc", crf = 18, preset = "slow" } },
  delivery { "nameless", frame = { 64, 64 }, codec = { crf = 18 } }, --! delivery.codec takes its name, exactly 1; seen 0
  delivery { "typo", frame = { 64, 64 }, codec = { "hevc", crff = 18 } }, --! delivery.codec has no field 'crff' --? did you mean 'crf'?
  delivery { "astray", frame = { 64, 64 }, codec = { "hevc", tune = "grain" } }, --! delivery.codec.tune does not go with "hevc" --? "hevc" takes crf, preset
  delivery { "plain", frame = { 64, 64 }, codec = { "tiff", depth = 16 } }, --! delivery.codec.depth does not go with "tiff" --? "tiff" takes nothing more
  delivery { "profile", frame = { 64, 64 }, codec = { "prores", profile = "422" } }, --! delivery.codec.profile must be "proxy" or "lt" or "standard" or "hq" or "4444"; seen "422"
  delivery { "depth", frame = { 64, 64 }, codec = { "png", depth = 12 } }, --! delivery.codec.depth must be 8 or 16; seen 12
  delivery { "part", frame = { 64, 64 }, codec = { "av1", crf = 20.5 } }, --! crf of av1 must be a whole number from 1 to 63; seen 20.5
  delivery { "speeds", frame = { 64, 64 }, codec = { "av1", preset = "slow" } }, --! preset of av1 must be a whole number from 0 to 13; seen "slow"
  delivery { "numbers", frame = { 64, 64 }, codec = { "hevc", preset = 3 } }, --! delivery.codec.preset must be "ultrafast"
  delivery { "scaled", frame = { 64, 64 }, codec = "dnxhr", quality = 50 }, --! delivery.quality does not go with codec = "dnxhr": it is always of one size
  delivery { "tables", frame = { 64, 64 }, codec = "prores", quality = { crf = 18 } }, --! delivery.quality with codec = "prores" must be a number from 0 to 100
  delivery { "own_samples", frame = "full", every = "still", codec = { "ffv1", samples = "422" } }, --! delivery.codec.samples does not go with every = "still"
  delivery { "capped", frame = { 64, 64 }, most = "12M" },
  delivery { "cap", frame = { 64, 64 }, most = "12 megabits" }, --! delivery.most must be bits a second: a number, or a text such as "12M" or "800k"; seen "12 megabits"
  delivery { "uncapped", frame = { 64, 64 }, codec = "png", most = "12M" }, --! delivery.most does not go with codec = "png" --? "h264", "hevc", "av1" can be capped
  delivery { "coded", frame = { 64, 64 }, timecode = "01:00:00:00" },
  delivery { "drop", frame = { 64, 64 }, fps = 25, timecode = "01:00:00;00" }, --! drop-frame --? write "clock"
  delivery { "dropped", frame = { 64, 64 }, fps = "30000/1001", timecode = "00:01:00;00" }, --! 00:01:00;00
  delivery { "untracked", frame = { 64, 64 }, codec = "ffv1", timecode = "clock" }, --! delivery.timecode does not go with codec = "ffv1": it has no track for it
  delivery { "nothing", frame = "full", every = "still", quality = 50 }, --! delivery.quality does not go with codec = "ffv1": it loses nothing
  delivery { "tuned", frame = "full", every = "still", codec = "hevc", quality = { tune = "grain" } }, --! delivery.quality.tune does not go with codec = "hevc"
  delivery { "moved", frame = "full", every = "still", place = point(0.5, 0.4), shutter = 180 }, --! delivery.place does not go with every = "still" --! delivery.shutter does not go with every = "still"
  delivery { "half_codec", frame = { 65, 65 }, codec = "h264x" }, --! delivery.codec must be "h264" or "hevc" --? did you mean "h264"?
  delivery { "preset", frame = { 64, 64 }, quality = { preset = "slow" } },
  delivery { "good", frame = { 64, 64 } },
  delivery { "Good", frame = { 64, 64 } }, --! two deliveries are called "Good"
}
return shot { source = stills { "a" }, pace = over "20s", deliveries = all }
