-- Sizes of files.
local all = {
  delivery { "sized", frame = { 64, 64 }, size = "95MB" },
  delivery { "sized-by-two", frame = { 64, 64 }, size = "1.5 GiB", codec = "av1", most = "12M" },
  delivery { "nothing", frame = { 64, 64 }, size = "0MB" }, --! delivery.size must be a size above 0 and up to 1 TB, such as "95MB": a number with kB, MB, GB or TB (powers of 1000), or KiB, MiB, GiB or TiB (powers of 1024); seen "0MB"
  delivery { "unitless", frame = { 64, 64 }, size = "95" }, --! delivery.size must be a size above 0
  delivery { "number", frame = { 64, 64 }, size = 95000000 }, --! delivery.size must be a size above 0
  delivery { "below", frame = { 64, 64 }, size = "-1MB" }, --! delivery.size must be a size above 0
  delivery { "far", frame = { 64, 64 }, size = "1 parsec" }, --! delivery.size must be a size above 0
  delivery { "lossless", frame = { 64, 64 }, size = "95MB", codec = "ffv1" }, --! delivery.size does not go with codec = "ffv1" --? leave size out
  delivery { "editing", frame = { 64, 64 }, size = "95MB", codec = "prores" }, --! delivery.size does not go with codec = "prores" --? "h264", "hevc", "av1" can be given one
  delivery { "files", frame = { 64, 64 }, size = "95MB", codec = "jpeg" }, --! delivery.size does not go with codec = "jpeg"
  delivery { "both", frame = { 64, 64 }, size = "95MB", quality = 75 }, --! use either size or quality --? leave size out, or leave quality out
  delivery { "crf", frame = { 64, 64 }, size = "95MB", codec = { "hevc", crf = 20 } }, --! use either size or crf --? leave size out, or leave crf out
  delivery { "own", frame = { 64, 64 }, size = "95MB", quality = { crf = 20 } }, --! use either size or crf
  delivery { "preset", frame = { 64, 64 }, size = "95MB", quality = { preset = "slow" } },
}
return shot { source = stills { "a" }, pace = over "20s", deliveries = all }
