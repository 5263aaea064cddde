-- One shoot, two shapes: a wide clip that holds the whole basin, and a vertical one with a move of its own.
--
-- Put a folder of stills named `shoot` beside this script, or point it elsewhere below.

return shot {
  source  = stills { "shoot", missing = "hold" },
  fps     = 30,
  pace    = over "8s",

  -- The shot's framing: for every delivery that brings none.
  framing = framing {
    key { at = "start", on = point(0.5, 0.5), zoom = 1 },
  },

  deliveries = {
    delivery { "wide", frame = { 1920, 1080 }, fps = 30 },

    -- A tall window is narrow: here it drifts from the barge on the left to the pier on the right.
    delivery {
      "vertical",
      frame = { 1080, 1920 },
      fps = 30,
      framing = framing {
        key { at = "start", on = point(0.44, 0.52), zoom = 1.1 },
        key { at = "end",   on = point(0.58, 0.50), zoom = 1.2, ease = "ease-in-out" },
      },
    },
  },
}
