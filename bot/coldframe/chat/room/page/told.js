// What came of an act, where whoever did it looks: answers, confirmations, refusals. Nothing here moves what is read.

import { announce, byId, el, plain } from "./dom.js";
import { cardOf } from "./card.js";

const MOST = 2; // at a time

export class Told {
  #shown = new Map(); // id -> node

  constructor(press, putAway) {
    this.press = press;
    this.putAway = putAway;
  }

  // In the page's own words.
  say(words, { wrong = false } = {}) {
    this.#put("own", el("div", { class: wrong ? "one wrong" : "one" }, el("p", {}, words), this.#away("own")));
    announce(words);
  }

  // The bot's answer, as it also stands in the talk.
  answer(item, { note = false } = {}) {
    this.#put(item.id, this.#one(item, note));
    announce(plain(item.card.summary));
  }

  // An answer that changes or goes does so here, too.
  refresh(items) {
    for (const item of items) {
      if (!this.#shown.has(item.id)) continue;
      if (item.gone) this.drop(item.id);
      else if (item.card) this.#put(item.id, this.#one(item));
    }
  }

  // What was told of an act is over with the next one.
  clear() {
    this.#shown.clear();
    this.#draw();
  }

  drop(id) {
    if (!this.#shown.delete(id)) return;
    this.#draw();
  }

  #one(item, note = false) {
    const card = cardOf(item.card, (button, node) => this.press(note ? null : item.id, button, node), "h3");
    return el("div", { class: "one" }, card, this.#away(item.id, note));
  }

  #put(id, node) {
    this.#shown.delete(id);
    this.#shown.set(id, node);
    while (this.#shown.size > MOST) this.#shown.delete(this.#shown.keys().next().value);
    this.#draw();
  }

  #away(id, note = false) {
    const away = () => { if (note) this.putAway(id); this.drop(id); byId("open-page")?.focus(); };
    return el("button", { type: "button", class: "quiet", click: away }, "Put away");
  }

  #draw() {
    const box = byId("told");
    box.replaceChildren(...this.#shown.values());
    box.hidden = !this.#shown.size;
    document.documentElement.classList.toggle("tells", !box.hidden);
  }
}
