local ok = box(0.2, 0.4, 0.2, 0.2)
local none = cover { with = "fill" } --! cover takes a box, or keys with a box each, at least 1; seen 0
local with = cover { ok, with = "mosaic" } --! cover.with must be "fill" or "blur"; seen "mosaic"
local one = cover { key { at = still(1), ok } } --! a cover takes one box, or at least 2 keys; seen 1 key --? write cover { box(x, y, width, height) }
local two = cover { ok, ok } --! a cover takes one box; seen 2
local both = cover { ok, key { at = still(1), ok } } --! a cover takes a box or keys, not both; seen 1 key beside a box
local other = cover { point(0.5, 0.5) } --! cover[1] must be a box, or keys with a box each; seen a point
local outside = cover { box(0.9, 0.5, 0.2, 0.1) } --! a box must lie inside the still
local seconds = cover { ok, from = 2 } --! cover.from must be a moment of the shoot
local bare = cover {
  key { at = still(1), ok },
  key { at = still(2) }, --! a key of a cover needs a box: where what is covered is
}
local timed = cover {
  key { at = still(1), ok },
  key { at = "3s", ok }, --! the place of what is covered belongs to a still --? at = still(10)
}
local strange = cover {
  key { at = still(1), ok },
  key { at = still(2), ok, zoom = 2 }, --! a key of a cover has no 'zoom' --? a key of a cover takes: at, ease
}
local misspelt = cover { ok, upto = still(3) } --! cover has no field 'upto'
local tracked = cover { key { at = still(1), ok }, track = true, held = 20 }
local boxed = cover { ok, track = true } --! a tracked cover needs a key: its box belongs to a still --? write cover { key { at = still(10), box(x, y, width, height) }, track = true }
local held = cover { ok, held = 3 } --! held is about what is tracked, and nothing is --? it goes with track = true
local half = cover { key { at = still(1), ok }, track = true, held = 1.5 } --! cover.held must be a whole number from 0 to 100000
return shot {
  source = stills { "a" }, pace = times(60), deliveries = { delivery { "wide", frame = { 64, 64 } } },
  covers = cover { ok }, --! shot.covers must be a list, each of it a cover --? put it in braces: covers = { cover { … } }
}
