local ok = box(0.2, 0.4, 0.2, 0.2)
local one = follow { key { at = still(1), ok } } --! follow takes keys, at least 2; seen 1 --? a second key says where it goes
local bare = follow {
  key { at = still(1), ok },
  key { at = still(2) }, --! a key of a follow needs a box: where a subject is --? write key { at = still(10), box(x, y, width, height) }
}
local shown = follow {
  key { at = still(1), ok },
  key { at = still(2), show = ok }, --! in a follow the box is written without a name --? write key { at = still(10), box(x, y, width, height) }
}
local timed = follow {
  key { at = still(1), ok },
  key { at = 2.5, ok }, --! the place of a subject belongs to a still --? at = still(10)
}
local strange = follow {
  key { at = still(1), ok },
  key { at = still(2), ok, zoom = 2 }, --! a key of a follow has no 'zoom' --? zoom belongs to the follow itself
  key { at = still(3), ok, hold = 2 }, --! a key of a follow has no 'hold' --? a key of a follow takes: at, ease
}
local ways = follow { path = "smooth", key { at = still(1), ok }, key { at = still(2), ok } } --! follow has no field 'path' --? a follow makes its own path
local both = follow { zoom = 2, span = 0.5, key { at = still(1), ok }, key { at = still(2), ok } } --! use either zoom or span in a follow, not both
local margin = follow { margin = 0.5, key { at = still(1), ok }, key { at = still(2), ok } } --! follow.margin must be a number from 0 to below 0.5; seen 0.5
local outside = key { at = still(1), box(0.9, 0, 0.2, 0.2) } --! a box must lie inside the still
local empty = key { at = still(1), box(0.9, 0, 0, 0.2) } --! box.width must be a number above 0
local no_number = key { at = still(1), box(0 / 0, 0, 0.1, 0.2) } --! box.x must be a number from 0 to 1; seen NaN
local two = key { at = still(1), ok, ok } --! key takes a box, in a follow or a cover, at most 1; seen 2
local wrong = key { at = still(1), point(0, 0) } --! key takes named fields, and in a follow or a cover a box without a name; seen a point
local in_framing = framing { key { at = 1, on = point(0, 0), ok } } --! a key of a framing takes no box without a name --? show = box(x, y, width, height)
local in_pace = pace { key { at = 1, rate = times(2), ok } } --! a key of a pace takes no box without a name
local tall = { 1080, 1920 }
local caption = delivery { "a", frame = tall, safe = "caption" } --! delivery.safe must be "action", "title" or margins in fractions of the frame: { left = 0.05
local whole = delivery { "b", frame = tall, safe = { top = 0.6, bottom = 0.5 } } --! delivery.safe leaves nothing: top and bottom must be below 1 together; seen 1.1
local side = delivery { "c", frame = tall, safe = { lower = 0.1 } } --! delivery.safe has no field 'lower'
local number = delivery { "d", frame = tall, safe = 0.1 } --! delivery.safe must be "action", "title" or margins
local tracked = follow { key { at = still(1), ok }, track = true, lost = "stop" }
local table = follow { key { at = still(1), ok }, track = "boxes.csv" }
local word = follow { key { at = still(1), ok }, track = 3 } --! follow.track must be true, false, or the path of a table of boxes
local quoted = follow { key { at = still(1), ok }, key { at = still(2), ok }, track = true, lost = "away" } --! follow.lost must be "hold" or "stop"
local idle = follow { key { at = still(1), ok }, key { at = still(2), ok }, lost = "stop" } --! lost is about what is tracked, and nothing is --? it goes with track = true
return shot { source = stills { "a" }, pace = times(60), deliveries = { delivery { "wide", frame = { 64, 64 }, safe = "action" } } }
