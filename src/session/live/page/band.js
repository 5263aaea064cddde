// The time band: rulers, keys, curves over one another and remarks, all over one axis, with a line where the time stands.

import { clockText } from "./keys.js";
import { measures, scaleOf } from "./measures.js";
import { element, lineOf, look, svg, watchSize } from "./shapes.js";

/** Heights of the rows above and below the curves, in pixels. */
const ROWS = { ruler: 16, keys: 15, remarks: 11, clock: 15 };
/** Lines of remarks' bars at most; later ones lie over the last. */
const LINES = 3;
/** Steps between marks of a ruler, in seconds. */
const STEPS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600];
/** Places along the clip at which two curves are held against one another. */
const SAMPLES = Array.from({ length: 97 }, (_, at) => at / 96.01);
const KITE = "M0 -5L4 0L0 5L-4 0Z";
const RING = "M-3.5 -3.5H3.5V3.5H-3.5Z";

export class Band {
  /** `seek(seconds)` goes to a moment, `open(key)` follows a key to its line, `jump(remark)` goes to a remark. */
  constructor(box, { seek, open, jump }) {
    Object.assign(this, { box, seek, open, jump });
    this.picture = svg("svg", { "aria-hidden": "true" });
    this.hover = element("p", { id: "under", className: "unseen" });
    box.append(this.picture, this.hover);
    this.pointed = null;
    const seconds = (event) => this.#seconds(event.clientX - this.picture.getBoundingClientRect().left);
    this.picture.addEventListener("pointerdown", (event) => {
      if (event.button !== 0 || event.target.closest(".mark")) return;
      this.held = true;
      this.picture.setPointerCapture(event.pointerId);
      this.seek(seconds(event));
    });
    this.picture.addEventListener("pointermove", (event) => {
      this.pointed = seconds(event);
      if (this.held) this.seek(this.pointed);
      else this.#tell();
    });
    this.picture.addEventListener("pointerup", () => { this.held = false; });
    this.picture.addEventListener("pointercancel", () => { this.held = false; });
    this.picture.addEventListener("pointerleave", () => { this.pointed = null; this.#tell(); });
    watchSize(box, () => this.view && this.#draw());
  }

  /** Shows a shot's curves; `before` is a shot whose curves are drawn thin below them. */
  show(view) {
    this.view = view;
    this.measures = measures(view.shot);
    const valuesOf = (shot) => this.measures.map((measure) => shot.deliveries.map((delivery) => measure.of(delivery)));
    this.values = valuesOf(view.shot);
    this.earlier = view.before ? valuesOf(view.before) : null;
    this.#draw();
  }

  get #length() { return this.view.shot.length || 1; }
  #x(seconds) { return this.left + (seconds / this.#length) * (this.right - this.left); }
  #seconds(x) { return Math.min(1, Math.max(0, (x - this.left) / (this.right - this.left))) * this.#length; }

  #draw() {
    const { width, height } = this.picture.getBoundingClientRect();
    if (width < 40 || height < 40) return;
    this.narrow = width < 640;
    [this.left, this.right] = [this.narrow ? 66 : 76, width - (this.narrow ? 70 : 138)];
    this.box.style.setProperty("--left", `${this.left}px`);
    this.box.style.setProperty("--right", `${width - this.right}px`);
    this.picture.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const top = ROWS.ruler + ROWS.keys;
    const lane = (height - top - ROWS.remarks - ROWS.clock) / this.measures.length;
    const parts = [...this.#ruler(height)];
    this.told = this.measures.map((measure, at) => {
      const y = top + at * lane;
      parts.push(...this.#lane(measure, at, y, lane));
      const value = svg("text", { class: "value", x: this.right + 8, y: y + lane / 2 + 4 });
      parts.push(value);
      return value;
    });
    parts.push(...this.#keys(ROWS.ruler + ROWS.keys / 2), ...this.#remarks(height - ROWS.clock - ROWS.remarks), ...this.#clock(height - 4));
    this.away = ["from", "to"].map(() => svg("rect", { class: "away", y: ROWS.ruler, height: height - ROWS.ruler - ROWS.clock, width: 0, x: 0 }));
    this.line = svg("line", { class: "stands", y1: ROWS.ruler - 3, y2: height - ROWS.clock });
    this.thin = svg("line", { class: "points", y1: ROWS.ruler, y2: height - ROWS.clock, visibility: "hidden" });
    this.caption = svg("text", { class: "caption", y: 12, visibility: "hidden" });
    this.picture.replaceChildren(...parts, ...this.away, this.thin, this.line, this.caption);
    this.at(this.seconds ?? 0, this.round);
  }

  #ruler(height) {
    const step = STEPS.find((step) => (step / this.#length) * (this.right - this.left) >= 56) ?? 3600;
    const parts = [];
    for (let count = 0; count * step <= this.#length + 1e-9; count += 1) {
      const x = this.#x(count * step);
      parts.push(svg("line", { class: "grid", x1: x, x2: x, y1: ROWS.ruler - 4, y2: height - ROWS.clock }));
      if (x < this.right - 14 || count === 0) parts.push(svg("text", { class: "tick", x: x + 3, y: 11 }, `${Number((count * step).toFixed(1))} s`));
    }
    return parts;
  }

  /** The shoot's own clock, at places a ruler's width apart; nothing where the stills do not tell it. */
  #clock(y) {
    const { shot, chosen } = this.view;
    const delivery = shot.deliveries[chosen];
    if (!shot.began) return [];
    const room = 74;
    const parts = [];
    let day = null;
    for (let x = this.left; x <= this.right - 40; x += room) {
      const frame = Math.min(delivery.shown.length - 1, Math.round(this.#seconds(x) * delivery.fps));
      const since = shot.slots[delivery.shown[frame]][2];
      if (since === null) continue;
      const [date, time] = clockText(shot.began, since).split(" ");
      // The day where it changes, as a person counts days.
      parts.push(svg("text", { class: "tick", x: x + 3, y }, date === day || day === null ? time : `${date.slice(5)} ${time.slice(0, 5)}`));
      day = date;
    }
    return parts;
  }

  #lane(measure, at, y, height) {
    const { shot, before, hidden, chosen } = this.view;
    const seen = shot.deliveries.map((delivery, index) => ({ delivery, index, values: this.values[at][index] })).filter(({ delivery }) => !hidden.has(delivery.name));
    const limit = measure.limit?.(shot.deliveries[chosen]);
    const earlier = this.earlier?.[at] ?? [];
    const scale = scaleOf(measure, [...seen.map(({ values }) => values), ...earlier], limit === undefined ? [] : [limit]);
    const place = (value) => y + 3 + scale.place(value) * (height - 6);
    const parts = [
      svg("line", { class: "floor", x1: this.left, x2: this.right, y1: y + height, y2: y + height }),
      svg("text", { class: "name", x: this.left - 8, y: y + height / 2 + 4 }, measure.name),
    ];
    if (limit !== undefined && scale.shows(limit)) {
      parts.push(svg("line", { class: "limit", x1: this.left, x2: this.right, y1: place(limit), y2: place(limit) }));
      if (height > 17) parts.push(svg("text", { class: "limited", x: this.right - 4, y: Math.max(y + 9, place(limit) - 3) }, measure.limited));
    }
    const path = (values, fps, attributes) => {
      const step = Math.max(1, Math.floor(values.length / (this.right - this.left)));
      let d = "";
      for (let frame = 0; frame < values.length; frame += step) d += `${d ? "L" : "M"}${this.#x(frame / fps).toFixed(1)} ${place(values[frame]).toFixed(1)}`;
      return svg("path", { d: `${d}L${Math.min(this.right, this.#x(values.length / fps)).toFixed(1)} ${place(values.at(-1)).toFixed(1)}`, ...attributes });
    };
    earlier.forEach((values, index) => parts.push(path(values, before.deliveries[index].fps, { class: "before" })));
    // One line for curves that lie on one another; the chosen one's on top.
    const heightAt = ({ delivery, values }, part) => place(values[Math.min(values.length - 1, Math.floor(part * this.#length * delivery.fps + 1e-6))]);
    const same = (one, other) => SAMPLES.every((part) => Math.abs(heightAt(one, part) - heightAt(other, part)) < 1);
    const drawn = [];
    for (const curve of [...seen.filter(({ index }) => index === chosen), ...seen.filter(({ index }) => index !== chosen)]) {
      if (!drawn.some((other) => same(other, curve))) drawn.push(curve);
    }
    for (const { delivery, index, values } of drawn.reverse()) {
      parts.push(path(values, delivery.fps, { class: `curve of-${index % 6}${index === chosen ? " chosen" : ""}`, "stroke-dasharray": look(index).dashes, "data-measure": measure.name, "data-delivery": delivery.name }));
    }
    return parts;
  }

  /** Keys of the chosen delivery's framing, and of the pace below them. */
  #keys(y) {
    const { shot, chosen } = this.view;
    const mark = (kind, d) => (key) => {
      if (key.seconds < 0 || key.seconds > this.#length) return [];
      const group = svg("g", { class: `mark ${kind}`, transform: `translate(${this.#x(key.seconds).toFixed(1)} ${y})` },
        svg("circle", { r: 9, fill: "transparent" }), svg("path", { d }), svg("title", {}, `${kind === "key" ? "key" : "pace"} at ${key.seconds.toFixed(2)} s, ${lineOf(key.place)}`));
      group.addEventListener("click", () => this.open(key));
      return [group];
    };
    return [...shot.paceKeys.flatMap(mark("pace", RING)), ...shot.deliveries[chosen].keys.flatMap(mark("key", KITE))];
  }

  /** A bar a run of frames; remarks that overlap lie in lines of their own. */
  #remarks(y) {
    const { shot, remarks } = this.view;
    const busy = [];
    return remarks.flatMap((remark) => {
      const delivery = shot.deliveries.find(({ name }) => name === remark.frames?.delivery);
      if (!delivery || remark.frames.runs.length === 0) return [];
      const bars = remark.frames.runs.map(([first, last]) => ({ first, from: this.#x(first / delivery.fps), to: this.#x((last + 1) / delivery.fps) }));
      const free = busy.findIndex((until) => until <= bars[0].from);
      const line = free >= 0 ? free : Math.min(LINES - 1, busy.length);
      busy[line] = Math.max(busy[line] ?? 0, bars.at(-1).to);
      const height = (ROWS.remarks - 2) / LINES;
      return bars.map(({ first, from, to }) => {
        const rect = svg("rect", { x: from, y: y + 1 + line * height, width: Math.max(3, to - from), height: height - 1 });
        const bar = svg("g", { class: "mark remark" }, rect, svg("title", {}, remark.message));
        bar.addEventListener("click", () => this.jump(delivery, first));
        return bar;
      });
    });
  }

  /** Moves the line to where the time stands, and says the chosen delivery's values there or under the pointer. */
  at(seconds, round) {
    [this.seconds, this.round] = [seconds, round];
    if (!this.line) return;
    const x = this.#x(seconds);
    this.line.setAttribute("x1", x);
    this.line.setAttribute("x2", x);
    const { from, to, loops } = round ?? {};
    const sides = loops ? [[this.left, this.#x(from)], [this.#x(to), this.right]] : [[0, 0], [0, 0]];
    sides.forEach(([start, end], side) => {
      this.away[side].setAttribute("x", start);
      this.away[side].setAttribute("width", Math.max(0, end - start));
    });
    this.#tell();
  }

  #tell() {
    if (!this.line) return;
    const { shot, chosen } = this.view;
    const delivery = shot.deliveries[chosen];
    const seconds = this.pointed ?? this.seconds;
    const frame = Math.min(delivery.x.length - 1, Math.max(0, Math.floor(seconds * delivery.fps + 1e-6)));
    this.measures.forEach((measure, at) => { 
      const words = (this.narrow && measure.short) || measure.tell;
      this.told[at].textContent = words(this.values[at][chosen][frame] ?? 0);
    });
    for (const part of [this.thin, this.caption]) part.setAttribute("visibility", this.pointed === null ? "hidden" : "visible");
    if (this.pointed === null) return;
    const x = this.#x(this.pointed);
    this.thin.setAttribute("x1", x);
    this.thin.setAttribute("x2", x);
    const [name, , since] = shot.slots[delivery.shown[frame]];
    const clock = since === null || !shot.began ? "" : `  ${clockText(shot.began, since).slice(11)}`;
    this.caption.textContent = `${(frame / delivery.fps).toFixed(2)} s  frame ${frame}  ${name}${clock}`;
    const end = x > (this.left + this.right) / 2;
    this.caption.setAttribute("x", x + (end ? -6 : 6));
    this.caption.setAttribute("text-anchor", end ? "end" : "start");
    this.hover.textContent = this.caption.textContent;
  }
}
