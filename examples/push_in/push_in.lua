-- A slow push-in: the camera never moved, but the clip closes in on the crane over ten seconds.
--
-- Put a folder of stills named `shoot` beside this script, or point it elsewhere below.

local far = dial("far", 1.35, { min = 1, max = 2, help = "zoom at the end" })

return shot {
  source  = stills { "shoot", missing = "hold" },
  fps     = 25,

  -- The whole shoot in ten seconds, every still for the same time.
  pace    = over "9.6s",

  -- Two keys make a push. Between them the window shrinks by the same ratio in every frame, which the eye takes for
  -- an even pace; "ease-in-out" lets it start and stop softly.
  framing = framing {
    key { at = "start", on = point(0.50, 0.50), zoom = 1 },
    key { at = "end",   on = point(0.55, 0.47), zoom = far, ease = "ease-in-out" },
  },

  deliveries = {
    delivery { "wide", frame = { 1920, 1080 }, fps = 25 },
  },
}
