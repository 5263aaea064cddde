// What stands beside the still: deliveries, dials, remarks. Names and messages are text nodes, whatever they hold.

import { element, look, svg } from "./shapes.js";

/** A chip a delivery: one button chooses it, one shows or hides it. */
export function chips(list, shot, { chosen, hidden }, choose, show) {
  list.replaceChildren(...shot.deliveries.map((delivery, index) => {
    const { dark, dashes } = look(index);
    const line = svg("line", { x1: 1, x2: 41, y1: 8, y2: 8, stroke: dark, "stroke-width": 3, "stroke-dasharray": dashes });
    const swatch = svg("svg", { viewBox: "0 0 42 16", "aria-hidden": "true" }, line);
    const size = element("small", {}, `${delivery.frame.width} × ${delivery.frame.height}`);
    const name = element("button", { type: "button", className: "choose", onclick: () => choose(index) }, swatch, element("b", {}, delivery.name), size);
    name.setAttribute("aria-pressed", index === chosen);
    const seen = !hidden.has(delivery.name);
    const shown = element("button", { type: "button", className: "show", onclick: () => show(delivery.name) }, seen ? "Shown" : "Hidden");
    shown.setAttribute("aria-pressed", seen);
    shown.setAttribute("aria-label", `${seen ? "Shown" : "Hidden"}: window of ${delivery.name}`);
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
    if (remark.place) item.append(element("span", { className: "where" }, remark.place));
    for (const help of remark.help) item.append(element("p", { className: "quiet" }, help));
    const delivery = shot.deliveries.find(({ name }) => name === remark.frames?.delivery);
    for (const [first, last] of delivery ? remark.frames.runs.slice(0, 4) : []) {
      const text = first === last ? `Frame ${first}` : `Frames ${first} to ${last}`;
      item.append(element("button", { type: "button", onclick: () => seek(delivery, first) }, text), " ");
    }
    return item;
  }));
}

/** A text that a shell takes as one word. */
const word = (text) => (/^[\w.,=+:@%/-]+$/.test(text) ? text : `'${text.replaceAll("'", "'\\''")}'`);

/** The words that set dials on the command line. */
export const setLine = (set) => [...set].map(([name, value]) => `--set ${word(`${name}=${value}`)}`).join(" ");

/** A text as the page sets it, of a value as Lua writes it. */
const plain = (value) => (value.startsWith('"') ? JSON.parse(value) : value);

/** A control a dial, within its range; `changed(name, value)` sets it. */
export function dials(box, list, set, changed) {
  // Whoever holds a control keeps it: only what it says is brought up to date.
  const known = [...box.children].map((child) => child.dataset.dial).join("\n");
  if (known === list.map(({ name, range, choices }) => JSON.stringify([name, range, choices])).join("\n")) {
    list.forEach((dial, at) => box.children[at].update(dial));
    return;
  }
  box.replaceChildren(...list.map((dial, at) => {
    const id = `dial-${at}`;
    const input = control(dial);
    input.id = id;
    const output = element("output", { htmlFor: id });
    const label = element("label", { htmlFor: id }, dial.name);
    const made = element("div", { className: "dial" }, label, output, input, element("p", {}, `${dial.help ? `${dial.help}; ` : ""}${dial.allowed}`));
    made.dataset.dial = JSON.stringify([dial.name, dial.range, dial.choices]);
    const value = () => (input.type === "checkbox" ? String(input.checked) : input.value);
    input.addEventListener(input.type === "text" || input.type === "number" ? "change" : "input", () => {
      output.textContent = value();
      changed(dial.name, value());
    });
    made.update = (now) => {
      output.textContent = plain(now.value);
      if (document.activeElement === input) return;
      if (input.type === "checkbox") input.checked = now.value === "true";
      else input.value = plain(now.value);
    };
    made.update(dial);
    return made;
  }));
}

function control(dial) {
  if (dial.choices.length > 0) {
    return element("select", {}, ...dial.choices.map((choice) => element("option", { value: plain(choice) }, plain(choice))));
  }
  if (dial.value === "true" || dial.value === "false") return element("input", { type: "checkbox" });
  if (dial.value.startsWith('"')) return element("input", { type: "text" });
  const whole = /^-?\d+$/.test(dial.default) && (dial.range ?? [0, 1]).every(Number.isInteger) && (dial.range ? dial.range[1] - dial.range[0] > 8 : true);
  if (!dial.range) return element("input", { type: "number", step: "any" });
  const [min, max] = dial.range;
  const step = whole ? 1 : 10 ** Math.floor(Math.log10((max - min) / 100 || 1));
  return element("input", { type: "range", min, max, step });
}
