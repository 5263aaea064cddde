-- A harbour over a falling tide: three clips of one evening, out of the shoot that `stillpath demo` draws.
--
--   stillpath demo DIR                            draws the shoot, and puts this script beside it
--   stillpath check DIR/harbour.lua               every mistake and remark, without touching a pixel
--   stillpath render DIR/harbour.lua --out DIR/clips
--
-- A script returns one shot: which stills, how fast they pass, where the window sits, what comes out.

-- A dial is a value you may set from outside: --set near=1.5
local near = dial("near", 1.25, { min = 1, max = 2, help = "how close the window comes to the crane's work" })

-- Places are fractions of the still, from its top left corner.
local barge = point(0.45, 0.53)
local pier  = point(0.55, 0.50)

return shot {
  -- The folder lies beside this script. One still of the shoot was never written: "hold" shows the one before it
  -- a little longer; without it the run would stop and name the gap.
  source = stills { "shoot", missing = "hold" },

  -- The rate that 'frames per still' and timecodes count in.
  fps = 24,

  -- How fast the evening passes. These moments lie on the shoot's own axis, so they stay with the crane and the
  -- light however long the clip becomes: part(0.30) is 30 % of the way through the shoot. still(37), still "TIDE9977"
  -- and clock "20:34" would do as well.
  pace = pace {
    key { at = "start",    rate = frames_per_still(2) },
    key { at = part(0.30), rate = frames_per_still(2) },
    -- Slow down while a crate crosses the water and the sun goes; an ease shapes the way *to* its key.
    key { at = part(0.40), rate = frames_per_still(4), ease = "ease-in-out" },
    key { at = part(0.66), rate = frames_per_still(4) },
    key { at = part(0.76), rate = frames_per_still(2), ease = "ease-in-out" },
    -- With fit = "15s" here, all of these rates would be scaled together until the clip lasts exactly that long.
  },

  -- Where the window sits. zoom = 1 is the largest window of a delivery's shape, so one framing serves every shape.
  framing = framing {
    key { at = "start",    on = point(0.50, 0.50), zoom = 1 },
    key { at = part(0.42), on = barge, zoom = near, ease = "ease-in-out" },
    key { at = part(0.64), on = pier,  zoom = near, ease = "ease-in-out" },
    -- Any cubic curve between two keys, as CSS writes it.
    key { at = "end",      on = point(0.50, 0.50), zoom = 1, ease = cubic_bezier(0.4, 0, 0.4, 1) },
  },

  -- What comes out, all in one pass over the stills.
  deliveries = {
    delivery { "wide",     frame = { 1920, 1080 }, fps = 24 },
    delivery { "vertical", frame = { 1080, 1920 }, fps = 30 },
    delivery { "square",   frame = { 1080, 1080 }, fps = 30 },
  },
}
