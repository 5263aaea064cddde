-- A constructor knows its line through tail calls, pcall, helpers and metamethods.
local function tail(x)
  return point(x, 0) --! point.x must be a number from 0 to 1; seen 3
end
tail(3)
--! point.x must be a number from 0 to 1; seen 4
pcall(point, 4, 0)
xpcall(point, print, 5, 0) --! point.x must be a number from 0 to 1; seen 5
local lazy = setmetatable({}, {
  __index = function(_, x) return point(x, 0) end, --! point.x must be a number from 0 to 1; seen 6
})
local q = lazy[6]
local words = ("7"):gsub("7", function(x)
  point(tonumber(x), 0) --! point.x must be a number from 0 to 1; seen 7
  return x
end)
for _ = 1, 10 do
  point(8, 0) --! point.x must be a number from 0 to 1; seen 8
end
return shot { source = stills { "a" }, pace = over "1s", deliveries = { delivery { "wide", frame = { 64, 64 } } } }
