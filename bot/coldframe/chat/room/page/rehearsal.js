// The rehearsal's controls: the clock and the other people. They are no part of the chat.

import { announce, byId, confirmed, el, moment, theirs } from "./dom.js";

const SPEEDS = [[60, "one minute a second"], [600, "ten minutes a second"], [3600, "one hour a second"]];

export class Rehearsal {
  #shown = "";
  #clock = null;
  #told = ""; // what the others did last
  #underWay = new Set(); // what was pressed and is not done yet
  #queue = Promise.resolve();

  constructor(state, wire) {
    this.state = state;
    this.wire = wire;
    setInterval(() => this.tick(), 500);
  }

  tick() {
    if (this.#clock) this.#clock.textContent = moment(this.state.now().toISOString());
  }

  show() {
    const box = byId("rehearsal");
    box.hidden = !this.state.rehearsal;
    if (!this.state.rehearsal) return;
    const { now, ...lasting } = this.state.rehearsal;
    const look = JSON.stringify([lasting, [...this.state.people.values()], this.#told, this.#isFirst]);
    if (look !== this.#shown) this.#draw(box);
    this.#shown = look;
    this.tick();
  }

  // What the form of a round begins with: whoever tries it out alone can send it as it is.
  begins(place) {
    const { me, people, rehearsal } = this.state;
    const [first = me, second = me, third = second] = place.members.filter((id) => id !== me && !people.get(id)?.bot);
    const question = rehearsal?.question;
    return question ? { question, name: "First try", decision_maker: first, decision_deputy: second, facilitator_deputy: third === me ? first : third } : {};
  }

  // A ballot that is not handed in yet, or comparisons that follow it.
  get #isHalfWay() {
    const sheets = this.state.bench?.bars.flatMap((bar) => bar.before) ?? [];
    return sheets.some((laid) => laid.card.blocks.some((block) => block.buttons?.some((button) => button.action === "compare.first" || (button.action === "ballot.lock" && button.style === "primary"))));
  }

  // Before anything was said to anybody.
  get #isFirst() {
    return !this.state.messages.size && !this.state.notes.length;
  }

  // One line, with what is pressed most; the rest is behind a word.
  #draw(box) {
    const focus = box.contains(document.activeElement) ? document.activeElement.dataset.focus : null;
    const { speed, due, label, chores } = this.state.rehearsal;
    this.#clock = el("strong", {});
    const button = (key, words, does, extra = {}) => el("button", { type: "button", "data-focus": key, click: does, ...extra }, words);
    const next = due ? `${label || "what comes next"}, ${moment(due)}` : "";
    const line = el(
      "div",
      { class: "row" },
      el("span", {}, el("span", { class: "sign" }, "Rehearsal"), " ", this.#clock, speed ? ", the clock runs" : ""),
      chores.map((chore) => button(`chore ${chore.key}`, `Let the others do: ${chore.label}`, () => this.#do("others", { step: chore.key }))),
      chores.length && due ? button("both", "Others do their part, then go on", () => this.#both(chores)) : null,
      due ? button("jump", `Jump to: ${next}`, () => this.#do("jump")) : null,
    );
    const fold = el("details", { open: box.querySelector("details")?.open ?? false }, el("summary", { "data-focus": "fold" }, "Clock, people, start again"), this.#more(button, speed));
    box.replaceChildren(...(this.#isFirst ? [this.#first()] : []), line, el("p", { id: "others-told", hidden: !this.#told }, this.#told), fold);
    if (focus) box.querySelector(`[data-focus="${CSS.escape(focus)}"]`)?.focus();
  }

  #first() {
    const me = this.state.people.get(this.state.me)?.name ?? "somebody";
    const { question } = this.state.rehearsal;
    const ours = question ? [" or with ours, which the form begins with: ", theirs(question)] : ".";
    const others = question ? "the others do their part when you let them" : "and as anybody else when you choose them below";
    return el("p", { class: "first" }, `This is a rehearsal: nobody but you is here, and nothing is kept. You act as ${me}, ${others}, and the clock moves when you move it. Start a round with a question of your own`, ours);
  }

  #more(button, speed) {
    const pace = el("select", { id: "pace", "data-focus": "pace", change: () => speed && this.#do("run", { speed: Number(pace.value) }) }, SPEEDS.map(([value, words]) => el("option", { value }, words)));
    pace.value = String(SPEEDS.some(([value]) => value === speed) ? speed : SPEEDS[1][0]);
    return el(
      "div",
      { class: "row" },
      speed ? button("run", "Stop the clock", () => this.#do("stop")) : button("run", "Let it run", () => this.#do("run", { speed: Number(pace.value) })),
      el("span", { class: "pair" }, el("label", { for: "pace" }, "at "), pace),
      el("span", { class: "pair" }, el("label", { for: "act-as" }, "Act as "), this.#people()),
      button("again", "Start again", () => this.#again(), { class: "danger" }),
    );
  }

  #people() {
    const people = [...this.state.people.values()].filter((person) => !person.bot);
    const list = el("select", { id: "act-as", "data-focus": "act-as" }, people.map((person) => el("option", { value: person.id }, person.name)));
    list.value = this.state.me;
    const go = el("button", { type: "button", "data-focus": "act-go", click: () => { location.href = `/as/${encodeURIComponent(list.value)}`; } }, "Go");
    return el("span", { class: "pair" }, list, go);
  }

  // What is pressed while something else is done waits for it; what is pressed twice is done once.
  #do(what, extra = {}) {
    const name = JSON.stringify([what, extra]);
    if (!this.#underWay.has(name)) {
      const next = () => this.#done(what, extra);
      this.#queue = this.#queue.then(next, next).finally(() => this.#underWay.delete(name));
      this.#underWay.add(name);
    }
    return this.#queue;
  }

  async #done(what, extra) {
    const box = byId("rehearsal");
    box.setAttribute("aria-busy", "true");
    const answer = await this.wire.ask({ do: "rehearse", what, ...extra });
    box.setAttribute("aria-busy", "false");
    if (!answer.error && (what === "jump" || what === "others")) this.wire.act({ do: "open_home" }); // whoever moves the clock is there, whatever it says
    this.#told = answer.error ?? answer.told ?? "";
    this.show();
    announce(this.#told || `Done. It is ${moment(this.state.now().toISOString())}.`);
  }

  // One press for a step in which there is nothing to see between the two. Nobody is carried past what is theirs to do.
  async #both(chores) {
    const mine = this.state.bench?.open || this.#isHalfWay;
    for (const chore of chores) await this.#do("others", { step: chore.key });
    const told = this.#told;
    if (!mine) await this.#do("jump");
    this.#told = mine ? `${told} Your own part is still open; “Jump to” goes on without it.` : told;
    this.show();
    if (mine) announce(this.#told);
  }

  async #again() {
    if (await confirmed("Start again?", "The rehearsal begins anew. All that was said in it goes.", "Start again")) this.#do("again");
  }
}
