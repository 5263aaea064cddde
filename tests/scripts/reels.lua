-- Reels that cannot be joined.
local function one(name, deliveries)
  return shot { name = name, source = stills { "a" }, pace = over(20), deliveries = deliveries } --! two shots of the reel are called "TWIN" --? give each a name of its own, or none
end
local wide = { delivery { "wide", frame = { 64, 64 } } }
local shapes = reel {
  one("a", wide),
  one("b", { delivery { "wide", frame = { 64, 36 } } }), --! frame differs between its shots: 64x64 in the first, 64x36 in 'b' --? write the deliveries once
  one("c", { delivery { "wide", frame = { 64, 64 }, fps = 25 } }), --! fps differs between its shots: 24 in the first, 25 in 'c'
  one("d", { delivery { "wide", frame = { 64, 64 }, codec = "png" } }), --! codec differs between its shots
}
local twins = reel { one("twin", wide), one("TWIN", wide) }
local inner = reel { one("x", wide) }
local nested = reel { inner, one("y", wide) } --! a reel is made of shots; this one holds another reel --? write the other reel's shots in its place
local tall = { delivery { "tall", frame = { 64, 64 } } }
local q = shot { name = "q", source = stills { "a" }, pace = over(20), deliveries = tall } --! the shots of a reel have the same deliveries; 'q' has 'tall', and the first shot 'wide' --? write them once
local other = reel { one("p", wide), q }
local all = { delivery { "all", frame = "full", every = "still" } } --! 'all' is a master of one shoot, and no part of a reel --? return the shot that has it by itself
local master = reel { shot { source = stills { "a" }, pace = over(20), deliveries = all } }
local empty = reel { mix = "1s" } --! reel takes shots, at least 1; seen 0
local mixed = reel { mix = -1, one("v", wide) } --! reel.mix must be seconds above 0
local wrong = reel { "stills" } --! reel[1] must be a shot; seen "stills"
return reel { name = "year", mix = "1s", one("z", wide), one(nil, wide) }
