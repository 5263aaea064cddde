// Curves over the clip: zoom, place, pace, speed, each with a line that moves with the time.

import { decimals, element, look, svg } from "./shapes.js";

const [WIDTH, HEIGHT, ROOM] = [600, 100, 8];

/** What is drawn: its name, its unit, its values for a delivery, whether equal ratios are equal heights. */
const measures = (shot) => [
  { name: "zoom", of: (delivery) => delivery.zoom, digits: 3, unit: "", ratio: true, least: 1.25 },
  { name: "across", of: (delivery) => delivery.x.map((x, frame) => (x + delivery.width[frame] / 2) / shot.still.width), digits: 3, unit: "of the width", least: 0.1 },
  { name: "down", of: (delivery) => delivery.y.map((y, frame) => (y + delivery.height[frame] / 2) / shot.still.height), digits: 3, unit: "of the height", least: 0.1, turned: true },
  { name: "pace", of: paceOf, digits: 2, unit: "stills/s", times: shot.interval, least: 1 },
  { name: "speed of the fastest corner", of: (delivery) => delivery.speed, digits: 2, unit: "px/frame", least: 1, zero: true,
    limit: (delivery) => delivery.frame.width / (7 * delivery.fps) },
];

function paceOf(delivery) {
  const paces = delivery.position.slice(1).map((position, frame) => (position - delivery.position[frame]) * delivery.fps);
  return [...paces, paces.at(-1) ?? 0];
}

export class Curves {
  constructor(box, seek) {
    Object.assign(this, { box, seek, drawn: [] });
  }

  show(shot, hidden, chosen) {
    this.drawn = measures(shot).map((measure) => this.#draw(measure, shot, hidden, chosen));
    this.box.replaceChildren(...this.drawn.map((curve) => curve.box));
  }

  #draw(measure, shot, hidden, chosen) {
    const curves = shot.deliveries.map((delivery, index) => ({ delivery, index, values: measure.of(delivery) }));
    const seen = curves.filter(({ delivery }) => !hidden.has(delivery.name));
    const map = measure.ratio ? Math.log : (value) => value;
    let [low, high] = [Infinity, -Infinity];
    for (const { values } of seen) for (const value of values) [low, high] = [Math.min(low, map(value)), Math.max(high, map(value))];
    if (!(low <= high)) [low, high] = [0, 0];
    if (measure.zero) low = Math.min(0, low);
    const spare = Math.max(0, map(measure.least) - (measure.ratio ? 0 : map(0)) - (high - low)) / 2;
    [low, high] = measure.zero ? [low, high + 2 * spare] : [low - spare, high + spare];
    const height = (value) => {
      const part = (map(value) - low) / (high - low);
      return ROOM + (measure.turned ? part : 1 - part) * (HEIGHT - 2 * ROOM);
    };
    const picture = svg("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "none", "aria-hidden": "true" });
    for (const part of [0.25, 0.5, 0.75]) picture.append(svg("line", { class: "grid", x1: part * WIDTH, x2: part * WIDTH, y1: 0, y2: HEIGHT }));
    for (const { delivery, index, values } of seen) {
      const step = Math.max(1, Math.floor(values.length / WIDTH));
      let path = "";
      for (let frame = 0; frame < values.length; frame += step) {
        path += `${path ? "L" : "M"}${((frame / delivery.fps / shot.length) * WIDTH).toFixed(2)} ${height(values[frame]).toFixed(2)}`;
      }
      path += `L${WIDTH} ${height(values.at(-1)).toFixed(2)}`;
      if (measure.limit && index === chosen && map(measure.limit(delivery)) <= high) {
        const y = height(measure.limit(delivery));
        picture.append(svg("line", { class: "limit", x1: 0, x2: WIDTH, y1: y, y2: y }));
      }
      picture.append(svg("path", { d: path, stroke: look(index).dark, "stroke-dasharray": look(index).dashes }));
    }
    const now = svg("line", { class: "now", x1: 0, x2: 0, y1: 0, y2: HEIGHT });
    picture.append(now);
    picture.addEventListener("pointerdown", (event) => {
      const box = picture.getBoundingClientRect();
      this.seek(((event.clientX - box.left) / box.width) * shot.length);
    });
    const value = element("span");
    const box = element("div", { className: "curve" }, element("p", {}, element("b", {}, measure.name), value), picture);
    return { box, now, value, measure, values: curves.map((curve) => curve.values) };
  }

  /** Moves the lines, and says the chosen delivery's values. */
  at(part, chosen, frame) {
    for (const { now, value, measure, values } of this.drawn) {
      now.setAttribute("x1", part * WIDTH);
      now.setAttribute("x2", part * WIDTH);
      const here = values[chosen]?.[frame] ?? 0;
      const times = measure.times ? `, × ${decimals(here * measure.times, 0)} real time` : "";
      value.textContent = `${here.toFixed(measure.digits)} ${measure.unit}${times}`;
    }
  }
}
