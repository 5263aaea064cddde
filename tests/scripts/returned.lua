-- A script that returns something else.
local a = point(0, 0)
return a --! a script returns a shot or a list of shots; seen a point --? end the script with return shot
