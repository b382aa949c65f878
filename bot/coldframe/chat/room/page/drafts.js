// What this browser keeps of half-written words, for all its tabs, until they are sent or their step is over.
//
// At rest each is closed with a key that the room gives to this person's signed-in browsers and keeps nowhere in the
// browser; when a step ends, the room throws the key away, and what was closed with it opens no more. A page that came
// over plain HTTP from another machine has no cipher: there it stands open in the browser's store until it is removed.
// What a page has not yet written when it goes is left where it can be written at once (`lastwords`).

import { ahead, isLeft, leave, left, toBytes } from "./lastwords.js";

const STORE = "kept";
// What is said to everybody ends with no step.
export const untilIn = (place) => (place === "d" ? "step" : "sent");

class Drafts extends EventTarget {
  #known = new Map(); // name -> value, in clear, in this page's memory alone
  #seals = new Map(); // "step" or "sent" -> { name, key, made }
  #life = ""; // of which life of the room they are
  #scope = ""; // and whose
  #base = null;
  #queue = Promise.resolve(); // writes go one after the other, so that the last one stays
  #due = new Map(); // name that is not written as it reads -> { until }
  #left = []; // what takes away what this page left: it went on after all
  #tabs = new BroadcastChannel("coldframe drafts");

  constructor() {
    super();
    this.#tabs.addEventListener("message", ({ data }) => data.scope === this.#scope && this.#learn(data.name, data.value));
    addEventListener("pagehide", () => this.#leave());
    addEventListener("storage", ({ key, newValue }) => newValue && isLeft(key) && this.#later(() => this.#takeLeft())); // another tab's
  }

  // With the keys that the room gave; resolves once all that is kept is known. What was closed with others is over, and goes.
  unlock(life, me, seals) {
    const scope = `${life} ${me} `;
    if (scope !== this.#scope) this.#known.clear();
    this.#life = life;
    this.#scope = scope;
    this.#later(() => this.#open(seals));
    return this.#queue;
  }

  get(name) {
    return this.#known.get(name);
  }

  names(stem) {
    return [...this.#known.keys()].filter((name) => name.startsWith(stem)).sort();
  }

  // `until`: "step" for what ends with its step, "sent" for what has its own end.
  put(name, value, until = "step") {
    this.#known.set(name, value);
    this.#tabs.postMessage({ scope: this.#scope, name, value });
    this.#soon(name, until);
  }

  drop(name) {
    if (!this.#known.delete(name)) return;
    this.#tabs.postMessage({ scope: this.#scope, name });
    this.#soon(name, "sent");
  }

  // A field that is kept as it is typed; the same in every tab.
  bind(field, name, until = "step") {
    field.dataset.draft = name;
    if (this.#known.has(name)) field.value = this.#known.get(name);
    field.addEventListener("input", () => (field.value ? this.put(name, field.value, until) : this.drop(name)));
    return field;
  }

  // --- other tabs, and what was there before

  #learn(name, value) {
    if (value === undefined) this.#known.delete(name);
    else this.#known.set(name, value);
    this.#tell(name);
  }

  #tell(name) {
    for (const field of document.querySelectorAll(`[data-draft="${CSS.escape(name)}"]`)) {
      if (field !== document.activeElement || !document.hasFocus()) field.value = this.#known.get(name) ?? "";
    }
    this.dispatchEvent(new CustomEvent("changed", { detail: name }));
  }

  // --- the browser's store

  #later(work) {
    this.#queue = this.#queue.then(work).catch(() => {}); // a browser that keeps nothing keeps it in the page
  }

  #soon(name, until) {
    const waits = this.#due.has(name);
    this.#due.set(name, { until });
    if (!waits) this.#later(() => this.#settle(name)); // what waits to be written is written as it reads then
  }

  // Until it stands as it reads: what was typed during the writing is written after it.
  async #settle(name) {
    let written;
    try {
      while (written !== this.#due.get(name)) {
        written = this.#due.get(name);
        await this.#write(name, written.until);
      }
    } finally {
      this.#due.delete(name);
    }
    if (!this.#due.size) await this.#stay();
  }

  async #open(seals) {
    const keys = await Promise.all(Object.entries(seals).map(async ([until, seal]) => [until, await sealOf(seal)]));
    this.#seals = new Map(keys);
    this.#base ??= await opened();
    await this.#takeLeft();
    const all = await this.#do("readonly", (store) => store.getAll());
    for (const row of all) {
      const seal = this.#sealNamed(row.seal);
      if (row.scope !== this.#scope) {
        if (!row.scope.startsWith(`${this.#life} `)) await this.#do("readwrite", (store) => store.delete(row.id)); // of a room begun anew
      } else if (!seal) await this.#end(row);
      else if (!this.#known.has(row.name)) this.#learn(row.name, await unsealed(row, seal.key));
    }
  }

  #sealNamed(name) {
    return [...this.#seals.values()].find((one) => one.name === name);
  }

  async #end(row) {
    this.#known.delete(row.name);
    await this.#do("readwrite", (store) => store.delete(row.id));
    this.#tell(row.name);
  }

  async #write(name, until) {
    if (!this.#known.has(name)) return this.#do("readwrite", (store) => store.delete(this.#scope + name));
    if (!this.#seals.has(until)) return;
    const { name: seal, key } = this.#seals.get(until);
    const row = { id: this.#scope + name, scope: this.#scope, name, seal, ...(await closed(this.#known.get(name), key)) };
    await this.#do("readwrite", (store) => store.put(row));
  }

  // --- the page's last moment

  #leave() {
    for (const [until, seal] of this.#seals) {
      const names = [...this.#due.keys()].filter((name) => this.#due.get(name).until === until);
      const words = Object.fromEntries(names.map((name) => [name, this.#known.get(name) ?? null]));
      const back = names.length && (seal.made || !seal.key) ? leave(this.#scope, seal, words) : null;
      if (back) this.#left.push(back);
      if (back) seal.made = null;
    }
  }

  // All stands in the store: what was left is not needed, and a later leaving wants a stretch of its own.
  async #stay() {
    for (const back of this.#left.splice(0)) back();
    for (const seal of this.#seals.values()) seal.made ??= await ahead(seal.key);
  }

  // What this page knows already is newer: another tab told it as it was typed.
  async #takeLeft() {
    for (const one of left()) {
      const [until, seal] = [...this.#seals].find(([, own]) => own.name === one.seal) ?? [];
      if (one.scope !== this.#scope) {
        if (!one.scope.startsWith(`${this.#life} `)) one.end(); // of a room begun anew
        continue;
      }
      const words = seal ? await one.read(seal.key).catch(() => ({})) : {}; // what opens no more keeps back nothing else
      for (const [name, value] of Object.entries(words)) {
        if (!this.#known.has(name) && value !== null) this.#learn(name, value);
        await this.#write(name, until);
      }
      one.end();
    }
  }

  #do(mode, what) {
    return new Promise((done, failed) => {
      const turn = this.#base.transaction(STORE, mode, { durability: "strict" });
      const asked = what(turn.objectStore(STORE));
      turn.oncomplete = () => done(asked.result);
      turn.onerror = turn.onabort = () => failed(turn.error);
    });
  }
}

function opened() {
  return new Promise((done, failed) => {
    const asked = indexedDB.open("coldframe", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "id" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
}

async function sealOf({ name, key: raw }) {
  const key = await keyOf(raw);
  return { name, key, made: await ahead(key) };
}

const keyOf = (raw) => (globalThis.crypto?.subtle ? crypto.subtle.importKey("raw", toBytes(raw), "AES-GCM", false, ["encrypt", "decrypt"]) : null);

async function closed(value, key) {
  if (!key) return { open: value };
  const iv = crypto.getRandomValues(new Uint8Array(12));
  const plain = new TextEncoder().encode(JSON.stringify(value));
  return { iv, sealed: await crypto.subtle.encrypt({ name: "AES-GCM", iv }, key, plain) };
}

async function unsealed(row, key) {
  if (!key || !row.sealed) return row.open;
  return JSON.parse(new TextDecoder().decode(await crypto.subtle.decrypt({ name: "AES-GCM", iv: row.iv }, key, row.sealed)));
}

export const drafts = new Drafts();
