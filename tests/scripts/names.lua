-- Names that are nearly right, and ones that are nothing like it.
local source = stills { "stills", intervall = 3, missing = "hold" } --! stills has no field 'intervall' --? did you mean 'interval'?
local track = framing {
  key { at = 0, onn = point(0.5, 0.5) }, --! key has no field 'onn' --? did you mean 'on'?
  key { at = "end", on = point(0.5, 0.5), zoooom = 2, colour = "red" }, --! no field 'colour' --? available: at, ease --! no field 'zoooom' --? did you mean 'zoom'?
}
local soft = "ease-inout"
local other = framing { key { at = 1, on = point(0, 0), ease = "ease-inout" } } --! key.ease must be an ease --? did you mean "ease-in-out"?
--! key.ease must be an ease --? available: linear, ease
local third = framing { key { at = 1, on = point(0, 0), ease = "bounce" } }
local policy = stills { "stills", damaged = "holt" } --! stills.damaged must be "stop" or "hold" or "skip"; seen "holt" --? did you mean "hold"?
local wide = delivery { "wide", farme = { 1920, 1080 } } --! delivery has no field 'farme' --? did you mean 'frame'? --! delivery.frame is missing --? { width, height }
return shot { source = source, pace = over "20s", framing = track, deliveries = { wide } }
