-- Keys of a pace that rest, run backwards, or should.
local r = stills_per_frame(1)
local a = key { at = still(9), rate = r, freeze = 0 } --! key.freeze must be seconds above 0 and up to 86400: a number or "20s"; seen 0
local b = key { at = still(9), rate = r, freeze = -1 } --! key.freeze must be seconds above 0
local c = key { at = still(9), rate = r, freeze = 0 / 0 } --! key.freeze must be seconds above 0 and up to 86400: a number or "20s"; seen NaN
local d = key { at = still(9), rate = r, reverse = "yes" } --! key.reverse must be true or false; seen "yes"
local e = pace { key { at = still(9), freeze = "2s" } } --! a pace needs at least one key with a rate --? key { at = "start", rate = stills_per_frame(1) }
local s = key { at = "start", rate = r }
local f = pace { s, key { at = still(9), freeze = 2, reverse = true } } --! reverse goes with a rate
local g = pace { s, key { at = still(9), freeze = 2, keep = true } } --! keep goes with a rate: a freeze is never scaled
local h = pace { s, key { at = still(9), freeze = 2, ease = "ease" } } --! ease goes with a rate
local i = pace { s, key { at = 3, freeze = 2 } } --! the keys of a pace lie on one axis
local j = framing { key { at = 0, on = point(0, 0), freeze = 2, reverse = true } } --! a key of a framing has no 'freeze', 'reverse': that belongs to a pace
local k = key { at = 0, rate = r, frieze = 2 } --! key has no field 'frieze' --? did you mean 'freeze'?
local l = stills_per_frame(-1) --! stills_per_frame.stills must be a number above 0
return shot {
  source = stills { "a" }, pace = pace { s, key { at = still(9), freeze = "2s" }, key { at = "start", rate = r, reverse = true } },
  deliveries = { delivery { "wide", frame = { 64, 64 } } },
}
