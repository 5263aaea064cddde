local function check(value)
  error("far must be near", 2)
end
check(1) --! far must be near
