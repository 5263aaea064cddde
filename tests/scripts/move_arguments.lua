-- Mistakes in a move's arguments are the caller's.
local moves = require "moves"
local a = moves.push_in { onn = point(0.5, 0.5) } --! push_in has no argument 'onn' --? did you mean 'on'?
local b = moves.push_in { to = 0.5 } --! key.zoom must be a number from 1 to 1000; seen 0.5
local c = moves.pan() --! pan takes one table; seen nil --? write pan { … } with any of: ease, from
local d = moves.pan { from = point(2, 0) } --! point.x must be a number from 0 to 1; seen 2
local e = moves.pull_out { ease = "slow" } --! key.ease must be an ease
return shot {
  source = stills { "a" }, pace = over "20s", framing = a,
  deliveries = { delivery { "wide", frame = { 64, 64 } } },
}
