// The live page in Debian's Chromium, used as a person does.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { readFileSync, symlinkSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { after, before, test } from "node:test";
import { PATIENCE, axe, demo, farthestWindow, folder, frameOf, meanColour, off, opened, place, planned, program, saved, serve, shapes, started } from "./bench.mjs";

const limit = { timeout: 3 * PATIENCE };
const { at: harbour, source } = demo();
let browser;

before(async () => { browser = await started(); });
after(async () => { await browser?.close(); });

/** A page that shows a script of its own over the demo's stills; its console complains of nothing. */
const using = (what, work, viewport, more) => test(what, limit, async () => {
  const at = place();
  symlinkSync(join(harbour, "shoot"), join(at, "shoot"));
  const script = join(at, "harbour.lua");
  writeFileSync(script, source);
  const served = await serve(script);
  const { page, context, complaints } = await opened(browser, served.address, viewport, more);
  await page.waitForSelector("polygon.window");
  await work(page, script);
  assert.deepEqual(complaints, [], "the browser's console has errors");
  assert.ok(served.isUp());
  await context.close();
  served.end();
});

const told = (page) => page.locator("#told-line").textContent();
const drawn = (page) => page.locator("polygon.drawn").evaluate((polygon) => [...polygon.points].map(({ x, y }) => [x, y]));

/** Pastes a key into the script, alone, and holds the window that it makes at a frame against the one that was drawn. */
async function makesTheSameWindow(page, script, frame) {
  const [corners, key] = [await drawn(page), await told(page)];
  writeFileSync(script, source.replace(/framing = framing \{[^]*?\n {2}\},/, `framing = framing { ${key} },`));
  const { x, y, width } = planned(script).deliveries[0].rows[frame].window;
  for (const [due, seen] of [[corners[0][0], x], [corners[0][1], y], [corners[1][0], x + width]]) assert.ok(Math.abs(due - seen) < 0.5, `${due} ${seen}`);
}

using("windows stand where the plan has them, within a pixel, at the start and later", async (page, script) => {
  assert.ok((await farthestWindow(page, planned(script))) < 1);
  await page.locator("#bar").fill("40");
  assert.equal(await frameOf(page), 40);
  assert.ok((await farthestWindow(page, planned(script))) < 1);
  assert.ok(!page.url().includes("token"));
});

using("the time bar is dragged, and the windows go with it", async (page, script) => {
  const box = await page.locator("#bar").boundingBox();
  await page.mouse.move(box.x + 9, box.y + box.height / 2);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2, { steps: 8 });
  await page.mouse.up();
  const last = planned(script).deliveries[0].rows.length - 1;
  assert.ok(Math.abs((await frameOf(page)) - last / 2) < last / 10, `frame ${await frameOf(page)} of ${last}`);
  assert.ok((await farthestWindow(page, planned(script))) < 1);
});

using("keys move by a frame, a second, to the ends", async (page, script) => {
  await page.locator("h1").click();
  for (const [key, due] of [["Home", 0], ["ArrowRight", 1], ["Shift+ArrowRight", 25], ["ArrowLeft", 24], ["Shift+ArrowLeft", 0]]) {
    await page.keyboard.press(key);
    assert.equal(await frameOf(page), due, key);
  }
  await page.keyboard.press("?");
  assert.ok(await page.locator("#keys").isVisible());
  await page.keyboard.press("Escape");
  await page.locator("#keys").waitFor({ state: "hidden" });
});

using("a saved script is shown, a broken one is told with its line, over the last good plan", async (page, script) => {
  await saved(page, script, source.replace("zoom = near", "zoom = 1.4"));
  assert.ok((await farthestWindow(page, planned(script))) < 1);
  writeFileSync(script, source.replace("framing = framing", "framnig = framing"));
  await page.waitForSelector("#mistakes:not([hidden])");
  const line = source.slice(0, source.indexOf("framing = framing")).split("\n").length;
  assert.match(await page.locator("#mistakes-text").textContent(), new RegExp(`harbour.lua:${line}[^]*did you mean 'framing'`));
  assert.equal(await page.locator("polygon.window").count(), 3);
  writeFileSync(script, source);
  await page.waitForSelector("#mistakes", { state: "hidden" });
});

using("a window is dragged by its corner, and the key told makes the same window", async (page, script) => {
  await page.locator("#bar").fill("60");
  // In one go: the page draws its shapes anew whenever a still arrives.
  const [x, y] = await page.evaluate(() => {
    const { x, y, width, height } = document.querySelectorAll("circle.grip")[2].getBoundingClientRect();
    return [x + width / 2 - 2, y + height / 2 - 2];
  });
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x - 60, y - 40, { steps: 4 });
  await page.mouse.up();
  // In the kind of moment that the key beside it is written in.
  assert.match(await told(page), /^key \{ at = part\(0\.\d+\), on = point\(/);
  await makesTheSameWindow(page, script, 60);
});

using("a window is moved and sized by the keyboard alone, is said aloud, and the key told makes the same window", async (page, script) => {
  await page.locator("#bar").fill("30");
  // By Tab from the top of the page, as one without a mouse comes to it.
  await page.locator("#keys-button").focus();
  await page.keyboard.press("Tab");
  const held = () => page.evaluate(() => ({ label: document.activeElement.getAttribute("aria-label"), outline: getComputedStyle(document.activeElement).outlineStyle }));
  assert.deepEqual(await held(), { label: "Window of wide", outline: "solid" });
  const chosen = () => page.locator("polygon.chosen").evaluate(({ points: [{ x, y }] }) => [x, y]);
  const was = await chosen();
  const smaller = async () => { for (const key of ["-", "-", "-", "-", "-", "-"]) await page.keyboard.press(key); };
  await smaller();
  assert.equal(await page.locator("polygon.drawn").count(), 1);
  await page.keyboard.press("Escape");
  assert.equal(await page.locator("polygon.drawn").count(), 0);
  assert.deepEqual(await chosen(), was);
  await smaller();
  const [left, top] = (await drawn(page))[0];
  await page.keyboard.press("ArrowRight");
  await page.keyboard.press("ArrowDown");
  const [right, below] = (await drawn(page))[0];
  // A two-hundredth of the still's width.
  assert.ok(Math.abs(right - left - 8) < 1e-3 && Math.abs(below - top - 8) < 1e-3, `${right - left} ${below - top}`);
  await page.keyboard.press("Shift+ArrowLeft");
  assert.ok(Math.abs((await drawn(page))[0][0] - right + Math.min(80, right)) < 1e-3);
  assert.equal(await frameOf(page), 30, "the time stands still");
  const inner = (corners) => corners[1][0] - corners[0][0];
  const before = inner(await drawn(page));
  await page.keyboard.press("Tab");
  assert.equal((await held()).label, "wide: top left corner");
  await page.keyboard.press("Shift+ArrowRight");
  assert.ok(inner(await drawn(page)) < before - 20, "the corner makes it smaller");
  const key = await told(page);
  await page.waitForFunction((key) => document.getElementById("said").textContent.includes(key), key);
  await makesTheSameWindow(page, script, 30);
});

using("clicking a place tells it in fractions and in pixels", async (page, script) => {
  const box = await page.locator("#over").boundingBox();
  await page.mouse.click(box.x + box.width / 4, box.y + box.height / 2);
  const [, across, down] = (await told(page)).match(/^on = point\(([\d.]+), ([\d.]+)\),$/).map(Number);
  const [, px, py] = (await page.locator("#told-what").textContent()).match(/(\d+) pixels across and (\d+) down/).map(Number);
  assert.ok(Math.abs(across - 0.25) < 0.002 && Math.abs(down - 0.5) < 0.002 && Math.abs(px - 400) < 3 && Math.abs(py - 600) < 3, await told(page));
  // What is copied parses where a key takes it.
  writeFileSync(script, source.replace("on = barge,", await told(page)));
  assert.ok(planned(script).deliveries[0].rows.length > 0);
});

using("a dial makes another plan for this page, and says its --set line", async (page, script) => {
  const set = async (value) => {
    await page.locator("#dials input").fill(value);
    await page.waitForFunction((value) => document.getElementById("set-text").textContent === `--set near=${value}`, value);
    const due = planned(script, ["--set", `near=${value}`]).deliveries[0].rows.at(-1).window;
    await page.keyboard.press("End");
    await page.locator("#bar").fill(String(planned(script).deliveries[0].rows.length - 1));
    await page.waitForFunction(({ x, width }) => {
      const { x: left } = document.querySelector("polygon.chosen").points[0];
      const { x: right } = document.querySelector("polygon.chosen").points[1];
      return Math.abs(left - x) < 0.01 && Math.abs(right - left - width) < 0.01;
    }, due);
  };
  await set("1.8");
  await set("1.5");
  assert.equal(readFileSync(script, "utf8"), source);
  await page.locator("#set-back").click();
  await page.waitForFunction(() => document.querySelector("#dials output")?.textContent === "1.25");
});

using("remarks lead to their frames", async (page, script) => {
  await saved(page, script, source.replace(/framing = framing \{[^]*?\n {2}\},/, "framing = framing { key { at = 1, on = point(0.3, 0.3), zoom = 2 }, key { at = 1.1, on = point(0.7, 0.7), zoom = 2 } },"));
  const button = page.locator("#remarks button").first();
  const frame = Number((await button.textContent()).match(/\d+/)[0]);
  await button.click();
  assert.equal(await frameOf(page), frame);
});

using("what is followed and what is covered stand where the plan has them, and what is covered is not seen", async (page, script) => {
  const boxes = "key { at = still(1), box(0.2, 0.3, 0.2, 0.2) }, key { at = still(24), box(0.5, 0.4, 0.2, 0.2) }";
  const followed = source.replace(/framing = framing \{[^]*?\n {2}\},/, `framing = follow { ${boxes} }, covers = { cover { box(0.05, 0.1, 0.1, 0.12) } },`);
  await saved(page, script, followed);
  for (const frame of [0, 60]) {
    await page.locator("#bar").fill(String(frame));
    const explained = JSON.parse(execFileSync(program, ["explain", script, "--delivery", "wide", "--frame", String(frame), "--json"], { encoding: "utf8" }));
    const { x, y, width, height } = explained.framing.follow.area;
    const [subject] = await shapes(page, "subject");
    assert.ok(off(subject, { x: x * 1600, y: y * 1200, width: width * 1600, height: height * 1200 }, { width: 1600, height: 1200 }) < 1);
    const [cover] = await shapes(page, "cover");
    assert.ok(off(cover, planned(script).covers[0].areas[0], { width: 1600, height: 1200 }) < 1);
  }
  // Mid grey and nothing else, in the still that is shown.
  let colour = [];
  const isGrey = async () => {
    colour = await meanColour(page, "ground", [0.06, 0.11, 0.08, 0.1]);
    return colour.every((code) => Math.abs(code - 128) < 2);
  };
  for (const end = Date.now() + PATIENCE; !(await isGrey());) assert.ok(Date.now() < end, String(colour));
  await page.locator("#boxes").uncheck();
  assert.equal(await page.locator("polygon.subject, polygon.cover").count(), 0);
});

using("how sure a tracked subject is has a curve, and its box is broken where it is lost", async (page, script) => {
  const state = (still) => (still === 1 ? "keyed" : still >= 10 && still <= 13 ? "lost" : "seen");
  const lines = Array.from({ length: 24 }, (_, at) => `${at + 1},${0.2 + 0.01 * at},0.3,0.2,0.2,${state(at + 1) === "lost" ? 0 : 0.9},${state(at + 1)},`);
  writeFileSync(join(dirname(script), "boxes.csv"), `still,x,y,width,height,confidence,state,name\n${lines.join("\n")}\n`);
  assert.equal(await page.locator('[data-measure="sure"]').count(), 0);
  await saved(page, script, source.replace(/framing = framing \{[^]*?\n {2}\},/, 'framing = follow { key { at = still(1), box(0.2, 0.3, 0.2, 0.2) }, track = "boxes.csv" },'));
  assert.ok((await page.locator('[data-measure="sure"]').count()) > 0);
  const { rows } = planned(script).deliveries[0];
  // The first frame that shows a still from that one on.
  const seen = async (slot) => {
    await page.locator("#bar").fill(String(rows.findIndex(({ shown }) => shown >= slot)));
    const broken = await page.locator("polygon.subject").getAttribute("stroke-dasharray");
    return [broken, await page.locator("#stage").textContent()];
  };
  const [whole, named] = await seen(4);
  assert.ok(whole === null && named.includes("subject") && !named.includes("lost"), named);
  const [broken, lost] = await seen(10);
  assert.ok(broken !== null && lost.includes("lost"), lost);
});

test("frames of a recording are shown, each its own, forwards, backwards and while it plays", limit, async () => {
  const at = place();
  // Frame n is of one grey, which rises by two codes a frame: as limited-range luma, 16 to 235 (ITU-R BT.709, 3).
  const filter = ["-f", "lavfi", "-i", "color=black:size=640x360:rate=25:duration=4", "-vf", "geq=lum='16+2*N':cb=128:cr=128"];
  execFileSync("ffmpeg", ["-v", "error", ...filter, "-c:v", "libx264", "-g", "40", "-bf", "2", "-qp", "4", "-pix_fmt", "yuv420p", join(at, "day.mp4")]);
  const move = join(at, "move.lua");
  writeFileSync(move, 'return shot { source = recording "day.mp4", fps = 25, pace = stills_per_frame(1), deliveries = { delivery { "wide", frame = { 640, 360 }, fps = 25 } } }');
  const film = await serve(move);
  const { page, context, complaints } = await opened(browser, film.address);
  await page.waitForSelector("polygon.window");
  for (const frame of [0, 50, 20, 99, 98, 3]) {
    await page.locator("#bar").fill(String(frame));
    const due = ((2 * frame) / 219) * 255;
    await page.waitForFunction((due) => {
      const [red] = document.getElementById("ground").getContext("2d").getImageData(100, 100, 1, 1).data;
      return Math.abs(red - due) < 1.5;
    }, due);
  }
  await page.locator("#bar").fill("0");
  await page.locator("#play").click();
  await page.waitForFunction(() => Number(document.getElementById("bar").value) === 99);
  await page.waitForFunction((due) => Math.abs(document.getElementById("preview").getContext("2d").getImageData(100, 100, 1, 1).data[0] - due) < 1.5, (198 / 219) * 255);
  assert.deepEqual(complaints, []);
  await context.close();
  film.end();
});

for (const viewport of [{ width: 1280, height: 720 }, { width: 390, height: 844 }]) {
  using(`no barrier is found by axe-core at ${viewport.width} × ${viewport.height}, nor anything wider than the page`, async (page, script) => {
    const check = async (name) => {
      await page.screenshot({ path: join(folder, `live-${name}-${viewport.width}.png`), fullPage: true });
      assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), name);
      // As a debugger would, past the page's policy, which keeps scripts from elsewhere out.
      const { violations } = await page.evaluate(`${axe}; axe.run()`);
      assert.deepEqual(violations.map(({ id, nodes }) => [id, nodes.map(({ html }) => html)]), [], name);
    };
    await page.waitForFunction(() => Number(document.getElementById("preview").dataset.drawn) > 0);
    await check("plan");
    await page.locator('[data-handle="window"]').focus();
    await page.keyboard.press("-");
    await page.keyboard.press("-");
    await check("drawn");
    writeFileSync(script, source.replace("framing = framing", "framnig = framing"));
    await page.waitForSelector("#mistakes:not([hidden])");
    await check("refused");
  }, viewport, { reducedMotion: "reduce" });
}
