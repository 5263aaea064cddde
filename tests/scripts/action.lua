local far = action { zoom = 0.5 } --! action.zoom must be a number from 1 to 1000; seen 0.5
local eager = action { calm = 2 } --! action.calm must be a number from 0 to 1; seen 2
local wide = action { span = 0.5 } --! action has no field 'span'
local move = require("moves").action { zooom = 2 } --! action has no argument 'zooom'
local endless = liveliest { length = "0s" } --! liveliest.length must be
local none = liveliest { slowest = stills_per_frame(1) } --! liveliest.length is missing
local rates = liveliest { length = "20s", fastest = 4 } --! liveliest.fastest must be a rate
return shot { source = stills { "a" }, pace = liveliest { length = "20s" }, deliveries = { delivery { "wide", frame = { 64, 64 } } } }
