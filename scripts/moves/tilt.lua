-- Tilt: travels up or down from one point to another at one closeness.
--
--   moves.tilt { from = point(0.5, 0.8), to = point(0.5, 0.3), zoom = 2 }
--
-- from   the point where it sets off; below the middle
-- to     the point where it arrives; above the middle
-- zoom   how close, throughout; 1.5
-- start  when it sets off, any moment; "start"
-- stop   when it arrives, any moment; "end"
-- ease   how it sets off and arrives; "ease-in-out"
return function(given)
  local a = arguments("tilt", given, {
    from = point(0.5, 0.65),
    to = point(0.5, 0.35),
    zoom = 1.5,
    start = "start",
    stop = "end",
    ease = "ease-in-out",
  })
  return framing {
    key { at = a.start, on = a.from, zoom = a.zoom },
    key { at = a.stop, on = a.to, zoom = a.zoom, ease = a.ease },
  }
end
