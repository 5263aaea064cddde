// The page: what is asked for, what is shown, and how time goes by.

import { Curves } from "./curves.js";
import { chips, dials, remarks, setLine } from "./panels.js";
import { centre, windowAt } from "./shapes.js";
import { Stage } from "./stage.js";
import { Stills } from "./stills.js";

const by = (id) => document.getElementById(id);
const PREVIEW = 960;

const now = { seconds: 0, playing: false, since: 0 };
const picked = { shot: 0, delivery: null, hidden: new Set(), safe: false, boxes: true, set: new Map() };
let view = null;
let shot = null;

const stills = new Stills(() => draw());
const stage = new Stage({ box: by("stage"), canvas: by("ground"), over: by("over"), handles: by("handles"), tell, rest: () => play(false) });
const curves = new Curves(by("curves"), (seconds) => seek(seconds));

const chosenAt = () => Math.max(0, shot.deliveries.findIndex(({ name }) => name === picked.delivery));
const frameOf = (delivery) => Math.min(delivery.x.length - 1, Math.max(0, Math.floor(now.seconds * delivery.fps + 1e-6)));

/** Asks for the plan; of several questions only the last is answered. */
let asked = 0;
async function load() {
  const mine = ++asked;
  const query = [...picked.set].map(([name, value]) => `set=${encodeURIComponent(`${name}=${value}`)}`).join("&");
  let answer;
  try {
    answer = await fetch(`/view?${query}`);
    if (!answer.ok) throw new Error(await answer.text());
    answer = await answer.json();
  } catch (error) {
    if (mine === asked) by("state").textContent = `No answer: ${error.message}`;
    return;
  }
  if (mine === asked) show(answer);
}

function show(answer) {
  view = { ...answer, plan: answer.plan ?? view?.plan };
  // Dials that were refused leave the plan that this page showed.
  if (answer.refused && shot) view.plan = showing;
  document.body.dataset.version = answer.version;
  document.title = `${answer.script}, Stillpath`;
  by("title").textContent = answer.script;
  by("mistakes").hidden = !answer.refused;
  by("mistakes-text").textContent = answer.refused ? answer.said.mistakes : "";
  by("mistakes-title").textContent = view.plan ? "The script was refused; below is the last good plan" : "The script was refused";
  by("state").textContent = answer.refused ? "Not up to date." : `Up to date, ${new Date().toLocaleTimeString()}.`;
  document.querySelector("main").hidden = !view.plan;
  stills.forgetFailures();
  if (view.plan) plan(view.plan);
}

let showing = null;
function plan(made) {
  showing = made;
  picked.shot = Math.min(picked.shot, made.shots.length - 1);
  shot = made.shots[picked.shot];
  if (!shot.deliveries.some(({ name }) => name === picked.delivery)) picked.delivery = shot.deliveries[0].name;
  by("shots").hidden = made.shots.length < 2;
  by("shot").replaceChildren(...made.shots.map(({ name }, at) => new Option(name, at, false, at === picked.shot)));
  by("dials-part").hidden = made.dials.length === 0;
  dials(by("dials"), made.dials, picked.set, (name, value) => {
    picked.set.set(name, value);
    setShown();
    clearTimeout(load.soon);
    load.soon = setTimeout(load, 90);
  });
  setShown();
  // Remarks of the plan; the script's own come without frames.
  remarks(by("remarks"), view.said.list.filter(({ severity }) => severity === "remark"), shot, (delivery, frame) => {
    picked.delivery = delivery.name;
    picked.hidden.delete(delivery.name);
    arrange();
    seek(frame / delivery.fps);
  });
  now.seconds = Math.min(now.seconds, shot.length);
  arrange();
}

function setShown() {
  by("set-line").hidden = picked.set.size === 0;
  by("set-text").textContent = setLine(picked.set);
}

/** Shows which delivery is chosen and which are shown. */
function arrange() {
  const chosen = chosenAt();
  const delivery = shot.deliveries[chosen];
  const focused = document.activeElement;
  const place = by("chips").contains(focused) ? [...by("chips").querySelectorAll("button")].indexOf(focused) : -1;
  chips(by("chips"), shot, { chosen, hidden: picked.hidden },
    (index) => { picked.delivery = shot.deliveries[index].name; arrange(); },
    (name) => { if (!picked.hidden.delete(name)) picked.hidden.add(name); arrange(); });
  if (place >= 0) by("chips").querySelectorAll("button")[place]?.focus();
  by("bar").max = delivery.x.length - 1;
  const canvas = by("preview");
  const scale = PREVIEW / Math.max(delivery.frame.width, delivery.frame.height);
  canvas.width = Math.round(delivery.frame.width * scale);
  canvas.height = Math.round(delivery.frame.height * scale);
  by("preview-title").textContent = `Preview of ${delivery.name}`;
  by("preview-note").textContent = `From small stills${delivery.mixed ? "; one of several stills a frame is shown" : ""}. stillpath frame makes the true one.`;
  curves.show(shot, picked.hidden, chosen);
  const [follows, covers] = [shot.deliveries.some(({ subject }) => subject), shot.covers.length > 0];
  by("boxes-label").hidden = !follows && !covers;
  by("boxes-name").textContent = !covers ? "Subject" : follows ? "Subject and covers" : "Covers";
  stage.show({ shot, chosen, hidden: picked.hidden, safe: picked.safe, boxes: picked.boxes, frames: shot.deliveries.map(frameOf) });
  draw();
}

function seek(seconds) {
  const delivery = shot.deliveries[chosenAt()];
  const last = (delivery.x.length - 1) / delivery.fps;
  now.seconds = Math.min(last, Math.max(0, seconds));
  now.since = performance.now() - now.seconds * 1000;
  stage.drawn = null;
  draw();
}

function draw() {
  if (!shot) return;
  const chosen = chosenAt();
  const delivery = shot.deliveries[chosen];
  const frame = frameOf(delivery);
  stage.view.frames = shot.deliveries.map(frameOf);
  stage.draw();
  curves.at(shot.length ? frame / delivery.fps / shot.length : 0, chosen, frame);
  const [name, number] = shot.slots[delivery.shown[frame]];
  by("bar").value = frame;
  by("bar").setAttribute("aria-valuetext", `Frame ${frame}, ${(frame / delivery.fps).toFixed(2)} seconds`);
  by("now").textContent = `${(frame / delivery.fps).toFixed(2)} s  frame ${frame}  ${name}`;
  want(delivery, frame);
  const bitmap = number === null ? null : stills.get(number);
  const why = number === null ? "it is not there" : stills.why(number);
  by("ground-note").hidden = !why;
  by("ground-note").textContent = why ? `Still ${name} cannot be shown: ${why}` : "";
  if (bitmap) {
    stage.ground(bitmap);
    preview(bitmap, windowAt(delivery, frame), delivery);
    // Pictures that were shown, each counted once.
    const picture = `${delivery.name} ${frame} ${number}`;
    const { dataset } = by("preview");
    if (picture !== dataset.picture) Object.assign(dataset, { picture, drawn: Number(dataset.drawn ?? 0) + 1 });
  }
}

/** The still through the window: the one is laid over the other, turned and scaled. */
function preview(bitmap, seen, delivery) {
  const canvas = by("preview");
  const context = canvas.getContext("2d");
  const scale = canvas.width / seen.width;
  const [x, y] = centre(seen);
  context.setTransform(1, 0, 0, 1, canvas.width / 2, canvas.height / 2);
  context.rotate((-seen.roll * Math.PI) / 180);
  context.scale(scale, scale);
  context.drawImage(bitmap, -x, -y, shot.still.width, shot.still.height);
  context.setTransform(1, 0, 0, 1, 0, 0);
  if (picked.safe && delivery.safe) {
    const { left, right, top, bottom } = delivery.safe;
    context.strokeStyle = "#fff";
    context.lineWidth = 2;
    context.strokeRect(left * canvas.width, top * canvas.height, (1 - left - right) * canvas.width, (1 - top - bottom) * canvas.height);
  }
}

/** The still that is due, then those that are due next. */
function want(delivery, frame) {
  const due = [];
  const ahead = now.playing ? delivery.fps * 3 : 6;
  for (let at = frame; at < delivery.shown.length && at <= frame + ahead && due.length < 24; at += 1) {
    const number = shot.slots[delivery.shown[at]][1];
    if (due.at(-1) !== number) due.push(number);
  }
  stills.want(due);
}

function play(on) {
  if (!shot || now.playing === on) return;
  const delivery = shot.deliveries[chosenAt()];
  if (on && frameOf(delivery) >= delivery.x.length - 1) now.seconds = 0;
  now.playing = on;
  now.since = performance.now() - now.seconds * 1000;
  by("play").textContent = on ? "Stop" : "Play";
  by("play").setAttribute("aria-pressed", on);
  if (on) requestAnimationFrame(tick);
}

let drawnAt = null;
function tick() {
  if (!now.playing) return;
  now.seconds = (performance.now() - now.since) / 1000;
  const delivery = shot.deliveries[chosenAt()];
  if (now.seconds >= delivery.x.length / delivery.fps) {
    now.seconds = (delivery.x.length - 1) / delivery.fps;
    play(false);
    draw();
    return;
  }
  // Before anything is drawn: what goes wrong with one frame does not end the play.
  requestAnimationFrame(tick);
  // A frame is drawn once, however often the screen is.
  const frame = frameOf(delivery);
  if (frame !== drawnAt) {
    drawnAt = frame;
    draw();
  }
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

async function copy(button, text) {
  const was = button.textContent;
  try {
    await navigator.clipboard.writeText(text);
    button.textContent = "Copied";
  } catch {
    getSelection().selectAllChildren(button.previousElementSibling);
    button.textContent = "Selected";
  }
  setTimeout(() => { button.textContent = was; }, 1200);
}

by("bar").addEventListener("input", () => seek(Number(by("bar").value) / shot.deliveries[chosenAt()].fps));
by("play").addEventListener("click", () => play(!now.playing));
by("safe").addEventListener("change", () => { picked.safe = by("safe").checked; arrange(); });
by("boxes").addEventListener("change", () => { picked.boxes = by("boxes").checked; arrange(); });
by("shot").addEventListener("change", () => { picked.shot = Number(by("shot").value); plan(showing); });
by("told-copy").addEventListener("click", () => copy(by("told-copy"), by("told-line").textContent));
by("set-copy").addEventListener("click", () => copy(by("set-copy"), by("set-text").textContent));
by("set-back").addEventListener("click", () => { picked.set.clear(); by("dials").replaceChildren(); load(); });
by("keys-button").addEventListener("click", () => by("keys").showModal());

addEventListener("keydown", (event) => {
  if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || by("keys").open) return;
  const held = event.target;
  const bar = held === by("bar");
  if (!bar && held.matches("input, select, textarea")) return;
  // A button of a dialog just closed keeps the focus until the page is drawn again.
  if (event.key === " " && held.matches("button, summary") && held.checkVisibility()) return;
  if (event.key === "?") by("keys").showModal();
  else if (!shot) return;
  else if (event.key === " ") play(!now.playing);
  else {
    const delivery = shot.deliveries[chosenAt()];
    const frame = frameOf(delivery);
    const step = event.shiftKey ? Math.round(delivery.fps) : 1;
    const to = { ArrowLeft: frame - step, ArrowRight: frame + step, Home: 0, End: delivery.x.length - 1 }[event.key];
    if (to === undefined) return;
    play(false);
    seek(to / delivery.fps);
  }
  event.preventDefault();
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
    by("state").textContent = "The program does not answer; trying again.";
    // A refusal ends a stream for good.
    if (events?.readyState !== EventSource.CLOSED) return;
    events = null;
    listen.soon = setTimeout(listen, 3000);
  });
}
document.addEventListener("visibilitychange", listen);
listen();
