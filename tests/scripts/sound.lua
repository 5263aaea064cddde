-- What a shot and its deliveries may say of sound.
local function of(source, sound, delivered)
  return {
    source = source, pace = times(1), sound = sound,
    deliveries = { delivery { "wide", frame = { 64, 64 }, sound = delivered } },
  }
end
local a = shot(of(recording "day.mov", "real-time"))
local b = shot(of(recording "day.mov", "real-time", "none"))
local c = shot(of(recording "day.mov", nil, "real-time"))
local d = shot(of(stills { "day" }, "none", "none"))
local e = shot(of(recording "day.mov", true)) --! shot.sound must be "real-time" or "none"; seen true --? write "real-time"
local f = shot(of(recording "day.mov", "all")) --! shot.sound must be "real-time" or "none"; seen "all"
local g = shot(of(stills { "day" }, "real-time")) --! sound is a recording's, and this shot's source is stills --? recording "day.mov"
local h = delivery { "h", frame = { 64, 64 }, codec = "png", sound = "real-time" } --! delivery.sound does not go with codec = "png"
local i = delivery { "i", frame = { 64, 64 }, codec = "png", sound = "none" }
local j = delivery { "j", frame = { 64, 64 }, sound = "real-time" } --! sound is a recording's, and this shot's source is stills
local k = shot { source = stills { "day" }, pace = over(20), deliveries = { j } }
return shot(of(recording "day.mov"))
