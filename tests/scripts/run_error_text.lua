local a = ("x"):shorten() --! attempt to call a nil value (method 'shorten')
