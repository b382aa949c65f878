// The line to the server: asks, answers, pushes; reconnects by itself and asks again what had no answer yet.

const WAIT = [250, 500, 1000, 2000, 4000, 8000];
const GONE = 4403; // no longer let in
const SILENCE = 25000;
const PATIENCE = 10000;

export function key() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

// What the room found wrong with an act, if anything.
export const troubleIn = (answer) => answer.error ?? Object.values(answer.errors ?? {})[0];

export class Wire extends EventTarget {
  #socket = null;
  #number = 0;
  #asked = new Map();
  #tries = 0;
  #open = false;
  #gone = false;
  #timer = null;
  #heard = 0;

  constructor(address, hello) {
    super();
    this.address = address;
    this.hello = hello; // what to say first, anew each time
    addEventListener("online", () => this.#now());
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.#check());
    setInterval(() => this.#check(), SILENCE);
    this.#connect();
  }

  get waiting() {
    return [...this.#asked.values()].filter((one) => one.order.key).length;
  }

  // Resolves with the answer, however long the line is down meanwhile.
  ask(order) {
    const n = ++this.#number;
    return new Promise((done) => {
      this.#asked.set(n, { order: { ...order, n }, done });
      if (this.#open) this.#send({ ...order, n });
      else this.dispatchEvent(new Event("line"));
    });
  }

  // What is asked no more: should it come yet, nobody waits for the answer.
  forget(key) {
    for (const [n, one] of this.#asked) if (one.order?.key === key) this.#asked.delete(n);
    this.dispatchEvent(new Event("line"));
  }

  act(order) {
    return this.ask({ ...order, key: key() });
  }

  get isGone() {
    return this.#gone;
  }

  get isOpen() {
    return this.#open;
  }

  #send(order) {
    if (this.#socket?.readyState === WebSocket.OPEN) this.#socket.send(JSON.stringify(order));
  }

  #connect() {
    clearTimeout(this.#timer);
    const socket = new WebSocket(this.address);
    this.#socket = socket;
    socket.addEventListener("open", () => this.#greet());
    socket.addEventListener("message", (event) => this.#hear(JSON.parse(event.data)));
    socket.addEventListener("close", (event) => this.#socket === socket && this.#lost(event));
  }

  async #greet() {
    this.#heard = performance.now();
    const n = ++this.#number;
    const answer = new Promise((done) => this.#asked.set(n, { order: null, done }));
    this.#send({ do: "hello", ...this.hello(), n });
    const welcome = await answer;
    this.#tries = 0;
    this.#open = true;
    this.dispatchEvent(new CustomEvent("welcome", { detail: welcome }));
    for (const one of this.#asked.values()) if (one.order) this.#send(one.order);
    this.dispatchEvent(new Event("line"));
  }

  #hear(frame) {
    this.#heard = performance.now();
    if (frame.push) {
      this.dispatchEvent(new CustomEvent(frame.push, { detail: frame }));
      return;
    }
    const asked = this.#asked.get(frame.n);
    this.#asked.delete(frame.n);
    asked?.done(frame);
  }

  #lost(event) {
    this.#open = false;
    // What only asked to see something is asked anew by the welcome; acts wait for the line.
    for (const [n, one] of this.#asked) if (!one.order?.key) this.#asked.delete(n);
    if (event.code === GONE) this.#gone = true;
    this.dispatchEvent(new CustomEvent("line", { detail: event }));
    if (this.#gone) return;
    const wait = WAIT[Math.min(this.#tries++, WAIT.length - 1)];
    this.#timer = setTimeout(() => this.#connect(), wait * (0.5 + Math.random()));
  }

  #now() {
    if (this.#gone) return;
    if (!this.#open && this.#socket?.readyState !== WebSocket.CONNECTING) this.#connect();
  }

  // After a night's sleep of the computer a line may look open and be dead.
  async #check() {
    if (!this.#open) return this.#now();
    const asked = performance.now();
    this.ask({ do: "ping" });
    setTimeout(() => {
      if (this.#open && this.#heard < asked) {
        const dead = this.#socket;
        this.#socket = null;
        dead.close();
        this.#lost(new CloseEvent("close"));
      }
    }, PATIENCE);
  }
}
