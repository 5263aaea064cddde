//! What stands below the options of every command: examples, and what is worth knowing.

/// What stands below the list of commands.
pub(super) const FIRST_STEPS: &str = "\
First steps:
  stillpath demo DIR                                a shoot to play with
  stillpath render DIR/harbour.lua --out DIR/clips  its clips

With your own stills:
  stillpath survey FOLDER                       what they hold
  stillpath new FOLDER                          a first script, such as day.lua
  stillpath check day.lua                       mistakes and remarks
  stillpath live day.lua                        the move in your browser, or
  stillpath draw day.lua -o sheet.svg           on paper
  stillpath render day.lua --out clips --draft  quick drafts to judge it by
  stillpath render day.lua --out clips          the clips
  stillpath prove clips/day-receipt.json        whether all is as it was left

`stillpath COMMAND --help` lists a command's options, with examples.

Stills are only ever read.

Exit codes: 0 done, 1 the script or plan was refused, something is not proved, or a clip flashes, 2 the render failed, \
64 wrong usage, 130 interrupted.";
pub(super) const HOW_TO_CHECK: &str = "\
Examples:
  stillpath check harbour.lua
  stillpath check harbour.lua --set near=1.5

Of stills it reads names, headers and ends, which takes seconds. Only a script with level = true or steady = true makes it \
read pixels, and one that goes where most happens (action, liveliest): of every still, the first time; what that measures is \
kept for the next check, and for the render.";
pub(super) const HOW_TO_PLAN: &str = "\
Examples:
  stillpath plan harbour.lua --delivery vertical
  stillpath plan harbour.lua --csv > plan.csv

Stills are counted from 1; 7<6 means that still 6 is held in place of still 7. \
x, y, width and height are the window in pixels of the upright still. \
Enlarged is how many pixels of the frame one pixel of the still fills.

\
With --csv a frame of several stills has a line for each, with its weight; the window stands there twice, as the script \
moves it (x, y, width, height, roll) and as it lies over that still (still_x, …), which differs where stills are steadied. \
framing { table = \"plan.csv\" } in a script takes it as its path.";
pub(super) const HOW_TO_DIALS: &str = "\
Example:
  stillpath dials harbour.lua";
pub(super) const HOW_TO_EXPLAIN: &str = "\
Examples:
  stillpath explain harbour.lua --delivery wide --frame 120
  stillpath explain harbour.lua --delivery wide --at 14:32";
pub(super) const HOW_TO_DIFF: &str = "\
Examples:
  stillpath diff before.lua after.lua
  stillpath diff before.lua after.lua --delivery wide -o changes.svg

Shots and deliveries are compared by name, frames by number. --set and --source apply to both scripts.";
pub(super) const HOW_TO_DRAW: &str = "\
Examples:
  stillpath draw harbour.lua -o sheet.svg
  stillpath draw harbour.lua -o sheet.png --delivery wide --at 14:32
  stillpath draw harbour.lua --strip -o strip.png

A sheet shows a still with every delivery's windows, and below it what changes over the clip: zoom, place, \
pace, still, enlargement, speed, and remarks where they occur. A script that returns several shots gets one \
sheet each, sheet-NAME.svg.";
pub(super) const HOW_TO_SURVEY: &str = "\
Examples:
  stillpath survey stills
  stillpath survey stills --look
  stillpath survey stills --picture sheet.png
  stillpath survey \"stills/*.JPG\"
  stillpath survey day.mov

What --look measures is kept below $XDG_CACHE_HOME/stillpath (else ~/.cache/stillpath), so that the \
next look is quick; the folder may be deleted at any time.";
pub(super) const HOW_TO_LIST: &str = "\
Examples:
  stillpath list footage
  stillpath list footage -o list.html
  stillpath list footage --hash

A shoot is a folder with three stills or more. Of each, a few headers are read; days between two stills of one day are taken \
to be that day. Scripts are run in the sandbox, as far as they go, and no shoot of theirs is looked at. Finished clips are \
those that receipts (*-receipt.json) tell of: whether clip and stills are there and have their sizes, with --hash their bytes. \
It writes nothing into the folder, follows no link to a folder, and passes over what is hidden.

With --json one object: format (\"stillpath-list-1\"), folder, hashed, shoots, videos, scripts, renders, passed_over; paths \
are seen from the folder.
  shoots    path, stills, bytes, size ([width, height] or null), other_sizes, raw,
            days ([{date, stills}]), undated, days_cut_short, scripts, receipts
  videos    path, bytes, draft, scripts: those that no receipt names
  scripts   path, sources ([{written, recording}]), deliveries, mistakes,
            first_mistake
  renders   receipt, seal (\"whole\", \"edited\", \"none\"), wrong, made,
            script ({path, state}), stills ({state: how many}),
            clips ([{delivery, path, state, codec, width, height, frames, rate,
            bytes}])
A state is \"same\", \"same-size\", \"there\", \"unreadable\", \"changed\", \"other-size\", \"missing\" or \"elsewhere\".";
pub(super) const HOW_TO_FLASH: &str = "\
Examples:
  stillpath flash clips/harbour-wide.mp4
  stillpath flash harbour.lua --out clips
  stillpath flash clips/harbour-wide.mp4 --white 200 -o flashes.svg
  stillpath flash clips/harbour-frames --fps 24

A flash is a change of light by a tenth of white or more and back, where the darker state is below 0.8 of it, or a change \
to a saturated red and back. More than three within a second, over more than a quarter of a field of 10 degrees (a third \
of the width of a usual screen), are above the limit of WCAG 2.2. With --white also by ITU-R BT.1702: 20 cd/m² and more \
over more than a quarter of the screen.

Nothing is certified. Pictures within the limits can still harm a person who is sensitive; a broadcaster's own check, and \
local rules, come first.

Exit codes: 0 nothing is above a limit, 1 something is, 2 a clip could not be looked at to its end.";
pub(super) const HOW_TO_FRAME: &str = "\
Examples:
  stillpath frame harbour.lua --delivery wide --frame 120 -o look.png
  stillpath frame harbour.lua --delivery wide --at 5s -o look.png

Frames are counted from 0; `stillpath plan` says which still each of them shows.";
pub(super) const HOW_TO_RENDER: &str = "\
Examples:
  stillpath render harbour.lua --out clips
  stillpath render harbour.lua --out clips --draft
  stillpath render harbour.lua --out clips --delivery vertical --force
  stillpath render harbour.lua --out clips --set near=1.5
  stillpath render harbour.lua --out tuesday --source /media/card/tuesday

Outputs are clips/harbour-vertical.mp4 and so on: the script's name, then the delivery's. clips/harbour-strip.png beside \
them shows some frames of each. Drafts are clips/harbour-vertical.draft.mp4; they replace earlier drafts without being \
told to, and never a finished file.

clips/harbour-receipt.json records what was made, from which stills, with what: hashes of the script and of every still, \
frame and file. With --delivery it covers only those: clips/harbour-vertical-receipt.json. It replaces an earlier receipt \
of the same script. If only the receipt cannot be written, the clips stay and the exit code is 2; the same command then \
writes it without making a frame again.

An interrupted run (Ctrl-C, a power cut, a lost drive, a full disk) keeps what is whole, in stretches of at most 4 s of the clip, and as short as 1 s where that takes 5 s to make, in \
hidden folders such as clips/.harbour-vertical.mp4.part. The same command goes on from there; after a change to the \
script, only frames that differ are made again. --fresh starts from the beginning. --force is for finished outputs only. \
The folders go when the outputs are complete; you may delete them at any time.";
pub(super) const HOW_TO_TEND: &str = "\
Examples:
  stillpath tend site.lua --out clips
  stillpath tend site.lua --out clips --every 10m

It renders what is there, then waits for stills and renders again: only stretches whose frames changed are made, so give the \
shot a pace that does not change with the number of stills (pace = stills_per_frame(1)). Between the clips lie, hidden, the \
stretches they are put together from, about as large as the clips. A still that is being written is waited for. When no \
still has come for three intervals, that is said. Clips are never replaced by ones of fewer stills. Ctrl-C stops; the same \
command goes on. It reads the stills' folders and uses no network.";
pub(super) const HOW_TO_LOOK: &str = "\
Examples:
  stillpath look harbour.lua
  stillpath look harbour.lua --share 3/16

For scripts with level = true or steady = true, or that go where most happens. Whoever checks or renders the script next finds what was measured, below \
$XDG_CACHE_HOME/stillpath (else ~/.cache/stillpath). Where many machines look, each at its share, set XDG_CACHE_HOME to one \
folder that all of them see. The tables are those that one machine would make.";
pub(super) const HOW_TO_JOIN: &str = "\
Examples:
  stillpath render harbour.lua --out clips --threads 4 --share 1/2
  stillpath render harbour.lua --out clips --threads 4 --share 2/2
  stillpath join harbour.lua --out clips

Every share may be made on another machine: all see the same stills, the same folder clips, and have the same build of this \
program. Shares may be made in any order, more than once, and again after they were killed; each goes on from what it kept. \
The clips have the bytes that one machine would have given them with the same --threads.

join names the shares that are missing, or were made of other stills, by another script, or by another build. It makes no \
frames itself, but for deliveries with a size, for posters, and where a still turns out damaged between two shares.";
pub(super) const HOW_TO_PROVE: &str = "\
Examples:
  stillpath prove clips/harbour-receipt.json
  stillpath prove clips/harbour-receipt.json --frames all
  stillpath prove clips/harbour-receipt.json --copy /media/backup/harbour
  stillpath prove clips/harbour-receipt.json --list stills.b3 --list stills.sha256

Every clip is decoded to its end, the script is run again with the same settings, every still is hashed again, and some \
frames are remade from the stills and compared: equal to the bit for PNG, at least 38 dB of luma for H.264 at its default \
quality. The answer says what is proved, and names what is not. Frames that are not remade rest on the receipt's hashes. \
That all is proved does not make the stills safe to delete: keep two verified copies.

Check lists with `b3sum --check stills.b3` and `sha256sum --check stills.sha256`, in their folder.

Exit codes: 0 all is proved, 1 something is not as the receipt says, 2 something could not be found out.";
pub(super) const HOW_TO_HAND: &str = "\
Examples:
  stillpath hand harbour.lua -o clips/harbour.otio
  stillpath hand harbour.lua -o edit/harbour.otio --clips clips

A timeline of OpenTimelineIO for each delivery: harbour-wide.otio and so on, or the very name where there is one delivery. \
Where a script returns several shots, those of the same frame and rate follow one another in one timeline, named by its \
frame: harbour-1920x1080.otio. Each shot is its finished clip, with markers at keys and over the frames of remarks. The \
move itself (for every frame the still and the window) and the stills stand in metadata called stillpath; no other \
program is promised to repeat it. Clips are looked for beside the timeline; one that is not there yet is named all the same.";
pub(super) const HOW_TO_RECKON: &str = "\
Examples:
  stillpath reckon --event 8h --interval 5s --fps 30
  stillpath reckon --event 8h --clip 90s --fps 24 --interval '?'
  stillpath reckon --event 8h --fps 24 --interval 2..30
  stillpath reckon --event 8h --interval 5s --exposure 1/50 --mains 50
  stillpath reckon --event 8h --interval 5s --still-takes 12MB --card 64GB
  stillpath reckon --interval 5s --speed 1.4m/s --across 12m
  stillpath reckon stills --fps 24
  stillpath reckon --event 8h --interval 5s --fps 24 --sheet sheet.svg

Give what you know; what follows from it is answered, with the arithmetic. One of event, interval, pause, exposure, angle, \
clip, fps, frames-per-still, stills and card may be asked for with a question mark, in quotes so that your shell leaves it \
alone. One of event, interval, exposure, clip and fps may be a range: that gives a table.

Times carry their units: 8h, 8h30m, 90s, 1/50. The picture's width at the subject (--across) can be paced out. Of a shoot \
that is there its stills, interval and exposure are found, and what you type goes before them.";
pub(super) const HOW_TO_LEVEL: &str = "\
Examples:
  stillpath level harbour.lua
  stillpath level harbour.lua -o gains.csv

For a shot with level = true. A gain is what a still's linear light is multiplied by; level and target are its light \
before and after, relative to the first still's, for reading only. Use an edited table with \
level = { curve = \"gains.csv\" }. If the stills have not been measured yet, that is done first.";
pub(super) const HOW_TO_STEADY: &str = "\
Examples:
  stillpath steady harbour.lua
  stillpath steady harbour.lua -o stands.csv

For a shot with steady = true. x and y are how far a still's picture is shifted to the right and down, in pixels of the \
upright still; turn is how far it is turned clockwise about the still's centre, in degrees; all relative to the view that \
the shoot began with. Use an edited table with steady = { curve = \"stands.csv\" }; a still it does not list is \
interpolated from those before and after.";
pub(super) const HOW_TO_LIVE: &str = "\
Examples:
  stillpath live harbour.lua --open
  stillpath live harbour.lua --port 8642 --set near=1.5

Open the printed address in a browser on this computer; nothing is reachable from outside. Save the script and \
the page updates at once. Nothing on the page writes to the script or the stills. Ctrl-C ends it.

With STILLPATH_EDITOR=\"edit +{line} {file}\" set to your editor's own command, a click on a key opens its line.";
pub(super) const HOW_TO_NEW: &str = "\
Examples:
  stillpath new stills
  stillpath new stills --moves
  stillpath new /media/card/DCIM -o scripts/yard.lua
  stillpath new day.mov";
pub(super) const HOW_TO_CACHE: &str = "\
Examples:
  stillpath cache
  stillpath cache --clear

The cache is $XDG_CACHE_HOME/stillpath (else ~/.cache/stillpath). Clearing it costs only the time to make it again.";
pub(super) const HOW_TO_PURPOSES: &str = "\
Examples:
  stillpath purposes
  stillpath purposes --copy

Example in a script:
  delivery { \"tall\", purpose = \"vertical clip for phones\" }

Your own table is $XDG_CONFIG_HOME/stillpath/deliveries.toml (else ~/.config/stillpath/deliveries.toml). Its rows go \
before the program's of the same name. `stillpath check` says where a delivery does other than its purpose.";
pub(super) const HOW_TO_DEMO: &str = "\
Examples:
  stillpath demo demo
  stillpath demo small --stills 40 --size 2000x1500";
pub(super) const HOW_TO_TYPES: &str = "\
Example:
  stillpath types > types/stillpath.lua

Then name the folder `types` in the Lua language server's setting workspace.library.";
pub(super) const HOW_TO_MOVES: &str = "\
Examples:
  stillpath moves
  stillpath moves push_in
  stillpath moves push_in -o push_in.svg
  stillpath moves --json

Example of a move in a script:
  local moves = require \"moves\"
  … framing = moves.push_in { on = point(0.62, 0.48), to = 2 },";
