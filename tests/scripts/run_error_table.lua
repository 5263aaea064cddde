local ok = pcall(error, {})
error { code = 1 } --! an error was raised with a table for its message
