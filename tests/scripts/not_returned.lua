-- A shot that is made and not returned.
local a = stills { "a" }
shot { source = a, pace = over(20), deliveries = { delivery { "x", frame = { 64, 64 } } } } --! a script returns a shot or a list of shots; seen nil --? write return in front of it
local last = 1
