-- A run error is told with what was found before it (fault 58).
local p = point(2, 0) --! point.x must be a number from 0 to 1; seen 2
local function deep(track)
  return track.keys.first --! attempt to index a nil value (field 'keys')
end
local function through(...) return deep(...) end
through({})
