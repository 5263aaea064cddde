// What goes wrong while the live page is open: each is shown plainly, and the program goes on.

import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import { mkdirSync, readFileSync, readdirSync, renameSync, statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { PATIENCE, demo, frameOf, opened, place, program, serve, started, versionOf } from "./bench.mjs";

const limit = { timeout: 3 * PATIENCE };
const { at: harbour, script: harbourScript } = demo();
const stills = readdirSync(join(harbour, "shoot"), { recursive: true }).map((name) => join(harbour, "shoot", name)).filter((name) => name.endsWith(".JPG") && statSync(name).isFile()).sort();
let browser;
before(async () => { browser = await started(); });
after(async () => { await browser?.close(); });

/** A folder of stills of its own, a script over them, and a page that shows it. */
const among = (what, work, { count = 6, text = null } = {}) => test(what, limit, async () => {
  const at = place();
  mkdirSync(join(at, "stills"));
  stills.slice(0, count).forEach((still, number) => writeFileSync(join(at, "stills", `LAPS000${number + 1}.JPG`), readFileSync(still)));
  const script = join(at, "move.lua");
  const good = 'return shot { source = stills { "stills" }, fps = 24, pace = frames_per_still(12), deliveries = { delivery { "wide", frame = { 640, 360 } } } }';
  writeFileSync(script, text ?? good);
  const served = await serve(script);
  const { page, context, complaints } = await opened(browser, served.address);
  await work({ at, script, good, served, page, context, complaints });
  assert.ok(served.isUp(), "the program has ended");
  await context.close();
  served.end();
});

among("a script that fails on its first load is told with its line, and shown once it is mended", async ({ page, script, good, complaints }) => {
  await page.waitForSelector("#mistakes:not([hidden])");
  assert.match(await page.locator("#mistakes-text").textContent(), /move\.lua:1/);
  assert.ok(!(await page.locator("#stage").isVisible()) && !(await page.locator("#time").isVisible()));
  writeFileSync(script, good);
  await page.waitForSelector("polygon.window");
  assert.ok(await page.locator("#mistakes").isHidden());
  assert.deepEqual(complaints, []);
}, { text: "return shot {" });

among("a folder that is not there yet is waited for", async ({ page, script, good, at }) => {
  await page.waitForSelector("polygon.window");
  writeFileSync(script, good.replace('"stills"', '"later"'));
  await page.waitForSelector("#mistakes:not([hidden])");
  assert.match(await page.locator("#mistakes-text").textContent(), /later/);
  renameSync(join(at, "stills"), join(at, "later"));
  await page.waitForSelector("#mistakes", { state: "hidden" });
});

among("a still that cannot be decoded is named where it would be, and the others are shown", async ({ page, at }) => {
  await page.waitForSelector("polygon.window");
  // Whole by its header and its end, and wrong in the middle, where a restart marker is that none is due for.
  const path = join(at, "stills", "LAPS0003.JPG");
  const bytes = readFileSync(path);
  bytes.set([0xff, 0xd4], Math.floor(bytes.length / 2));
  const before = await versionOf(page);
  writeFileSync(path, bytes);
  await page.waitForFunction((version) => document.body.dataset.version !== version, before);
  await page.locator("#bar").fill("30");
  await page.waitForSelector("#ground-note:not([hidden])");
  assert.match(await page.locator("#ground-note").textContent(), /LAPS0003 cannot be shown: .*damaged/);
  await page.locator("#bar").fill("40");
  await page.waitForSelector("#ground-note", { state: "hidden" });
});

among("a folder that vanishes while the page is open is told over the last good plan, and its coming back is seen", async ({ page, at }) => {
  await page.waitForSelector("polygon.window");
  renameSync(join(at, "stills"), join(at, "elsewhere"));
  await page.waitForSelector("#mistakes:not([hidden])");
  assert.match(await page.locator("#mistakes-text").textContent(), /stills/);
  assert.ok(await page.locator("polygon.window").isVisible());
  // A still nobody has looked at cannot be shown, and says so.
  await page.keyboard.press("End");
  renameSync(join(at, "elsewhere"), join(at, "stills"));
  await page.waitForSelector("#mistakes", { state: "hidden" });
  await page.waitForSelector("#ground-note", { state: "hidden" });
});

test("two pages at once each have their own dials and both see what is saved", limit, async () => {
  const source = readFileSync(harbourScript, "utf8");
  const served = await serve(harbourScript);
  const [one, other] = [await opened(browser, served.address), await opened(browser, served.address)];
  for (const { page } of [one, other]) await page.waitForSelector("polygon.window");
  await one.page.locator("#dials input").fill("1.9");
  await one.page.waitForFunction(() => document.getElementById("set-text").textContent === "--set near=1.9");
  assert.equal(await other.page.locator("#dials output").textContent(), "1.25");
  const versions = await Promise.all([one, other].map(({ page }) => versionOf(page)));
  writeFileSync(harbourScript, `${source}\n-- saved\n`);
  await Promise.all([one, other].map(({ page }, at) => page.waitForFunction((version) => document.body.dataset.version !== version, versions[at])));
  assert.equal(await one.page.locator("#dials output").textContent(), "1.9");
  for (const { complaints, context } of [one, other]) {
    assert.deepEqual(complaints, []);
    await context.close();
  }
  served.end();
});

among("a page that nobody looks at leaves its stream to others, and is up to date when it is looked at again", async ({ page, script, good }) => {
  await page.waitForSelector("polygon.window");
  const look = (hidden) => page.evaluate((hidden) => {
    Object.defineProperty(document, "hidden", { value: hidden, configurable: true });
    document.dispatchEvent(new Event("visibilitychange"));
  }, hidden);
  await look(true);
  const before = await versionOf(page);
  writeFileSync(script, good.replace("frames_per_still(12)", "frames_per_still(6)"));
  // Another page sees the new plan, so this one would have, had it listened.
  const other = await page.context().newPage();
  await other.goto(page.url());
  await other.waitForFunction(() => document.getElementById("bar").max === "35");
  assert.equal(await versionOf(page), before);
  await look(false);
  await page.waitForFunction(() => document.getElementById("bar").max === "35");
});

among("a browser that reloads in mid-play begins again", async ({ page, complaints }) => {
  await page.waitForSelector("polygon.window");
  for (let times = 0; times < 3; times += 1) {
    await page.locator("#play").click();
    await page.waitForFunction(() => Number(document.getElementById("bar").value) > 2);
    await page.reload();
    await page.waitForSelector("polygon.window");
    await page.waitForFunction(() => Number(document.getElementById("preview").dataset.drawn) > 0);
  }
  assert.equal(await frameOf(page), 0);
  assert.deepEqual(complaints, []);
});

among("a port in use is told, and the page that has it stays", async ({ page, served, script }) => {
  await page.waitForSelector("polygon.window");
  const port = new URL(served.address).port;
  const second = spawnSync(program, ["live", script, "--port", port], { encoding: "utf8", timeout: PATIENCE });
  assert.equal(second.status, 2);
  assert.match(second.stderr, new RegExp(`port ${port} is in use`));
  await page.reload();
  await page.waitForSelector("polygon.window");
});

among("a still named like markup is a text", async ({ page, at, script, good }) => {
  await page.waitForSelector("polygon.window");
  mkdirSync(join(at, "odd"));
  writeFileSync(join(at, "odd", "<img src=x onerror=document.title='run'>.jpg"), readFileSync(stills[0]));
  writeFileSync(script, good.replace('"stills"', '"odd"'));
  await page.waitForFunction(() => document.getElementById("now").textContent.includes("<img"));
  assert.equal(await page.locator("img").count(), 0);
  assert.notEqual(await page.title(), "run");
  // And where it cannot be decoded, where its name is part of a message.
  const path = join(at, "odd", "<img src=x onerror=document.title='run'>.jpg");
  const bytes = readFileSync(path);
  bytes.set([0xff, 0xd4], Math.floor(bytes.length / 2));
  writeFileSync(path, bytes);
  await page.waitForSelector("#ground-note:not([hidden])");
  assert.match(await page.locator("#ground-note").textContent(), /Still <img src=x/);
  assert.equal(await page.locator("img").count(), 0);
  assert.notEqual(await page.title(), "run");
});

among("a program that has ended is told, and the plan stays on screen", async ({ page, served, script }) => {
  await page.waitForSelector("polygon.window");
  const again = await serve(script);
  const { page: other, context } = await opened(browser, again.address);
  await other.waitForSelector("polygon.window");
  again.end();
  await other.waitForFunction(() => document.getElementById("state").textContent.includes("does not answer"));
  assert.ok(await other.locator("polygon.window").isVisible());
  await context.close();
  assert.ok(served.isUp());
});
