// The live page in Debian's Chromium: node tests/live/browser.mjs PROGRAM FOLDER
// PROGRAM is stillpath; FOLDER takes the demo shoot, and holds node_modules with playwright-core and axe-core.

import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { existsSync, mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join, resolve } from "node:path";
import { createInterface } from "node:readline";

const [program, folder] = process.argv.slice(2).map((path) => resolve(path));
const require = createRequire(join(folder, "package.json"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

const demo = join(folder, "demo");
rmSync(demo, { recursive: true, force: true });
execFileSync(program, ["demo", demo, "--stills", "24", "--size", "1600x1200"], { stdio: "ignore" });
const script = join(demo, "harbour.lua");
const source = readFileSync(script, "utf8");

const served = spawn(program, ["live", script], { stdio: ["ignore", "pipe", "inherit"] });
const address = await new Promise((told) => createInterface(served.stdout).once("line", told));
// Chromium's own sandbox is not to be had by root, as which continuous integration often runs.
const browser = await chromium.launch({ executablePath: "/usr/bin/chromium", args: process.getuid() === 0 ? ["--no-sandbox"] : [] });

async function opened(viewport, more = {}) {
  const context = await browser.newContext({ viewport, ...more });
  const page = await context.newPage();
  const complaints = [];
  page.on("console", (message) => message.type() === "error" && complaints.push(message.text()));
  page.on("pageerror", (error) => complaints.push(error.message));
  await page.goto(address);
  await page.waitForSelector("polygon.window");
  return { page, complaints };
}

const frameOf = (page) => page.locator("#bar").inputValue().then(Number);
const planned = () => JSON.parse(execFileSync(program, ["plan", script, "--json"], { encoding: "utf8", maxBuffer: 1 << 28, stdio: ["ignore", "pipe", "ignore"] })).plans[0];

/** Corners of every window on screen, in pixels of the page, beside those of the plan's row. */
async function farthestWindow(page, plan) {
  const shown = await page.evaluate(() => {
    const box = document.getElementById("over").getBoundingClientRect();
    return [...document.querySelectorAll("polygon.window")].map((polygon) => {
      const onScreen = polygon.getScreenCTM();
      const corners = [...polygon.points].map((point) => point.matrixTransform(onScreen)).map(({ x, y }) => [x - box.x, y - box.y]);
      return { corners, box: [box.width, box.height], ...polygon.dataset };
    });
  });
  assert.equal(shown.length, plan.deliveries.length);
  let farthest = 0;
  for (const { corners, box, delivery, frame } of shown) {
    const { x, y, width, height } = plan.deliveries.find(({ name }) => name === delivery).rows[Number(frame)].window;
    const due = [[x, y], [x + width, y], [x + width, y + height], [x, y + height]].map(([px, py]) => [(px / 1600) * box[0], (py / 1200) * box[1]]);
    corners.forEach((corner, at) => { farthest = Math.max(farthest, Math.hypot(corner[0] - due[at][0], corner[1] - due[at][1])); });
  }
  return farthest;
}

const step = async (what, work) => {
  await work();
  console.log(`ok: ${what}`);
};

try {
  const { page, complaints } = await opened({ width: 1280, height: 720 });

  await step("windows stand where the plan has them, within a pixel, at the start and later", async () => {
    assert.ok((await farthestWindow(page, planned())) < 1);
    await page.locator("#bar").fill("40");
    assert.equal(await frameOf(page), 40);
    assert.ok((await farthestWindow(page, planned())) < 1);
    assert.ok(!page.url().includes("token"));
  });

  await step("keys move by a frame, a second, to the ends", async () => {
    await page.locator("h1").click();
    for (const [key, due] of [["Home", 0], ["ArrowRight", 1], ["Shift+ArrowRight", 25], ["ArrowLeft", 24], ["Shift+ArrowLeft", 0]]) {
      await page.keyboard.press(key);
      assert.equal(await frameOf(page), due, key);
    }
    await page.keyboard.press("?");
    assert.ok(await page.locator("#keys").isVisible());
    await page.keyboard.press("Escape");
    // A dialog takes keys until it is gone.
    await page.locator("#keys").waitFor({ state: "hidden" });
  });

  await step("it plays at true speed, 20 pictures a second or more", async () => {
    await page.keyboard.press("Home");
    const seen = () => page.evaluate(() => ({ at: performance.now(), drawn: Number(document.getElementById("preview").dataset.drawn) }));
    await page.keyboard.press("Space");
    // A busy machine takes a while until it plays.
    for (let tries = 0; tries < 200 && (await frameOf(page)) === 0; tries += 1) await page.waitForTimeout(50);
    const [before, begun] = [await seen(), await frameOf(page)];
    await page.waitForTimeout(1500);
    const [after, frame] = [await seen(), await frameOf(page)];
    await page.keyboard.press("Space");
    const seconds = (after.at - before.at) / 1000;
    assert.ok(Math.abs((frame - begun) / 24 - seconds) < 0.25, `frame ${begun} to ${frame} in ${seconds} s`);
    const drawn = (after.drawn - before.drawn) / seconds;
    console.log(`   ${drawn.toFixed(1)} pictures a second`);
    assert.ok(drawn >= 20, `${drawn} pictures a second`);
  });

  await step("a saved script is shown, a broken one is told with its line, over the last good plan", async () => {
    const before = await page.evaluate(() => document.body.dataset.version);
    writeFileSync(script, source.replace("zoom = near", "zoom = 1.4"));
    await page.waitForFunction((version) => document.body.dataset.version !== version, before);
    assert.ok((await farthestWindow(page, planned())) < 1);
    writeFileSync(script, source.replace("framing = framing", "framnig = framing"));
    await page.waitForSelector("#mistakes:not([hidden])");
    const line = source.slice(0, source.indexOf("framing = framing")).split("\n").length;
    assert.match(await page.locator("#mistakes-text").textContent(), new RegExp(`harbour.lua:${line}[^]*did you mean 'framing'`));
    assert.equal(await page.locator("polygon.window").count(), 3);
    writeFileSync(script, source);
    await page.waitForSelector("#mistakes", { state: "hidden" });
  });

  await step("a window is dragged, and the key told makes the same window", async () => {
    await page.locator("#bar").fill("60");
    const grip = await page.locator("circle.grip").nth(2).boundingBox();
    const [x, y] = [grip.x + grip.width / 2 - 2, grip.y + grip.height / 2 - 2];
    await page.mouse.move(x, y);
    await page.mouse.down();
    await page.mouse.move(x - 60, y - 40, { steps: 4 });
    await page.mouse.up();
    const drawn = await page.locator("polygon.drawn").evaluate((polygon) => [...polygon.points].map(({ x: px, y: py }) => [px, py]));
    const key = await page.locator("#told-line").textContent();
    assert.match(key, /^key \{ at = 2\.5, on = point\(/);
    writeFileSync(script, source.replace(/framing = framing \{[^]*?\n {2}\},/, `framing = framing { ${key} },`));
    const { x: left, y: top, width } = planned().deliveries[0].rows[60].window;
    for (const [due, seen] of [[drawn[0][0], left], [drawn[0][1], top], [drawn[1][0], left + width]]) assert.ok(Math.abs(due - seen) < 0.5, `${due} ${seen}`);
    writeFileSync(script, source);
  });

  await step("clicking a place tells it in fractions and in pixels", async () => {
    const box = await page.locator("#over").boundingBox();
    await page.mouse.click(box.x + box.width / 4, box.y + box.height / 2);
    const told = await page.locator("#told-line").textContent();
    const [, across, down, px, py] = told.match(/point\(([\d.]+), ([\d.]+)\) {2}px\((\d+), (\d+)\)/).map(Number);
    assert.ok(Math.abs(across - 0.25) < 0.002 && Math.abs(down - 0.5) < 0.002 && Math.abs(px - 400) < 3 && Math.abs(py - 600) < 3, told);
  });

  await step("a dial makes another plan for this page, and says its --set line", async () => {
    const path = () => page.locator("polyline.path").first().getAttribute("points");
    const zoomed = () => page.locator(".curve path").first().getAttribute("d");
    await page.waitForTimeout(500);
    const before = [await path(), await zoomed()].join();
    await page.locator("#dials input").fill("1.8");
    await page.waitForFunction(() => document.querySelector("#dials output")?.textContent === "1.8" && document.getElementById("set-text").textContent === "--set near=1.8");
    await page.waitForTimeout(700);
    assert.notEqual([await path(), await zoomed()].join(), before);
    assert.equal(readFileSync(script, "utf8"), source);
    await page.locator("#set-back").click();
    await page.waitForFunction(() => document.querySelector("#dials output")?.textContent === "1.25");
  });

  await step("a still named like markup is a text", async () => {
    const odd = join(demo, "odd");
    mkdirSync(odd);
    const first = execFileSync("find", [join(demo, "shoot"), "-name", "*.JPG"], { encoding: "utf8" }).split("\n")[0];
    writeFileSync(join(odd, "<img src=x onerror=document.title='run'>.jpg"), readFileSync(first));
    writeFileSync(script, 'return shot { source = stills { "odd" }, pace = over "2s", deliveries = { delivery { "wide", frame = { 640, 360 } } } }');
    await page.waitForFunction(() => document.getElementById("now").textContent.includes("<img"));
    assert.equal(await page.locator("#now img").count(), 0);
    assert.notEqual(await page.title(), "run");
    renameSync(odd, join(demo, "gone"));
    await page.waitForSelector("#mistakes:not([hidden])");
    writeFileSync(script, source);
    await page.waitForSelector("#mistakes", { state: "hidden" });
  });

  assert.deepEqual(complaints, [], "the browser's console has errors");
  for (const viewport of [{ width: 1280, height: 720 }, { width: 390, height: 844 }]) {
    await step(`no barrier is found by axe-core at ${viewport.width} × ${viewport.height}, nor anything wider than the page`, async () => {
      const checked = await opened(viewport, { reducedMotion: "reduce" });
      await checked.page.waitForTimeout(500);
      await checked.page.screenshot({ path: join(folder, `live-${viewport.width}.png`), fullPage: true });
      assert.ok(await checked.page.evaluate(() => document.documentElement.scrollWidth <= innerWidth));
      // As a debugger would, past the page's policy, which keeps scripts from elsewhere out.
      const { violations } = await checked.page.evaluate(`${axe}; axe.run()`);
      assert.deepEqual(violations.map(({ id, nodes }) => [id, nodes.map(({ html }) => html)]), []);
      assert.deepEqual(checked.complaints, []);
    });
  }
  assert.ok(existsSync(script));
} finally {
  await browser.close();
  served.kill("SIGINT");
}
