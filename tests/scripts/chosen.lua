-- Stills chosen by their own clock, wrongly.
local a = stills { "a", hours = "7-18" } --! stills.hours must be two times of day: { "07:00", "18:00" }; seen "7-18" --? write hours = { "07:00", "18:00" }
local b = stills { "a", hours = { "25:00", "18:00" } } --! stills.hours[1] must be a time of day such as "07:00"; seen "25:00" --? "25:00" is not a time of day: they run from "00:00" to "23:59"
local c = stills { "a", hours = { "07:00", "24:00" } } --! stills.hours[2] must be a time of day such as "07:00"; seen "24:00" --? write "00:00"
local d = stills { "a", hours = { "07:00", "07:00" } } --! stills.hours must be two different times of day; seen "07:00" twice --? leave hours out for the whole day
local e = stills { "a", hours = { 7, "6 pm" } } --! stills.hours[1] must be a time of day such as "07:00"; seen 7 --? write "07:00" --! stills.hours[2] must be a time of day such as "07:00"; seen "6 pm" --? write "18:00"
local f = stills { "a", hours = { "07:00" } } --! stills.hours must be two times of day: { "07:00", "18:00" }; seen a table
local g = stills { "a", days = "weekday" } --! stills.days must be "weekdays", "weekends", or a list of dates and of their ranges: { "2026-03-02", { "2026-03-09", "2026-03-13" } }; seen "weekday" --? did you mean "weekdays"?
local h = stills { "a", days = { "2026-02-30" } } --! stills.days[1] must be a date such as "2026-03-02", or the first and the last: { "2026-03-09", "2026-03-13" }; seen "2026-02-30" --? write "2026-02-28"
local i = stills { "a", days = { "2026-03-02", { "2026-03-13", "2026-03-09" } } } --! stills.days[2] ends before it begins; seen { "2026-03-13", "2026-03-09" } --? write { "2026-03-09", "2026-03-13" }
local j = stills { "a", days = { "soon" } } --! stills.days[1] must be a date such as "2026-03-02", or the first and the last: { "2026-03-09", "2026-03-13" }; seen "soon" --? "soon" is not a date
local k = stills { "a", days = "2026-03-02" } --! stills.days must be "weekdays", "weekends", or a list of dates and of their ranges: { "2026-03-02", { "2026-03-09", "2026-03-13" } }; seen "2026-03-02" --? write days = { "2026-03-02" }
local l = stills { "a", days = {} } --! stills.days must be "weekdays", "weekends", or a list of dates and of their ranges: { "2026-03-02", { "2026-03-09", "2026-03-13" } }; seen a table
local m = stills { "a", only = every("0s") } --! every.step must be a time above 0 and up to 31622400 s: a number of seconds, or "30s", "10min" or "1h"; seen "0s" --? leave only out for every still
local n = stills { "a", only = every("1 hour") } --! every.step must be a time above 0 and up to 31622400 s: a number of seconds, or "30s", "10min" or "1h"; seen "1 hour" --? write "1h"
local o = stills { "a", only = "10min" } --! stills.only must be a step of the clock (every); seen "10min" --? write every("10min")
local p = stills { "a", only = 3600 } --! stills.only must be a step of the clock (every); seen 3600 --? write every("1h")
local q = recording { "a.mov", hours = { "7am", "18:00" } } --! recording.hours[1] must be a time of day such as "07:00"; seen "7am" --? write "07:00"
local r = stills { "a", across = "yes" } --! stills.across must be true or false; seen "yes" --? write true, without quotes
return shot {
  source = stills {
    "a", hours = { "22:00", "04:00" }, days = { "2026-03-02", { "2026-03-09", "2026-03-13" } }, only = every "10min", across = true,
  },
  pace = over "20s",
  deliveries = { delivery { "wide", frame = { 64, 64 } } },
}
