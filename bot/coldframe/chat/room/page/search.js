// Finding words in a conversation: the room looks through all of it, and what was found is reached by a press.

import { announce, byId, el, plain, theirs, timeOf } from "./dom.js";

export class Search {
  #place = null;

  // `find(place, words)` resolves with the room's answer; `reach(id)` shows a message.
  constructor(state, { find, reach }) {
    this.state = state;
    this.find = find;
    this.reach = reach;
    byId("search").addEventListener("submit", (event) => { event.preventDefault(); this.#look(); });
    byId("wanted").addEventListener("input", () => !byId("wanted").value && this.clear());
  }

  // What was found in one conversation is not shown in another.
  show(place) {
    if (place === this.#place) return;
    this.#place = place;
    byId("wanted").value = "";
    this.clear();
  }

  clear() {
    byId("found").hidden = true;
    byId("found").replaceChildren();
  }

  async #look() {
    const words = byId("wanted").value.trim();
    if (!words) return this.clear();
    const place = this.#place;
    const answer = await this.find(place, words);
    if (place !== this.#place) return;
    const items = answer.items ?? [];
    const said = answer.error ?? (items.length ? `${items.length}${answer.more ? " and more" : ""} found, the newest first.` : `Nothing here holds “${words}”.`);
    const rows = items.map((item) => el("li", {}, el("button", { type: "button", class: "quiet", click: () => this.reach(item.id) }, timeOf(item.at), ", ", theirs(this.state.name(item.author)), ": ", excerpt(item, words))));
    const away = el("button", { type: "button", click: () => { byId("wanted").value = ""; this.clear(); byId("wanted").focus(); } }, "Put away");
    byId("found").replaceChildren(el("p", {}, said), el("ol", {}, rows), el("p", { class: "row" }, away));
    byId("found").hidden = false;
    announce(said);
  }
}

const AROUND = 60; // characters before and behind what was found

function excerpt(item, words) {
  const text = item.found ?? item.text ?? plain(item.card?.summary ?? []);
  const at = Math.max(0, text.toLowerCase().indexOf(words.toLowerCase().split(/\s+/)[0]));
  const from = Math.max(0, at - AROUND), to = Math.min(text.length, at + AROUND * 2);
  return theirs(`${from ? "… " : ""}${text.slice(from, to)}${to < text.length ? " …" : ""}`);
}
