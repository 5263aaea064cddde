---@meta

-- What a Stillpath script may call. Made by `stillpath types`; point the Lua language server's
-- workspace.library at the folder this file is in.

---A source (stills { … } or recording { … }).
---@class stillpath.Source

---A cut.
---@class stillpath.Cut

---A step of the clock (every).
---@class stillpath.Every

---A cover.
---@class stillpath.Cover

---A stamp.
---@class stillpath.Stamp

---A shot.
---@class stillpath.Shot

---A pace.
---@class stillpath.Pace

---A framing.
---@class stillpath.Framing

---A key.
---@class stillpath.Key

---A delivery.
---@class stillpath.Delivery

---A point.
---@class stillpath.Point

---A box.
---@class stillpath.Box

---A drawing.
---@class stillpath.Drawing

---A moment.
---@class stillpath.Moment

---A rate.
---@class stillpath.Rate

---A length (over).
---@class stillpath.Length

---An ease.
---@class stillpath.Ease

---@class stillpath.ShotFields
---@field name? string tells shots apart where a script returns several; 1 to 64 of the letters A-Z a-z, digits, '_' and '-' (default: none)
---@field source stillpath.Source where the stills come from
---@field fps? number|string the frame rate that 'per frame' units and timecodes count in; frames a second, above 0 and up to 480: a whole number or "30000/1001" (default: 24)
---@field pace stillpath.Rate|stillpath.Length|stillpath.Pace how fast the shoot runs
---@field length? number|string the clip's length in seconds; seconds above 0 and up to 86400: a number or "20s" (default: until the shoot ends)
---@field loop? boolean|number|string whether the last frame runs into the first: true mixes the stills at the join for a second, a number for that many seconds; true, or the seconds of the mix, above 0 and up to 86400: a number or "1s" (default: false)
---@field framing? stillpath.Framing where the window goes (default: the largest window)
---@field covers? stillpath.Cover[] what is hidden in the stills themselves, such as faces, plates and screens (default: none)
---@field shutter? number degrees: each frame is the mean of the stills that pass while the shutter is open; 360 is one frame's time, 0 is one still; a number from 0 to 1440 (default: 0)
---@field gather? "mean"|"brightest"|"darkest"|"median"|stillpath.GatherFields what a frame takes of its stills: their mean, or by channel the brightest (star trails), the darkest, or the median light (passers-by vanish); a table says over how many stills, or that it grows (default: "mean")
---@field between? "nearest"|"mix"|"motion" where the pace is below one still a frame, what a frame between two stills shows: the still whose turn it is, the mean of both, or a frame invented from the motion between them ("mix" where the motion is not known) (default: "nearest")
---@field light? "linear"|"encoded" how stills are averaged: linear adds up light, as a camera's open shutter does; encoded adds up the values of the files (default: "linear")
---@field sound? "real-time"|"none" what is kept of a recording's sound: real-time keeps it where the pace runs in real time, with a fade at each end, and is silent elsewhere (default: "none")
---@field stamps? stillpath.Stamp[] what is laid over the frames: lines of text with each still's time, number or name, and pictures (default: none)
---@field deliveries stillpath.Delivery[] the named outputs
---@field level? boolean|stillpath.ShotLevelFields removes flicker from the stills' exposure and keeps what their light really did (default: false)
---@field steady? boolean|stillpath.ShotSteadyFields undoes bumps and sags of the camera: windows move with the picture, measured still by still (default: false)
---@field strict? boolean whether windows that would leave the still are refused instead of moved inside (default: false)

---One source, one pace, one framing, and the deliveries cut from it.
---@param fields stillpath.ShotFields
---@return stillpath.Shot
function shot(fields) end

---@class stillpath.ReelFields
---@field [integer] stillpath.Shot shots
---@field name? string tells it apart where a script returns several shots or reels; 1 to 64 of the letters A-Z a-z, digits, '_' and '-' (default: none)
---@field mix? number|string how long the end of each shot is mixed with the beginning of the next (8 s and 6 s mixed over 1 s last 13 s), in linear light unless the deliveries say otherwise; without it one follows at once; seconds above 0 and up to 86400: a number or "20s" (default: none)

---Shots that follow one another in one clip. They have the same deliveries; each is a chapter of the file.
---@param fields stillpath.ReelFields
---@return stillpath.Shot
function reel(fields) end

---@class stillpath.ShotLevelFields
---@field strength? number how much of the flicker is taken out; 1 is all of it; a number above 0 and up to 1 (default: 1)
---@field radius? number how many stills on each side the light is smoothed over: with more, only slower changes of light stay; a number from 1 to 10000 (default: chosen to suit the shoot)
---@field region? stillpath.Box the part of the still that is measured, such as one in which little moves; all of it is corrected (default: the whole still)
---@field steps? "join"|"cut" where the camera's exposure was changed: joined into one even change, or left as a cut (default: "join")
---@field colour? boolean colours are held too: what an automatic white balance drifts and jumps by goes, and so does a sunset's red (default: false)
---@field curve? string a table of gains as `stillpath level` writes it, in place of measuring (default: none)

---@class stillpath.ShotSteadyFields
---@field region? stillpath.Box the part of the still that is measured, such as one in which nothing moves; the whole picture is steadied (default: the whole still)
---@field undo? "all"|"bumps" what is undone: all movement of the camera, or only sudden movement, so that slow sags stay (default: "all")
---@field room? number the least part of the still's width and height that all stills must have in common: below it the shot is refused; a number above 0 and up to 1 (default: 0.9)
---@field curve? string a table of stands as `stillpath steady` writes it, in place of measuring (default: none)

---@class stillpath.StillsFields
---@field [integer] string folders, patterns or files
---@field interval? number seconds between stills, where there are no capture times; a number above 0 and up to 31622400 (default: from capture times)
---@field missing? "stop"|"hold"|"skip" what to do about a missing still: refuse, show the one before, or take no time for it (default: "stop")
---@field damaged? "stop"|"hold"|"skip" what to do about a damaged still: refuse, show the one before, or take no time for it (default: "stop")
---@field from? "start"|"end"|stillpath.Moment the first moment of the shoot that is used (default: "start")
---@field to? "start"|"end"|stillpath.Moment the last moment of the shoot that is used (default: "end")
---@field cuts? stillpath.Cut[] parts of the shoot to leave out, such as a night or a passer-by (default: none)
---@field hours? [string, string] the hours whose stills are used, by their own clock, both ends included; { "22:00", "04:00" } goes over midnight (default: all)
---@field days? "weekdays"|"weekends"|(string|[string, string])[] the days whose stills are used, by the date that each carries (default: all)
---@field only? stillpath.Every of the stills that are left, the nearest to each step of the clock, counted from midnight of the first still's day (default: all)
---@field across? boolean whether stills on the two sides of a break (a cut, hours or days left out, a gap of more than ten intervals) are mixed, levelled and steadied as if nothing lay between (default: false)
---@field orientation? "obey"|"ignore" whether the stills' orientation tags turn them upright (default: "obey")
---@field pairs? "stop"|"jpeg"|"png"|"tiff"|"webp"|"heic"|"avif" where two pictures of one name have different kinds, which kind is the still; raw files are never stills (default: "stop")
---@field camera? string the camera whose stills are meant, by the name that the survey gives it; "any" takes all (default: the only one)

---The stills of a fixed camera: folders, patterns or files, relative to the script.
---@param fields stillpath.StillsFields
---@return stillpath.Source
function stills(fields) end

---@class stillpath.RecordingFields
---@field [1] string one file
---@field missing? "stop"|"hold"|"skip" what to do about frames that the file promises but does not hold: refuse, show the one before, or take no time for them (default: "stop")
---@field damaged? "stop"|"hold"|"skip" what to do about a damaged frame: refuse, show the one before, or take no time for it (default: "stop")
---@field interval? number seconds between stills, of a master whose stills have no capture times; a number above 0 and up to 31622400 (default: from capture times)
---@field from? "start"|"end"|stillpath.Moment the first moment of the recording that is used (default: "start")
---@field to? "start"|"end"|stillpath.Moment the last moment of the recording that is used (default: "end")
---@field cuts? stillpath.Cut[] parts of the recording to leave out (default: none)
---@field hours? [string, string] the hours whose stills are used, by their own clock, both ends included; { "22:00", "04:00" } goes over midnight (default: all)
---@field days? "weekdays"|"weekends"|(string|[string, string])[] the days whose stills are used, by the date that each carries (default: all)
---@field only? stillpath.Every of the stills that are left, the nearest to each step of the clock, counted from midnight of the first still's day (default: all)
---@field across? boolean whether stills on the two sides of a break (a cut, hours or days left out, a gap of more than ten intervals) are mixed, levelled and steadied as if nothing lay between (default: false)
---@field orientation? "obey"|"ignore" whether the recording's display matrix turns its frames upright (default: "obey")

---A recorded video (every frame is a still at its own time) or a master: one file, relative to the script.
---@param fields stillpath.RecordingFields|string
---@return stillpath.Source
function recording(fields) end

---@class stillpath.PaceFields
---@field [integer] stillpath.Key keys
---@field fit? number|string the length in seconds, freezes included, that all rates but those marked keep are scaled to; seconds above 0 and up to 86400: a number or "20s" (default: none)

---How fast the shoot runs: keys with a rate, a freeze or both, all on screen time or all on the shoot's axis.
---@param fields stillpath.PaceFields
---@return stillpath.Pace
function pace(fields) end

---@class stillpath.FramingFields
---@field [integer] stillpath.Key|nil keys
---@field path? "straight"|"smooth"|"flight"|stillpath.Drawing the line from key to key: windows straight to the next, one smooth curve, flights that rise and land, or a drawing (default: "straight")
---@field rho? number with path = "flight": how strongly the flight zooms out to pan; larger rises higher; a number from 0.01 to 10 (default: the square root of 2)
---@field table? string a table of windows in place of keys, comma-separated and relative to the script: keys by seconds or still, or the window of every frame, as `stillpath plan --csv` writes it; see "A path from a table" (default: none)
---@field of? string with table: the delivery whose lines are taken, of a table with several; 1 to 64 of the letters A-Z a-z, digits, '_' and '-' (default: each delivery's own lines)

---Where the window goes: keys with on and zoom or span, with show, or along a drawing; or as a table says.
---@param fields stillpath.FramingFields
---@return stillpath.Framing
function framing(fields) end

---@class stillpath.FollowFields
---@field [integer] stillpath.Key keys
---@field margin? number fraction of the frame's side kept free around the subject on each side, within the safe box; a number from 0 to below 0.5 (default: 0)
---@field zoom? number how close throughout: 1 is the largest window inside the still; a number from 1 to 1000 (default: the window follows the subject's size)
---@field span? number how close throughout: the window's width as a fraction of the still's; a number above 0 and up to 1 (default: none)
---@field track? boolean|string true: one key is enough, and it is looked for in every other still; or a table of boxes, as a render writes it (default: false)
---@field lost? "hold"|"stop" where a tracked subject is lost: hold its box, wider and wider, or refuse (default: "hold")

---The smoothest path that keeps a subject in each delivery's safe box: keys on the shoot's axis say where it is, key { at = still(10), box(…) }.
---@param fields stillpath.FollowFields
---@return stillpath.Framing
function follow(fields) end

---@class stillpath.ActionFields
---@field zoom? number how close throughout: 1 is the largest window inside the still; a number from 1 to 1000 (default: 1)
---@field calm? number how reluctantly the window moves: 0 goes after whatever moves, 1 goes only where much happens for long; a number from 0 to 1 (default: 0.8)

---The smoothest path that holds the part in which most happens, in each delivery's safe box; it rests where nothing moves. Reads the stills' pixels once.
---@param fields stillpath.ActionFields
---@return stillpath.Framing
function action(fields) end

---@class stillpath.LiveliestFields
---@field length number|string how long the whole shoot lasts, in seconds; seconds above 0 and up to 86400: a number or "20s"
---@field slowest? stillpath.Rate the slowest the shoot runs, where most happens (default: a third of the even rate)
---@field fastest? stillpath.Rate the fastest the shoot runs, where nothing happens (default: four times the even rate)

---A pace that runs through what is idle and slows where things happen, within two limits. Reads the stills' pixels once.
---@param fields stillpath.LiveliestFields
---@return stillpath.Pace
function liveliest(fields) end

---@class stillpath.CoverFields
---@field [integer] stillpath.Box|stillpath.Key a box, or keys with a box each
---@field from? "start"|"end"|stillpath.Moment the first moment of the shoot that is covered (default: "start")
---@field to? "start"|"end"|stillpath.Moment the last moment of the shoot that is covered, including the still it names (default: "end")
---@field with? "fill"|"blur" fill: mid grey, nothing of the still; blur: the means of the box's four quarters, blended into one another (default: "fill")
---@field track? boolean|string true: one key is enough, and what it hides is looked for in every other still; or a table of boxes, as a render writes it (default: false)
---@field held? integer for how many stills in a row a tracked box may be held, wider and wider, where it is lost; more stop the render; a whole number from 0 to 100000 (default: 0)

---A box of the still that is hidden in every window: fixed, or moving by keys on the shoot's axis, key { at = still(10), box(…) }.
---@param fields stillpath.CoverFields
---@return stillpath.Cover
function cover(fields) end

---@class stillpath.StampFields
---@field text? string a line of text; {clock}, {number}, {name} and {elapsed} are the still's, {clock:%H:%M} written so; {{ and }} are braces (default: none)
---@field picture? string in place of a text: a picture file, clear parts and all, relative to the script (default: none)
---@field at? stillpath.Point where in the frame it is pinned, in fractions of the frame (default: point(0.95, 0.95))
---@field pin? "top-left"|"top"|"top-right"|"left"|"middle"|"right"|"bottom-left"|"bottom"|"bottom-right" which part of it lies at that point; all of it stays inside the delivery's safe part (default: the one from which it grows inwards)
---@field size? number the height of the line or the picture, as a fraction of the frame's shorter side; a number above 0 and up to 1 (default: 0.03)
---@field font? string a font file (TTF, OTF), relative to the script (default: the program's own letters)
---@field colour? string the colour of the letters (default: "#ffffff")
---@field outline? boolean|number|stillpath.StampOutlineFields the line around the letters, by which they are read on any picture (default: true)

---A line of text, or a picture, laid over frames: in a shot, or in a delivery, whose own list replaces the shot's.
---@param fields stillpath.StampFields
---@return stillpath.Stamp
function stamp(fields) end

---@class stillpath.StampOutlineFields
---@field width? number as a fraction of the line's height; a number from 0 to 0.25 (default: 0.06)
---@field colour? string its colour (default: "#000000")

---@class stillpath.KeyFields
---@field [1] stillpath.Box|nil a box, in a follow or a cover
---@field at number|string|stillpath.Moment the moment
---@field ease? "linear"|"ease"|"ease-in"|"ease-out"|"ease-in-out"|"step-start"|"step-end"|stillpath.Ease the way to this key from the one before (default: "linear")
---@field rate? stillpath.Rate in a pace: how fast the shoot runs there (default: none)
---@field keep? boolean in a pace: fit leaves the way to this key alone (default: false)
---@field freeze? number|string in a pace: how many seconds the shoot rests at this moment; seconds above 0 and up to 86400: a number or "20s" (default: none)
---@field reverse? boolean in a pace: the shoot runs backwards on the way to this key, from its end where this is the first (default: false)
---@field on? stillpath.Point in a framing: the point of the still looked at (default: none)
---@field zoom? number in a framing: 1 is the largest window of the delivery's shape and the key's roll inside the still, 2 half as wide; a number from 1 to 1000 (default: 1)
---@field span? number in a framing: the window's width as a fraction of the still's; a number above 0 and up to 1 (default: none)
---@field show? stillpath.Box in a framing: a box to keep in frame (default: none)
---@field margin? number in a framing: fraction of the frame's side kept free around show, on each side; a number from 0 to below 0.5 (default: 0)
---@field hold? number|string in a framing: seconds of screen time the window rests at this key before it goes on; seconds above 0 and up to 86400: a number or "20s" (default: none)
---@field stop? boolean in a framing: the window comes to rest at this key and sets off from rest (default: false)
---@field roll? number in a framing: degrees the window is turned clockwise about its centre, so that the picture turns the other way; a number from -360 to 360 (default: 0)

---A value pinned to a moment, for a pace, a framing, a follow or a cover.
---@param fields stillpath.KeyFields
---@return stillpath.Key
function key(fields) end

---@class stillpath.DeliveryFields
---@field [1] string its name
---@field purpose? string a row of the table of purposes (`stillpath purposes` lists them): its frame, rate, codec, quality and safe box hold where the delivery says nothing, and its bounds are held against what comes out (default: none)
---@field frame? [integer, integer]|"full" frame size in pixels; even for h264; "full" in a master: the still's own; { width, height } in whole pixels from 16 to 16384, or "full" in a master (default: the purpose's; else it must be given)
---@field fps? number|string frames a second; frames a second, above 0 and up to 480: a whole number or "30000/1001" (default: the shot's)
---@field every? "still" makes a master: every whole still of the source as a frame, all of it, regardless of pace and framing; it opens as recording "NAME.mkv" with the stills' names, numbers and clock (default: what the pace shows)
---@field codec? "h264"|"hevc"|"av1"|"prores"|"dnxhr"|"ffv1"|"png"|"tiff"|"jpeg"|stillpath.DeliveryCodecFields a name, or a table of it with what the codec knows; 8-bit H.264, 10-bit HEVC and AV1 in MP4; 10-bit ProRes and DNxHR HQX in QuickTime; FFV1, which loses nothing, in Matroska; PNG, TIFF and JPEG as a folder of files; in a master FFV1 or HEVC, both in Matroska (default: "h264"; in a master "ffv1")
---@field quality? number|stillpath.DeliveryQualityFields 0 (smallest) to 100 (finest), one scale for all codecs that lose anything; for h264, hevc and av1 also the encoder's own settings (default: 75)
---@field size? string h264, hevc and av1: what the finished file may have, such as "95MB": it has at most that, and at least 97 % of it where the frames need as much; in place of quality (default: none: the quality says)
---@field most? number|string h264, hevc and av1: the most bits a second, such as "12M" (default: no cap)
---@field place? stillpath.Point where in the frame the point looked at, or the box's centre, is placed (default: the middle of safe, point(0.5, 0.5))
---@field safe? "action"|"title"|stillpath.DeliverySafeFields the part of the frame that boxes to show or follow are kept in (default: all of the frame)
---@field framing? stillpath.Framing keys of its own (default: the shot's)
---@field sharpness? "even"|"full" even: sharpness does not come and go in a slow move; full: the plain kernel (default: "even")
---@field resample? "linear"|"encoded" linear: stars, wires and lamps in the dark keep their light where the frame is smaller than its window; painting is softer (sharpness has no say) and takes longer (default: "encoded")
---@field shutter? number degrees: each frame is the mean of the stills that pass while the shutter is open; 360 is one frame's time, 0 is one still; a number from 0 to 1440 (default: the shot's)
---@field gather? "mean"|"brightest"|"darkest"|"median"|stillpath.GatherFields what a frame takes of its stills: their mean, or by channel the brightest (star trails), the darkest, or the median light (passers-by vanish); a table says over how many stills, or that it grows (default: the shot's)
---@field between? "nearest"|"mix"|"motion" where the pace is below one still a frame, what a frame between two stills shows: the still whose turn it is, the mean of both, or a frame invented from the motion between them ("mix" where the motion is not known) (default: the shot's)
---@field light? "linear"|"encoded" how stills are averaged: linear adds up light, as a camera's open shutter does; encoded adds up the values of the files (default: the shot's)
---@field sound? "real-time"|"none" what is kept of a recording's sound: real-time keeps it where the pace runs in real time, with a fade at each end, and is silent elsewhere (default: the shot's)
---@field timecode? string MP4 and QuickTime: the first frame's timecode, "01:00:00:00" ("01:00:00;00" of drop-frame), or "clock", the time of day of the first still (default: none)
---@field title? string what the file calls itself, up to 200 letters; nothing else that you or a camera wrote goes into a file (default: none)
---@field poster? number|string|stillpath.Moment|[number|string|stillpath.Moment, "png"|"jpeg"] the frame at this moment is kept beside the output as a picture, NAME-poster.png: a 16-bit PNG, the frame to the code; { moment, "jpeg" } makes an 8-bit JPEG (default: none)
---@field stamps? stillpath.Stamp[] what is laid over the frames: lines of text with each still's time, number or name, and pictures (default: the shot's)

---A named output: frame size, frame rate, encoding.
---@param fields stillpath.DeliveryFields
---@return stillpath.Delivery
function delivery(fields) end

---@class stillpath.GatherFields
---@field [1] "mean"|"brightest"|"darkest"|"median" its word
---@field stills? integer how many stills a frame takes: of brightest and darkest those up to the one whose turn it is, of median those around it; a whole number from 2 to 10000 (default: those that pass while the shutter is open)
---@field grow? boolean brightest, darkest: whether every frame takes one still after the other to what the frame before has (default: false)
---@field from? number|string|stillpath.Moment where a growing one begins: until then each frame is one still, as without gather (default: the first still)

---@class stillpath.DeliveryCodecFields
---@field [1] "h264"|"hevc"|"av1"|"prores"|"dnxhr"|"ffv1"|"png"|"tiff"|"jpeg" its name
---@field crf? number h264, hevc: the constant rate factor of x264 or x265, 1 to 51; av1: that of SVT-AV1, 1 to 63, whole; a number from 1 to 63 (default: by quality)
---@field preset? "ultrafast"|"superfast"|"veryfast"|"faster"|"fast"|"medium"|"slow"|"slower"|"veryslow"|"placebo"|integer h264, hevc, av1: the encoder's preset (default: "medium"; 8 for av1)
---@field tune? "film"|"animation"|"grain"|"stillimage"|"fastdecode" h264: x264's tune (default: none)
---@field profile? string prores: "proxy", "lt", "standard", "hq" (all 4:2:2) or "4444" (4:4:4) (default: by quality)
---@field samples? string ffv1: "422" or "444" of 10 bits, or "rgb" of 16 (default: "422")
---@field depth? integer png: bits of a sample, 8 or 16; a whole number from 8 to 16 (default: 16)
---@field quality? integer jpeg: libjpeg's scale; a whole number from 1 to 100 (default: by the delivery's)

---@class stillpath.DeliveryQualityFields
---@field crf? number the constant rate factor of x264, x265 or SVT-AV1; a number from 1 to 51 (default: 18; 21 for hevc, 8 for av1)
---@field preset? "ultrafast"|"superfast"|"veryfast"|"faster"|"fast"|"medium"|"slow"|"slower"|"veryslow"|"placebo" the encoder's preset; not for av1 (default: "medium")
---@field tune? "film"|"animation"|"grain"|"stillimage"|"fastdecode" x264's tune (default: none)

---@class stillpath.DeliverySafeFields
---@field left? number kept free on the left, as a fraction of the frame's width; a number from 0 to below 1 (default: 0)
---@field right? number kept free on the right, as a fraction of the frame's width; a number from 0 to below 1 (default: 0)
---@field top? number kept free at the top, as a fraction of the frame's height; a number from 0 to below 1 (default: 0)
---@field bottom? number kept free at the bottom, as a fraction of the frame's height; a number from 0 to below 1 (default: 0)

---@class stillpath.LinearFields
---@field [integer] number|number[] stops

---The ease that CSS calls linear(): outputs, each on its own or as { output, input } or { output, input, input }.
---@param fields stillpath.LinearFields
---@return stillpath.Ease
function linear(fields) end

---A box over the upright still, in fractions of it.
---@param x number left edge, as a fraction of the still's width; a number from 0 to 1
---@param y number top edge, as a fraction of the still's height; a number from 0 to 1
---@param width number as a fraction of the still's width; a number above 0 and up to 1
---@param height number as a fraction of the still's height; a number above 0 and up to 1
---@return stillpath.Box
function box(x, y, width, height) end

---A point over the upright still (or a frame), in fractions of it.
---@param x number across, as a fraction of the width; a number from 0 to 1
---@param y number down, as a fraction of the height; a number from 0 to 1
---@return stillpath.Point
function point(x, y) end

---A point over the upright still, in continuous pixels: the first pixel's centre is px(0.5, 0.5).
---@param x number across, in pixels of the upright still; a number from 0 to 1000000
---@param y number down, in pixels of the upright still; a number from 0 to 1000000
---@return stillpath.Point
function px(x, y) end

---A line drawn over the upright still, followed by the window's centre at even speed.
---@param line string an SVG path in fractions of the still, in one stroke: "M 0.1 0.5 C 0.3 0.2 0.6 0.2 0.9 0.5"
---@return stillpath.Drawing
function drawing(line) end

---The moment of a still.
---@param which integer|string counted from 1, missing ones included; -1 is the last; or a file name without extension; a whole number other than 0, or a file name without its extension
---@return stillpath.Moment
function still(which) end

---The moment of a clock time.
---@param time string the camera's local time
---@return stillpath.Moment
function clock(time) end

---The moment a fraction of the way through the shoot.
---@param fraction number 0 is the shoot's beginning, 1 its end; a number from 0 to 1
---@return stillpath.Moment
function part(fraction) end

---A part of the shoot to leave out, both ends included: it takes no time, and no key may lie in it.
---@param from "start"|"end"|stillpath.Moment the first moment left out
---@param to "start"|"end"|stillpath.Moment the last moment left out, including the still it names
---@return stillpath.Cut
function cut(from, to) end

---A step of the clock, which evens out stills taken at odd times.
---@param step number|string from one still to the next
---@return stillpath.Every
function every(step) end

---How many stills pass in one frame of the shot's rate.
---@param stills number stills a frame; a number above 0 and up to 1000000
---@return stillpath.Rate
function stills_per_frame(stills) end

---How many frames of the shot's rate each still is shown for.
---@param frames number frames a still; a number above 0 and up to 1000000
---@return stillpath.Rate
function frames_per_still(frames) end

---A multiple of real time; needs capture times or an interval.
---@param factor number how many times faster than it was; a number above 0 and up to 1000000000
---@return stillpath.Rate
function times(factor) end

---A percentage of one still a frame.
---@param percent number 100 is one still a frame; a number above 0 and up to 100000000
---@return stillpath.Rate
function percent(percent) end

---The whole shoot, evenly, in this many seconds.
---@param length number|string seconds; seconds above 0 and up to 86400: a number or "20s"
---@return stillpath.Length
function over(length) end

---The ease that CSS calls cubic-bezier().
---@param x1 number first control point, across; a number from 0 to 1
---@param y1 number first control point, up; a number from -1000 to 1000
---@param x2 number second control point, across; a number from 0 to 1
---@param y2 number second control point, up; a number from -1000 to 1000
---@return stillpath.Ease
function cubic_bezier(x1, y1, x2, y2) end

---The ease that CSS calls steps().
---@param count integer how many; at least 2 with "jump-none"; a whole number from 1 to 100000
---@param jump? "jump-start"|"jump-end"|"jump-none"|"jump-both"|"start"|"end" where the jumps are (default: "jump-end")
---@return stillpath.Ease
function steps(count, jump) end

---A value that whoever runs the script may set with --set name=value.
---@generic T: number|string|boolean
---@param name string what --set calls it; 1 to 64 of the letters A-Z a-z, digits, '_' and '-'
---@param default T its value when nothing is set; its type is the dial's
---@param options? stillpath.DialOptionsFields min, max, choices, help (default: none)
---@return T
function dial(name, default, options) end

---@class stillpath.DialOptionsFields
---@field min? number the smallest number allowed; a number that is finite (default: none)
---@field max? number the largest number allowed; a number that is finite (default: none)
---@field choices? table the texts or numbers allowed (default: none)
---@field help? string what it does, in a line (default: none)

---For modules: what a move was called with, over its defaults; unknown arguments are reported on the caller's line.
---@generic T: table
---@param move string the move's name, for messages
---@param given? table what the move was called with (default: reported on the caller's line)
---@param defaults T every argument it has, with its default
---@return T
function arguments(move, given, defaults) end

---What require "moves" gives: every move by its name, each also as require "moves.NAME".
---@class stillpath.Moves
---@field action fun(given: table): stillpath.Framing Action: keeps the part in which most happens in every shape, and rests where nothing moves.
---@field arc fun(given: table): stillpath.Framing Arc: travels from one point to another on a curve through a third.
---@field breathe fun(given: table): stillpath.Framing Breathe: comes a little closer and draws back again, so slowly that a fixed frame seems alive and not moved.
---@field day_cut fun(given: table): stillpath.Pace Day cut: rushes through the nights of a shoot of several days, by its capture times.
---@field follow fun(given: table): stillpath.Framing Follow: keeps something that moves in frame, on the smoothest path there is.
---@field liveliest fun(given: table): stillpath.Pace Liveliest: runs through what is idle and slows where things happen.
---@field pan fun(given: table): stillpath.Framing Pan: travels from one point to another at one closeness.
---@field pull_out fun(given: table): stillpath.Framing Pull out: draws back from one point, evenly to the eye.
---@field push_in fun(given: table): stillpath.Framing Push in: comes closer to one point, evenly to the eye.
---@field reveal fun(given: table): stillpath.Framing Reveal: rests on a detail, then draws back until the whole is seen.
---@field settle fun(given: table): stillpath.Framing Settle: moves off at once and fast, lands softly on a point and stays there.
---@field tilt fun(given: table): stillpath.Framing Tilt: travels up or down from one point to another at one closeness.
