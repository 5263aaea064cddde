-- What a shot's steady may be.
local function of(steady)
  return { source = stills { "a" }, pace = over(20), deliveries = { delivery { "wide", frame = { 64, 64 } } }, steady = steady }
end
local a = shot(of(true))
local b = shot(of { region = box(0, 0.5, 1, 0.5), undo = "bumps", room = 0.8 })
local c = shot(of { curve = "stands.csv", room = 1 })
local d = shot(of "on") --! shot.steady must be true, false, or { region = box(…)
local e = shot(of(20)) --! shot.steady must be true, false, or { region = box(…)
local f = shot(of { room = 0 }) --! shot.steady.room must be a number above 0 and up to 1; seen 0
local g = shot(of { rooms = 0.5, undo = "sags" }) --! shot.steady has no field 'rooms' --! shot.steady.undo must be "all" or "bumps"; seen "sags"
local h = shot(of { region = point(0, 0) }) --! shot.steady.region must be a box; seen a point
local i = shot(of { curve = "stands.csv", undo = "all" }) --! shot.steady.undo does not go with curve
local j = shot(of { curve = 3 }) --! shot.steady.curve must be a text that is not empty; seen 3
local k = shot(of(box(0, 0, 1, 1))) --! shot.steady must be true, false, or { region = box(…)
return shot(of(false))
