// Small stills as bitmaps: fetched a few at a time, kept up to a number, what is due first fetched first.

const KEPT = 72;
const AT_ONCE = 4;

export class Stills {
  constructor(arrived) {
    this.arrived = arrived;
    this.kept = new Map();
    this.failed = new Map();
    this.fetching = new Set();
    this.wanted = [];
  }

  /** The bitmap of a still, or nothing where it is not there yet. */
  get(number) {
    const bitmap = this.kept.get(number);
    if (bitmap) {
      this.kept.delete(number);
      this.kept.set(number, bitmap);
    }
    return bitmap;
  }

  /** Why a still cannot be shown. */
  why(number) {
    return this.failed.get(number);
  }

  /** Asks for stills, the first first, in place of all that were asked for before. */
  want(numbers) {
    this.wanted = numbers.filter((number) => number !== null && !this.kept.has(number) && !this.failed.has(number));
    this.#next();
  }

  forgetFailures() {
    this.failed.clear();
  }

  #next() {
    while (this.fetching.size < AT_ONCE) {
      const number = this.wanted.shift();
      if (number === undefined) return;
      if (!this.fetching.has(number)) this.#fetch(number);
    }
  }

  async #fetch(number) {
    this.fetching.add(number);
    try {
      const answer = await fetch(`/still/${number}`);
      if (!answer.ok) throw new Error(await answer.text());
      this.kept.set(number, await createImageBitmap(await answer.blob()));
      for (const oldest of this.kept.keys()) {
        if (this.kept.size <= KEPT) break;
        this.kept.get(oldest).close();
        this.kept.delete(oldest);
      }
    } catch (error) {
      this.failed.set(number, error.message);
    }
    this.fetching.delete(number);
    this.arrived(number);
    this.#next();
  }
}
