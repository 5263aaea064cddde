-- Pull out: draws back from one point, evenly to the eye.
--
--   moves.pull_out { on = point(0.3, 0.6), from = 3 }
--
-- on     the point that is left behind; the middle of the still
-- from   zoom where it sets off; 1.25
-- to     zoom where it arrives; 1, the largest window
-- start  when it sets off, any moment; "start"
-- stop   when it arrives, any moment; "end"
-- ease   how it sets off and arrives; "ease-in-out"
return function(given)
  local a = arguments("pull_out", given, {
    on = point(0.5, 0.5),
    from = 1.25,
    to = 1,
    start = "start",
    stop = "end",
    ease = "ease-in-out",
  })
  return framing {
    key { at = a.start, on = a.on, zoom = a.from },
    key { at = a.stop, on = a.on, zoom = a.to, ease = a.ease },
  }
end
