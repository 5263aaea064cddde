setmetatable({}, { __gc = print }) --! a metatable has no __gc here
