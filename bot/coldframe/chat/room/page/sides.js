// In little room bench and talk are two sides of one place, and the bar says which one is looked at.

import { byId, el } from "./dom.js";

export class Sides {
  #chosen = null;
  #look = "";

  constructor(state) {
    this.state = state;
    byId("sides").addEventListener("click", (event) => {
      const button = event.target.closest("button");
      if (button) this.show(button.dataset.side);
    });
  }

  get side() {
    const before = (this.state.bench?.bars ?? []).some((bar) => bar.before.length);
    return this.#chosen ?? (before ? "bench" : "talk");
  }

  show(side) {
    this.#chosen = side;
    this.draw();
    scrollTo(0, 0);
    dispatchEvent(new Event("side"));
  }

  draw() {
    const box = byId("sides");
    box.hidden = !this.state.bench;
    const shown = this.state.bench ? this.side : "talk";
    const root = document.documentElement;
    if (shown === "bench" && root.dataset.side !== "bench") scrollTo(0, 0); // the talk was shown at its end until the bench came
    root.dataset.side = shown;
    const unread = this.state.places.reduce((sum, place) => sum + this.state.unread(place.id), 0);
    const look = `${this.side} ${unread}`;
    if (look === this.#look) return;
    this.#look = look;
    const focused = box.contains(document.activeElement) ? document.activeElement.dataset.side : null;
    const button = (side, words, more) => el("button", { type: "button", "data-side": side, "aria-pressed": String(side === this.side) }, words, more);
    box.replaceChildren(button("bench", "Bench"), button("talk", "Talk", unread ? el("span", { class: "count" }, ` ${unread} new`) : null));
    if (focused) box.querySelector(`[data-side="${focused}"]`).focus();
  }
}
