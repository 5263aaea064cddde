// Windows as shapes, and how deliveries are told apart. Lengths are pixels of the upright still; angles are degrees clockwise.

export const LOOKS = [
  { dark: "#2563e0", light: "#86a8ff", dashes: "" },
  { dark: "#700d12", light: "#ff8066", dashes: "9 5" },
  { dark: "#8c6d12", light: "#f5f04a", dashes: "2 4" },
  { dark: "#0d5f45", light: "#8ff0c0", dashes: "12 4 2 4" },
  { dark: "#b0269a", light: "#d886d0", dashes: "5 3" },
  { dark: "#2c3038", light: "#f2f4f7", dashes: "7 3 2 3 2 3" },
];
export const look = (index) => LOOKS[index % LOOKS.length];

export function turned([x, y], degrees) {
  const angle = (degrees * Math.PI) / 180;
  return [x * Math.cos(angle) - y * Math.sin(angle), x * Math.sin(angle) + y * Math.cos(angle)];
}

/** The window of a delivery's frame. */
export const windowAt = (delivery, frame) =>
  ({ x: delivery.x[frame], y: delivery.y[frame], width: delivery.width[frame], height: delivery.height[frame], roll: delivery.roll[frame] });

export const centre = (window) => [window.x + window.width / 2, window.y + window.height / 2];

/** The point of the still at a place of the frame, in fractions of its sides. */
export function at(window, [across, down]) {
  const [x, y] = turned([(across - 0.5) * window.width, (down - 0.5) * window.height], window.roll);
  const [cx, cy] = centre(window);
  return [cx + x, cy + y];
}

/** Corners in order around the frame, of the part of it between margins. */
export function outline(window, { left = 0, right = 0, top = 0, bottom = 0 } = {}) {
  return [[left, top], [1 - right, top], [1 - right, 1 - bottom], [left, 1 - bottom]].map((place) => at(window, place));
}

/** A point of the still, seen from the window's centre along its own sides. */
export function seenFrom(window, [x, y]) {
  const [cx, cy] = centre(window);
  return turned([x - cx, y - cy], -window.roll);
}

/** Width of the largest window of a shape and roll inside a still. */
export function largest(still, aspect, roll) {
  const angle = (roll * Math.PI) / 180;
  const [sin, cos] = [Math.abs(Math.sin(angle)), Math.abs(Math.cos(angle))];
  return Math.min(still.width / (cos + sin / aspect), still.height / (sin + cos / aspect));
}

/** The nearest window of this size and roll inside the still. */
export function inside(window, still) {
  const around = [[0, 0], [1, 0], [1, 1], [0, 1]].map((place) => at(window, place));
  const [xs, ys] = [around.map((corner) => corner[0]), around.map((corner) => corner[1])];
  const shift = (low, high, end) => (low < 0 ? -low : high > end ? end - high : 0);
  return {
    ...window,
    x: window.x + shift(Math.min(...xs), Math.max(...xs), still.width),
    y: window.y + shift(Math.min(...ys), Math.max(...ys), still.height),
  };
}

const SVG = "http://www.w3.org/2000/svg";
/** An SVG element; values are set as attributes, so nothing in them is ever read as markup. */
export function svg(name, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

/** An element with texts and elements in it: texts become text nodes. */
export function element(name, properties = {}, ...children) {
  const made = Object.assign(document.createElement(name), properties);
  made.append(...children);
  return made;
}

/** Calls back when an element has another size: with the next picture, because what is laid out meanwhile may change it again. */
export function watchSize(box, changed) {
  new ResizeObserver(() => requestAnimationFrame(changed)).observe(box);
}

/** A line of a script as `file:line`, without the folders. */
export const lineOf = (place) => place.split("/").at(-1);

export const decimals = (number, digits) => String(Number(number.toFixed(digits)));
