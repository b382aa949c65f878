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
    const { benched, bench } = this.state;
    if (!benched) return "talk";
    const lies = !bench || bench.bars.some((bar) => bar.before.length); // until it has come it is waited for
    return this.#chosen ?? (lies ? "bench" : "talk");
  }

  show(side) {
    this.#chosen = side;
    scrollTo(0, 0);
    this.draw();
  }

  draw() {
    const box = byId("sides");
    box.hidden = !this.state.benched;
    const shown = this.side;
    const root = document.documentElement;
    const other = root.dataset.side !== shown;
    root.classList.toggle("benched", this.state.benched);
    root.dataset.side = shown;
    if (other) dispatchEvent(new Event("side"));
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
