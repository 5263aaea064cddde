// Dials: a control each, within its range. Values are values, as JSON has them.

import { element } from "./shapes.js";

/** A text that a shell takes as one word. */
const word = (text) => (/^[\w.,=+:@%/-]+$/.test(text) ? text : `'${text.replaceAll("'", "'\\''")}'`);

/** The words that set dials on the command line. */
export const setLine = (set) => [...set].map(([name, value]) => `--set ${word(`${name}=${value}`)}`).join(" ");

/** A control a dial; `changed(name, text)` sets it. */
export function dials(box, list, changed) {
  // Whoever holds a control keeps it: only what it says is brought up to date.
  const shape = ({ name, range, choices, value }) => JSON.stringify([name, range, choices, typeof value]);
  const known = [...box.children].map((child) => child.dataset.dial).join("\n");
  if (known === list.map(shape).join("\n")) {
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
    made.dataset.dial = shape(dial);
    const value = () => (input.type === "checkbox" ? String(input.checked) : input.value);
    input.addEventListener(input.type === "text" || input.type === "number" ? "change" : "input", () => {
      output.textContent = value();
      changed(dial.name, value());
    });
    made.update = (now) => {
      output.textContent = String(now.value);
      if (document.activeElement === input) return;
      if (input.type === "checkbox") input.checked = now.value === true;
      else input.value = String(now.value);
    };
    made.update(dial);
    return made;
  }));
}

function control(dial) {
  if (dial.choices.length > 0) {
    return element("select", {}, ...dial.choices.map((choice) => element("option", { value: String(choice) }, String(choice))));
  }
  if (typeof dial.value === "boolean") return element("input", { type: "checkbox" });
  if (typeof dial.value === "string") return element("input", { type: "text" });
  if (!dial.range) return element("input", { type: "number", step: "any" });
  const [min, max] = dial.range;
  const whole = Number.isInteger(Number(dial.default)) && !dial.default.includes(".") && dial.range.every(Number.isInteger) && max - min > 8;
  const step = whole ? 1 : 10 ** Math.floor(Math.log10((max - min) / 100 || 1));
  return element("input", { type: "range", min, max, step });
}
