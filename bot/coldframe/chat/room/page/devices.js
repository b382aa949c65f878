// Which browsers are in for this person, and how another one gets in.

import { announce, confirmed, el, openDialog, timeOf } from "./dom.js";

export class Devices {
  constructor(wire) {
    this.wire = wire;
  }

  async open() {
    const list = el("ul", { class: "devices" });
    const code = el("p", { role: "status" });
    const letIn = el("button", { type: "button", class: "primary", click: () => this.#letIn(code) }, "Let in another browser");
    const close = el("button", { type: "button", click: () => box.close() }, "Close");
    const box = openDialog("Your browsers", el("p", {}, "Each of these is you to everybody here. Your personal link lets in nobody any more; another browser comes in by a code from here."), list, code, el("p", { class: "row" }, letIn, close));
    letIn.focus();
    this.#fill(list, await this.wire.ask({ do: "devices" }));
  }

  #fill(list, { devices = [] }) {
    list.replaceChildren(...devices.map((one) => el("li", { class: "row" }, el("span", {}, one.this ? "This browser, in since " : "A browser, in since ", timeOf(one.since)), el("button", { type: "button", class: "danger", click: () => this.#end(list, one) }, one.this ? "Sign out here" : "Sign it out"))));
  }

  async #letIn(place) {
    const answer = await this.wire.ask({ do: "let_in" });
    if (answer.error) place.replaceChildren(answer.error);
    else place.replaceChildren(`In the other browser, open ${location.origin} and type `, el("strong", { class: "code" }, answer.code), `. The code is good once, for ${answer.minutes} minutes; give it to nobody else.`);
  }

  async #end(list, one) {
    const sure = await confirmed("Sign it out?", one.this ? "This browser shows nothing of the room any more. Another of yours, or a new link, lets it in again." : "That browser shows nothing of the room any more.", "Sign it out");
    if (!sure) return;
    this.#fill(list, await this.wire.ask({ do: "sign_out", device: one.id }));
    announce("Signed out.");
  }
}
