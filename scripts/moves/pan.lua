-- Pan: travels from one point to another at one closeness.
--
--   moves.pan { from = point(0.2, 0.5), to = point(0.8, 0.4), zoom = 2 }
--
-- from   the point where it sets off; left of the middle
-- to     the point where it arrives; right of the middle
-- zoom   how close, throughout; 1.5
-- start  when it sets off, any moment; "start"
-- stop   when it arrives, any moment; "end"
-- ease   how it sets off and arrives; "ease-in-out"
return function(given)
  local a = arguments("pan", given, {
    from = point(0.35, 0.5),
    to = point(0.65, 0.5),
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
