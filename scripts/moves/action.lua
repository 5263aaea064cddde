-- Action: keeps the part in which most happens in every shape, and rests where nothing moves.
--
--   moves.action { zoom = 1.6, calm = 0.8 }
--
-- zoom  how close, throughout; 1.6
-- calm  how reluctantly the window moves, 0 to 1: at 0 it goes after whatever moves; 0.8
return function(given)
  local a = arguments("action", given, {
    zoom = 1.6,
    calm = 0.8,
  })
  return action { zoom = a.zoom, calm = a.calm }
end
