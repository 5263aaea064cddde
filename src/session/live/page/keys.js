// A window as a `key { … }` of a framing, in the kind of moment that its neighbours are written in.
//
// Figures are rounded to what the eye can tell: a place to a ten-thousandth of the still, a zoom to a thousandth, a moment
// to the frame.

import { at as pointAt, decimals, largest } from "./shapes.js";

/** The kind of moment of the key nearest in time; seconds where there is none but those at the clip's ends. */
function kindNear(keys, seconds) {
  let nearest = null;
  for (const key of keys.filter(({ kind }) => kind !== "end")) if (!nearest || Math.abs(key.seconds - seconds) < Math.abs(nearest.seconds - seconds)) nearest = key;
  return nearest?.kind ?? "seconds";
}

/** A moment in Lua: the frame on screen then is the given one. */
export function momentOf(shot, delivery, frame) {
  const seconds = frame / delivery.fps;
  const slot = delivery.shown[frame];
  const kind = kindNear(delivery.keys, seconds);
  if (kind === "still") return `still(${slot + 1})`;
  if (kind === "part") return `part(${decimals(Math.min(1, delivery.position[frame] / Math.max(1, shot.used)), 4)})`;
  const since = shot.slots[slot][2];
  if (kind === "clock" && since !== null && shot.began) return `clock "${clockText(shot.began, since)}"`;
  return decimals(seconds, 3);
}

/** A time of the camera's clock, with its date: `2026-05-01 14:32:05`. */
export function clockText(began, since) {
  const time = new Date(Date.parse(`${began}Z`) + Math.round(since) * 1000);
  return time.toISOString().slice(0, 19).replace("T", " ");
}

/** The `key { … }` of a framing that makes a window of a delivery's frame. */
export function keyOf(window, { shot, delivery, frame }) {
  const { still } = shot;
  const [x, y] = pointAt(window, delivery.place);
  const zoom = largest(still, window.width / window.height, window.roll) / window.width;
  const roll = window.roll ? `, roll = ${decimals(window.roll, 2)}` : "";
  const on = `point(${decimals(x / still.width, 4)}, ${decimals(y / still.height, 4)})`;
  return `key { at = ${momentOf(shot, delivery, frame)}, on = ${on}, zoom = ${decimals(Math.max(1, zoom), 3)}${roll} },`;
}
