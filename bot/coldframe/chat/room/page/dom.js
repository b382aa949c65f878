// Elements and words. People's text enters the page through textContent only.

export function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") node.addEventListener(name, value);
    else if (value === true) node.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) node.setAttribute(name, value);
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

export const byId = (id) => document.getElementById(id);

let count = 0;
export const freshId = (stem) => `${stem}-${++count}`;

export function theirs(text) {
  return el("bdi", { class: "theirs", dir: "auto" }, text);
}

const ADDRESS = /https?:\/\/[^\s<>"]+/gi;
const NOT_ITS_END = /[.,;:!?)\]}'’”»]+$/;

// What a person said in the talk, with its web addresses as links.
export function linked(text) {
  const box = theirs("");
  let at = 0;
  for (const found of text.matchAll(ADDRESS)) {
    const url = found[0].replace(NOT_ITS_END, "");
    if (!URL.canParse(url)) continue;
    box.append(text.slice(at, found.index), el("a", { href: url, rel: "noopener noreferrer", target: "_blank" }, url));
    at = found.index + url.length;
  }
  box.append(text.slice(at));
  return box;
}

let zone;
export function setZone(name) {
  if (zone === (name ?? undefined)) return false;
  zone = name ?? undefined;
  formats.clear();
  return true;
}
const ownZone = Intl.DateTimeFormat().resolvedOptions().timeZone;
export const zoneName = () => zone ?? ownZone;

const SHAPES = {
  moment: { weekday: "short", day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit" },
  near: { weekday: "short", day: "numeric", month: "short" },
  weekday: { weekday: "short" },
  clock: { hour: "2-digit", minute: "2-digit" },
  day: { weekday: "short", day: "numeric", month: "short", year: "numeric" },
  hour: { hour: "2-digit", minute: "2-digit" },
};
const formats = new Map();

export function moment(iso, shape = "moment") {
  if (!formats.has(shape)) {
    formats.set(shape, new Intl.DateTimeFormat("en-GB", { ...SHAPES[shape], timeZone: zone, hourCycle: "h23" }));
  }
  // "Tue 3 Mar 2026, 15:00": the locale would put a comma after the weekday.
  return formats.get(shape).format(new Date(iso)).replace(/^(\p{L}+), /u, "$1 ");
}

let now = () => new Date();
export function setNow(clock) {
  now = clock;
}

// The number of its day in the reader's zone.
function dayOf(at) {
  if (!formats.has("number")) formats.set("number", new Intl.DateTimeFormat("en-CA", { timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit" }));
  const parts = formats.get("number").format(at);
  return Date.parse(`${parts}T00:00:00Z`) / 86400000;
}

const NEAR = { "-1": "yesterday", 0: "today", 1: "tomorrow" };
const A_WEEK = 7, HALF_A_YEAR = 183; // days

// As people say it now, like `spoken` of the bot's own words: "today 17:00", by "17:00 today", "Tue 9:00", "Tue 7 Apr, 9:00".
export function spoken(iso, shape = "moment") {
  const days = dayOf(new Date(iso)) - dayOf(now());
  const full = moment(iso, Math.abs(days) > HALF_A_YEAR ? "day" : "near");
  if (shape === "day") return full;
  const clock = moment(iso, "clock").replace(/^0/, "");
  if (shape === "hour") return clock;
  if (days in NEAR) return shape === "by" ? `${clock} ${NEAR[days]}` : `${NEAR[days]} ${clock}`;
  return `${days > 0 && days < A_WEEK ? moment(iso, "weekday") : `${full},`} ${clock}`;
}

// In words, and whole where the pointer rests.
export function timeOf(iso, shape = "moment") {
  return el("time", { datetime: iso, "data-shape": shape, title: `${moment(iso)}, ${zoneName()}` }, spoken(iso, shape));
}

// What was today when it was drawn is so no more the day after.
export function tellTimes() {
  for (const node of document.querySelectorAll("time[data-shape]")) {
    const words = spoken(node.dateTime, node.dataset.shape);
    if (node.textContent !== words) node.textContent = words;
  }
}

// A calendar beside a field that takes a day in words.
export function dayFor(field, label) {
  const pick = el("input", { type: "date", "aria-label": `${label}: a day from the calendar`, input: () => pick.value && fill() });
  const fill = () => { field.value = pick.value; field.dispatchEvent(new Event("input", { bubbles: true })); };
  return pick;
}

let last = "";
export function announce(words) {
  // A live region that is set to the same words again says nothing.
  byId("spoken").textContent = words === last ? `${words}\u00a0` : words;
  last = byId("spoken").textContent;
}

export function plain(line) {
  return line.map((part) => part.text ?? part.name ?? part.label ?? (part.at ? spoken(part.at, part.form) : "")).join("");
}

export function size(bytes) {
  return bytes < 1024 ? `${bytes} bytes` : bytes < 1048576 ? `${Math.round(bytes / 1024)} kB` : `${(bytes / 1048576).toFixed(1)} MB`;
}

// A dialog that is asked once and then gone; focus goes back to where it was by the browser itself.
export function openDialog(title, ...content) {
  const heading = el("h2", { id: freshId("dialog"), tabindex: "-1" }, title);
  const box = el("dialog", { "aria-labelledby": heading.id }, heading, ...content);
  document.body.append(box);
  box.addEventListener("close", () => box.remove());
  box.showModal();
  return box;
}

export function confirmed(title, words, yes) {
  return new Promise((done) => {
    let answer = false;
    const agree = el("button", { type: "button", class: "primary", click: () => { answer = true; box.close(); } }, yes);
    const refuse = el("button", { type: "button", click: () => box.close() }, "Cancel");
    const box = openDialog(title, el("p", {}, words), el("p", { class: "row" }, agree, refuse));
    box.addEventListener("close", () => done(answer));
    refuse.focus();
  });
}
