// Small stills as bitmaps: fetched a few at a time, kept up to a number, what is due first fetched first.
//
// While the time runs, a still that would come too late is not asked for: from how long stills take to come, the next
// one asked for is the one that is due when it will be there.

const KEPT = 96;
const AT_ONCE = 6;

export class Stills {
  constructor(arrived) {
    this.arrived = arrived;
    this.kept = new Map();
    this.failed = new Map();
    this.fetching = new Map();
    this.wanted = [];
    this.running = null;
    // Milliseconds from asking to having: the mean of the last ones.
    this.takes = 60;
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
    this.running = null;
    this.wanted = numbers.filter((number) => number !== null && !this.kept.has(number) && !this.failed.has(number));
    this.#next();
  }

  /** While the time runs: `due(milliseconds)` lists the stills due from so long from now on, the first first. */
  follow(due) {
    this.running = due;
    this.#next();
  }

  forgetFailures() {
    this.failed.clear();
  }

  #missing(numbers) {
    return numbers.find((number) => number !== null && !this.kept.has(number) && !this.failed.has(number) && !this.fetching.has(number));
  }

  #next() {
    while (this.fetching.size < AT_ONCE) {
      const number = this.running ? this.#missing(this.running(this.takes)) : this.#missing(this.wanted);
      if (number === undefined) return;
      this.#fetch(number);
    }
  }

  async #fetch(number) {
    const asked = performance.now();
    this.fetching.set(number, asked);
    try {
      const answer = await fetch(`/still/${number}`);
      if (!answer.ok) throw new Error(await answer.text());
      this.kept.set(number, await createImageBitmap(await answer.blob()));
      this.takes += (performance.now() - asked - this.takes) / 8;
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
