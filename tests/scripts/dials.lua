-- Dials that are no dials.
local a = dial("far", 1, { min = 2, max = 8 }) --! dial.default must be 2 to 8; seen 1
local b = dial("near", 1, { min = 8, max = 1 }) --! dial.options.min must be up to max; seen 8 and 1
local c = dial("none") --! dial.default is missing
local d = dial("table", {}) --! dial.default must be a finite number, a text, true or false; seen a table
local e = dial("nan", 0 / 0) --! dial.default must be a finite number, a text, true or false; seen NaN
local f = dial("two words", 1) --! dial.name must be 1 to 64
local g = dial("kind", "a", { min = 1 }) --! min is for a dial that is a number
local h = dial("pick", "a", { choices = { "b", 1 } }) --! dial.options.choices must be a list
local i = dial("opts", 1, { maxx = 3 }) --! dial.options has no field 'maxx' --? did you mean 'max'?
local j = dial("twice", 1)
local k = dial("twice", 2) --! the dial 'twice' is declared twice
local l = dial(1, 2) --! dial.name must be 1 to 64
local m = dial("options", 1, 3) --! dial.options must be a table with min, max, choices, help; seen 3
return shot { source = stills { "a" }, pace = over "20s", deliveries = { delivery { "wide", frame = { 64, 64 } } } }
