-- Quotes as text programs like to make them.
local a = stills { “stills” } --! unexpected symbol near '“' --? straight quotes
