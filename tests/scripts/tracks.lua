-- Keys in the wrong track, and tracks that mix axes.
local p = point(0.5, 0.5)
local a = pace { key { at = 0, rate = times(60) }, key { at = still(9), rate = times(60) } } --! the keys of a pace lie on one axis
local b = pace { key { at = 0, on = p } } --! a key of a pace has no 'on': that belongs to a framing --? at, ease, rate, keep
local ba = pace { key { at = 0, rate = times(2), roll = 5 } } --! a key of a pace has no 'roll': that belongs to a framing
local bb = framing { key { at = 0, on = p }, roll = 5 } --! framing has no field 'roll' --? belongs to a key
local c = framing { key { at = 0, rate = times(60), keep = true } } --! a key of a framing has no 'rate', 'keep': that belongs to a pace
local d = pace { key { at = 0 } } --! a key of a pace needs a rate --? stills_per_frame(1)
local e = pace { key { at = 0, rate = times(2) }, key { at = 5, rate = times(3) }, fit = 20 } --! fit needs a pace keyed on the shoot's axis
local f = framing { key { at = 0 } } --! a key of a framing needs a point (on) or a box (show)
local g = framing { key { at = 0, on = p, show = box(0, 0, 1, 1) } } --! either a point (on) or a box (show), not both
local h = framing { key { at = 0, on = p, zoom = 2, span = 0.5 } } --! use either zoom or span, not both
local i = framing { key { at = 0, on = p, margin = 0.1 } } --! margin goes with show
local j = framing { key { at = 0, show = box(0, 0, 1, 1), zoom = 2 } } --! show sets the closeness on its own: it takes no zoom
local k = framing {} --! framing takes keys, at least 1; seen 0
local l = pace { p, key { at = 0, rate = times(60) } } --! pace[1] must be a key; seen a point
local m = framing { key { at = 0, on = p }, nil, key { at = 1, on = p } } --! framing[2] is nil: keys stand one after the other
local n = pace { at = 0, rate = times(2) } --! pace has no field 'at' --! pace has no field 'rate' --! pace takes keys, at least 1; seen 0
local o = key { 0, on = p, at = 1 } --! key takes named fields, and in a follow or a cover a box without a name; seen 0 without a name
local q = key(3) --! key takes one table; seen 3 --? write key { … }
local r = shot() --! shot takes one table; seen nothing
local s = framing { framing = {} } --! framing has no field 'framing' --? available: path, rho --! framing takes keys, at least 1
return shot { source = stills { "a" }, pace = a, framing = c, deliveries = { delivery { "wide", frame = { 64, 64 } } } }
