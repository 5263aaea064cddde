// The still with every delivery's window over it, and what dragging and clicking there tells.

import { CORNERS, Handles } from "./handles.js";
import { keyOf } from "./keys.js";
import { at, centre, decimals, inside, largest, lineOf, look, outline, seenFrom, svg, turned, watchSize, windowAt } from "./shapes.js";

const points = (corners) => corners.map(([x, y]) => `${x},${y}`).join(" ");

export class Stage {
  /**
   * `tell(what, line)` shows a line to copy; `rest()` stops the time before a window is moved by the keyboard;
   * `open(key)` follows a key to its line; `drawnElsewhere()` is told when the window is moved or put back.
   */
  constructor({ box, canvas, over, handles, tell, rest, open, drawnElsewhere }) {
    Object.assign(this, { box, canvas, over, tell, rest, open, drawnElsewhere });
    this.drag = null;
    this.handles = new Handles(handles, (name, event) => this.#key(name, event), (name) => this.#told(name));
    over.addEventListener("pointerdown", (event) => this.#down(event));
    over.addEventListener("pointermove", (event) => this.#move(event));
    over.addEventListener("pointerup", (event) => this.#up(event));
    over.addEventListener("pointercancel", () => this.#forget());
    watchSize(box.parentElement, () => this.view && this.#fit());
  }

  /** Shows a shot; `chosen` is the delivery that may be dragged. */
  show(view) {
    this.view = view;
    this.over.setAttribute("viewBox", `0 0 ${view.shot.still.width} ${view.shot.still.height}`);
    this.#forget();
    this.#fit();
  }

  #fit() {
    const { width, height } = this.view.shot.still;
    const room = this.box.parentElement.getBoundingClientRect();
    // Nothing is laid out while the page is hidden.
    if (room.width === 0) return;
    const scale = Math.min(room.width / width, Math.max(120, room.height) / height);
    this.box.style.width = `${width * scale}px`;
    this.box.style.height = `${height * scale}px`;
    this.scale = scale;
    this.draw();
  }

  ground(bitmap) {
    if (this.canvas.width !== bitmap.width || this.canvas.height !== bitmap.height) {
      [this.canvas.width, this.canvas.height] = [bitmap.width, bitmap.height];
    }
    this.canvas.getContext("2d").drawImage(bitmap, 0, 0);
  }

  /** The other deliveries thin and quiet, then the chosen one, its way and its grips on top of them. */
  draw() {
    if (!this.scale) return;
    const { shot, chosen, hidden, frames, before, seconds } = this.view;
    const letter = 14 / this.scale;
    const [shapes, named] = [[], []];
    const others = shot.deliveries.map((delivery, index) => ({ delivery, index })).filter(({ delivery, index }) => index !== chosen && !hidden.has(delivery.name));
    for (const { delivery, index } of others) shapes.push(...this.#window(delivery, index, frames[index], "quiet", named));
    const seen = shot.deliveries[chosen];
    const visible = seen && !hidden.has(seen.name);
    const earlier = before?.deliveries.find(({ name }) => name === seen?.name);
    if (earlier) shapes.push(...this.#earlier(earlier, seconds));
    if (visible) {
      const way = this.#path(seen);
      shapes.push(svg("polyline", { class: "way", points: way }), svg("polyline", { class: "path", points: way }));
      shapes.push(...this.#window(seen, chosen, frames[chosen], "chosen", named));
      shapes.push(...seen.keys.map((key) => this.#mark(seen, key)).filter(Boolean));
    }
    if (this.view.boxes) shapes.push(...this.#boxes(named));
    shapes.push(...names(named, letter));
    if (this.drawn) shapes.push(svg("polygon", { class: "drawn", points: points(outline(this.drawn)) }));
    const window = this.drawn ?? (visible ? windowAt(seen, frames[chosen]) : null);
    if (window) for (const [cx, cy] of this.#grips(window)) shapes.push(svg("circle", { class: "grip", cx, cy, r: 5 / this.scale }));
    this.over.replaceChildren(...shapes);
    this.handles.place(window, this.scale, seen?.name);
  }

  #window(delivery, index, frame, kind, named) {
    const { light, dashes } = look(index);
    const shown = windowAt(delivery, frame);
    const corners = points(outline(shown));
    const shapes = [
      svg("polygon", { class: kind === "quiet" ? "edge quiet" : "edge", points: corners }),
      svg("polygon", { class: `window ${kind}`, points: corners, stroke: light, "stroke-dasharray": dashes, "data-delivery": delivery.name, "data-frame": frame }),
    ];
    if (this.view.safe && delivery.safe && Object.values(delivery.safe).some((margin) => margin > 0)) {
      shapes.push(svg("polygon", { class: "safe", points: points(outline(shown, delivery.safe)), stroke: light }));
    }
    named.push({ text: delivery.name, window: shown, fill: light });
    return shapes;
  }

  /** The window of the plan before at the same moment, and its way. */
  #earlier(delivery, seconds) {
    const frame = Math.min(delivery.x.length - 1, Math.max(0, Math.floor(seconds * delivery.fps + 1e-6)));
    return [
      svg("polyline", { class: "before", points: this.#path(delivery) }),
      svg("polygon", { class: "before", points: points(outline(windowAt(delivery, frame))) }),
    ];
  }

  /** A key on the way, which is clicked to go there. */
  #mark(delivery, key) {
    if (key.seconds < 0 || key.seconds > this.view.shot.length) return null;
    const [x, y] = centre(windowAt(delivery, Math.min(delivery.x.length - 1, Math.round(key.seconds * delivery.fps))));
    const side = 6 / this.scale;
    const kite = svg("path", { d: `M${x} ${y - 1.25 * side}L${x + side} ${y}L${x} ${y + 1.25 * side}L${x - side} ${y}Z` });
    const mark = svg("g", { class: "key" }, kite, svg("title", {}, `key at ${key.seconds.toFixed(2)} s, ${lineOf(key.place)}`));
    mark.addEventListener("pointerdown", (event) => event.stopPropagation());
    mark.addEventListener("click", () => this.open(key));
    return mark;
  }

  /** Corners, a little way in: a window as large as the still has its grips on it too. */
  #grips(window) {
    const inset = 9 / this.scale;
    const most = Math.min(window.width, window.height) / 3;
    const [across, down] = [Math.min(inset, most) / window.width, Math.min(inset, most) / window.height];
    return outline(window, { left: across, right: across, top: down, bottom: down });
  }

  /** What the chosen delivery follows, and what is covered in the still it shows. */
  #boxes(named) {
    const { shot, chosen, frames } = this.view;
    const delivery = shot.deliveries[chosen];
    const shapes = [];
    const drawn = (kind, [x, y, width, height], more = {}, text = kind) => {
      const corners = points([[x, y], [x + width, y], [x + width, y + height], [x, y + height]]);
      shapes.push(svg("polygon", { class: "edge", points: corners }), svg("polygon", { class: kind, points: corners, ...more }));
      named.push({ text, window: { x, y, width, height, roll: 0 }, fill: "#fff" });
    };
    const slot = delivery.shown[frames[chosen]];
    const covering = shot.covers.find(({ first, last }) => first <= slot && slot <= last);
    if (covering) {
      const side = 8 / this.scale;
      const line = svg("path", { d: `M0 ${side}L${side} 0`, stroke: "#fff", "stroke-opacity": 0.7, "stroke-width": 1 / this.scale });
      shapes.push(svg("pattern", { id: "hatch", width: side, height: side, patternUnits: "userSpaceOnUse" }, line));
      for (const { x, y, width, height } of covering.areas) drawn("cover", [x, y, width, height], { fill: "url(#hatch)" });
    }
    if (delivery.subject) {
      // Broken where it is not sure that this is it.
      const sure = delivery.sure?.[frames[chosen]] ?? 1;
      const line = sure < 0.5 ? { "stroke-dasharray": "6 4" } : {};
      drawn("subject", delivery.subject[frames[chosen]], line, sure > 0 ? "subject" : "lost");
    }
    return shapes;
  }

  /** The way of the centre, in no more points than can be seen. */
  #path(delivery) {
    this.paths ??= new WeakMap();
    if (!this.paths.has(delivery)) {
      const step = Math.max(1, Math.floor(delivery.x.length / 400));
      const way = [];
      for (let frame = 0; frame < delivery.x.length; frame += step) way.push(centre(windowAt(delivery, frame)));
      way.push(centre(windowAt(delivery, delivery.x.length - 1)));
      this.paths.set(delivery, points(way));
    }
    return this.paths.get(delivery);
  }

  #point(event) {
    const box = this.over.getBoundingClientRect();
    const { width, height } = this.view.shot.still;
    return [((event.clientX - box.left) / box.width) * width, ((event.clientY - box.top) / box.height) * height];
  }

  #forget() {
    this.drag = null;
    this.drawn = null;
  }

  #down(event) {
    if (event.button !== 0) return;
    const { shot, chosen, hidden, frames } = this.view;
    const from = this.#point(event);
    this.drag = { from, moved: false };
    const delivery = shot.deliveries[chosen];
    if (!delivery || hidden.has(delivery.name)) return;
    const start = this.drawn ?? windowAt(delivery, frames[chosen]);
    const near = (event.pointerType === "touch" ? 26 : 13) / this.scale;
    const corner = [...outline(start), ...this.#grips(start)].some(([x, y]) => Math.hypot(x - from[0], y - from[1]) < near);
    const [across, down] = seenFrom(start, from);
    const within = Math.abs(across) < start.width / 2 && Math.abs(down) < start.height / 2;
    const frame = this.drawn ? this.of.frame : frames[chosen];
    Object.assign(this.drag, { start, delivery, frame, kind: corner ? "corner" : within ? "window" : null });
    this.over.setPointerCapture(event.pointerId);
  }

  #move(event) {
    const drag = this.drag;
    if (!drag) return;
    const to = this.#point(event);
    const [dx, dy] = [to[0] - drag.from[0], to[1] - drag.from[1]];
    if (!drag.moved && Math.hypot(dx, dy) * this.scale < 4) return;
    drag.moved = true;
    if (!drag.kind) return;
    const { still } = this.view.shot;
    const { start } = drag;
    if (drag.kind === "window") {
      this.drawn = inside({ ...start, x: start.x + dx, y: start.y + dy }, still);
    } else {
      this.drawn = inside(sized(start, still, cornerRatio(start, drag.from, to)), still);
    }
    this.of = { delivery: drag.delivery, frame: drag.frame };
    this.draw();
    this.#tellDrawn();
  }

  #tellDrawn() {
    this.drawnElsewhere();
    this.tell(`Where '${this.of.delivery.name}' was drawn, as a key of a framing. Nothing is written.`, keyOf(this.drawn, { shot: this.view.shot, ...this.of }));
  }

  /** Moves the chosen window by the keyboard; whether the key meant anything. */
  #key(name, { key, shiftKey }) {
    if (key === "Escape") {
      if (!this.drawn) return false;
      this.#forget();
      this.draw();
      this.drawnElsewhere();
      this.tell("The window is back where the script has it.", "");
      return true;
    }
    const { shot, chosen, frames } = this.view;
    const { still } = shot;
    const step = (still.width / 200) * (shiftKey ? 10 : 1);
    const way = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[key];
    const larger = { "+": 1.02, "=": 1.02, "-": 1 / 1.02, "_": 1 / 1.02, "−": 1 / 1.02 }[key];
    if (!way && !larger) return false;
    this.rest();
    const start = this.drawn ?? windowAt(shot.deliveries[chosen], frames[chosen]);
    if (!this.drawn) this.of = { delivery: shot.deliveries[chosen], frame: frames[chosen] };
    if (larger) this.drawn = inside(sized(start, still, larger), still);
    else if (name === "window") this.drawn = inside({ ...start, x: start.x + way[0], y: start.y + way[1] }, still);
    else {
      const from = outline(start)[CORNERS.indexOf(name)];
      this.drawn = inside(sized(start, still, cornerRatio(start, from, [from[0] + way[0], from[1] + way[1]])), still);
    }
    this.draw();
    this.#tellDrawn();
    return true;
  }

  /** Tells the key of the chosen window as it stands. */
  #told() {
    if (this.drawn) return this.#tellDrawn();
    const { shot, chosen, frames } = this.view;
    const of = { delivery: shot.deliveries[chosen], frame: frames[chosen] };
    this.tell(`Where '${of.delivery.name}' is at frame ${of.frame}, as a key of a framing.`, keyOf(windowAt(of.delivery, of.frame), { shot, ...of }));
  }

  #up(event) {
    const drag = this.drag;
    this.drag = null;
    if (!drag || drag.moved) return;
    const { width, height } = this.view.shot.still;
    const [x, y] = this.#point(event);
    this.drawn = null;
    this.draw();
    this.drawnElsewhere();
    const clamp = (value, end) => Math.min(end, Math.max(0, value));
    const [px, py] = [clamp(x, width), clamp(y, height)];
    this.tell(`The place you clicked, ${decimals(px, 0)} pixels across and ${decimals(py, 0)} down the still, as a key takes it.`,
      `on = point(${decimals(px / width, 4)}, ${decimals(py / height, 4)}),`);
  }
}

/** Names at their windows' corners, each in the first place where it lies on no other; inside the window, then outside. */
function names(named, letter) {
  const taken = [];
  return named.map(({ text, window, fill }) => {
    // About as wide as letters are; a name is short.
    const [width, height] = [(text.length * 0.62 + 0.4) * letter, 1.25 * letter];
    // Beside the grips.
    const left = 1.6 * letter;
    const [right, low] = [window.width - width - left, window.height - height - 0.2 * letter];
    const inside = [0, 1, 2].flatMap((line) => [[left, 0.2 * letter + line * height], [right, 0.2 * letter + line * height], [left, low - line * height], [right, low - line * height]]);
    const places = [...inside, [0, -1.1 * height], [0, window.height + 0.2 * letter]].map(([across, down]) => {
      const [x, y] = at(window, [across / window.width, down / window.height]);
      return { x, y, width, height };
    });
    const free = (one) => taken.every((other) => one.x + one.width < other.x || other.x + other.width < one.x || one.y + one.height < other.y || other.y + other.height < one.y);
    const place = places.find(free) ?? places[0];
    taken.push(place);
    const [dx, dy] = turned([0, letter], window.roll);
    const transform = `translate(${place.x + dx} ${place.y + dy}) rotate(${window.roll})`;
    return svg("text", { transform, fill, "font-size": letter, "stroke-width": letter / 4 }, text);
  });
}

/** How far a corner that goes from one place to another opens its window about the centre. */
function cornerRatio(start, from, to) {
  const [was, is] = [seenFrom(start, from), seenFrom(start, to)];
  return Math.hypot(...is) / Math.hypot(...was);
}

/** A window so many times as large about its centre, in its own shape, no larger than the still has room for. */
function sized(start, still, ratio) {
  const most = largest(still, start.width / start.height, start.roll);
  const width = Math.min(most, Math.max(most / 1000, start.width * ratio));
  const height = (width * start.height) / start.width;
  const [cx, cy] = centre(start);
  return { ...start, x: cx - width / 2, y: cy - height / 2, width, height };
}
