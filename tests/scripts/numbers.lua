-- Numbers that are none, and ones out of range (fault 59).
local nan, huge = 0 / 0, math.huge
local a = point(nan, 0) --! point.x must be a number from 0 to 1; seen NaN (not a number)
local b = point(0, huge) --! point.y must be a number from 0 to 1; seen infinity
local c = point(-huge, "0.5") --! point.x must be a number from 0 to 1; seen minus infinity --! point.y must be a number from 0 to 1; seen "0.5" --? write 0.5 without quotes
local d = point(0.5) --! point.y is missing
local e = point(0.5, 0.5, 0.5) --! point takes 2 values; seen 3 values
local f = box(0.5, 0, 0.6, 1) --! a box must lie inside the still: x + width must be at most 1; seen 1.1
local g = box(0, 0, 0, -1) --! box.width must be a number above 0 and up to 1; seen 0 --! box.height must be a number above 0 and up to 1; seen -1
local h = box(nil, 0, 1, 1) --! box.x is missing
local i = px(-1, 1e9) --! px.x must be a number from 0 to 1000000; seen -1 --! px.y must be a number from 0 to 1000000; seen 1000000000
local j = { on = point(0, 0) }
--! key.zoom must be a number from 1 to 1000; seen 0.5
local k = key { at = 0, on = j.on, zoom = 0.5 }
local l = key { at = 0, on = j.on, span = 0 } --! key.span must be a number above 0 and up to 1; seen 0
local m = key { at = 0, show = box(0, 0, 1, 1), margin = 0.5 } --! key.margin must be a number from 0 to below 0.5; seen 0.5
local n = key { at = -1, on = j.on } --! key.at must be a moment: seconds from 0 to 86400
local o = key { at = nan, on = j.on } --! key.at must be a moment
local p = key { at = 0, on = {}, zoom = true } --! key.on must be a point; seen a table --? write point(x, y) --! key.zoom must be a number from 1 to 1000; seen true
local pa = key { at = 0, on = j.on, roll = 361 } --! key.roll must be a number from -360 to 360; seen 361
local pb = key { at = 0, on = j.on, roll = nan } --! key.roll must be a number from -360 to 360; seen NaN
local pc = key { at = 0, on = j.on, roll = "5" } --! key.roll must be a number from -360 to 360; seen "5" --? write 5 without quotes
local q = stills_per_frame(0) --! stills_per_frame.stills must be a number above 0
local r = frames_per_still("2") --! frames_per_still.frames must be a number above 0 and up to 1000000; seen "2" --? write 2 without quotes
local s = times(-4) --! times.factor must be a number above 0
local t = percent(nan) --! percent.percent must be a number above 0
local u = over "0s" --! over.length must be seconds above 0
local v = over "long" --! over.length must be seconds above 0
local w = steps(2.5) --! steps.count must be a whole number from 1 to 100000; seen 2.5
local x = steps(1, "jump-none") --! steps.count must be a whole number --? at least 2 steps
local y = cubic_bezier(1.2, 0, -0.1, 1) --! cubic_bezier.x1 must be a number from 0 to 1; seen 1.2 --! cubic_bezier.x2 must be a number from 0 to 1; seen -0.1
local z = linear { 1 } --! linear takes stops, at least 2; seen 1
local aa = linear { 0, { 0.5, 0.1, 0.2, 0.3 }, 1 } --! linear[2] must be a number (output) or { output, input }; seen a table
local ab = linear { 0, { 0.5, nan }, "1" } --! linear[2][2] must be a number --! linear[3] must be a number
local ac = stills { "a", interval = 0 } --! stills.interval must be a number above 0
return shot { source = stills { "a" }, pace = q, deliveries = { delivery { "wide", frame = { 64, 64 } } } }
