-- Day cut: rushes through the nights of a shoot of several days, by its capture times.
--
--   pace = moves.day_cut { dusk = "20:30", dawn = "06:00", nights = 3, fit = "40s" }
--
-- day     how fast the days run; stills_per_frame(1)
-- night   how fast the nights run; stills_per_frame(20)
-- dusk    when a night begins, by the camera's clock, "hh:mm"; "20:00"
-- dawn    when it is over, by the camera's clock, "hh:mm"; "06:00"
-- ramp    minutes over which the pace changes, after dusk and before dawn; 30
-- nights  how many nights there are, each of which the shoot sees begin and end; 1
-- first   the day of the shoot on which the first of them begins; 1
-- fit     seconds that all of it is scaled to last; false, as long as it takes
local function minutes(time)
  local hour, minute = tostring(time):match("^(%d%d?):(%d%d)$")
  return hour and hour * 60 + minute
end

-- A moment so many minutes after the midnight that a day of the shoot begins with.
local function moment(day, minute)
  local at = math.floor(minute + 0.5)
  local of_day = at % 1440
  return clock(string.format("day %d %02d:%02d", day + at // 1440, of_day // 60, of_day % 60))
end

return function(given)
  local a = arguments("day_cut", given, {
    day = stills_per_frame(1),
    night = stills_per_frame(20),
    dusk = "20:00",
    dawn = "06:00",
    ramp = 30,
    nights = 1,
    first = 1,
    fit = false,
  })
  local dusk, dawn = minutes(a.dusk), minutes(a.dawn)
  -- What is no time is for clock to say.
  if not dusk then return pace { key { at = clock(a.dusk), rate = a.day } } end
  if not dawn then return pace { key { at = clock(a.dawn), rate = a.day } } end
  if dawn <= dusk then dawn = dawn + 1440 end
  local keys = { key { at = "start", rate = a.day } }
  for night = a.first, a.first + a.nights - 1 do
    table.insert(keys, key { at = moment(night, dusk), rate = a.day })
    table.insert(keys, key { at = moment(night, dusk + a.ramp), rate = a.night, ease = "ease-in-out" })
    table.insert(keys, key { at = moment(night, dawn - a.ramp), rate = a.night })
    table.insert(keys, key { at = moment(night, dawn), rate = a.day, ease = "ease-in-out" })
  end
  return pace { fit = a.fit or nil, table.unpack(keys) }
end
