// What the curves of a clip show: a name, a unit, and the values of a delivery, one a frame.

import { decimals } from "./shapes.js";

/**
 * `tell` puts a value in words, `short` in few where there is little room. `ratio` says that equal ratios are equal heights, `turned` that larger is lower; `least` is how much of a range is
 * shown at least, `limit(delivery)` where a line of warning lies.
 */
export const measures = (shot) => [
  { name: "zoom", of: ({ zoom }) => zoom, tell: (value) => `× ${value.toFixed(3)}`, ratio: true, least: 1.25 },
  { name: "across", of: (delivery) => delivery.x.map((x, frame) => (x + delivery.width[frame] / 2) / shot.still.width), tell: percent, least: 0.1 },
  { name: "down", of: (delivery) => delivery.y.map((y, frame) => (y + delivery.height[frame] / 2) / shot.still.height), tell: percent, least: 0.1, turned: true },
  { name: "pace", of: paceOf, tell: (value) => paced(value, shot.interval), short: (value) => `${decimals(value, 2)}/s`, least: 1 },
  { name: "enlarged", of: (delivery) => delivery.width.map((width) => delivery.frame.width / width), tell: (value) => `${value.toFixed(2)} : 1`, ratio: true, least: 1.25,
    limit: () => 1, limited: "1:1" },
  { name: "speed", of: ({ speed }) => speed, tell: (value) => `${value.toFixed(2)} px a frame`, short: (value) => `${value.toFixed(2)} px`, least: 1, zero: true,
    limit: (delivery) => delivery.limit, limited: "rule of thumb" },
  // Of what is tracked.
  ...(shot.deliveries.some(isTracked)
    ? [{ name: "sure", of: (delivery) => (isTracked(delivery) ? delivery.sure : delivery.x.map(() => 1)), tell: (value) => (value > 0 ? percent(value) : "lost"), least: 1, zero: true }]
    : []),
];

const isTracked = ({ sure }) => sure?.length > 0;

const percent = (value) => `${(100 * value).toFixed(1)} %`;

const paced = (value, interval) => `${decimals(value, 2)} stills/s${interval ? `, × ${decimals(value * interval, 0)}` : ""}`;

function paceOf(delivery) {
  const paces = delivery.position.slice(1).map((position, frame) => (position - delivery.position[frame]) * delivery.fps);
  return [...paces, paces.at(-1) ?? 0];
}

/** Where values lie between 0, at the top, and 1; none that is not finite. */
export function scaleOf(measure, lists, limits = []) {
  const map = measure.ratio ? Math.log : (value) => value;
  let [low, high] = [Infinity, -Infinity];
  for (const values of lists) for (const value of values) [low, high] = [Math.min(low, map(value)), Math.max(high, map(value))];
  if (!(low <= high)) [low, high] = [0, 0];
  if (measure.zero) low = Math.min(0, low);
  const least = map(measure.least) - (measure.ratio ? 0 : map(0));
  const spare = Math.max(0, least - (high - low)) / 2;
  [low, high] = measure.zero ? [low, high + 2 * spare] : [low - spare, high + spare];
  // A limit that is near enough is shown; one far off would press the curve flat.
  for (const limit of limits.map(map)) {
    if (limit > high && limit < high + 0.6 * (high - low)) high = limit;
    if (limit < low && limit > low - 0.6 * (high - low)) low = limit;
  }
  const place = (value) => {
    const part = (map(value) - low) / (high - low);
    return measure.turned ? part : 1 - part;
  };
  return { place, shows: (value) => map(value) >= low - 1e-9 && map(value) <= high + 1e-9 };
}
