// The chosen delivery's frame: cut out of a small still while the time runs, painted by the program once it stands.

import { centre, watchSize } from "./shapes.js";

/** How long the time stands still before the true frame is asked for, in milliseconds. */
const REST = 160;

export class Delivered {
  /** `gone()` is told where the program no longer keeps the plan that is shown. */
  constructor({ box, canvas, note, gone }) {
    Object.assign(this, { box, canvas, note, gone });
    this.asked = null;
    watchSize(box, () => this.delivery && this.fit());
  }

  /** Shows another delivery, or the same of another plan: its frames have this shape. */
  choose(delivery, words) {
    this.delivery = delivery;
    this.words = words;
    this.fit();
  }

  /** As large as there is room for, in the screen's own pixels. */
  fit() {
    const { width, height } = this.delivery.frame;
    const room = this.box.getBoundingClientRect();
    if (room.width < 2 || room.height < 2) return;
    const scale = Math.min(room.width / width, room.height / height);
    const [across, down] = [width * scale, height * scale];
    const [columns, rows] = [across, down].map((side) => Math.max(1, Math.round(side * devicePixelRatio)));
    this.canvas.style.width = `${across}px`;
    this.canvas.style.height = `${down}px`;
    if (this.canvas.width === columns && this.canvas.height === rows) return;
    [this.canvas.width, this.canvas.height] = [columns, rows];
    this.redraw?.();
  }

  /** The still through the window: the one is laid over the other, turned and scaled. */
  cut(bitmap, window, still, safe, isRunning) {
    const { canvas } = this;
    const context = canvas.getContext("2d");
    const scale = canvas.width / window.width;
    const [x, y] = centre(window);
    // Finer smoothing costs pictures a second, and nobody sees it in one that is gone at once.
    context.imageSmoothingQuality = isRunning ? "low" : "high";
    context.setTransform(1, 0, 0, 1, canvas.width / 2, canvas.height / 2);
    context.rotate((-window.roll * Math.PI) / 180);
    context.scale(scale, scale);
    context.drawImage(bitmap, -x, -y, still.width, still.height);
    context.setTransform(1, 0, 0, 1, 0, 0);
    this.#margins(safe);
    canvas.dataset.true = "";
    this.note.textContent = `${this.words}, from small stills`;
  }

  #margins(safe) {
    if (!safe) return;
    const { canvas } = this;
    const context = canvas.getContext("2d");
    const { left, right, top, bottom } = safe;
    const box = [left * canvas.width, top * canvas.height, (1 - left - right) * canvas.width, (1 - top - bottom) * canvas.height];
    for (const [colour, width] of [["#0b1013", 4], ["#fff", 2]]) {
      context.strokeStyle = colour;
      context.lineWidth = width;
      context.strokeRect(...box);
    }
  }

  /** Asks for the true frame, unless something else is shown before the time has stood still for a while. */
  settle(address, frame, safe) {
    this.forget();
    const asked = new AbortController();
    this.asked = asked;
    const longer = () => Math.max(this.canvas.width, this.canvas.height);
    const ask = async () => {
      try {
        const answer = await fetch(`${address}/${longer()}`, { signal: asked.signal });
        // The program keeps a few plans only, and another page may have made others since.
        if (answer.status === 410) return this.gone();
        if (!answer.ok) throw new Error(await answer.text());
        const bitmap = await createImageBitmap(await answer.blob());
        if (this.asked !== asked) return;
        const context = this.canvas.getContext("2d");
        context.imageSmoothingQuality = "high";
        context.drawImage(bitmap, 0, 0, this.canvas.width, this.canvas.height);
        bitmap.close();
        this.#margins(safe);
        this.canvas.dataset.true = String(frame);
        this.note.textContent = `${this.words}, as a render paints it`;
      } catch (error) {
        if (this.asked === asked) this.note.textContent = `${this.words}: cannot be painted: ${error.message}`;
      }
    };
    this.soon = setTimeout(ask, REST);
  }

  /** What was asked for is no longer wanted. */
  forget() {
    clearTimeout(this.soon);
    this.asked?.abort();
    this.asked = null;
  }
}
