local a = require(nil) --! require takes a module's name, words joined by dots; seen nil --? require "moves"
