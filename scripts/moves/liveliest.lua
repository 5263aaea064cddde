-- Liveliest: runs through what is idle and slows where things happen.
--
--   pace = moves.liveliest { length = "20s" }
--
-- length   how long the whole shoot lasts; "30s"
-- slowest  the slowest it runs, where most happens: a rate; false, a third of the even rate
-- fastest  the fastest it runs, where nothing happens: a rate; false, four times the even rate
return function(given)
  local a = arguments("liveliest", given, {
    length = "30s",
    slowest = false,
    fastest = false,
  })
  return liveliest { length = a.length, slowest = a.slowest or nil, fastest = a.fastest or nil }
end
