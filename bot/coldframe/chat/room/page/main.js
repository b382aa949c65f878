// Puts the room together: the line, what is known, what is shown.

import { announce, byId, confirmed, el, moment, plain, setNow, setZone, tellTimes, zoneName } from "./dom.js";
import { Wire, key, troubleIn } from "./wire.js";
import { State } from "./state.js";
import { Bar } from "./bar.js";
import { Bench } from "./bench.js";
import { MyPage } from "./mypage.js";
import { Sides } from "./sides.js";
import { Told } from "./told.js";
import { Search } from "./search.js";
import { Notices } from "./notify.js";
import { Talk } from "./talk.js";
import { cardOf } from "./card.js";
import { dropDraft, openForm } from "./forms.js";
import { writingBox } from "./writing.js";
import { Rehearsal } from "./rehearsal.js";
import { drafts } from "./drafts.js";
import { Devices } from "./devices.js";
import { Unsent } from "./unsent.js";

const state = new State();
const wire = new Wire(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}${location.pathname}/wire`, () => state.hello());
const talk = new Talk(state, {
  press,
  react: (message, emoji, added) => heeded(wire.act({ do: "react", message, emoji, added })),
  edit: (message, text) => unsent.send({ do: "edit", message, text }),
  erase: (message) => heeded(wire.act({ do: "erase", message })),
  putAway: (note) => wire.ask({ do: "put_away", note }),
  earlier: (place, before) => wire.ask({ do: "earlier", place, before }),
  say,
  seen: () => markRead(),
});
const bar = new Bar(state, { press: onBench, begin, open: () => myPage.open(), choose: (round) => { state.round = round; drawAll(); } });
const bench = new Bench(state, { press: onBench, through, say, fileOf: (file) => talk.fileOf(file) });
const myPage = new MyPage(state, onBench, () => wire.act({ do: "open_home" }));
const sides = new Sides(state);
const told = new Told(press, (note) => wire.ask({ do: "put_away", note }));
const search = new Search(state, { find: (place, text) => wire.ask({ do: "search", place, text }), reach: (id) => talk.reach(id) });
const notices = new Notices(state);
const tabs = new BroadcastChannel("coldframe forms");
const rehearsal = new Rehearsal(state, wire);
const unsent = new Unsent(state, wire);
const devices = new Devices(wire);
setNow(() => state.now());
setInterval(() => { tellTimes(); bar.tick(); }, 30000);
let opened = false; // whether it is known what this browser kept: whoever wrote before that would write over it
let drawing = false; // whether the page is about to be drawn anew
let acted = 0; // when this person last pressed or sent something
let atBench = false; // whether that was on the bench
const ANSWERED = 8000; // ms after an act in which what comes is taken for its answer

// --- what people do ---------------------------------------------------------

async function heeded(asking) {
  const answer = await asking;
  if (answer.error) told.say(answer.error, { wrong: true });
  return answer;
}

function act(where) {
  acted = performance.now();
  atBench = where === "bench";
  told.clear();
}

function say(place, text, files, thread = null) {
  act("talk");
  if (!thread) talk.follow();
  const order = /^\s*\/coldframe(?=\s|$)/i.exec(text);
  if (order) return answered(wire.act({ do: "command", place, text: text.slice(order[0].length).trim() }));
  return unsent.send({ do: "say", place, text, thread, files });
}

function onBench(message, button, node, more) {
  return press(message, button, node, "bench", more);
}

// A round begins in a channel: the one that is looked at, else the first.
function begin() {
  const place = here().id === "d" ? state.places.find((one) => one.id !== "d") : here();
  act("bench");
  return answered(wire.act({ do: "command", place: place.id, text: "new" }), { given: rehearsal.begins(place) });
}

// The button's form is opened, filled in and sent in one go.
async function through(button, fields) {
  act("bench");
  const opened = await wire.act({ do: "press", message: null, action: button.action, value: button.value });
  if (!opened.form) return opened;
  const { action, value } = opened.form;
  const answer = await wire.act({ do: "submit", action, value, fields });
  if (troubleIn(answer)) wire.ask({ do: "close_form", action, value });
  else announce("Kept.");
  return answer;
}

// `more`: what is filled in already in the form that it opens, and what can be said with it in one go.
async function press(message, button, node, where = "talk", more = {}) {
  if (node.getAttribute("aria-disabled") === "true") return;
  if (button.confirm && !(await confirmed("Please confirm", button.confirm, button.label))) return;
  act(where);
  node.setAttribute("aria-disabled", "true");
  await answered(wire.act({ do: "press", message, action: button.action, value: button.value }), more);
  node.removeAttribute("aria-disabled");
}

async function answered(asking, more) {
  const answer = await asking;
  if (answer.error) told.say(answer.error, { wrong: true });
  else if (answer.taken === false) told.say("Kept. coldframe could not take it in just now and will get it again by itself.");
  if (answer.form) showForm(answer.form, more);
  return answer;
}

function announceLoudly(words) {
  announce(words);
  byId("line").textContent = words;
}

function showForm(form, { given, done } = {}) {
  state.forms = [...state.forms.filter((one) => one.action !== form.action || one.value !== form.value), form];
  tellTabs();
  const send = (fields) => {
    act(atBench ? "bench" : "talk");
    const name = `sending ${form.action} ${form.value}`; // sent again after a reload, it is the same act
    const order = { do: "submit", action: form.action, value: form.value, fields, key: drafts.get(name) ?? key() };
    drafts.put(name, order.key);
    return wire.ask(order).then((answer) => {
      drafts.drop(name);
      if (!troubleIn(answer)) {
        state.forms = state.forms.filter((one) => one !== form);
        tellTabs();
        if (answer.form) queueMicrotask(() => showForm(answer.form, { given, done }));
      }
      return answer;
    });
  };
  const also = done && { label: done.button.label, press: () => heeded(wire.act({ do: "press", message: done.message, action: done.button.action, value: done.button.value })) };
  openForm(form, state, send, () => drawWaiting(), { given, done: also });
}

// --- what is shown ----------------------------------------------------------

function here() {
  const wanted = decodeURIComponent(location.hash.slice(1));
  return state.places.find((place) => place.id === wanted) ?? state.places.find((place) => place.id === talk.place) ?? state.places.at(-1);
}

function drawAll({ focus = false } = {}) {
  if (!state.places.length || !opened) return;
  const me = state.people.get(state.me);
  if (setZone(me?.zone)) tellTimes(); // what is drawn from here on tells the time as it is
  byId("me").textContent = `You are ${me?.name ?? state.me}. Times are yours: ${zoneName().replaceAll("_", " ")}.`;
  const place = here();
  const other = place.id !== talk.place;
  const members = place.members.filter((id) => !state.people.get(id)?.bot);
  byId("title").textContent = state.placeName(place);
  byId("about").textContent = place.id === "d" ? "Only you and coldframe read this." : `${members.length} ${members.length === 1 ? "person" : "people"} and coldframe: ${members.map((id) => state.name(id)).join(", ")}.`;
  sides.draw();
  drawPlaces(place);
  drawHome(place);
  const round = roundOf(place);
  bar.draw(round, place);
  bench.draw(round);
  myPage.refresh();
  drawWaiting();
  talk.show(place.id, { focus });
  search.show(place.id);
  if (other) drawWriting(place);
  rehearsal.show();
  markRead();
}

// Of several rounds, the one of this channel, or the one that was chosen.
function roundOf(place) {
  const bars = state.bench?.bars ?? [];
  const of = place.id === "d" ? bars : bars.filter((one) => one.place === place.id);
  return of.find((one) => one.round === state.round) ?? of[0] ?? null;
}

// What arrives close together is drawn together.
function drawSoon() {
  if (drawing) return;
  drawing = true;
  setTimeout(() => {
    drawing = false;
    drawAll();
  }, 10);
}

let placesLook = "";
function drawPlaces(current) {
  const look = JSON.stringify([current.id, state.places.map((place) => [state.placeName(place), state.unread(place.id)])]);
  if (look === placesLook) return;
  placesLook = look;
  const focused = document.activeElement?.dataset?.place;
  byId("places").replaceChildren(
    ...state.places.toReversed().map((place) => {
      const unread = place.id === current.id ? 0 : state.unread(place.id);
      return el(
        "li",
        {},
        el("a", { href: `#${place.id}`, "data-place": place.id, "aria-current": place.id === current.id ? "page" : null }, state.placeName(place), unread ? el("span", { class: "count" }, ` ${unread} new`) : null),
      );
    }),
  );
  if (focused) byId("places").querySelector(`[data-place="${CSS.escape(focused)}"]`)?.focus();
  const total = state.places.reduce((sum, place) => sum + state.unread(place.id), 0);
  document.title = `${total ? `(${total}) ` : ""}${state.placeName(current)} – coldframe room`;
}

function drawHome(place) {
  const home = byId("home");
  home.hidden = place.id !== "d" || !state.home || Boolean(state.bench); // beside a bench it opens from the bar
  if (home.hidden) return;
  const look = JSON.stringify(state.home);
  if (home.dataset.look === look) return;
  home.dataset.look = look;
  const open = home.querySelector("details")?.open ?? false;
  home.replaceChildren(el("details", { open }, el("summary", {}, "Your page"), cardOf(state.home, (button, node) => press(null, button, node))));
}

// Forms that were opened, sent or discarded here are so in every tab of this person.
function tellTabs() {
  tabs.postMessage({ life: state.life, me: state.me, forms: state.forms });
}
tabs.addEventListener("message", ({ data }) => {
  if (data.life !== state.life || data.me !== state.me) return;
  state.forms = data.forms;
  drawWaiting();
});

function drawWaiting() {
  const box = byId("waiting");
  box.hidden = !state.forms.length || Boolean(document.querySelector("dialog[open] form"));
  box.replaceChildren(
    ...state.forms.map((form) => {
      const discard = () => {
        dropDraft(form);
        state.forms = state.forms.filter((one) => one !== form);
        tellTabs();
        wire.ask({ do: "close_form", action: form.action, value: form.value });
        drawWaiting();
        byId("title").focus();
      };
      return el("p", { class: "row" }, el("span", {}, `The form “${form.title}” is open.`), el("button", { type: "button", click: () => showForm(form) }, "Go on with it"), el("button", { type: "button", click: discard }, "Discard it"));
    }),
  );
}

function drawWriting(place) {
  const direct = place.id === "d";
  const label = direct ? "Write to coldframe, privately" : `Write to everyone in ${place.name}`;
  const hint = "Enter sends, Shift and Enter begins a new line; /coldframe help";
  const ask = () => say(place.id, "/coldframe", []);
  byId("writing").replaceChildren(writingBox({ place: place.id, label, hint, ask, send: (text, files) => say(place.id, text, files) }));
}

let marked = "";
function markRead() {
  if (document.visibilityState !== "visible" || !talk.place || !talk.isShown) return;
  const newest = talk.seenUpTo();
  if (!newest || (state.reads[talk.place] ?? "") >= newest || marked === `${talk.place} ${newest}`) return;
  marked = `${talk.place} ${newest}`;
  wire.ask({ do: "read", place: talk.place, message: newest });
}

function drawLine() {
  const waiting = wire.waiting;
  if (wire.isGone) return announceLoudly("You are no longer let in here: you left the room, or this browser was signed out.");
  byId("line").textContent = wire.isOpen ? "" : `The line to the room is down; it is tried again by itself.${waiting ? ` ${waiting} of your acts wait for it.` : ""}`;
}

// --- what happens -----------------------------------------------------------

wire.addEventListener("welcome", async (event) => {
  state.welcome(event.detail);
  tellTimes();
  marked = "";
  byId("devices").hidden = state.acting;
  byId("hidden").hidden = !event.detail.hidden;
  await keepFor(event.detail.seals);
  drawAll();
});
wire.addEventListener("seals", ({ detail }) => keepFor(detail.seals));
drafts.addEventListener("changed", ({ detail }) => detail.startsWith("change ") && drawSoon());
byId("devices").addEventListener("click", () => devices.open());
wire.addEventListener("messages", ({ detail }) => {
  const seen = talk.seesNews;
  const fresh = detail.items.filter((item) => !state.messages.has(item.id) && item.author !== state.me);
  state.put(detail.items);
  told.refresh(detail.items);
  const answers = fresh.filter((item) => item.place === "d" && item.card && !item.thread && !state.held.has(item.id));
  if (performance.now() - acted < ANSWERED && (atBench || talk.place !== "d" || !seen)) for (const item of answers) told.answer(item);
  state.rev = Math.max(state.rev, detail.rev);
  drawSoon();
  speak(fresh);
  notices.tell(fresh);
});
wire.addEventListener("notes", ({ detail }) => {
  const known = new Set(state.notes.map((note) => note.id));
  state.notes = detail.notes;
  drawAll();
  const fresh = detail.notes.filter((note) => !known.has(note.id));
  if (!fresh.length) return;
  announce(fresh.map((note) => `coldframe, to you only: ${plain(note.card.summary)}`).join(" "));
  const justNow = performance.now() - acted < ANSWERED && !document.querySelector("dialog[open]");
  if (justNow && atBench) for (const note of fresh) told.answer(note, { note: true });
  else if (justNow) talk.focusOn(fresh.at(-1).id);
});
wire.addEventListener("bench", ({ detail }) => {
  state.lay(detail.bench);
  for (const id of state.held) told.drop(id);
  drawAll();
});
wire.addEventListener("home", ({ detail }) => { state.home = detail.home; drawAll(); });
wire.addEventListener("reads", ({ detail }) => { state.reads = detail.reads; drawSoon(); });
wire.addEventListener("rehearsal", ({ detail }) => { state.setRehearsal(detail.rehearsal); rehearsal.show(); tellTimes(); });
wire.addEventListener("slow", () => announceLoudly("You are faster than the room: your messages go out one after the other."));
for (const what of ["people", "again"]) wire.addEventListener(what, () => greetAnew());
wire.addEventListener("line", drawLine);
addEventListener("hashchange", () => {
  const wanted = location.hash.slice(1);
  if (wanted === "newest" || wanted === "writing") return;
  drawAll({ focus: true });
});
document.addEventListener("visibilitychange", markRead);
addEventListener("side", () => { talk.land(); markRead(); });
byId("title").tabIndex = -1;
byId("skip-newest").addEventListener("click", (event) => { event.preventDefault(); const last = byId("messages").lastElementChild; if (last) { last.tabIndex = -1; last.focus(); last.scrollIntoView({ block: "nearest" }); } });
byId("skip-writing").addEventListener("click", (event) => { event.preventDefault(); byId("writing").querySelector("textarea")?.focus(); });

// Opens what this browser kept, and sends what waits.
async function keepFor(seals) {
  if (!state.life) return; // a welcome is on its way, with keys of its own
  await drafts.unlock(state.life, state.me, seals);
  opened = true;
  unsent.again();
}

async function greetAnew() {
  state.forget();
  const welcome = await wire.ask({ do: "hello", ...state.hello() });
  state.welcome(welcome);
  await keepFor(welcome.seals);
  talk.clear();
  drawAll();
}

function speak(items) {
  if (!items.length) return;
  if (items.length > 3) return announce(`${items.length} new messages.`);
  announce(items.map((item) => `${state.name(item.author)}: ${item.card ? plain(item.card.summary) : item.text || item.files.map((file) => file.title || file.name).join(", ")}`).join(" "));
}
