local moves = require "moves"
local a = moves.push_inn {} --! there is no module 'moves.push_inn' --? did you mean 'moves.push_in'?
