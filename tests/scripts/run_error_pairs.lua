local list
for name in pairs(list) do print(name) end --! bad argument #1 to 'pairs' (table expected, got nil)
