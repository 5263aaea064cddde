// The page: what is asked for, what is shown, and who is told of what.

import { Band } from "./band.js";
import { Clock } from "./clock.js";
import { Delivered } from "./delivered.js";
import { dials, setLine } from "./dials.js";
import { keyboard } from "./keyboard.js";
import { chips, remarks } from "./panels.js";
import { LOOKS, lineOf, windowAt } from "./shapes.js";
import { Stage } from "./stage.js";
import { Stills } from "./stills.js";

const by = (id) => document.getElementById(id);
const main = document.querySelector("main");

const picked = { shot: 0, delivery: null, hidden: new Set(), safe: false, boxes: true, set: new Map(), before: false, swapped: false };
let view = null;
let plan = null;
let shot = null;
/** The good plan before the one that is shown, and the one that is held up against it. */
let [previous, held] = [null, null];
/** Remarks of the plan that is shown. */
let remarked = [];
/** The shown plan's shots as text: whether another plan is another at all. */
let written = "";

LOOKS.forEach(({ dark, light }, at) => {
  document.documentElement.style.setProperty(`--dark-${at}`, dark);
  document.documentElement.style.setProperty(`--light-${at}`, light);
});

const stills = new Stills(() => draw());
const chosenAt = () => Math.max(0, shot.deliveries.findIndex(({ name }) => name === picked.delivery));
const chosen = () => shot.deliveries[chosenAt()];
const framesOf = (delivery) => ({ frames: delivery.x.length, fps: delivery.fps });
const clock = new Clock({ span: () => framesOf(chosen()), shown: () => draw(), ran });
const frameOf = (delivery) => clock.frameOf(framesOf(delivery));
const stage = new Stage({ box: by("stage"), canvas: by("ground"), over: by("over"), handles: by("handles"), tell, rest: () => clock.play(false), open: openKey, drawnElsewhere: () => draw() });
const delivered = new Delivered({ box: by("frame"), canvas: by("preview"), note: by("frame-note"), gone: () => load() });
delivered.redraw = () => { rendered = null; if (shot) draw(); };
const band = new Band(by("band"), { seek, open: openKey, jump: (delivery, frame) => { choose(delivery.name); seek(frame / delivery.fps); } });

/** Says how the page stands to the script; what is wrong is said before anything else, until a view is shown whole. */
function state(text, isWrong = false) {
  by("state").textContent = text;
  by("state").classList.toggle("wrong", isWrong);
}
const broken = (what) => state(`This page met an error: ${what}. Reload it.`, true);
addEventListener("error", (event) => broken(event.message));
addEventListener("unhandledrejection", (event) => broken(event.reason?.message ?? event.reason));

/** Asks for the plan; of several questions only the last is answered. */
let asked = 0;
async function load() {
  const mine = ++asked;
  const query = [...picked.set].map(([name, value]) => `set=${encodeURIComponent(`${name}=${value}`)}`).join("&");
  const slow = setTimeout(() => mine === asked && state("Reading the script …"), 150);
  let answer;
  try {
    answer = await fetch(`/view?${query}`);
    if (!answer.ok) throw new Error(await answer.text());
    answer = await answer.json();
  } catch (error) {
    if (mine === asked) state(`No answer: ${error.message}`, true);
    return;
  } finally {
    clearTimeout(slow);
  }
  if (mine !== asked) return;
  try {
    show(answer);
  } catch (error) {
    broken(error.message);
    throw error;
  }
}

function show(answer) {
  view = answer;
  // Dials that were refused leave the plan that this page showed.
  const shown = answer.refused ? (plan ?? answer.plan) : answer.plan;
  document.title = `${answer.script}, Stillpath`;
  by("title").textContent = answer.script;
  by("mistakes").hidden = !answer.refused;
  by("mistakes-text").textContent = answer.refused ? answer.said.mistakes : "";
  by("mistakes-title").textContent = shown ? "The script was refused; the pictures show the last good plan" : "The script was refused";
  main.classList.toggle("bare", !shown);
  stills.forgetFailures();
  const was = written;
  if (!answer.refused) written = JSON.stringify(answer.plan.shots);
  if (plan && was !== written) previous = plan;
  // The same plan again leaves whoever is at work on it alone.
  if (shown && plan && was === written) arrangePlan(Object.assign(plan, { id: shown.id, dials: shown.dials }), false);
  else if (shown) arrangePlan(shown);
  if (answer.refused) state("Not up to date.", true);
  else state(`Up to date, ${new Date().toLocaleTimeString()}.`);
  document.body.dataset.version = answer.version;
}

function arrangePlan(made, isAnother = true) {
  // A refused script has none of its own: those of the plan that is shown stay.
  if (!view.refused) remarked = view.said.list.filter(({ severity }) => severity === "remark");
  plan = made;
  picked.shot = Math.min(picked.shot, made.shots.length - 1);
  shot = made.shots[picked.shot];
  if (!shot.deliveries.some(({ name }) => name === picked.delivery)) picked.delivery = shot.deliveries[0].name;
  by("shots").hidden = made.shots.length < 2;
  by("shot").replaceChildren(...made.shots.map(({ name }, at) => new Option(name, at, false, at === picked.shot)));
  by("dials-part").hidden = made.dials.length === 0;
  dials(by("dials"), made.dials, (name, value) => {
    picked.set.set(name, value);
    setShown();
    clearTimeout(load.soon);
    load.soon = setTimeout(load, 90);
  });
  setShown();
  remarks(by("remarks"), remarked, shot, (delivery, frame) => {
    choose(delivery.name);
    seek(frame / delivery.fps);
  });
  by("before").disabled = !previous && !held;
  if (!isAnother) return draw();
  clock.seconds = Math.min(clock.seconds, shot.length);
  arrange();
}

function setShown() {
  by("set-line").hidden = picked.set.size === 0;
  by("set-text").textContent = setLine(picked.set);
}

function choose(name) {
  picked.delivery = name;
  picked.hidden.delete(name);
  arrange();
}

/** Shows which delivery is chosen and which are shown. */
function arrange() {
  const at = chosenAt();
  const delivery = chosen();
  const focused = document.activeElement;
  const place = by("chips").contains(focused) ? [...by("chips").querySelectorAll("button")].indexOf(focused) : -1;
  chips(by("chips"), shot, { chosen: at, hidden: picked.hidden },
    (index) => choose(shot.deliveries[index].name),
    (name) => { if (!picked.hidden.delete(name)) picked.hidden.add(name); arrange(); });
  if (place >= 0) by("chips").querySelectorAll("button")[place]?.focus();
  by("bar").max = delivery.x.length - 1;
  const { width, height } = delivery.frame;
  main.classList.toggle("tall", !picked.swapped && width < 1.3 * height);
  main.classList.toggle("upright", !picked.swapped && width < 0.8 * height);
  const [follows, covers] = [shot.deliveries.some(({ subject }) => subject), shot.covers.length > 0];
  by("boxes-label").hidden = !follows && !covers;
  by("boxes-name").textContent = !covers ? "Subject" : follows ? "Subject and covers" : "Covers";
  const before = picked.before ? held?.shots[picked.shot] ?? null : null;
  stage.show({ shot, chosen: at, hidden: picked.hidden, safe: picked.safe, boxes: picked.boxes, frames: shot.deliveries.map(frameOf), before, seconds: clock.seconds });
  band.show({ shot, chosen: at, hidden: picked.hidden, before, remarks: remarked.filter(({ frames }) => frames) });
  delivered.choose(delivery, `${delivery.name}, ${width} × ${height} at ${Number(delivery.fps.toFixed(3))}/s`);
  rendered = null;
  draw();
}

function seek(seconds) {
  stage.drawn = null;
  clock.seek(seconds);
}

/** What the preview shows: asked for again only where that has changed. */
let rendered = null;
function draw() {
  if (!shot) return;
  const at = chosenAt();
  const delivery = chosen();
  const frame = frameOf(delivery);
  Object.assign(stage.view, { frames: shot.deliveries.map(frameOf), seconds: clock.seconds });
  stage.draw();
  band.at(frame / delivery.fps, clock.round());
  const [name, number] = shot.slots[delivery.shown[frame]];
  by("bar").value = frame;
  by("bar").setAttribute("aria-valuetext", `Frame ${frame}, ${(frame / delivery.fps).toFixed(2)} seconds`);
  by("now").textContent = `${(frame / delivery.fps).toFixed(2)} s  frame ${frame}  ${name}`;
  const { from, to, loops } = clock.round();
  by("loop").hidden = !loops;
  by("loop-text").textContent = `Loop ${from.toFixed(2)} to ${to.toFixed(2)} s`;
  want(delivery, frame);
  const due = number === null ? null : stills.get(number);
  const why = number === null ? "it is not there" : stills.why(number);
  by("ground-note").hidden = !why;
  by("ground-note").textContent = why ? `Still ${name} cannot be shown: ${why}` : "";
  const shown = due ? { bitmap: due, number } : clock.playing ? newest(delivery, frame) : null;
  coming(!shown && !why ? name : null);
  if (!shown) return delivered.forget();
  draw.shown = frame;
  stage.ground(shown.bitmap);
  const window = stage.drawn ?? windowAt(delivery, frame);
  const picture = JSON.stringify([view.version, plan.id, at, frame, shown.number, window, picked.safe, clock.playing]);
  if (picture === rendered) return;
  rendered = picture;
  delivered.cut(shown.bitmap, window, shot.still, picked.safe ? delivery.safe : null, clock.playing);
  counted(delivery, frame, shown.number);
  if (clock.playing || stage.drawn) delivered.forget();
  else delivered.settle(`/frame/${plan.id}/${picked.shot}/${at}/${frame}`, frame, picked.safe ? delivery.safe : null);
}

/** The newest still there is of those due since the one that was shown last. */
function newest(delivery, frame) {
  const from = draw.shown !== undefined && draw.shown <= frame ? draw.shown : Math.max(0, frame - Math.round(delivery.fps));
  for (let at = frame; at > from; at -= 1) {
    const number = shot.slots[delivery.shown[at]][1];
    const bitmap = number === null ? null : stills.get(number);
    if (bitmap) return { bitmap, number };
  }
  return null;
}

/** Pictures that were shown, each counted once; while the time runs, how many a second. */
const lately = [];
function counted(delivery, frame, number) {
  const { dataset } = by("preview");
  const picture = `${delivery.name} ${frame} ${number}`;
  if (picture === dataset.picture) return;
  Object.assign(dataset, { picture, drawn: Number(dataset.drawn ?? 0) + 1 });
  const now = performance.now();
  lately.push(now);
  while (lately.length > 0 && lately[0] < now - 1000) lately.shift();
  by("rate").textContent = clock.playing ? `${lately.length} pictures a second` : "";
}

/** Marks that what stands on the screen is not yet what the caption says. */
function coming(name) {
  clearTimeout(coming.soon);
  const mark = () => {
    for (const [box, label] of [["stage", "coming"], ["frame", "frame-coming"]]) {
      by(box).classList.toggle("waits", name !== null);
      by(label).hidden = name === null;
      by(label).textContent = name === null ? "" : `${name} is coming …`;
    }
  };
  // What comes at once needs no mark; while the time runs the picture before stands for what it is.
  if (name === null || by("stage").classList.contains("waits")) mark();
  else if (!clock.playing) coming.soon = setTimeout(mark, 60);
}

/** The still that is due, then those that are due next. */
function want(delivery, frame) {
  const from = (start, most, count) => {
    const due = [];
    for (let at = start; at < delivery.shown.length && at <= start + most && due.length < count; at += 1) {
      const number = shot.slots[delivery.shown[at]][1];
      if (due.at(-1) !== number) due.push(number);
    }
    return due;
  };
  if (!clock.playing) return stills.want(from(frame, 6, 24));
  stills.follow((milliseconds) => {
    const { to, from: begin, loops } = clock.round();
    const ahead = clock.seconds + milliseconds / 1000;
    const start = loops && ahead >= to ? begin + ((ahead - begin) % Math.max(to - begin, 0.04)) : ahead;
    return from(Math.floor(start * delivery.fps), Math.round(delivery.fps * 3), 48);
  });
}

function ran(on) {
  by("play").textContent = on ? "Stop" : "Play";
  by("play").setAttribute("aria-pressed", on);
  document.body.classList.toggle("runs", on);
  lately.length = 0;
  if (!on) by("rate").textContent = "";
  rendered = null;
}

function tell(what, line) {
  by("told").hidden = false;
  by("told-what").textContent = what;
  by("told-line").textContent = line;
  by("told-line").hidden = by("told-copy").hidden = line === "";
  // Said aloud once hands rest, not at every step.
  clearTimeout(tell.soon);
  tell.soon = setTimeout(() => { by("said").textContent = `${what} ${line}`; }, 350);
}

/** Goes to a key, says its line, and opens it where the program was told by what. */
async function openKey(key) {
  clock.play(false);
  seek(key.seconds);
  if (!view.opens) return tell(`This key is at ${lineOf(key.place)}. With STILLPATH_EDITOR set, a click opens it.`, "");
  const answer = await fetch(`/open/${plan.id}/${key.at}`, { method: "POST" });
  tell(answer.ok ? `Opened ${lineOf(key.place)}.` : `${lineOf(key.place)} could not be opened: ${await answer.text()}`, "");
}

async function copy(button, text) {
  let done = "Copied";
  try {
    await navigator.clipboard.writeText(text);
  } catch {
    getSelection().selectAllChildren(button.previousElementSibling);
    done = "Selected";
  }
  button.textContent = done;
  clearTimeout(button.soon);
  button.soon = setTimeout(() => { button.textContent = "Copy"; }, 1200);
}

function toggleBefore() {
  if (by("before").disabled) return;
  picked.before = !picked.before;
  held = picked.before ? previous : null;
  by("before").setAttribute("aria-pressed", picked.before);
  by("before").disabled = !previous && !held;
  arrange();
}

function toggleDim() {
  by("dim").setAttribute("aria-pressed", document.body.classList.toggle("dimmed"));
}

function toggleSwap() {
  picked.swapped = !picked.swapped;
  main.classList.toggle("swapped", picked.swapped);
  by("swap").setAttribute("aria-pressed", picked.swapped);
  if (shot) arrange();
}

function fill(on) {
  document.body.classList.toggle("filled", on);
  // A browser that does not let the page have the screen leaves it its window.
  if (on) document.documentElement.requestFullscreen?.().catch(() => {});
  else if (document.fullscreenElement) document.exitFullscreen();
}

by("bar").addEventListener("input", () => seek(Number(by("bar").value) / chosen().fps));
by("play").addEventListener("click", () => clock.play(!clock.playing));
by("safe").addEventListener("change", () => { picked.safe = by("safe").checked; arrange(); });
by("boxes").addEventListener("change", () => { picked.boxes = by("boxes").checked; arrange(); });
by("shot").addEventListener("change", () => { picked.shot = Number(by("shot").value); arrangePlan(plan); });
by("told-copy").addEventListener("click", () => copy(by("told-copy"), by("told-line").textContent));
by("set-copy").addEventListener("click", () => copy(by("set-copy"), by("set-text").textContent));
by("set-back").addEventListener("click", () => { picked.set.clear(); by("dials").replaceChildren(); load(); });
by("before").addEventListener("click", toggleBefore);
by("dim").addEventListener("click", toggleDim);
by("swap").addEventListener("click", toggleSwap);
by("fill").addEventListener("click", () => fill(true));
by("loop-off").addEventListener("click", () => clock.unbound());
by("keys-button").addEventListener("click", () => by("keys").showModal());
document.addEventListener("fullscreenchange", () => { if (!document.fullscreenElement) fill(false); });

keyboard({
  ready: () => shot !== null,
  dialog: by("keys"),
  bar: by("bar"),
  clock,
  times: () => [...chosen().keys, ...shot.paceKeys].map((key) => key.seconds),
  span: () => framesOf(chosen()),
  seek,
  choose: (at) => shot.deliveries[at] && choose(shot.deliveries[at].name),
  isFilled: () => document.body.classList.contains("filled"),
  actions: { b: toggleBefore, d: toggleDim, w: toggleSwap, f: () => fill(!document.body.classList.contains("filled")) },
  unfill: () => fill(false),
});

/** A browser opens few connections to one address: pages that nobody looks at leave theirs to the others. */
let events = null;
function listen() {
  clearTimeout(listen.soon);
  if (document.hidden) {
    events?.close();
    events = null;
    return;
  }
  if (events) return;
  events = new EventSource("/events");
  events.addEventListener("version", () => load());
  events.addEventListener("error", () => {
    state("The program does not answer; trying again.", true);
    // A refusal ends a stream for good.
    if (events?.readyState !== EventSource.CLOSED) return;
    events = null;
    listen.soon = setTimeout(listen, 3000);
  });
}
document.addEventListener("visibilitychange", listen);
listen();
