// A conversation: messages in order with what hangs under them, kept up to date in place.

import { announce, byId, confirmed, el, linked, moment, size, theirs, timeOf, zoneName } from "./dom.js";
import { cardOf, lineOf } from "./card.js";
import { pictureOf } from "./pictures.js";
import { correction, isBegun } from "./correcting.js";
import { Keyed } from "./keep.js";
import { chips, pick } from "./reactions.js";
import { writingBox } from "./writing.js";

const DRAWN = 150; // messages that are drawn at first; the others when one goes back to them

export class Talk {
  #items = new Keyed(byId("messages")); // by the id of a message or note
  #open = new Set(); // threads that are unfolded
  #changing = new Set(); // messages of one's own that are being changed
  #place = null;
  #mark = ""; // the last message read when the conversation was opened
  #from = ""; // the first message that is drawn
  #more = new Map();
  #stays = true; // whether the end is in view and shall stay so
  #lands = false; // whether it is still to be opened at what is new

  // `acts` is what can be done with messages: press, react, edit, erase, putAway, say; and `seen` hears what was read
  constructor(state, acts) {
    this.state = state;
    this.acts = acts;
    this.list = this.#items.list;
    this.#follow();
    byId("earlier").addEventListener("click", () => this.#earlier());
    byId("below").addEventListener("click", () => this.#toUnread());
  }

  get place() {
    return this.#place;
  }

  // Draws the conversation from the start when it is another one, else only what has changed.
  show(place, { focus = false } = {}) {
    const other = place !== this.#place;
    if (other) {
      this.#place = place;
      this.#mark = this.state.reads[place] ?? "";
      this.clear();
      this.#from = this.#firstDrawn();
      this.#unfoldUnread();
    }
    this.#lands ||= other;
    this.#reconcile();
    byId("earlier").hidden = !this.#hasMore();
    byId("nothing").hidden = this.list.childElementCount > 0;
    this.land();
    this.#tellBelow();
    if (focus) byId("title").focus({ preventScroll: true });
  }

  // Opens at the first that is unread, else at the end; from then on only whoever is at the end is kept there.
  land() {
    if (!this.isShown) return;
    if (!this.#lands) return this.#stays && this.toEnd();
    this.#lands = false;
    const first = this.#items.get("new");
    this.#stays = !first;
    if (first) first.scrollIntoView({ block: "start" });
    else this.toEnd();
    if (first && this.#atEnd()) this.#stays = true;
  }

  // What I said myself is where I look next.
  follow() {
    this.#stays = true;
    this.toEnd();
  }

  clear() {
    this.#items.clear();
  }

  // In little room the whole page scrolls, else the conversation does.
  get scroller() {
    const box = byId("scroll");
    return getComputedStyle(box).overflowY === "visible" ? document.scrollingElement : box;
  }

  // A talk that is not shown does not move the page, which shows something else.
  toEnd() {
    if (!this.isShown) return;
    this.scroller.scrollTop = this.scroller.scrollHeight;
  }

  get isShown() {
    return Boolean(byId("talk").getClientRects().length);
  }

  // Whether what comes now is seen where it comes.
  get seesNews() {
    return this.isShown && this.#stays;
  }

  #atEnd() {
    return this.scroller.scrollHeight - this.scroller.scrollTop - this.scroller.clientHeight < 80;
  }

  // Whoever reads the end stays there when pictures arrive and cards grow.
  #follow() {
    let top = 0, told = null;
    const moved = () => {
      const now = this.scroller.scrollTop;
      this.#stays = this.#atEnd() || (this.#stays && now >= top);
      top = now;
      clearTimeout(told);
      told = setTimeout(() => { this.#tellBelow(); this.acts.seen(); }, 150);
    };
    for (const target of [byId("scroll"), document]) target.addEventListener("scroll", moved, { passive: true });
    new ResizeObserver(() => this.#stays && this.toEnd()).observe(this.list);
  }

  // Up to which message it was read: the last one that is not below what can be seen.
  seenUpTo() {
    if (this.#atEnd()) return this.state.newest(this.#place);
    const box = byId("scroll").getBoundingClientRect();
    const edge = this.scroller === document.scrollingElement ? innerHeight : box.bottom;
    const all = this.list.children;
    let low = 0, high = all.length; // the first that begins below the edge
    while (low < high) {
      const middle = (low + high) >> 1;
      if (all[middle].getBoundingClientRect().top < edge - 24) low = middle + 1;
      else high = middle;
    }
    for (let at = low - 1; at >= 0; at--) if (all[at].id.startsWith("at-m")) return all[at].id.slice(3);
    return "";
  }

  #tellBelow() {
    const number = this.isShown && !this.#atEnd() ? this.state.unread(this.#place) : 0;
    const button = byId("below");
    button.hidden = !number;
    const words = `${number} new below`;
    if (number && button.textContent !== words) button.textContent = words;
  }

  #toUnread() {
    const read = this.state.reads[this.#place] ?? "";
    const first = this.state.roots(this.#place).find((item) => item.id > read && item.author !== this.state.me);
    if (!first) return this.follow();
    this.#drawnFrom(first);
    this.focusOn(first.id, "start");
  }

  // The last ones, and all that is unread with a little before it.
  #firstDrawn() {
    const roots = this.state.roots(this.#place);
    const unread = this.#mark ? roots.findIndex((item) => item.id > this.#mark) : -1;
    const last = Math.max(0, roots.length - DRAWN);
    return roots[unread < 0 ? last : Math.max(0, Math.min(last, unread - 10))]?.id ?? "";
  }

  // Draws back to this message, if it is here.
  #drawnFrom(item) {
    const root = this.state.rootOf(item);
    if (root >= this.#from) return;
    this.#from = root;
    this.show(this.#place);
  }

  // Shows one message, however far back: what stands between it and here is fetched.
  async reach(id) {
    while (!this.state.messages.has(id) && this.#lacks()) await this.#earlier(false);
    const item = this.state.messages.get(id);
    if (!item) return;
    this.#openThreadOf(item);
    this.#stays = false;
    this.#drawnFrom(item);
    this.show(this.#place);
    const node = byId(`at-${id}`);
    for (let up = node?.closest("details"); up; up = up.parentElement.closest("details")) up.open = true;
    const past = node?.querySelector("details.past");
    if (past) past.open = true;
    this.focusOn(id, "start");
  }

  #hasMore() {
    return this.#undrawn().length > 0 || this.#lacks();
  }

  // What is here already, but further back than anybody has looked.
  #undrawn() {
    return this.state.roots(this.#place).filter((item) => item.id < this.#from);
  }

  #lacks() {
    return this.#more.get(this.#place) ?? this.state.roots(this.#place).length >= 100;
  }

  async #earlier(says = true) {
    const undrawn = this.#undrawn().slice(-DRAWN);
    if (says && undrawn.length) {
      this.#drawnFrom(undrawn[0]);
      return announce(`${undrawn.length} earlier messages.`);
    }
    const first = [...this.state.messages.values()].filter((item) => item.place === this.#place).reduce((a, b) => (a.id < b.id ? a : b));
    const answer = await this.acts.earlier(this.#place, first.id);
    this.#more.set(this.#place, answer.more);
    this.state.put(answer.items);
    if (!says) return;
    this.#from = "";
    this.show(this.#place);
    announce(`${answer.items.length} earlier messages.`);
  }

  #unfoldUnread() {
    for (const item of this.state.messages.values()) {
      if (item.place === this.#place && item.thread && item.id > this.#mark && item.author !== this.state.me) this.#open.add(item.thread);
    }
  }

  // --- the list -------------------------------------------------------------

  #reconcile() {
    const notes = this.state.notes.filter((note) => note.place === this.#place);
    const all = [...this.state.roots(this.#place).filter((item) => item.id >= this.#from), ...notes];
    if (notes.length) all.sort((a, b) => (a.at === b.at ? 0 : a.at < b.at ? -1 : 1));
    const wanted = [];
    let day = "";
    for (const item of all) {
      const itsDay = dayOf(item);
      if (itsDay !== day) wanted.push(this.#items.node(`day ${itsDay}`, itsDay, () => el("li", { class: "day" }, el("span", {}, itsDay))));
      day = itsDay;
      const isNote = notes.includes(item);
      if (!isNote && this.#isFirstNew(item, wanted)) wanted.push(this.#items.node("new", item.id, () => el("li", { class: "new" }, el("span", {}, "New since you last looked"))));
      wanted.push(this.#items.node(item.id, this.#look(item, isNote), () => (isNote ? this.#note(item) : this.#message(item))));
    }
    this.#items.lay(wanted);
  }

  #isFirstNew(item, before) {
    return this.#mark && item.id > this.#mark && item.author !== this.state.me && !before.includes(this.#items.get("new")) && before.length > 1;
  }

  // What the item looks like as one string: it is drawn again only when this changes.
  #look(item, isNote) {
    const thread = isNote ? [] : this.state.thread(item.id);
    const changing = [item, ...thread].map((one) => [this.#changing.has(one.id), isBegun(one)]);
    return [lookOf(item), ...thread.map(lookOf), this.#open.has(item.id), changing, this.state.held.has(item.id), this.state.names].join("|");
  }

  // --- one message ----------------------------------------------------------

  #message(item) {
    const heading = `who-${item.id}`;
    const name = this.state.name(item.author);
    const bot = this.state.people.get(item.author)?.bot ?? false;
    const kind = item.gone ? "gone" : bot ? "bot" : item.author === this.state.me ? "mine" : "person";
    return el(
      "li",
      { class: `message ${kind}`, id: `at-${item.id}` },
      el(
        "article",
        { "aria-labelledby": `${heading} ${heading}-at` },
        el("header", {}, el("h3", { id: heading }, bot ? name : theirs(name)), el("span", { id: `${heading}-at`, class: "at" }, timeOf(item.at, "hour")), item.edited ? el("span", { class: "small" }, "changed") : null),
        this.#body(item),
        item.files.map((file) => this.fileOf(file)),
        chips(item, this.state, (emoji, added) => this.acts.react(item.id, emoji, added)),
        item.gone ? null : this.#tools(item, name),
        item.thread ? null : this.#thread(item, name),
      ),
    );
  }

  #body(item) {
    if (item.gone) return el("p", { class: "small" }, "This message was taken back.");
    if (item.card && this.state.held.has(item.id)) return el("p", { class: "folded" }, "On the bench: ", lineOf(item.card.summary));
    if (item.card) return this.#card(item);
    if (!item.text) return null;
    if (this.#changing.has(item.id)) return correction(item, { save: (text) => this.acts.edit(item.id, text), stop: () => this.#stopChanging(item) });
    return el("p", { class: "said" }, item.mentioned ? el("span", { class: "who" }, "@coldframe ") : null, linked(item.text));
  }

  // What was read before and offers nothing is a line of the log, which opens.
  #card(item) {
    const whole = cardOf(item.card, (button, node) => this.acts.press(item.id, button, node));
    const long = item.card.blocks.length > 2 && !item.card.blocks.some((block) => block.kind === "buttons");
    if (!long || item.id > this.#mark) return whole;
    return el("details", { class: "past" }, el("summary", { "data-focus": `past ${item.id}` }, lineOf(item.card.summary)), whole);
  }

  fileOf(file) {
    const address = `${location.pathname}/files/${file.id}`;
    if (file.picture) return pictureOf(file, address, (text) => this.#wayTo(text));
    if (!file.type.startsWith("image/png")) {
      return el("p", { class: "file" }, el("a", { href: address, download: file.name }, theirs(file.title || file.name)), el("span", { class: "small" }, ` ${file.name}, ${size(file.size)}`));
    }
    const picture = el("img", { src: address, alt: file.title, loading: "lazy", decoding: "async" });
    const words = el("details", {}, el("summary", { "data-focus": `words ${file.id}` }, "The picture in words"), el("p", {}, file.alternative));
    return el("figure", {}, el("a", { href: address, target: "_blank", rel: "noopener" }, picture), el("figcaption", {}, words));
  }

  #tools(item, name) {
    const at = moment(item.at, "hour");
    const what = `message of ${name}, ${at}`;
    const tool = (words, does, full) => el("button", { type: "button", class: "quiet", "aria-label": `${words}: ${full ?? what}`, "data-focus": words, click: does }, words);
    const mine = item.author === this.state.me;
    return el(
      "div",
      { class: "tools" },
      item.thread ? null : tool("Reply", () => this.unfold(item.id)),
      tool("React", () => pick(`React to the ${what}`, (emoji) => this.acts.react(item.id, emoji, true))),
      mine && item.text && !this.#changing.has(item.id) ? tool(isBegun(item) ? "Go on with your change" : "Change", () => this.#change(item)) : null,
      mine ? tool("Take back", () => this.#takeBack(item)) : null,
    );
  }

  #change(item) {
    this.#changing.add(item.id);
    this.show(this.#place);
    byId(`at-${item.id}`)?.querySelector('[data-focus="change"]')?.focus();
  }

  #stopChanging(item) {
    this.#changing.delete(item.id);
    this.show(this.#place);
    byId(`at-${item.id}`)?.querySelector('[data-focus="Change"]')?.focus();
  }

  async #takeBack(item) {
    if (await confirmed("Take the message back?", "Its words are removed for everyone.", "Take it back")) this.acts.erase(item.id);
  }

  // --- threads and notes ----------------------------------------------------

  unfold(root) {
    this.#open.add(root);
    this.show(this.#place);
    const node = this.#items.get(root);
    node?.querySelector(".thread textarea")?.focus();
    node?.querySelector(".thread")?.scrollIntoView({ block: "nearest" });
  }

  #openThreadOf(item) {
    const root = this.state.rootOf(item);
    if (root !== item.id) this.#open.add(root);
  }

  #thread(item, name) {
    const replies = this.state.thread(item.id);
    const open = this.#open.has(item.id);
    if (!replies.length && !open) return null;
    const fold = () => { if (open) this.#open.delete(item.id); else this.#open.add(item.id); this.show(this.#place); };
    const words = replies.length === 1 ? "1 reply" : `${replies.length} replies`;
    const toggle = el("button", { type: "button", class: "quiet", "aria-expanded": String(open), "data-focus": "thread", click: fold }, `${open ? "−" : "+"} ${words}`);
    if (!open) return el("div", { class: "thread" }, toggle);
    const box = writingBox({ place: this.#place, thread: item.id, label: `Reply to ${name}`, send: (text, files) => this.acts.say(this.#place, text, files, item.id) });
    return el("div", { class: "thread" }, toggle, el("ol", { "aria-label": `Replies to ${name}` }, replies.map((reply) => this.#message(reply))), box);
  }

  #note(note) {
    const heading = `who-${note.id}`;
    const away = el("button", { type: "button", class: "quiet", "data-focus": "away", click: () => this.acts.putAway(note.id) }, "Put away");
    return el(
      "li",
      { class: "message bot note", id: `at-${note.id}`, tabindex: "-1" },
      el(
        "article",
        { "aria-labelledby": heading },
        el("header", {}, el("h3", { id: heading }, "coldframe, to you only"), el("span", { class: "at" }, timeOf(note.at, "hour"))),
        cardOf(note.card, (button, node) => this.acts.press(null, button, node)),
        el("div", { class: "tools" }, away),
      ),
    );
  }

  // What leads to the message in which these words of somebody stand, if it is here.
  #wayTo(text) {
    const item = this.state.saying(text);
    return item ? () => this.reveal(item) : null;
  }

  reveal(item) {
    if (item.place !== this.#place) location.hash = item.place;
    this.#openThreadOf(item);
    if (!this.isShown) byId("sides").querySelector('[data-side="talk"]').click();
    this.#stays = false;
    this.show(item.place);
    this.#drawnFrom(item);
    this.focusOn(item.id, "center");
  }

  focusOn(id, where = "nearest") {
    const node = this.#items.get(id) ?? byId(`at-${id}`);
    if (!node) return;
    node.tabIndex = -1;
    node.scrollIntoView({ block: where });
    node.focus({ preventScroll: true });
  }
}

// An item that changes comes as a new object, so each is put into words once.
const looks = new WeakMap();
function lookOf(item) {
  if (!looks.has(item)) looks.set(item, JSON.stringify(item));
  return looks.get(item);
}

const days = new WeakMap();
function dayOf(item) {
  const known = days.get(item);
  if (known?.zone === zoneName()) return known.day;
  const day = moment(item.at, "day");
  days.set(item, { day, zone: zoneName() });
  return day;
}
