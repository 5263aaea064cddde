// How fast the live page is. Bars in seconds hold on a machine that others leave alone; where they do not, what each picture and
// each save takes of a processor is held against the same bar.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { mkdirSync, readFileSync, readdirSync, statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { PATIENCE, demo, opened, place, serve, started, versionOf } from "./bench.mjs";
import { BUSY, watched } from "./machine.mjs";

const limit = { timeout: 3 * PATIENCE };
let browser;
before(async () => { browser = await started(); });
after(async () => { await browser?.close(); });

test("it plays at true speed, 20 pictures a second of 960 pixels or more", limit, async (context) => {
  const { script } = demo();
  const served = await serve(script);
  const { page } = await opened(browser, served.address, { width: 1640, height: 1000 });
  await page.waitForSelector("polygon.window");
  // The delivery in the place of the still.
  await page.keyboard.press("w");
  // Small stills that are made already.
  await page.evaluate(async () => {
    const { plan } = await (await fetch("/view?")).json();
    for (const [, number] of plan.shots[0].slots) if (number !== null) await fetch(`/still/${number}`);
  });
  assert.ok((await page.evaluate(() => Math.max(document.getElementById("preview").width, document.getElementById("preview").height))) >= 960);
  const now = () => page.evaluate(() => ({
    at: performance.now() / 1000, drawn: Number(document.getElementById("preview").dataset.drawn), frame: Number(document.getElementById("bar").value),
  }));
  const seen = [];
  for (let tries = 0; tries < 12; tries += 1) {
    await page.locator("#bar").fill("0");
    await page.locator("#play").click();
    await page.waitForFunction(() => Number(document.getElementById("bar").value) > 0);
    const { made: [from, to], seconds, others } = await watched(async () => {
      const from = await now();
      await page.waitForFunction((end) => performance.now() / 1000 > end, from.at + 1.5);
      return [from, await now()];
    });
    if (await page.evaluate(() => document.getElementById("play").textContent === "Stop")) await page.locator("#play").click();
    const [took, pictures] = [to.at - from.at, to.drawn - from.drawn];
    seen.push({ rate: pictures / took, late: Math.abs((to.frame - from.frame) / 24 - took), each: seconds / pictures, others });
    if (seen.at(-1).rate >= 20 && seen.at(-1).late < 0.25) break;
    // On a machine of its own three tries are enough.
    if (seen.filter(({ others }) => others < BUSY).length === 3) break;
  }
  const { rate, late, each, others } = seen.at(-1);
  context.diagnostic(`${rate.toFixed(1)} pictures a second, ${(each * 1000).toFixed(1)} ms of a processor each, others have ${Math.round(others * 100)} %`);
  if (others < BUSY || rate >= 20) {
    assert.ok(rate >= 20, `${rate} pictures a second`);
    assert.ok(late < 0.25, `${late} s beside true speed`);
  } else {
    const least = Math.min(...seen.map((one) => one.each));
    assert.ok(least <= 1 / 20, `a picture takes ${least} s of a processor`);
  }
  served.end();
});

/** Plays a shoot at a still a frame for so long; pictures sent, pictures shown, and how far the time is off. */
async function played(page, seconds) {
  let sent = 0;
  const count = (response) => { sent += response.url().includes("/still/") ? 1 : 0; };
  const now = () => page.evaluate(() => ({
    at: performance.now() / 1000, drawn: Number(document.getElementById("preview").dataset.drawn), frame: Number(document.getElementById("bar").value),
  }));
  await page.locator("#play").click();
  await page.waitForFunction(() => Number(document.getElementById("bar").value) > 5);
  page.on("response", count);
  const { made: [from, to], seconds: taken, others } = await watched(async () => {
    const from = await now();
    await page.waitForFunction((end) => performance.now() / 1000 > end, from.at + seconds);
    return [from, await now()];
  });
  page.off("response", count);
  const told = Number((await page.locator("#rate").textContent()).match(/^(\d+) pictures a second$/)[1]);
  await page.locator("#play").click();
  const took = to.at - from.at;
  return { sent, shown: to.drawn - from.drawn, rate: (to.drawn - from.drawn) / took, told, late: Math.abs((to.frame - from.frame) / 30 - took), taken, others };
}

test("thousands of stills at a still a frame are played at true speed, the newest there is always shown", limit, async (context) => {
  const at = place();
  mkdirSync(join(at, "stills"));
  execFileSync("ffmpeg", ["-v", "error", "-f", "lavfi", "-i", "testsrc2=size=480x360:rate=30", "-frames:v", "2000", "-q:v", "6", join(at, "stills", "TIDE%05d.JPG")]);
  const move = join(at, "move.lua");
  writeFileSync(move, 'return shot { source = stills { "stills", interval = 5 }, fps = 30, pace = stills_per_frame(1), deliveries = { delivery { "wide", frame = { 480, 270 }, fps = 30 } } }');
  const served = await serve(move);
  const { page } = await opened(browser, served.address);
  await page.waitForSelector("polygon.window");
  const quick = await played(page, 4);
  context.diagnostic(`${quick.rate.toFixed(1)} pictures a second shown, ${(quick.sent / 4).toFixed(1)} sent, others have ${Math.round(quick.others * 100)} %`);
  assert.ok(quick.shown >= quick.sent / 4, `${quick.shown} of ${quick.sent} sent`);
  assert.ok(Math.abs(quick.told - quick.rate) < 12, `${quick.told} told, ${quick.rate} shown`);
  if (quick.others < BUSY) {
    assert.ok(quick.rate >= 20, `${quick.rate} pictures a second`);
    assert.ok(quick.late < 0.25, `${quick.late} s beside true speed`);
  } else {
    assert.ok(quick.taken / quick.shown <= 1 / 15, `a picture takes ${quick.taken / quick.shown} s of a processor`);
  }
  // Where each still takes its time, those that would come too late are left out, and what comes is shown.
  await page.route("**/still/*", async (route) => { await new Promise((done) => { setTimeout(done, 400); }); await route.continue(); });
  const slow = await played(page, 4);
  context.diagnostic(`of ${slow.sent} stills sent late ${slow.shown} are shown`);
  assert.ok(slow.sent > 0 && slow.shown >= slow.sent / 4, `${slow.shown} of ${slow.sent} sent`);
  served.end();
});

/** A still of few bytes, each file another: a JPEG with a comment of its own after its first marker. */
function manyStills(at, count) {
  mkdirSync(join(at, "stills"));
  const small = demo();
  const shoot = readdirSync(join(small.at, "shoot"), { recursive: true }).map((name) => join(small.at, "shoot", name));
  const [first] = shoot.filter((name) => name.endsWith(".JPG") && statSync(name).isFile());
  const bytes = readFileSync(first);
  // The header up to the picture's data, then the end marker: the survey reads no farther.
  const data = bytes.indexOf(Buffer.from([0xff, 0xda]));
  const head = bytes.subarray(2, data + 14);
  for (let number = 1; number <= count; number += 1) {
    const comment = Buffer.from(`still ${number}`);
    const length = Buffer.from([0xff, 0xfe, 0, comment.length + 2]);
    writeFileSync(join(at, "stills", `TIDE${String(number).padStart(5, "0")}.JPG`), Buffer.concat([Buffer.from([0xff, 0xd8]), length, comment, head, Buffer.from([0, 0xff, 0xd9])]));
  }
}

test("a saved script of 5,000 frames in three deliveries over 4,000 stills is on the page within 300 ms", limit, async (context) => {
  const at = place();
  manyStills(at, 4000);
  const move = join(at, "move.lua");
  const text = (zoom) => `return shot { source = stills { "stills", interval = 5 }, fps = 25, pace = over "200s",
  framing = framing { key { at = 0, on = point(0.5, 0.5), zoom = 1 }, key { at = 100, on = point(0.4, 0.6), zoom = ${zoom} }, key { at = "end", on = point(0.6, 0.4), zoom = 1.2 } },
  deliveries = { delivery { "wide", frame = { 1280, 720 }, fps = 25 }, delivery { "tall", frame = { 720, 1280 }, fps = 25 }, delivery { "square", frame = { 720, 720 }, fps = 25 } } }`;
  writeFileSync(move, text(1.5));
  const served = await serve(move);
  const { page } = await opened(browser, served.address);
  await page.waitForSelector("polygon.window");
  const view = () => page.evaluate(async () => {
    const { work, plan } = await (await fetch("/view?")).json();
    return { work, frames: plan.shots[0].deliveries.map(({ x }) => x.length) };
  });
  const { frames, work: { surveys } } = await view();
  assert.deepEqual(frames, [5000, 5000, 5000]);
  // Both clocks are the system's. A view is there when it is laid out, and drawn with the screen's next picture.
  await page.evaluate(() => {
    new MutationObserver(() => { window.shown = performance.timeOrigin + performance.now(); }).observe(document.body, { attributes: true, attributeFilter: ["data-version"] });
  });
  const seen = [];
  for (let save = 0; save < 12; save += 1) {
    const before = await versionOf(page);
    const { made, seconds, others } = await watched(async () => {
      const begun = performance.timeOrigin + performance.now();
      writeFileSync(move, text(1.6 + save / 100));
      await page.waitForFunction((version) => document.body.dataset.version !== version, before);
      await page.evaluate(() => new Promise((drawn) => { requestAnimationFrame(() => setTimeout(drawn, 0)); }));
      return { all: performance.timeOrigin + performance.now() - begun, shown: (await page.evaluate(() => window.shown)) - begun };
    });
    seen.push({ ...made, seconds, others });
  }
  const median = (values) => values.sort((one, other) => one - other)[Math.floor(values.length / 2)];
  const [shown, taken, others] = ["shown", "seconds", "others"].map((name) => median(seen.map((one) => one[name])));
  context.diagnostic(`${shown.toFixed(0)} ms from saving to the page, ${(taken * 1000).toFixed(0)} ms of a processor, others have ${Math.round(others * 100)} %`);
  if (others < BUSY) assert.ok(shown <= 300, `${shown} ms`);
  else assert.ok(Math.min(shown, taken * 1000) <= 300, `${shown} ms, ${taken} s of a processor`);
  assert.equal((await view()).work.surveys, surveys, "an unchanged folder is not surveyed anew");
  served.end();
});
