-- Arc: travels from one point to another on a curve through a third.
--
--   moves.arc { from = point(0.2, 0.6), over = point(0.45, 0.35), to = point(0.8, 0.55), zoom = 2 }
--
-- from     the point where it sets off; left of the middle
-- over     the point it passes half-way; above the middle
-- to       the point where it arrives; right of the middle
-- zoom     how close, throughout; 1.75
-- start    when it sets off, any moment; "start"
-- middle   when it passes the point half-way, any moment; half-way through the shoot
-- stop     when it arrives, any moment; "end"
-- set_off  how it sets off; "ease-in"
-- arrive   how it arrives; "ease-out"
return function(given)
  local a = arguments("arc", given, {
    from = point(0.35, 0.6),
    over = point(0.5, 0.4),
    to = point(0.65, 0.6),
    zoom = 1.75,
    start = "start",
    middle = part(0.5),
    stop = "end",
    set_off = "ease-in",
    arrive = "ease-out",
  })
  return framing {
    path = "smooth",
    key { at = a.start, on = a.from, zoom = a.zoom },
    key { at = a.middle, on = a.over, zoom = a.zoom, ease = a.set_off },
    key { at = a.stop, on = a.to, zoom = a.zoom, ease = a.arrive },
  }
end
