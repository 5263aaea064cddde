// What a person who keeps the page open relies on: that it says how it stands, and that picture and time are seen together.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { chmodSync, existsSync, mkdirSync, readFileSync, symlinkSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { PATIENCE, demo, frameOf, opened, place, planned, program, saved, serve, started } from "./bench.mjs";

const limit = { timeout: 3 * PATIENCE };
const { at: harbour, source } = demo();
let browser;

before(async () => { browser = await started(); });
after(async () => { await browser?.close(); });

/** A page over the demo's stills, of a script of its own; its console complains of nothing. */
const using = (what, work, { viewport, more, text = source, environment } = {}) => test(what, limit, async () => {
  const at = place();
  symlinkSync(join(harbour, "shoot"), join(at, "shoot"));
  const script = join(at, "harbour.lua");
  writeFileSync(script, text);
  const served = await serve(script, [], environment?.(at));
  const { page, context, complaints } = await opened(browser, served.address, viewport, more);
  await page.waitForSelector("polygon.window");
  await work({ page, script, at, served });
  // A plan that is gone is an answer that the page itself understands.
  assert.deepEqual(complaints.filter((text) => !text.includes("410")), [], "the browser's console has errors");
  assert.ok(served.isUp());
  await context.close();
  served.end();
});

const state = (page) => page.locator("#state").textContent();
const boxOf = (page, id) => page.locator(`#${id}`).boundingBox();

// U+00A0 and ESC have no escape in JSON that Lua writes alike.
const ODD = "tide\u00a0out\u001b[2J\u202eeno";
using("a dial's text may hold anything, and is a value on the page", async ({ page }) => {
  const seen = await page.locator("#dials input[type=text]").inputValue();
  assert.equal(seen, ODD);
  assert.match(await state(page), /^Up to date/);
  await page.locator("#dials input[type=text]").fill("again\u00a0");
  await page.locator("#dials input[type=text]").press("Enter");
  await page.waitForFunction(() => document.getElementById("set-text").textContent === "--set 'words=again\u00a0'");
  await page.waitForFunction(() => document.querySelector("#dials output").textContent === "again\u00a0");
}, { text: source.replace("local near", `local words = dial("words", "tide\\u{a0}out\\27[2J\\u{202e}eno", { help = "what is said" })\nlocal near`) });

test("an error of the page itself is told as one, never as up to date", limit, async () => {
  const served = await serve(join(harbour, "harbour.lua"));
  const { page, context } = await opened(browser, served.address);
  await page.waitForSelector("polygon.window");
  await page.evaluate(() => { setTimeout(() => { throw new Error("planted"); }, 0); });
  await page.waitForFunction(() => document.getElementById("state").textContent.includes("planted"));
  assert.doesNotMatch(await state(page), /Up to date/);
  await page.reload();
  await page.waitForSelector("polygon.window");
  await page.evaluate(() => Promise.reject(new Error("promised")).finally(() => {}) && undefined).catch(() => {});
  await page.evaluate(() => { Promise.reject(new Error("promised")); });
  await page.waitForFunction(() => document.getElementById("state").textContent.includes("promised"));
  // An answer that cannot be shown is an error too.
  await page.reload();
  await page.waitForSelector("polygon.window");
  await page.route("**/view?*", (route) => route.fulfill({ contentType: "application/json", body: '{"refused":false,"script":"x","plan":{"shots":[]}}' }));
  writeFileSync(join(harbour, "harbour.lua"), `${source}\n-- saved\n`);
  await page.waitForFunction(() => document.getElementById("state").textContent.startsWith("This page met an error"));
  await context.close();
  served.end();
});

using("a script that never ends is being read, not up to date, and does not hold up the good one saved after it", async ({ page, script }) => {
  // A pattern that backtracks for longer than a script may take.
  const endless = `local text = string.rep("a", 40)\nstring.find(text, string.rep("a-", 40) .. "b")\n${source}`;
  writeFileSync(script, endless);
  await page.waitForFunction(() => document.getElementById("state").textContent === "Reading the script …");
  const begun = performance.now();
  await saved(page, script, source.replace("zoom = near", "zoom = 1.6"));
  // A script may take 7 s: it was not waited for.
  assert.ok(performance.now() - begun < 7000, `${performance.now() - begun} ms`);
  assert.match(await state(page), /^Up to date/);
});

using("remarks of the plan that is shown stay under a refused script, and nothing else moves", async ({ page, script }) => {
  const remarks = await page.locator("#remarks").textContent();
  assert.match(remarks, /\w/);
  assert.notEqual(remarks, "None.");
  const before = { stage: await boxOf(page, "stage"), band: await boxOf(page, "band"), frame: await boxOf(page, "frame") };
  writeFileSync(script, source.replace("framing = framing", "framnig = framing"));
  await page.waitForSelector("#mistakes:not([hidden])");
  assert.equal(await page.locator("#remarks").textContent(), remarks);
  assert.deepEqual({ stage: await boxOf(page, "stage"), band: await boxOf(page, "band"), frame: await boxOf(page, "frame") }, before);
});

using("what is copied is said once, however often it is copied", async ({ page }) => {
  await page.locator("#over").click({ position: { x: 80, y: 60 } });
  const copy = page.locator("#told-copy");
  await copy.click();
  await copy.click();
  await page.waitForFunction(() => document.getElementById("told-copy").textContent !== "Copy");
  await page.waitForFunction(() => document.getElementById("told-copy").textContent === "Copy");
}, { more: { permissions: ["clipboard-read", "clipboard-write"] } });

using("after a jump the picture before is marked as such until the one that is due has come", async ({ page }) => {
  let release;
  const held = new Promise((done) => { release = done; });
  await page.waitForFunction(() => Number(document.getElementById("preview").dataset.drawn) > 0);
  await page.route("**/still/*", async (route) => { await held; await route.continue(); });
  await page.keyboard.press("End");
  await page.waitForSelector("#stage.waits");
  const name = (await page.locator("#now").textContent()).trim().split(/\s+/).at(-1);
  assert.equal(await page.locator("#coming").textContent(), `${name} is coming …`);
  assert.ok(await page.locator("#frame-coming").isVisible());
  release();
  await page.waitForFunction(() => !document.getElementById("stage").classList.contains("waits"));
});

using("where the time stands, the frame is the one that a render paints", async ({ page, script, at }) => {
  await page.locator("#bar").fill("60");
  await page.waitForFunction(() => document.getElementById("preview").dataset.true === "60");
  assert.match(await page.locator("#frame-note").textContent(), /as a render paints it/);
  const file = join(at, "frame.png");
  execFileSync(program, ["frame", script, "--delivery", "wide", "--frame", "60", "-o", file], { stdio: "ignore" });
  const size = await page.evaluate(() => { const { width, height } = document.getElementById("preview"); return { width, height }; });
  // The program's own frame in the same size, by another scaler: equal but for its kernel and the picture's compression.
  const scaled = ["-v", "error", "-i", file, "-vf", `scale=${size.width}:${size.height}:flags=lanczos`, "-f", "rawvideo", "-pix_fmt", "rgb24", "-"];
  const due = execFileSync("ffmpeg", scaled, { maxBuffer: 1 << 28 });
  const seen = Buffer.from(await page.evaluate(() => {
    const canvas = document.getElementById("preview");
    const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
    return [...data.filter((_, at) => at % 4 < 3)];
  }));
  assert.equal(seen.length, due.length);
  let squares = 0;
  for (let at = 0; at < due.length; at += 1) squares += (seen[at] - due[at]) ** 2;
  const decibels = 10 * Math.log10((255 * 255 * due.length) / squares);
  assert.ok(decibels > 30, `${decibels.toFixed(1)} dB`);
});

using("a plan that the program no longer keeps is asked for again", async ({ page }) => {
  await page.waitForFunction(() => document.getElementById("preview").dataset.true === "0");
  // Other pages with dials of their own make other plans.
  for (let near = 11; near < 18; near += 1) await page.evaluate((near) => fetch(`/view?set=near=${near / 10}`), near);
  await page.locator("#bar").fill("20");
  await page.waitForFunction(() => document.getElementById("preview").dataset.true === "20");
});

using("the plan before is kept as thin dashes for as long as one wants", async ({ page, script }) => {
  assert.ok(await page.locator("#before").isDisabled());
  const wayOf = (kind) => page.locator(`polyline.${kind}`).first().getAttribute("points");
  const was = await wayOf("path");
  await saved(page, script, source.replace("zoom = near", "zoom = 1.6").replace("on = pier", "on = point(0.7, 0.6)"));
  await page.keyboard.press("b");
  assert.equal(await wayOf("before"), was);
  assert.ok((await page.locator("#band path.before").count()) > 0);
  await saved(page, script, source.replace("on = pier", "on = point(0.3, 0.6)"));
  assert.equal(await wayOf("before"), was, "a later plan does not take its place");
  await page.keyboard.press("b");
  assert.equal(await page.locator(".before").count(), 0);
});

using("keys say their line, are gone to, and are opened by the editor that the environment names", async ({ page, script, at, served }) => {
  const line = source.slice(0, source.indexOf("key { at = part(0.42)")).split("\n").length;
  const mark = page.locator("#band .key").nth(1);
  assert.match(await mark.locator("title").textContent(), new RegExp(`harbour\\.lua:${line}$`));
  await mark.dispatchEvent("click");
  await page.waitForFunction(() => document.getElementById("told-what").textContent.startsWith("Opened"));
  const seconds = Number((await page.locator("#now").textContent()).split(" ")[0]);
  const due = Number((await mark.locator("title").textContent()).match(/at ([\d.]+) s/)[1]);
  assert.ok(Math.abs(due - seconds) < 1 / 24 + 0.01, `${due} ${seconds}`);
  for (const end = Date.now() + PATIENCE; !existsSync(join(at, "opened"));) assert.ok(Date.now() < end);
  assert.equal(readFileSync(join(at, "opened"), "utf8").trim(), `${script} ${line}`);
  // Only by a page of ours, and only lines that a view told.
  const address = (path) => `${new URL(served.address).origin}${path}`;
  assert.equal((await page.request.post(address("/open/1/1"), { headers: { origin: "http://elsewhere.example" } })).status(), 403);
  assert.equal((await page.request.post(address("/open/1/9999"))).status(), 422);
  assert.equal((await page.request.post(address("/open/77/0"))).status(), 422);
  // The way over the still carries the same keys.
  assert.equal(await page.locator("#over .key").count(), 4);
}, {
  environment: (at) => {
    const editor = join(at, "edit");
    writeFileSync(editor, `#!/bin/sh\necho "$1 $2" > '${at}/opened.part' && mv '${at}/opened.part' '${at}/opened'\n`);
    chmodSync(editor, 0o755);
    return { STILLPATH_EDITOR: `${editor} {file} {line}` };
  },
});

using("without an editor a click on a key says its line, and no line is opened for anybody", async ({ page, served }) => {
  await page.locator("#band .key").first().dispatchEvent("click");
  assert.match(await page.locator("#told-what").textContent(), /harbour\.lua:\d+.*STILLPATH_EDITOR/);
  const address = `${new URL(served.address).origin}/open/1/0`;
  assert.equal((await page.request.post(address)).status(), 404);
  assert.equal((await page.request.get(address)).status(), 405);
});

using("a loop goes round between its ends until it is let go", async ({ page }) => {
  await page.locator("#bar").fill("24");
  await page.keyboard.press("[");
  await page.locator("#bar").fill("35");
  await page.locator("h1").click();
  await page.keyboard.press("]");
  assert.match(await page.locator("#loop-text").textContent(), /^Loop 1\.00 to 1\.50 s$/);
  await page.keyboard.press(" ");
  const seen = new Set();
  for (let looks = 0; looks < 60; looks += 1) {
    seen.add(await frameOf(page));
    await page.waitForTimeout(25);
  }
  await page.keyboard.press(" ");
  assert.ok([...seen].every((frame) => frame >= 24 && frame <= 36), [...seen].join(" "));
  await page.keyboard.press("\\");
  assert.ok(await page.locator("#loop").isHidden());
});

using("values under the pointer are those of the plan", async ({ page, script }) => {
  const box = await page.locator("#band > svg").boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  const caption = await page.locator("#band .caption").textContent();
  const frame = Number(caption.match(/frame (\d+)/)[1]);
  const row = planned(script).deliveries[0].rows[frame];
  const [zoom, across] = await page.locator("#band .value").allTextContents();
  assert.ok(Math.abs(Number(zoom.slice(2)) - 1600 / row.window.width) < 0.001, zoom);
  assert.ok(Math.abs(Number.parseFloat(across) - (100 * (row.window.x + row.window.width / 2)) / 1600) < 0.06, across);
});

for (const [width, height, colorScheme] of [[1440, 900, "light"], [1024, 700, "dark"], [390, 844, "light"]]) {
  using(`picture, delivery and time are on the screen together at ${width} × ${height}`, async ({ page }) => {
    const within = async (id) => {
      const box = await boxOf(page, id);
      assert.ok(box.x >= 0 && box.y >= 0 && box.x + box.width <= width + 0.5 && box.y + box.height <= height + 0.5, `${id} ${JSON.stringify(box)}`);
      return box;
    };
    const [stage, band] = [await within("stage"), await within("band")];
    assert.ok(stage.y + stage.height <= band.y, "the still is above its time");
    if (width === 390) {
      const remark = await page.locator("#remarks li").first().boundingBox();
      assert.ok(remark.y + remark.height < height, "a remark is on the first screen");
      return;
    }
    for (const key of ["1", "2", "3"]) {
      await page.keyboard.press(key);
      await within("stage");
      await within("band");
      const frame = await within("preview");
      if (width === 1440) assert.ok(Math.max(frame.width, frame.height) >= 480, `${key}: ${JSON.stringify(frame)}`);
    }
    await page.keyboard.press("1");
    const longer = await page.evaluate(() => Math.max(document.getElementById("preview").clientWidth, document.getElementById("preview").clientHeight));
    await page.keyboard.press("w");
    await within("band");
    assert.ok((await within("preview")).width > longer, "swapped, the delivery is the larger");
    await page.keyboard.press("w");
    await page.keyboard.press("f");
    const filled = await page.evaluate(() => document.getElementById("frame").getBoundingClientRect().width === innerWidth);
    assert.ok(filled);
    await page.keyboard.press("Escape");
  }, { viewport: { width, height }, more: { colorScheme } });
}

using("a window that is pulled to other sizes is laid out anew, and nothing is called an error", async ({ page }) => {
  for (const [width, height] of [[1440, 900], [700, 900], [390, 700], [1100, 620], [1280, 720]]) {
    await page.setViewportSize({ width, height });
    await page.evaluate(() => new Promise((done) => { requestAnimationFrame(() => requestAnimationFrame(done)); }));
  }
  const [still, pane] = [await boxOf(page, "stage"), await boxOf(page, "still-part")];
  assert.ok(Math.abs(still.width - pane.width) < 1 || Math.abs(still.height - pane.height) < 1, JSON.stringify([still, pane]));
  assert.match(await state(page), /^Up to date/);
});

using("dimming leaves the pictures as they are", async ({ page }) => {
  await page.waitForFunction(() => document.getElementById("preview").dataset.true === "0");
  const look = () => page.evaluate(() => {
    const canvas = document.getElementById("preview");
    return [...canvas.getContext("2d").getImageData(0, 0, 32, 32).data].join();
  });
  const before = await look();
  await page.keyboard.press("d");
  const [ground] = await page.evaluate(() => getComputedStyle(document.body).backgroundColor.match(/\d+/g).map(Number));
  assert.ok(ground < 32, `${ground}`);
  assert.equal(await look(), before);
  assert.equal(await page.evaluate(() => getComputedStyle(document.getElementById("preview")).filter), "none");
});

test("keys that are told are in the kind of moment of their neighbours", limit, async () => {
  const at = place();
  symlinkSync(join(harbour, "shoot"), join(at, "shoot"));
  const script = join(at, "move.lua");
  const text = (moment) => `return shot { source = stills { "shoot", missing = "hold" }, fps = 24, pace = frames_per_still(4),
    framing = framing { key { at = "start", on = point(0.5, 0.5), zoom = 1 }, key { at = ${moment}, on = point(0.4, 0.4), zoom = 2 } },
    deliveries = { delivery { "wide", frame = { 640, 360 } } } }`;
  writeFileSync(script, text("still(20)"));
  const served = await serve(script);
  const { page, context, complaints } = await opened(browser, served.address);
  await page.waitForSelector("polygon.window");
  const clock = await page.evaluate(async () => {
    const { plan } = await (await fetch("/view?")).json();
    const { began, slots } = plan.shots[0];
    return new Date(Date.parse(`${began}Z`) + slots[19][2] * 1000).toISOString().slice(11, 19);
  });
  const last = 4 * 24 - 1;
  for (const [moment, told] of [["still(20)", /^key \{ at = still\(\d+\), /], ["part(0.8)", /^key \{ at = part\(0\.\d+\), /], ["3.2", /^key \{ at = 3\.\d+, /], [`clock "${clock}"`, /^key \{ at = clock "\d{4}-\d\d-\d\d \d\d:\d\d:\d\d", /]]) {
    if (moment !== "still(20)") await saved(page, script, text(moment));
    await page.locator("#bar").fill(String(last - 12));
    await page.locator('[data-handle="window"]').focus();
    await page.keyboard.press("-");
    const key = await page.locator("#told-line").textContent();
    assert.match(key, told);
    // What is told parses, and is shown at that frame.
    const frame = await frameOf(page);
    const beside = join(at, "told.lua");
    writeFileSync(beside, text(moment).replace(/framing = framing \{[^\n]*\},\n/, `framing = framing { ${key} },\n`));
    const { x } = planned(beside).deliveries[0].rows[frame].window;
    const drawn = await page.locator("polygon.drawn").evaluate((polygon) => polygon.points[0].x);
    assert.ok(Math.abs(x - drawn) < 0.7, `${moment}: ${x} ${drawn}`);
  }
  assert.deepEqual(complaints, []);
  await context.close();
  served.end();
});
