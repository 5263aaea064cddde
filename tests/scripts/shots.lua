-- Shots that are not whole.
local wide = delivery { "wide", frame = { 64, 64 } }
local a = shot {} --! shot.source is missing --! shot.pace is missing --? stills_per_frame(1) --! shot.deliveries is missing
local b = shot { source = "stills", pace = 8, deliveries = wide } --! shot.source must be a source --? write stills { "stills" } --! shot.pace must be a rate --! shot.deliveries must be a list --? put it in braces
local c = shot { source = stills { "a" }, pace = over(20), deliveries = {} } --! shot.deliveries must hold 1 to 64 deliveries; seen 0
local d = shot { source = stills { "a" }, pace = over(20), deliveries = { wide, "tall" } } --! shot.deliveries[2] must be a delivery; seen "tall"
local e = shot { source = stills { "a" }, pace = over(20), deliveries = { tall = wide } } --! must be a list, without names or gaps
local f = shot { source = stills { "a" }, pace = over(20), deliveries = { wide }, length = -1, strict = 1 } --! shot.length must be seconds above 0 --! shot.strict must be true or false; seen 1
local g = shot { source = stills { "a" }, pace = over(20), deliveries = { wide }, fps = "24 fps" } --! shot.fps must be frames a second
local h = shot { source = stills {}, pace = over(20), deliveries = { wide }, framing = point(0, 0) } --! stills takes folders, patterns or files, at least 1; seen 0 --! shot.framing must be a framing; seen a point
local i = shot { source = stills { "a", 7 }, pace = over(20), deliveries = { wide } } --! stills[2] must be a text that is not empty; seen 7
return {
  shot { name = "noon", source = stills { "a" }, pace = over(20), deliveries = { delivery { "x", frame = { 64, 64 } } } },
  shot { name = "Noon", source = stills { "a" }, pace = over(20), deliveries = { wide } }, --! two shots are called "Noon"
  shot { source = stills { "a" }, pace = over(20), deliveries = { delivery { "y", frame = { 64, 64 } } } }, --! each needs a name
  shot { name = "no name", source = stills { "a" }, pace = over(20), deliveries = { wide } }, --! shot.name must be 1 to 64
}
