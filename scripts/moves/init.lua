-- Every move by its name: moves.push_in { … } is require "moves.push_in" { … }.
---@type stillpath.Moves
local moves = setmetatable({}, {
  __index = function(moves, name)
    local move = require("moves." .. tostring(name))
    rawset(moves, name, move)
    return move
  end,
})
return moves
