-- Cuts that are none.
local a = cut(still(1), 3) --! cut.to must be a moment of the shoot --? seconds are screen time
local b = cut(still(1)) --! cut.to is missing
local c = stills { "a", cuts = cut(still(1), still(2)) } --! stills.cuts must be a list, each of it a cut --? put it in braces
local d = stills { "a", cuts = { still(1) } } --! stills.cuts[1] must be a cut; seen a moment --? write cut(from, to)
local e = stills { "a", cuts = { cut(still(1), still(2)), n = 1 } } --! stills.cuts must be a list
local f = stills { "a", cut = { cut(still(1), still(2)) } } --! stills has no field 'cut' --? did you mean 'cuts'?
return shot {
  source = stills { "a", cuts = { cut(still(3), still "B"), cut(clock "22:00", "end") } }, pace = over "20s",
  deliveries = { delivery { "wide", frame = { 64, 64 } } },
}
