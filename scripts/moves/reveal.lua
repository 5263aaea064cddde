-- Reveal: rests on a detail, then draws back until the whole is seen.
--
--   moves.reveal { detail = box(0.55, 0.4, 0.2, 0.15), leave = still(60) }
--
-- detail  the box that fills the frame first; a quarter of the still's width and height around its middle
-- margin  fraction of the frame's side kept free around it, on each side; 0
-- on      the point the whole is seen around; the middle of the still
-- to      zoom where it arrives; 1, the largest window
-- start   from when on the detail is shown, any moment; "start"
-- leave   when it sets off, any moment; a fifth of the way through the shoot
-- stop    when it arrives, any moment; "end"
-- ease    how it sets off and arrives; "ease-in-out"
return function(given)
  local a = arguments("reveal", given, {
    detail = box(0.375, 0.375, 0.25, 0.25),
    margin = 0,
    on = point(0.5, 0.5),
    to = 1,
    start = "start",
    leave = part(0.2),
    stop = "end",
    ease = "ease-in-out",
  })
  return framing {
    key { at = a.start, show = a.detail, margin = a.margin },
    key { at = a.leave, show = a.detail, margin = a.margin },
    key { at = a.stop, on = a.on, zoom = a.to, ease = a.ease },
  }
end
