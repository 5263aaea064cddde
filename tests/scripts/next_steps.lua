-- What other programs call these things, pixels for fractions, decimal commas: each with what to type here.
local p = point(0.5, 0.5)
local a = pace { key { at = "start", rate = times(0) }, key { at = "end", rate = times(-60) } } --! times.factor must be a number above 0 and up to 1000000000; seen 0 --? freeze = "2s" --! times.factor must be a number above 0 and up to 1000000000; seen -60 --? rate = times(60), reverse = true
local b = key { at = 1,5, on = p } --! decimals take a point, not a comma; seen at = 1,5 --? write at = 1.5
local c = delivery { "wide", frame = { 64, 64 }, shutter = 22,5 } --! decimals take a point, not a comma; seen shutter = 22,5 --? write shutter = 22.5
local d = box(100, 100, 400, 300) --! box.x, box.y, box.width and box.height must be numbers from 0 to 1; seen 100, 100, 400 and 300 --? box(100 / 4000, 100 / 3000, 400 / 4000, 300 / 3000)
local e = point(1.2, 0.5) --! point.x must be a number from 0 to 1; seen 1.2 --? px(1.2, 0.5)
local f = box(0.8, 0, 0.4, 1) --! x + width must be at most 1; seen 1.2
local g = point(1e300, 0) --! point.x must be a number from 0 to 1; seen 1e300
local h = framing { path = drawing("M 0.5"), key { at = 0 }, key { at = 1, zoom = 2 } } --! drawing.line must be one line over the still
local i = key { at = 0, on = p, ease = "easeInOut" } --! key.ease must be an ease --? write "ease-in-out"
local j = key { at = 0, on = p, ease = "cubic-bezier(.4,0,.2,1)" } --! key.ease must be an ease --? write cubic_bezier(0.4, 0, 0.2, 1), without quotes
local k = key { at = 0, on = p, zoom = 1, zoom = 2 } --! 'zoom' is given twice in this table: Lua takes the last --? leave one 'zoom' out
return shot { source = stills { "a" }, pace = over "20s", deliveries = { delivery { "wide", frame = { 64, 64 } } } }
