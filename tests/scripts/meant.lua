-- What people write first, and what they are told to write instead; a field is pointed at on its own line.
local p = point(0.5, 0.5)
local a = point(50, 0.5) --! point.x must be a number from 0 to 1; seen 50 --? 50 % is 0.5
local b = point(960, 0) --! point.x must be --? px(960, 0)
local c = point(0,5, 0,5) --! point takes 2 values; seen 4 values --? decimals take a point
local d = point { 0.5, 0.5 } --! point.x must be --? point(0.5, 0.5) --! point.y is missing
local e = key { at = 0, on = p, zoom = "150%" } --! key.zoom must be --? write 1.5
local f = key { at = 0, on = p, zoom = 0.5 } --! key.zoom must be --? zoom = 1 shows as much
local g = key { at = start, on = p } --! there is no 'start' --? in quotes: "start"
local h = key { at = "50%", on = p, scale = 2 } --! key.at must be a moment --? write part(0.5) --! key has no field 'scale' --? 'zoom'
local i = key { at = clock "8:34 pm", on = p } --! clock.time must be a time --? clock "20:34"
local j = over "1:30" --! over.length must be seconds --? write "90s"
local k = stills("stills") --! stills takes one table; seen "stills" --? write stills { "stills" }
local l = delivery { name = "wide", frame = { 64, 64 } } --! delivery has no field 'name' --? put that first --! delivery takes its name --? delivery { "wide"
local m = delivery { "my clip", frame = "64x64", fps = "24p", codec = "mp4" } --! its name) must be --? write "my-clip" --! delivery.frame must be --? { 64, 64 } --! delivery.fps must be --? write 24 --! delivery.codec must be --? makes an MP4
return shot {
  source = "stills", --! shot.source must be --? write stills { "stills" }
  pace = 2, --! shot.pace must be --? frames_per_still(2)
  framing = { --! shot.framing must be a framing; seen a table --? write framing in front of the brace
    key { at = 0, on = p },
  },
  deliveries = {
    delivery { "wide", frame = { 64, 64 } },
    { "tall", frame = { 64, 64 } }, --! shot.deliveries[2] must be a delivery; seen a table --? write delivery in front of the brace
  },
}
