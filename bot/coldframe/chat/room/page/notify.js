// Notices of the system for whoever wants them: that there is something, and never what was said in private.

import { byId, plain } from "./dom.js";

const WANTED = "notices wanted";

export class Notices {
  constructor(state) {
    this.state = state;
    const button = byId("notify");
    button.hidden = !("Notification" in globalThis);
    button.addEventListener("click", () => this.#turn());
    this.#draw();
  }

  get #on() {
    return "Notification" in globalThis && Notification.permission === "granted" && localStorage.getItem(WANTED) === "yes";
  }

  async #turn() {
    if (this.#on) localStorage.setItem(WANTED, "no");
    else if ((await Notification.requestPermission()) === "granted") localStorage.setItem(WANTED, "yes");
    this.#draw();
  }

  #draw() {
    const refused = "Notification" in globalThis && Notification.permission === "denied";
    byId("notify").textContent = this.#on ? "Don't notify me" : refused ? "Notices are refused in this browser" : "Notify me";
  }

  // One for each message, from however many tabs: the same tag is one notice.
  tell(items) {
    if (document.visibilityState === "visible" || !this.#on) return;
    for (const item of items.slice(-3)) {
      const place = this.state.places.find((one) => one.id === item.place);
      if (!place) continue;
      const words = item.place === "d" ? "There is something new for you." : (item.card ? plain(item.card.summary) : (item.text ?? "")).slice(0, 140);
      const notice = new Notification(item.place === "d" ? "coldframe" : place.name, { body: words, tag: item.id });
      notice.addEventListener("click", () => { focus(); location.hash = item.place; notice.close(); });
    }
  }
}
