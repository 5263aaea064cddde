-- Moments that are none.
local p = point(0.5, 0.5)
local a = key { at = "14:32", on = p } --! key.at must be a moment --? a time of day is written clock "14:32"
local b = key { at = "1.5", on = p } --! key.at must be a moment --? write 1.5 without quotes, or "1.5s"
local c = key { at = "00:00:03:00:12", on = p } --! key.at must be a moment
local d = key { at = "middle", on = p } --! key.at must be a moment
local e = key { on = p } --! key.at is missing --? at (the moment) must be a moment
local f = key { at = p, on = p } --! key.at must be a moment: seconds from 0 to 86400
local g = still(0) --! still.which must be a whole number other than 0 --? the first still is still(1)
local h = still(1.5) --! still.which must be a whole number
local i = still "" --! still.which must be a whole number other than 0, or a file name
local j = clock "25:00" --! clock.time must be a time --? "25:00" is not a time of day
local k = clock "2026-02-30 12:00" --! clock.time must be a time --? "2026-02-30" is not a date
local l = clock(1432) --! clock.time must be a time
local m = part(1.5) --! part.fraction must be a number from 0 to 1; seen 1.5
local n = stills { "a", from = 3 } --! stills.from must be a moment of the shoot --? seconds are screen time
local o = stills { "a", from = still(2), to = "5s" } --! stills.to must be a moment of the shoot
local late = key { at = "00:00:01:24", on = p } --! the frames of a timecode at 24 run from 00 to 23; seen 24 in "00:00:01:24"
local dropped = key { at = "00:00:01;12", on = p } --! ';' means drop-frame, which only 30000/1001 and 60000/1001 have
return shot {
  source = stills { "a" }, pace = over "20s", framing = framing { late, dropped },
  deliveries = { delivery { "wide", frame = { 64, 64 } } },
}
