// What the keyboard does. Keys that go somewhere stop the time first.

export function keyboard({ ready, dialog, bar, clock, times, span, seek, choose, isFilled, unfill, actions }) {
  const frame = () => clock.frameOf(span());
  const all = {
    ...actions,
    " ": () => clock.play(!clock.playing),
    "[": () => clock.bound("from", frame() / span().fps),
    "]": () => clock.bound("to", (frame() + 1) / span().fps),
    "\\": () => clock.unbound(),
  };

  /** The key before or after the moment on screen. */
  function keyBeside(after) {
    const near = 0.5 / span().fps;
    const sorted = times().sort((one, other) => one - other);
    return after ? sorted.find((time) => time > clock.seconds + near) : sorted.findLast((time) => time < clock.seconds - near);
  }

  /** Where a key leads, in seconds; nowhere for one that leads nowhere. */
  function stepTo(key, isFar) {
    const { frames, fps } = span();
    const step = isFar ? Math.round(fps) : 1;
    const to = { ArrowLeft: frame() - step, ArrowRight: frame() + step, Home: 0, End: frames - 1 };
    if (key in to) return to[key] / fps;
    return key === "," || key === "." ? keyBeside(key === ".") : undefined;
  }

  addEventListener("keydown", (event) => {
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || dialog.open) return;
    const held = event.target;
    if (held !== bar && held.matches("input, select, textarea")) return;
    // A button of a dialog just closed keeps the focus until the page is drawn again.
    if (event.key === " " && held.matches("button, summary") && held.checkVisibility()) return;
    if (event.key === "?") dialog.showModal();
    else if (!ready()) return;
    else if (event.key === "Escape" && isFilled()) unfill();
    else if (event.key in all) all[event.key]();
    else if (/^[1-9]$/.test(event.key)) choose(Number(event.key) - 1);
    else {
      const to = stepTo(event.key, event.shiftKey);
      if (to === undefined) return;
      clock.play(false);
      seek(to);
    }
    event.preventDefault();
  });
}
