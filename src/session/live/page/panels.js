// What stands beside the pictures: deliveries and remarks. Names and messages are text nodes, whatever they hold.

import { element, lineOf, look, svg } from "./shapes.js";

/** A delivery's line, as it is drawn everywhere. */
const swatch = (index) => {
  const { dashes } = look(index);
  const line = svg("line", { x1: 1, x2: 27, y1: 6, y2: 6, class: `of-${index % 6}`, "stroke-width": 3, "stroke-dasharray": dashes });
  return svg("svg", { viewBox: "0 0 28 12", "aria-hidden": "true" }, line);
};

/** A chip a delivery: one button chooses it, one shows or hides its window. */
export function chips(list, shot, { chosen, hidden }, choose, show) {
  list.replaceChildren(...shot.deliveries.map((delivery, index) => {
    const { width, height } = delivery.frame;
    const name = element("button", { type: "button", className: "choose", title: `${width} × ${height}, ${delivery.fps} frames a second`, onclick: () => choose(index) },
      swatch(index), element("b", {}, delivery.name));
    name.setAttribute("aria-pressed", index === chosen);
    const seen = !hidden.has(delivery.name);
    const shown = element("button", { type: "button", className: "show", onclick: () => show(delivery.name) }, seen ? "Hide" : "Show");
    shown.setAttribute("aria-pressed", seen);
    shown.setAttribute("aria-label", `${seen ? "Hide" : "Show"} the window of ${delivery.name}`);
    return element("li", {}, name, shown);
  }));
}

/** Remarks, each with a button to its first frame where it names frames. */
export function remarks(list, said, shot, seek) {
  if (said.length === 0) {
    list.replaceChildren(element("li", { className: "quiet" }, "None."));
    return;
  }
  list.replaceChildren(...said.map((remark) => {
    const item = element("li", {}, remark.message);
    if (remark.place) item.append(element("span", { className: "where", title: remark.place }, lineOf(remark.place)));
    for (const help of remark.help) item.append(element("p", { className: "quiet" }, help));
    const delivery = shot.deliveries.find(({ name }) => name === remark.frames?.delivery);
    for (const [first, last] of delivery ? remark.frames.runs.slice(0, 4) : []) {
      const text = first === last ? `Frame ${first}` : `Frames ${first} to ${last}`;
      item.append(element("button", { type: "button", onclick: () => seek(delivery, first) }, text), " ");
    }
    return item;
  }));
}
