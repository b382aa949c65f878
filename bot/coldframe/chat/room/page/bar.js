// The bar that never scrolls away: where the round is, until when, how many are in, and what is open for me.

import { byId, el, timeOf } from "./dom.js";
import { cardOf, lineOf } from "./card.js";
import { swap } from "./keep.js";

const MINUTE = 60000, HOUR = 60 * MINUTE, DAY = 24 * HOUR;

// How long it is until then, in the one unit that matters.
export function within(iso, now) {
  const left = Date.parse(iso) - now.getTime();
  if (left < MINUTE) return "any moment now";
  if (left < HOUR) return `in ${Math.round(left / MINUTE)} min`;
  if (left < 2 * HOUR) return `in 1 h ${Math.round((left - HOUR) / MINUTE)} min`;
  if (left < 2 * DAY) return `in ${Math.round(left / HOUR)} h`;
  return `in ${Math.round(left / DAY)} days`;
}

export class Bar {
  #look = "";
  #from = [];

  // `acts`: press(message, button, node), begin(), open(), choose(round)
  constructor(state, acts) {
    this.state = state;
    this.acts = acts;
    // What is scrolled to must not end behind it.
    new ResizeObserver(([entry]) => document.documentElement.style.setProperty("--bar", `${Math.ceil(entry.borderBoxSize[0].blockSize)}px`)).observe(byId("bar"));
  }

  draw(bar, place) {
    const box = byId("bar");
    box.hidden = !this.state.bench;
    if (box.hidden) return;
    const from = [this.state.bench, bar, place];
    if (from.every((one, at) => one === this.#from[at])) return;
    this.#from = from;
    const { bars, open } = this.state.bench;
    const look = JSON.stringify([bar, open, bars.map((one) => one.round), place.id, this.state.acting]);
    if (look === this.#look) return this.tick();
    this.#look = look;
    const inside = el("div", { class: "inside" }, bar ? this.#of(bar) : this.#none(place), this.#open());
    if (box.firstElementChild) swap(box.firstElementChild, inside);
    else box.append(inside);
    this.tick();
  }

  tick() {
    const left = byId("left");
    if (!left) return;
    const words = within(left.dataset.until, this.state.now());
    if (left.textContent !== words) left.textContent = words;
  }

  #of(bar) {
    const until = bar.until && el("p", { class: "until" }, "closes ", timeOf(bar.until, "by"), ", ", el("span", { id: "left", "data-until": bar.until }));
    const state = bar.state.length ? el("p", { class: "counted" }, lineOf(bar.state)) : null;
    return [
      el("div", { class: "where" }, el("h2", { id: "bar-title" }, lineOf(bar.head)), bar.number ? steps(bar) : null),
      el("div", { class: "how" }, until, state, this.#others(bar)),
      el("p", { class: "aim" }, lineOf(bar.aim)),
      bar.leads.length ? this.#leads(bar) : null,
    ];
  }

  #leads(bar) {
    const inside = cardOf({ summary: [], blocks: bar.leads }, (button, node) => this.acts.press(null, button, node));
    return el("details", { class: "leads" }, el("summary", { "data-focus": "leads" }, "Lead this step"), inside);
  }

  // Whoever takes part in several rounds sees one at a time.
  #others(bar) {
    const bars = this.state.bench.bars;
    if (bars.length < 2) return null;
    const list = el("select", { id: "which-round", "aria-label": "Round", "data-focus": "round", change: () => this.acts.choose(list.value) }, bars.map((one) => el("option", { value: one.round }, one.head.map((part) => part.text ?? "").join(""))));
    list.value = bar.round;
    return list;
  }

  #none(place) {
    const where = place.id === "d" ? "No round is open for you." : `No round is open in ${place.name}.`;
    return [
      el("div", { class: "where" }, el("h2", { id: "bar-title" }, where)),
      el("p", { class: "aim" }, "A round goes from what leaks to at most two trials, in ten steps. Whoever starts it leads it."),
      el("p", { class: "row" }, el("button", { type: "button", class: "primary", "data-focus": "begin", click: () => this.acts.begin() }, "Start a round …")),
    ];
  }

  #open() {
    const number = this.state.bench.open;
    return el("p", { class: "mine" }, el("button", { type: "button", id: "open-page", "data-focus": "open", click: () => this.acts.open() }, "What is open for me", number ? el("span", { class: "count" }, ` ${number}`) : null));
  }
}

// As far as the round has come, beside the words that say it.
function steps(bar) {
  const dots = Array.from({ length: bar.steps }, (_, at) => el("i", { class: at + 1 < bar.number ? "past" : at + 1 === bar.number ? "now" : "" }));
  return el("span", { class: "steps", "aria-hidden": "true" }, dots);
}

