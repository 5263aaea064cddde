-- Follow: keeps something that moves in frame, on the smoothest path there is.
--
--   moves.follow { from = box(0.2, 0.6, 0.1, 0.1), to = box(0.5, 0.55, 0.1, 0.1), start = still(10), stop = still(60) }
--
-- from    the box it is in at first; left of the middle
-- to      the box it is in at last; right of the middle
-- start   when it is in the first, a moment of the shoot; "start"
-- stop    when it is in the last, a moment of the shoot; "end"
-- ease    how it goes from one to the other; "linear"
-- keys    keys of a follow in place of all these, for something that turns: { key { at = still(10), box(…) }, … }; none
-- margin  fraction of the frame's side kept free around it, on each side; 0.1
-- zoom    how close, throughout; false, the window follows its size
return function(given)
  local a = arguments("follow", given, {
    from = box(0.2, 0.4, 0.2, 0.2),
    to = box(0.6, 0.4, 0.2, 0.2),
    start = "start",
    stop = "end",
    ease = "linear",
    keys = {},
    margin = 0.1,
    zoom = false,
  })
  local keys = a.keys
  if type(keys) == "table" and #keys == 0 then
    keys = { key { at = a.start, a.from }, key { at = a.stop, a.to, ease = a.ease } }
  end
  return follow { margin = a.margin, zoom = a.zoom or nil, table.unpack(keys) }
end
