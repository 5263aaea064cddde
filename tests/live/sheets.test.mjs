// Drawings in a browser that has none of our fonts: they look as they do as PNG, and their words lie where they are seen.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { PATIENCE, demo, program, started } from "./bench.mjs";

const limit = { timeout: 2 * PATIENCE };
let browser;
let at;

before(async () => {
  browser = await started();
  ({ at } = demo("8", "400x300"));
});
after(() => browser?.close());

/** How each is drawn, but for its file. */
const drawings = {
  "a motion sheet": (file) => ["draw", join(at, "harbour.lua"), "-o", file],
  "a strip": (file) => ["draw", join(at, "harbour.lua"), "--strip", "-o", file],
  "the page of a shoot": (file) => ["survey", join(at, "shoot"), "--quiet", "--picture", file],
  "the card of a move": (file) => ["moves", "arc", "-o", file],
};

/** The share of pixels that differ by more than antialiasing does, of two pictures by their addresses. */
const apart = (page, one, other) =>
  page.evaluate(async (addresses) => {
    const pixels = await Promise.all(addresses.map(async (address) => {
      const image = new Image();
      image.src = address;
      await image.decode();
      const canvas = new OffscreenCanvas(image.naturalWidth, image.naturalHeight);
      const ink = canvas.getContext("2d");
      ink.drawImage(image, 0, 0);
      return { size: [canvas.width, canvas.height], data: ink.getImageData(0, 0, canvas.width, canvas.height).data };
    }));
    if (String(pixels[0].size) !== String(pixels[1].size)) return { sizes: pixels.map(({ size }) => size) };
    let off = 0;
    for (let pixel = 0; pixel < pixels[0].data.length; pixel += 4) {
      const by = (part) => Math.abs(pixels[0].data[pixel + part] - pixels[1].data[pixel + part]);
      if (Math.max(by(0), by(1), by(2)) > 64) off += 1;
    }
    return { off: off / (pixels[0].data.length / 4) };
  }, [one, other]);

const address = (kind, bytes) => `data:image/${kind};base64,${Buffer.from(bytes).toString("base64")}`;

for (const [what, arguments_] of Object.entries(drawings)) {
  test(`${what} looks the same in a browser without its fonts, and as PNG`, limit, async () => {
    const files = ["svg", "png"].map((kind) => join(at, `${what.replaceAll(" ", "-")}.${kind}`));
    for (const file of files) execFileSync(program, [...arguments_(file), "--force"], { stdio: "ignore" });
    const [svg, png] = [readFileSync(files[0], "utf8"), readFileSync(files[1])];
    const page = await (await browser.newContext({ viewport: { width: 1700, height: 900 } })).newPage();
    const seen = await apart(page, address("svg+xml", svg), address("png", png));
    assert.ok(seen.off < 0.0005, JSON.stringify(seen));
    // Whatever fonts there are: with none but a typewriter's it is the same picture.
    const typed = svg.replace(/font-family="[^"]*"/, 'font-family="monospace"');
    assert.notEqual(typed, svg);
    assert.deepEqual(await apart(page, address("svg+xml", svg), address("svg+xml", typed)), { off: 0 });
    // The check can fail: without its letters it is another.
    const mute = svg.replaceAll("<use ", "<g ");
    const without = await apart(page, address("svg+xml", mute), address("png", png));
    assert.ok(without.off > 0.002, JSON.stringify([seen, without]));

    await page.setContent(typed);
    const words = await page.evaluate(() =>
      [...document.querySelectorAll("text[fill-opacity='0'][textLength]")].map((text) => {
        // Where the words begin and end, and where their outlines do: by where these are put, and by the room they take.
        const [said, from] = [text.getBoundingClientRect(), text.nextElementSibling.getScreenCTM().e];
        return { text: text.textContent, off: Math.max(Math.abs(said.left - from), Math.abs(said.right - from - text.getAttribute("textLength"))) };
      }),
    );
    assert.ok(words.length >= 12, `${words.length} texts`);
    for (const { text, off } of words) assert.ok(off <= 1, `"${text}" lies ${off} px off`);
    await page.context().close();
  });
}
