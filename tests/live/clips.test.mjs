// Deliveries played by a browser: from the first frame to the last.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { pathToFileURL } from "node:url";
import { PATIENCE, demo, program, started } from "./bench.mjs";

const limit = { timeout: 4 * PATIENCE };
const FRAMES = 24;
const RATE = 12;
let browser;
let clips;

before(async () => {
  browser = await started();
  const { at } = demo();
  const script = join(at, "clips.lua");
  writeFileSync(
    script,
    `return shot {
      source = stills { "shoot", missing = "hold", damaged = "hold" }, fps = ${RATE}, pace = over "${FRAMES / RATE}s",
      framing = framing { key { at = "start", on = point(0.5, 0.5), zoom = 1 }, key { at = "end", on = point(0.5, 0.5), zoom = 1.2 } },
      deliveries = {
        delivery { "h264", frame = { 320, 180 }, codec = { "h264", preset = "veryfast" } },
        delivery { "av1", frame = { 320, 180 }, codec = { "av1", preset = 12 } },
      },
    }`,
  );
  execFileSync(program, ["render", script, "--out", at, "--quiet", "--no-strip"], { stdio: ["ignore", "ignore", "inherit"] });
  clips = at;
});

after(() => browser?.close());

for (const codec of ["h264", "av1"]) {
  test(`a clip of ${codec} plays to its last frame`, limit, async () => {
    const page = await (await browser.newContext()).newPage();
    const name = `clips-${codec}.mp4`;
    const html = join(clips, `${codec}.html`);
    writeFileSync(html, `<!doctype html><video muted src="${name}"></video>`);
    await page.goto(pathToFileURL(html).href);
    const seen = await page.evaluate(async () => {
      const video = document.querySelector("video");
      const shown = [];
      const watch = (_now, { mediaTime }) => {
        shown.push(mediaTime);
        video.requestVideoFrameCallback(watch);
      };
      video.requestVideoFrameCallback(watch);
      await video.play();
      await new Promise((ended, failed) => {
        video.onended = ended;
        video.onerror = () => failed(new Error(video.error.message));
      });
      // The last callback may come after the end.
      await new Promise((later) => setTimeout(later, 200));
      return { width: video.videoWidth, height: video.videoHeight, lasts: video.duration, shown };
    });
    assert.deepEqual([seen.width, seen.height], [320, 180]);
    assert.ok(Math.abs(seen.lasts - FRAMES / RATE) < 0.001, `${seen.lasts} s`);
    assert.ok(Math.abs(seen.shown.at(-1) - (FRAMES - 1) / RATE) < 0.01, `the last frame shown was at ${seen.shown.at(-1)} s`);
    for (const time of seen.shown) assert.ok(Math.abs(time * RATE - Math.round(time * RATE)) < 0.01, `a frame at ${time} s`);
  });
}
