// A demo shoot, the program serving a page of it, and a browser: what the tests of the live page start from.
//
// STILLPATH is the program; STILLPATH_BROWSER_FOLDER holds node_modules with playwright-core and axe-core, and takes what is made.

import { execFileSync, spawn } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join, resolve } from "node:path";
import { createInterface } from "node:readline";

export const program = resolve(process.env.STILLPATH);
export const folder = resolve(process.env.STILLPATH_BROWSER_FOLDER);
const require = createRequire(join(folder, "package.json"));
const { chromium } = require("playwright-core");
export const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

/** A busy machine takes its time. */
export const PATIENCE = 120_000;

/** Starts Chromium; the tests of a file share it. */
export function started() {
  // Chromium's own sandbox is not to be had by root, as which continuous integration often runs; nor is much of /dev/shm.
  const args = [...(process.getuid() === 0 ? ["--no-sandbox"] : []), "--disable-dev-shm-usage"];
  return chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args, timeout: PATIENCE });
}

/** A folder of its own below what is made. */
export function place() {
  mkdirSync(join(folder, "made"), { recursive: true });
  return mkdtempSync(join(folder, "made", "shoot-"));
}

/** The demo shoot with its script: stills of 1600 by 1200, where nothing else is said. */
export function demo(stills = "24", size = "1600x1200") {
  const at = place();
  execFileSync(program, ["demo", at, "--stills", stills, "--size", size, "--force"], { stdio: "ignore" });
  const script = join(at, "harbour.lua");
  return { at, script, source: readFileSync(script, "utf8") };
}

/** The program, serving a script; `address` is what it printed. */
export async function serve(script, more = [], environment = {}) {
  const { STILLPATH_EDITOR, ...ours } = process.env;
  const child = spawn(program, ["live", script, ...more], { stdio: ["ignore", "pipe", "inherit"], env: { ...ours, ...environment } });
  // A test that fails does not wait for it, and it does not outlive the tests.
  process.setMaxListeners(0);
  process.once("exit", () => child.kill());
  const address = await new Promise((told, failed) => {
    createInterface(child.stdout).once("line", told);
    child.once("exit", (code) => failed(new Error(`stillpath live ended with ${code}`)));
  });
  child.unref();
  child.stdout.unref();
  return { address, child, isUp: () => child.exitCode === null && child.signalCode === null, end: () => child.kill("SIGINT") };
}

/** A page of that address, with what its console complained of. */
export async function opened(browser, address, viewport = { width: 1280, height: 720 }, more = {}) {
  const context = await browser.newContext({ viewport, ...more });
  context.setDefaultTimeout(PATIENCE);
  const page = await context.newPage();
  const complaints = [];
  page.on("console", (message) => message.type() === "error" && complaints.push(message.text()));
  page.on("pageerror", (error) => complaints.push(error.message));
  await page.goto(address);
  return { page, context, complaints };
}

export const versionOf = (page) => page.evaluate(() => document.body.dataset.version);
export const frameOf = (page) => page.locator("#bar").inputValue().then(Number);

/** Writes a script, and waits until the page shows what it comes to. */
export async function saved(page, script, text) {
  const before = await versionOf(page);
  writeFileSync(script, text);
  await page.waitForFunction((version) => document.body.dataset.version !== version, before);
}

/** What the program itself says of a script: its first shot's plan. */
export const planned = (script, more = []) =>
  JSON.parse(execFileSync(program, ["plan", script, "--json", ...more], { encoding: "utf8", maxBuffer: 1 << 28, stdio: ["ignore", "pipe", "ignore"] })).plans[0];

/** Corners of every shape of a kind over the still, in pixels of the page from the still's own corner. */
export const shapes = (page, kind) =>
  page.evaluate((kind) => {
    const box = document.getElementById("over").getBoundingClientRect();
    return [...document.querySelectorAll(`polygon.${kind}`)].map((polygon) => {
      const onScreen = polygon.getScreenCTM();
      const corners = [...polygon.points].map((point) => point.matrixTransform(onScreen)).map(({ x, y }) => [x - box.x, y - box.y]);
      return { corners, box: [box.width, box.height], ...polygon.dataset };
    });
  }, kind);

/** How far a shape on the page is from a box of the still, in pixels of the page. */
export function off({ corners, box }, { x, y, width, height }, still) {
  const due = [[x, y], [x + width, y], [x + width, y + height], [x, y + height]].map(([px, py]) => [(px / still.width) * box[0], (py / still.height) * box[1]]);
  return Math.max(...corners.map((corner, at) => Math.hypot(corner[0] - due[at][0], corner[1] - due[at][1])));
}

/** How far the windows on the page are from the plan's, at most. */
export async function farthestWindow(page, plan, still = { width: 1600, height: 1200 }) {
  const windows = await shapes(page, "window");
  if (windows.length !== plan.deliveries.length) throw new Error(`${windows.length} windows of ${plan.deliveries.length} deliveries`);
  return Math.max(...windows.map((seen) => off(seen, plan.deliveries.find(({ name }) => name === seen.delivery).rows[Number(seen.frame)].window, still)));
}

/** The mean colour that a canvas shows in a part of it, as fractions of its sides. */
export const meanColour = (page, canvas, [x, y, width, height] = [0, 0, 1, 1]) =>
  page.evaluate(({ canvas, part: [x, y, width, height] }) => {
    const { width: across, height: down } = document.getElementById(canvas);
    const box = [x * across, y * down, Math.max(1, width * across), Math.max(1, height * down)].map(Math.floor);
    const { data } = document.getElementById(canvas).getContext("2d").getImageData(...box);
    const sums = [0, 0, 0];
    data.forEach((code, at) => { if (at % 4 < 3) sums[at % 4] += code; });
    return sums.map((sum) => sum / (data.length / 4));
  }, { canvas, part: [x, y, width, height] });
