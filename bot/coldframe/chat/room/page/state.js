// What this browser knows of the room.

export class State {
  life = "";
  rev = 0;
  me = "";
  people = new Map();
  names = "";
  places = [];
  messages = new Map();
  replies = new Map(); // thread id -> set of message ids
  notes = [];
  forms = [];
  home = null;
  benched = false; // whether the bot says how all stands for me
  bench = null; // that, once it has
  held = new Set(); // messages that lie on the bench, so that the talk shows one line of them
  round = ""; // which of several rounds was chosen
  reads = {};
  rehearsal = null;
  acting = false;
  #clock = { at: 0, seen: 0 };

  hello() {
    return { life: this.life, since: this.rev };
  }

  welcome(all) {
    if (all.whole) {
      this.messages.clear();
      this.replies.clear();
    }
    Object.assign(this, { life: all.life, rev: all.rev, me: all.me, places: all.places, notes: all.notes });
    Object.assign(this, { forms: all.forms, home: all.home, reads: all.reads, acting: all.acting, benched: all.benched });
    this.names = all.people.map((person) => person.name).join(); // whatever shows a name is drawn anew when this changes
    this.people = new Map(all.people.map((person) => [person.id, person]));
    this.setClock(all.now);
    this.setRehearsal(all.rehearsal);
    this.put(all.items);
  }

  forget() {
    Object.assign(this, { life: "", rev: 0 });
  }

  put(items) {
    for (const item of items) {
      this.messages.set(item.id, item);
      if (!item.thread) continue;
      if (!this.replies.has(item.thread)) this.replies.set(item.thread, new Set());
      this.replies.get(item.thread).add(item.id);
    }
  }

  lay(bench) {
    this.bench = bench;
    const laid = bench.bars.flatMap((bar) => bar.before);
    this.held = new Set(laid.filter((one) => one.message && one.what !== "card").map((one) => one.message));
  }

  // The first message of the bot that hands on these words of a person.
  saying(text) {
    const wanted = text.replace(/\s+/g, " ").trim();
    const found = [...this.messages.values()].filter((item) => item.card && theirsIn(item.card).has(wanted));
    return found.sort((a, b) => (a.id < b.id ? -1 : 1))[0] ?? null;
  }

  name(id) {
    return id === this.me ? "You" : (this.people.get(id)?.name ?? "Somebody who is not here any more");
  }

  placeName(place) {
    return place.id === "d" ? "You and coldframe" : place.name;
  }

  // The message under which it stands; a reply whose message was not loaded stands for itself.
  rootOf(item) {
    return item.thread && this.messages.has(item.thread) ? item.thread : item.id;
  }

  // Messages that stand in the conversation itself.
  roots(place) {
    const found = [...this.messages.values()].filter((item) => item.place === place && this.rootOf(item) === item.id);
    return found.sort((a, b) => (a.id < b.id ? -1 : 1));
  }

  thread(root) {
    const ids = [...(this.replies.get(root) ?? [])].sort();
    return ids.map((id) => this.messages.get(id)).filter((item) => item && item.thread === root);
  }

  unread(place) {
    const read = this.reads[place] ?? "";
    let count = 0;
    for (const item of this.messages.values()) {
      if (item.place === place && item.id > read && item.author !== this.me && !item.gone) count++;
    }
    return count;
  }

  newest(place) {
    let newest = "";
    for (const item of this.messages.values()) if (item.place === place && item.id > newest) newest = item.id;
    return newest;
  }

  // --- the room's time, which in a rehearsal is not the browser's

  setClock(iso) {
    this.#clock = { at: Date.parse(iso), seen: performance.now() };
  }

  setRehearsal(rehearsal) {
    this.rehearsal = rehearsal;
    if (rehearsal) this.setClock(rehearsal.now);
  }

  now() {
    const speed = this.rehearsal ? this.rehearsal.speed : 1;
    return new Date(this.#clock.at + (performance.now() - this.#clock.seen) * speed);
  }
}

// People's words in a card, each on one line. A card that changes comes as a new object.
const words = new WeakMap();
function theirsIn(card) {
  if (!words.has(card)) {
    const found = new Set();
    JSON.stringify(card, (_, part) => { if (part?.kind === "theirs" || part?.kind === "quoted") found.add(part.text.replace(/\s+/g, " ").trim()); return part; });
    words.set(card, found);
  }
  return words.get(card);
}
