local moves = require "moves"
local a = moves.push_inn {} --! there is no module 'moves.push_inn' --? did you mean 'moves.push_in'?
return shot { source = stills { "a" }, pace = stills_per_frame(1), deliveries = { delivery { "wide", frame = { 64, 64 } } } }
