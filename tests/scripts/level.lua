-- What a shot's level may be.
local function of(level)
  return { source = stills { "a" }, pace = over(20), deliveries = { delivery { "wide", frame = { 64, 64 } } }, level = level }
end
local a = shot(of(true))
local b = shot(of { strength = 0.5, radius = 20, region = box(0, 0.5, 1, 0.5), steps = "cut" })
local c = shot(of "on") --! shot.level must be true, false, or { strength = 1
local d = shot(of(20)) --! shot.level must be true, false, or { strength = 1
local e = shot(of { strength = 0 }) --! shot.level.strength must be a number above 0 and up to 1; seen 0
local f = shot(of { radius = 0.5, step = "cut" }) --! shot.level has no field 'step' --! shot.level.radius must be a number from 1 to 10000; seen 0.5
local g = shot(of { region = point(0, 0) }) --! shot.level.region must be a box; seen a point
local h = shot(of { steps = "smooth" }) --! shot.level.steps must be "join" or "cut"; seen "smooth"
local i = shot(of { curve = "gains.csv", strength = 0.5 }) --! shot.level.strength does not go with curve
return shot(of(false))
