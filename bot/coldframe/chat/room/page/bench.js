// The bench beside the talk: what the step asks of me, and what is read for it.

import { pressable } from "./card.js";
import { byId, plain } from "./dom.js";
import { layout, pageOf, wallOf } from "./layouts.js";
import { Keyed } from "./keep.js";
import { trialOf } from "./trials.js";

export class Bench {
  #sheets = new Keyed(byId("sheets"));
  #from = []; // what it was laid from
  #at = null; // which step and sheet the view begins at

  // `acts`: press(message, button, node), through(button, fields), say(place, text, files, thread), fileOf(file)
  constructor(state, acts) {
    this.state = state;
    this.acts = acts;
    byId("print").addEventListener("click", () => print());
  }

  draw(bar) {
    const all = this.state.bench;
    byId("bench").hidden = !this.state.benched;
    const from = [all, bar, this.state.names];
    if (!all || from.every((one, at) => one === this.#from[at])) return;
    this.#from = from;
    const wanted = [...this.#before(bar), ...this.#beside(bar), ...all.trials.map((laid) => this.#keyed(`trial ${laid.about}`, laid, () => trialOf(laid, this.acts)))];
    this.#sheets.lay(wanted);
    this.#begin(bar);
    byId("bare").hidden = wanted.length > 0;
    byId("print").hidden = !bar?.beside.some((laid) => laid.what === "lever");
  }

  // A new step, or the comparisons after a ballot, are read from their beginning; not by whoever writes in what stayed.
  #begin(bar) {
    const compares = bar?.before.some((laid) => laid.what === "compare") ?? false;
    const at = bar ? `${bar.round} ${bar.step} ${compares}` : "";
    const turned = this.#at !== null && at !== this.#at;
    this.#at = at;
    const active = document.activeElement;
    if (!turned || (active?.matches("input, textarea") && byId("bench").contains(active))) return;
    byId("bench").scrollTo(0, 0);
    if (byId("bench").offsetParent && document.documentElement.dataset.side === "bench") scrollTo(0, 0);
  }

  // The step's card of the channel lies here only where nobody has a sheet of their own, or all work on it.
  #before(bar) {
    if (!bar) return [];
    const own = bar.before.filter((laid) => laid.what !== "card");
    const first = bar.step === "commitment" ? "card" : "compare"; // a ballot that is followed by comparisons is handed in
    const shown = own.length && bar.step !== "commitment" ? own : [...bar.before];
    shown.sort((a, b) => (b.what === first) - (a.what === first));
    return shown.map((laid) => without(laid, this.state.rehearsal ? [...ABOVE, ALONE] : ABOVE)).map((laid) => {
      const done = buttonsOf(laid).find((one) => one.action === DONE);
      const press = (button, node) => this.acts.press(laid.message, button, node, button.style === "primary" && done ? { done: { message: laid.message, button: done } } : {});
      const besides = laid.what === "ballot" || laid.what === "compare" ? bar.beside : null;
      return this.#keyed(keyOf(laid), [laid, besides, bar.step], () => layout(laid, bar.step, press, this.#more(bar)));
    });
  }

  #more(bar) {
    return {
      lever: (id) => bar.levers[id] ?? id,
      beside: (what, wanted) => bar.beside.find((laid) => laid.what === what && wanted.includes(laid.about)),
      people: [...this.state.people.values()].filter((person) => !person.bot && this.state.places.some((place) => place.id === bar.place && place.members.includes(person.id))),
      through: (button, fields) => this.acts.through(button, fields),
    };
  }

  #beside(bar) {
    const held = new Set(bar?.before.map((laid) => laid.what));
    const shown = (bar?.beside ?? []).filter((laid) => laid.what !== "plan" || !(held.has("ballot") || held.has("compare")));
    const asked = this.#asked(bar);
    return shown.map((laid, at) => {
      const key = `beside ${laid.what} ${laid.about} ${at}`;
      const about = laid.what === "question" ? asked : {};
      const press = (button, node) => this.acts.press(laid.message, button, node, about);
      return this.#keyed(key, [laid, about], () => (laid.what === "lever" ? wallOf(laid) : pageOf(laid, press, laid.files.map(this.acts.fileOf), about.plan && this.#on(laid, about))));
    });
  }

  // What the step asks for, of which each question takes one: on which sheet, and what is said once it is given.
  #asked(bar) {
    const sheet = bar?.before.find((laid) => buttonsOf(laid).some((one) => one.action === DONE));
    if (!sheet) return {};
    const [done, plan] = [DONE, "plan.write"].map((action) => buttonsOf(sheet).find((one) => one.action === action));
    return { plan, done: { message: sheet.message, button: done } };
  }

  // The sheet's own button below a question: its form begins with that question.
  #on(laid, { plan, done }) {
    const button = { ...plan, style: "plain", says: `${plan.label} ${plain(laid.card.summary)}` };
    return pressable(button, (_, node) => this.acts.press(done.message, plan, node, { given: { question: laid.about }, done }));
  }

  #keyed(key, from, draw) {
    return this.#sheets.node(key, JSON.stringify([from, this.state.names]), draw);
  }
}

const DONE = "step.done";
const buttonsOf = (laid) => laid.card.blocks.flatMap((block) => (block.kind === "buttons" ? block.buttons : []));

// A sheet stays the same one when its message comes; of other kinds several may lie here.
const ONCE = new Set(["ask", "ballot", "desk", "compare", "card"]);
const keyOf = (laid) => (ONCE.has(laid.what) ? `${laid.what} ${laid.about}` : `${laid.what} ${laid.about} ${laid.message ?? ""}`);

const ABOVE = ["now.show"]; // what is open for me stands on the bar above
const ALONE = "rehearse.begin"; // who rehearses is alone already

function without(laid, actions) {
  const blocks = laid.card.blocks.map((block) => (block.kind === "buttons" ? { ...block, buttons: block.buttons.filter((button) => !actions.includes(button.action)) } : block));
  return { ...laid, card: { ...laid.card, blocks: blocks.filter((block) => block.kind !== "buttons" || block.buttons.length) } };
}
