-- A syntax error is one mistake, at its line (fault 58).
local a = {
  1, 2
local b = 3 --! '}' expected (to close '{' at line 2) near 'local' --? a '}' is missing
