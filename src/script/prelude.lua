-- What a script gets in place of the Lua functions that would let a run depend on more than its inputs (addresses, the
-- order of a table, the garbage collector), swallow a limit, or leave the sandbox. `host` is Rust's side of it.
local host = ...
local pcall, xpcall, rawget, type, select = pcall, xpcall, rawget, type, select
local tostring, getmetatable, setmetatable, error = tostring, getmetatable, setmetatable, error
local format, find, gsub = string.format, string.find, string.gsub
local pack, unpack, concat = table.pack, table.unpack, table.concat

local function expect_table(name, given)
  if type(given) ~= "table" then
    error("bad argument #1 to '" .. name .. "' (table expected, got " .. type(given) .. ")", 3)
  end
end

-- A limit goes on past pcall and xpcall: settle raises it again.
function _G.pcall(...)
  return host.settle(pcall(...))
end

function _G.xpcall(...)
  return host.settle(xpcall(...))
end

-- Lua walks a table in the order of a hash that is seeded anew in every run. Here numbers come first, then texts, each in
-- their own order.
function _G.pairs(given)
  local meta = getmetatable(given)
  if type(meta) == "table" and rawget(meta, "__pairs") then
    local step, state, first = meta.__pairs(given)
    return step, state, first
  end
  expect_table("pairs", given)
  local keys, at = host.keys(given), 0
  return function()
    local name, value
    repeat
      at = at + 1
      name = keys[at]
      if name == nil then return nil end
      value = rawget(given, name)
    until value ~= nil
    return name, value
  end, given, nil
end

function _G.next(given, before)
  expect_table("next", given)
  local name = host.key_after(given, before)
  if name == nil then return nil end
  return name, rawget(given, name)
end

-- Without the address that Lua adds.
local function text(value)
  local kind = type(value)
  if kind == "function" then return kind end
  if kind == "table" then
    local meta = getmetatable(value)
    if type(meta) ~= "table" or rawget(meta, "__tostring") == nil then return kind end
  end
  return tostring(value)
end
_G.tostring = text

function string.format(pattern, ...)
  if find(gsub(tostring(pattern), "%%%%", ""), "%%[^%a]*p") then
    error("string.format has no %p here: addresses differ from run to run", 2)
  end
  local given = pack(...)
  for index = 1, given.n do
    local kind = type(given[index])
    if kind == "table" or kind == "function" then given[index] = text(given[index]) end
  end
  return format(pattern, unpack(given, 1, given.n))
end

function _G.print(...)
  local words = pack(...)
  for index = 1, words.n do words[index] = text(words[index]) end
  host.print(concat(words, "\t", 1, words.n))
end

-- Finalizers run where no limit reaches them, and weak tables show when the collector ran.
function _G.setmetatable(given, meta)
  if type(meta) == "table" then
    for _, name in ipairs { "__gc", "__mode" } do
      if rawget(meta, name) ~= nil then error("a metatable has no " .. name .. " here", 2) end
    end
  end
  return setmetatable(given, meta)
end

-- A stable merge sort: Lua's own may pick its pivots by the clock.
local function before(a, b)
  return a < b
end

function table.sort(list, less)
  expect_table("sort", list)
  less = less or before
  local length, width = #list, 1
  local from, to = list, {}
  while width < length do
    for start = 1, length, 2 * width do
      local left, middle = start, start + width
      local right, stop = middle, start + 2 * width
      if middle > length + 1 then middle = length + 1 end
      if stop > length + 1 then stop = length + 1 end
      for at = start, stop - 1 do
        if left < middle and (right >= stop or not less(from[right], from[left])) then
          to[at], left = from[left], left + 1
        else
          to[at], right = from[right], right + 1
        end
      end
    end
    if from == list then from, to = to, {} else from, to = to, from end
    width = 2 * width
  end
  if from ~= list then
    for at = 1, length do list[at] = from[at] end
  end
end

local loaded = {}

-- The module runs from here and not from Rust, so that a mistake in it keeps its own line.
function _G.require(name)
  local path, run = host.find(name)
  if run == nil then return loaded[path] end
  local running <close> = setmetatable({}, { __close = function() host.left(path, loaded[path] ~= nil) end })
  local value = run(name)
  if value == nil then value = true end
  loaded[path] = value
  return value
end

math.randomseed(host.seed_high, host.seed_low)
math.randomseed = nil
string.dump = nil
for _, name in ipairs { "load", "loadfile", "dofile", "loadstring", "collectgarbage", "warn", "coroutine", "io", "os", "debug", "package" } do
  _G[name] = nil
end
