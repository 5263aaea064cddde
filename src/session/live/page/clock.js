// The time of the clip: where it stands, whether it runs, and between which moments it goes round.

export class Clock {
  /** `span()` gives the clip's frames and rate; `shown()` is called whenever the frame may be another. */
  constructor({ span, shown, ran }) {
    Object.assign(this, { span, shown, ran });
    this.seconds = 0;
    this.playing = false;
    this.loop = { from: null, to: null };
    this.drawn = null;
  }

  /** Goes to a moment of the clip. */
  seek(seconds) {
    const { frames, fps } = this.span();
    this.seconds = Math.min((frames - 1) / fps, Math.max(0, seconds));
    this.#begin();
    this.shown();
  }

  /** The frame of a clip of so many frames at this rate. */
  frameOf({ frames, fps }) {
    return Math.min(frames - 1, Math.max(0, Math.floor(this.seconds * fps + 1e-6)));
  }

  play(on) {
    if (this.playing === on) return;
    const { frames, fps } = this.span();
    const { from, to } = this.round();
    if (on && (this.frameOf({ frames, fps }) >= Math.ceil(to * fps - 1e-6) - 1 || this.seconds < from)) this.seconds = from;
    this.playing = on;
    this.#begin();
    this.ran(on);
    if (on) requestAnimationFrame(() => this.#tick());
    else this.shown();
  }

  /** Begins or ends the loop at a moment; the other end stays where it makes sense. */
  bound(end, seconds) {
    this.loop[end] = seconds;
    const { from, to } = this.loop;
    if (from !== null && to !== null && from >= to) this.loop[end === "from" ? "to" : "from"] = null;
    this.shown();
  }

  unbound() {
    this.loop = { from: null, to: null };
    this.shown();
  }

  /** From when until when it runs. */
  round() {
    const { frames, fps } = this.span();
    const end = frames / fps;
    const within = (value, otherwise) => (value === null ? otherwise : Math.min(end, Math.max(0, value)));
    return { from: Math.min(within(this.loop.from, 0), (frames - 1) / fps), to: within(this.loop.to, end), loops: this.loop.from !== null || this.loop.to !== null };
  }

  #begin() {
    this.since = performance.now() - this.seconds * 1000;
    this.drawn = null;
  }

  #tick() {
    if (!this.playing) return;
    this.seconds = (performance.now() - this.since) / 1000;
    const { frames, fps } = this.span();
    const { from, to, loops } = this.round();
    if (this.seconds >= to) {
      if (loops) {
        this.seconds = from + ((this.seconds - from) % Math.max(to - from, 1 / fps));
        this.#begin();
      } else {
        this.seconds = (frames - 1) / fps;
        this.play(false);
        return;
      }
    }
    // Before anything is drawn: what goes wrong with one frame does not end the play.
    requestAnimationFrame(() => this.#tick());
    // A frame is drawn once, however often the screen is.
    const frame = this.frameOf({ frames, fps });
    if (frame !== this.drawn) {
      this.drawn = frame;
      this.shown();
    }
  }
}
