local words = { "b", "a" }
table.sort(words, function(a, b)
  return a.x.y < b --! attempt to index a nil value (field 'x')
end)
