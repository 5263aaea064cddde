// What the keyboard holds of the chosen window: the whole of it, and its corners. Pointers go through them to the still.

import { centre, element, outline } from "./shapes.js";

/** In the order of an outline. */
export const CORNERS = ["top left corner", "top right corner", "bottom right corner", "bottom left corner"];

export class Handles {
  /** `key(name, event)` says whether a key meant anything; `told(name)` is for a press of the button itself. */
  constructor(box, key, told) {
    this.box = box;
    this.buttons = ["window", ...CORNERS].map((name) => {
      const button = element("button", { type: "button", onclick: () => told(name) });
      button.dataset.handle = name;
      button.addEventListener("keydown", (event) => {
        if (event.ctrlKey || event.metaKey || event.altKey || !key(name, event)) return;
        event.preventDefault();
        event.stopPropagation();
      });
      return button;
    });
    box.append(...this.buttons);
  }

  /** Puts them where the window is, in pixels of the page; away where there is none. */
  place(window, scale, delivery) {
    this.box.hidden = !window;
    if (!window) return;
    [centre(window), ...outline(window)].forEach(([x, y], at) => {
      const button = this.buttons[at];
      button.style.left = `${x * scale}px`;
      button.style.top = `${y * scale}px`;
      const label = at === 0 ? `Window of ${delivery}` : `${delivery}: ${CORNERS[at - 1]}`;
      if (button.getAttribute("aria-label") !== label) button.setAttribute("aria-label", label);
    });
  }
}
