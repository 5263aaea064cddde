-- What deliveries have beside their frames: purposes, titles, posters.
local all = {
  delivery { "near", purpose = "vertical clip for phone" }, --! no purpose is called "vertical clip for phone" --? did you mean "vertical clip for phones"? --? available: "vertical clip for phones", "wide clip for the web"
  delivery { "far", purpose = "hologram" }, --! no purpose is called "hologram" --? available: "vertical clip for phones", "wide clip for the web"
  delivery { "number", purpose = 3 }, --! delivery.purpose must be a text that is not empty; seen 3
  delivery { "frameless" }, --! delivery.frame is missing
  delivery { "master", frame = "full", every = "still", purpose = "archive", title = "x", poster = 0 }, --! delivery.purpose does not go with every = "still" --! delivery.title does not go with every = "still" --! delivery.poster does not go with every = "still"
  delivery { "pictures", frame = { 64, 64 }, codec = "png", title = "Pier" }, --! delivery.title does not go with codec = "png"
  delivery { "empty", frame = { 64, 64 }, title = "" }, --! delivery.title must be a text that is not empty
  delivery { "lines", frame = { 64, 64 }, title = "one\ntwo" }, --! delivery.title must be a text in one line
  delivery { "long", frame = { 64, 64 }, title = string.rep("a", 201) }, --! delivery.title must be a text of up to 200 letters; seen 201
  delivery { "percent", frame = { 64, 64 }, poster = "50%" }, --! delivery.poster must be a moment --? write part(0.5)
  delivery { "form", frame = { 64, 64 }, poster = { part(0.5), "jpg" } }, --! delivery.poster[2] must be "png" or "jpeg"; seen "jpg" --? did you mean "jpeg"?
  delivery { "bare", frame = { 64, 64 }, poster = {} }, --! delivery.poster[1] must be a moment
  delivery { "named", frame = { 64, 64 }, poster = { at = part(0.5) } }, --! delivery.poster must be a moment --? write poster = { part(0.5), "jpeg" }
  delivery {
    "below",
    frame = { 64, 64 },
    poster = "00:00:01:30", --! the frames of a timecode at 24 run from 00 to 23
  },
  delivery { "over", purpose = "square post", quality = 300 }, --! delivery.quality must be a number from 0 to 100; seen 300
  delivery { "good", purpose = "editor's intermediate", poster = { clock "14:32", "jpeg" } },
  delivery { "titled", purpose = "square post", title = "Pier at dusk", poster = still(3) },
}
return shot { source = stills { "a" }, pace = over "20s", deliveries = all }
