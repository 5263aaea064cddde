local a = string.format("%d", "x") --! bad argument #2 to 'format' (number expected, got string)
