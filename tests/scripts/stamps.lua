local nothing = stamp { at = point(0.5, 0.5) } --! a stamp needs a text or a picture --? write stamp { text = "{clock:%H:%M}" }
local both = stamp { text = "a", picture = "logo.png" } --! a stamp has either a text or a picture, not both
local empty = stamp { text = "" } --! stamp.text must be a text that is not empty
local long = stamp { text = ("a"):rep(5000) } --! stamp.text takes at most 4096 bytes of text; seen 5000 --? make the text shorter
local blank = stamp { text = "  " } --! a stamp's text shows nothing
local lines = stamp { text = "a\nb" } --! a stamp's text is one line --? make a stamp of each line
local word = stamp { text = "{clok}" } --! a stamp's text has no word {clok} --? did you mean 'clock'?
local camera = stamp { text = "{serial}" } --! a stamp's text has no word {serial} --? words in braces: {clock}, {number}, {name}, {elapsed}
local open = stamp { text = "taken {clock" } --! a brace of this text is not closed --? a brace that is to be seen is doubled
local close = stamp { text = "taken clock}" } --! a brace of this text was never opened
local colon = stamp { text = "{clock:}" } --! nothing follows the colon of {clock:}
local zone = stamp { text = "{clock:%H:%M %Z}" } --! {clock:%H:%M %Z} is no way to write a capture time --? no time zone
local strange = stamp { text = "{clock:%H:%!}" } --! {clock:%H:%!} is no way to write a capture time
local unit = stamp { text = "{elapsed:%D days %q}" } --! {elapsed:%D days %q} has no meaning for %q --? %h all hours
local digits = stamp { text = "{number:99}" } --! {number:99} must have 1 to 12 digits
local called = stamp { text = "{name:8}" } --! {name:8}: a name takes no colon
local colour = stamp { text = "a", colour = "white" } --! stamp.colour must be a colour: "#rrggbb"; seen "white" --? two digits of 0 to 9 and a to f
local looks = stamp { picture = "logo.png", colour = "#ffffff" } --! colour goes with text
local around = stamp { text = "a", outline = 2 } --! stamp.outline must be true, false, a width from 0 to 0.25
local inside = stamp { text = "a", outline = { width = 2 } } --! stamp.outline.width must be a number from 0 to 0.25; seen 2
local rim = stamp { text = "a", outline = { color = "#000000" } } --! stamp.outline has no field 'color' --? did you mean 'colour'?
local corner = stamp { text = "a", pin = "top-lft" } --! stamp.pin must be "top-left" or --? did you mean "top-left"?
local pixels = stamp { text = "a", at = px(10, 10) } --! stamp.at must be a point --? at is in fractions of the frame
local large = stamp { text = "a", size = 30 } --! stamp.size must be a number above 0 and up to 1; seen 30
local ok = stamp { text = "{{literal}} {clock:%A %-d %B %Y, %H:%M:%S} {number:4} {name} {elapsed:%h:%M}", pin = "top" }
local master = delivery { "master", frame = "full", every = "still", stamps = { ok } } --! delivery.stamps does not go with every = "still"
local alone = delivery { "alone", frame = { 64, 64 }, stamps = ok } --! delivery.stamps must be a list, each of it a stamp --? put it in braces: stamps = { stamp { … } }
return shot {
  source = stills { "a" }, pace = times(60), deliveries = { delivery { "wide", frame = { 64, 64 } } },
  stamps = { ok, point(0.5, 0.5) }, --! shot.stamps[2] must be a stamp; seen a point
}
