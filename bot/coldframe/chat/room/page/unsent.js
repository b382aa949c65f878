// Words that have no answer of the room yet: kept over closing and restart, listed, and sent by themselves.
//
// Each goes under a key of its own, by which the room takes it once however often, and from however many tabs, it comes.

import { announce, byId, el, spoken, theirs } from "./dom.js";
import { drafts } from "./drafts.js";
import { key } from "./wire.js";

const STEM = "unsent ";
const SOON = 1500; // ms in which an answer comes as a rule: what has one by then is not listed

export class Unsent {
  #asked = new Set(); // keys that this tab waits for
  #timer = null;

  constructor(state, wire) {
    this.state = state;
    this.wire = wire;
    wire.addEventListener("line", () => this.draw());
    drafts.addEventListener("changed", ({ detail }) => detail.startsWith(STEM) && this.draw());
  }

  // `order`: say or edit. Resolves with the room's answer, however long that takes.
  async send(order) {
    const one = { ...order, key: key() };
    drafts.put(STEM + one.key, { order: one, at: this.state.now().toISOString() }, "sent");
    const answer = await this.#ask(one);
    drafts.drop(STEM + one.key);
    this.draw();
    return answer;
  }

  // What an earlier page or another tab left. A refusal is told where the words stand, since their box is gone.
  again() {
    for (const [name, kept] of inOrder()) {
      if (!kept.trouble && !this.#asked.has(kept.order.key)) this.#sendAgain(name, kept);
    }
    this.draw();
  }

  async #sendAgain(name, kept) {
    const answer = await this.#ask(kept.order);
    if (!drafts.get(name)) return;
    if (answer.error) drafts.put(name, { ...kept, trouble: answer.error }, "sent");
    else drafts.drop(name);
    if (!answer.error) announce("Sent what was waiting.");
    this.draw();
  }

  async #ask(order) {
    this.#asked.add(order.key);
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.draw(), SOON);
    const answer = await this.wire.ask(order);
    this.#asked.delete(order.key);
    return answer;
  }

  #takeBack(name, order) {
    this.wire.forget(order.key);
    drafts.drop(name);
    const box = byId("writing").querySelector("textarea");
    if (order.do === "say" && box && !box.value) {
      box.value = order.text;
      box.dispatchEvent(new Event("input"));
    }
    this.draw();
    (box ?? byId("title")).focus();
  }

  draw() {
    const box = byId("unsent");
    const now = this.state.now();
    const waiting = inOrder().filter(([, kept]) => kept.trouble || !this.wire.isOpen || now - new Date(kept.at) > SOON);
    box.hidden = !waiting.length;
    if (box.hidden) return box.replaceChildren();
    const line = ([name, { order, at, trouble }]) => el("li", {}, theirs(order.text || "files"), el("span", { class: "small" }, ` ${trouble ? `! Not taken: ${trouble}` : `written ${spoken(at)}`} `), el("button", { type: "button", class: "quiet", click: () => this.#takeBack(name, order) }, "Take back", el("span", { class: "unseen" }, `: ${order.text.slice(0, 60)}`)));
    box.replaceChildren(el("p", {}, "Kept in this browser until it is sent:"), el("ul", {}, waiting.map(line)));
  }
}

// As they were written.
function inOrder() {
  const all = drafts.names(STEM).map((name) => [name, drafts.get(name)]);
  return all.sort(([, a], [, b]) => (a.at < b.at ? -1 : 1));
}
