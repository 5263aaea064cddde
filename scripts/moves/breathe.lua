-- Breathe: comes a little closer and draws back again, so slowly that a fixed frame seems alive and not moved.
--
--   moves.breathe { on = point(0.4, 0.5), zoom = 1.5 }
--
-- on      the point looked at; the middle of the still
-- zoom    zoom at the beginning and the end; 1
-- by      how much closer it comes, as a fraction of the zoom; 0.03
-- start   when it sets off, any moment; "start"
-- middle  when it is closest, any moment; half-way through the shoot
-- stop    when it is back, any moment; "end"
-- ease    how it sets off and arrives; "ease-in-out"
return function(given)
  local a = arguments("breathe", given, {
    on = point(0.5, 0.5),
    zoom = 1,
    by = 0.03,
    start = "start",
    middle = part(0.5),
    stop = "end",
    ease = "ease-in-out",
  })
  return framing {
    key { at = a.start, on = a.on, zoom = a.zoom },
    key { at = a.middle, on = a.on, zoom = a.zoom * (1 + a.by), ease = a.ease },
    key { at = a.stop, on = a.on, zoom = a.zoom, ease = a.ease },
  }
end
