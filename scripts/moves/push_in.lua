-- Push in: comes closer to one point, evenly to the eye.
--
--   moves.push_in { on = point(0.62, 0.48), to = 2 }
--
-- on     the point that is approached; the middle of the still
-- from   zoom where it sets off; 1, the largest window
-- to     zoom where it arrives; 1.25
-- start  when it sets off, any moment; "start"
-- stop   when it arrives, any moment; "end"
-- ease   how it sets off and arrives; "ease-in-out"
return function(given)
  local a = arguments("push_in", given, {
    on = point(0.5, 0.5),
    from = 1,
    to = 1.25,
    start = "start",
    stop = "end",
    ease = "ease-in-out",
  })
  return framing {
    key { at = a.start, on = a.on, zoom = a.from },
    key { at = a.stop, on = a.on, zoom = a.to, ease = a.ease },
  }
end
