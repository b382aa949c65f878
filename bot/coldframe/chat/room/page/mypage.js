// A person's own page: what is open for them, what they gave, plans, trials, dates. It opens over whatever they read.

import { el, openDialog } from "./dom.js";
import { cardOf } from "./card.js";
import { swap } from "./keep.js";

export class MyPage {
  #box = null;
  #inside = null;
  #look = "";

  // `looked` hears of each time that somebody opens it: what waits for them comes then.
  constructor(state, press, looked) {
    this.state = state;
    this.press = press;
    this.looked = looked;
  }

  open() {
    this.looked();
    this.#inside = this.#draw();
    const close = el("button", { type: "button", click: () => this.#box.close() }, "Close");
    this.#box = openDialog("What is open for me", this.#inside, el("p", { class: "row" }, close));
    this.#box.classList.add("page");
    this.#box.addEventListener("close", () => { this.#box = null; });
    this.#box.querySelector("h2").focus();
  }

  // It is brought up to date while it is open.
  refresh() {
    if (!this.#box || JSON.stringify(this.state.bench?.page) === this.#look) return;
    const inside = this.#draw();
    swap(this.#inside, inside);
    this.#inside = inside;
  }

  #draw() {
    const page = this.state.bench?.page;
    this.#look = JSON.stringify(page);
    if (!page) return el("p", {}, "Nothing is open for you.");
    return cardOf(page, (button, node) => this.#pressed(button, node), "h3");
  }

  // What opens a form or a question must not open it behind this page.
  #pressed(button, node) {
    this.#box?.close();
    return this.press(null, button, node);
  }
}
