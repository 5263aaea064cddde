table.sort("ba") --! bad argument #1 to 'sort' (table expected, got string)
