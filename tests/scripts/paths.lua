-- Paths: names, drawings, and what goes with which.
local p = point(0.5, 0.5)
local line = drawing("M 0.1 0.5 C 0.3 0.2 0.6 0.2 0.9 0.5")
local a = framing { path = "smoth", key { at = 0, on = p } } --! framing.path must be "straight", "smooth", "flight" or drawing("M …"); seen "smoth" --? did you mean "smooth"?
local b = framing { path = "smooth", rho = 1, key { at = 0, on = p } } --! rho belongs to a flight: no other path takes it --? path = "flight"
local c = framing { path = "flight", rho = 0, key { at = 0, on = p } } --! framing.rho must be a number from 0.01 to 10; seen 0
local d = drawing("M 0.5 0.5") --! it has only one point, and a line needs two --? write drawing("M 0.1 0.5 L 0.9 0.5")
local e = drawing("M 0 0 L 2 1") --! it leaves the still: across it runs from 0 to 2
local f = drawing("across the still") --! it is not an SVG path
local g = drawing(3) --! drawing.line must be a text that is not empty; seen 3
local h = framing { path = line, key { at = 0, on = p } } --! the drawing sets the place: a key along it has no point (on) --? along a drawing a key has a moment
local i = framing { path = line, key { at = 0, show = box(0, 0, 1, 1) } } --! the drawing sets the place: a key along it has no box (show)
local j = framing { path = line, key { at = 0, zoom = 2, span = 0.5 } } --! use either zoom or span, not both
local k = key { at = 0, on = p, hold = 0 } --! key.hold must be seconds above 0
local l = key { at = 0, on = p, stop = 1 } --! key.stop must be true or false; seen 1
local m = pace { key { at = 0, rate = times(60), hold = 2 } } --! a key of a pace has no 'hold': that belongs to a framing
local n = framing { path = p, key { at = 0, on = p } } --! framing.path must be "straight", "smooth", "flight" or drawing("M …"); seen a point
local o = drawing("M 0.1 0.5" .. (" L 0.9 0.5 L 0.1 0.5"):rep(1000))
local q = drawing("M 0.1 0.5" .. (" L 0.9 0.5 L 0.1 0.5"):rep(50000)) --! drawing.line takes at most 1000000 bytes of text; seen 1000009 --? draw the line with fewer points, or with fewer decimals
return shot { source = stills { "a" }, pace = times(60), framing = framing { path = line, key { at = 0 }, key { at = 2, hold = "1s" } }, deliveries = { delivery { "wide", frame = { 64, 64 } } } }
