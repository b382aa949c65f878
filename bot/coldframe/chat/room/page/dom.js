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

let zone;
export function setZone(name) {
  if (zone === (name ?? undefined)) return;
  zone = name ?? undefined;
  formats.clear();
}
const ownZone = Intl.DateTimeFormat().resolvedOptions().timeZone;
export const zoneName = () => zone ?? ownZone;

const SHAPES = {
  moment: { weekday: "short", day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit" },
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

export function timeOf(iso, shape = "moment") {
  return el("time", { datetime: iso, title: shape === "day" ? null : `${moment(iso)}, ${zoneName()}` }, moment(iso, shape));
}

let last = "";
export function announce(words) {
  // A live region that is set to the same words again says nothing.
  byId("spoken").textContent = words === last ? `${words}\u00a0` : words;
  last = byId("spoken").textContent;
}

export function plain(line) {
  return line.map((part) => part.text ?? part.name ?? part.label ?? (part.at ? moment(part.at, part.form) : "")).join("");
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
