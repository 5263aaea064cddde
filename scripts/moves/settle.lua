-- Settle: moves off at once and fast, lands softly on a point and stays there.
--
--   moves.settle { on = point(0.7, 0.4), to = 2, stop = still(80) }
--
-- from_on  the point where it sets off; the middle of the still
-- from     zoom where it sets off; 1, the largest window
-- on       the point where it lands; the middle of the still
-- to       zoom where it lands; 1.5
-- start    when it sets off, any moment; "start"
-- stop     when it has landed, any moment; a third of the way through the shoot
-- ease     how it moves; cubic_bezier(0.1, 0.7, 0.1, 1): fast, then ever more slowly
return function(given)
  local a = arguments("settle", given, {
    from_on = point(0.5, 0.5),
    from = 1,
    on = point(0.5, 0.5),
    to = 1.5,
    start = "start",
    stop = part(1 / 3),
    ease = cubic_bezier(0.1, 0.7, 0.1, 1),
  })
  return framing {
    key { at = a.start, on = a.from_on, zoom = a.from },
    key { at = a.stop, on = a.on, zoom = a.to, ease = a.ease },
  }
end
