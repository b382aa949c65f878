// Emoji by short name: those under a message, and a picker. The name always stands beside the sign.

import { byId, el, openDialog } from "./dom.js";

const SIGNS = {
  "+1": "👍", "-1": "👎", thumbsup: "👍", thumbsdown: "👎", heart: "❤️", star: "⭐", seedling: "🌱", herb: "🌿", sunflower: "🌻", tulip: "🌷", deciduous_tree: "🌳", leaves: "🍃",
  sunny: "☀️", cloud: "☁️", rainbow: "🌈", snowflake: "❄️", fire: "🔥", droplet: "💧", bee: "🐝", snail: "🐌", bird: "🐦", fish: "🐟", cat: "🐱", dog: "🐶",
  apple: "🍎", carrot: "🥕", bread: "🍞", tea: "🍵", coffee: "☕", cake: "🍰", tada: "🎉", clap: "👏", raised_hands: "🙌", pray: "🙏", wave: "👋", muscle: "💪",
  eyes: "👀", bulb: "💡", key: "🔑", bell: "🔔", pushpin: "📌", hourglass: "⌛", rocket: "🚀", bike: "🚲", anchor: "⚓", gem: "💎", medal: "🏅", dart: "🎯",
  smile: "😄", slightly_smiling_face: "🙂", joy: "😂", thinking_face: "🤔", open_mouth: "😮", cry: "😢", confused: "😕", sweat_smile: "😅",
  white_check_mark: "✅", heavy_check_mark: "✔️", x: "❌", question: "❓", exclamation: "❗", warning: "⚠️", red_circle: "🔴", large_blue_circle: "🔵",
  one: "1️⃣", two: "2️⃣", three: "3️⃣", four: "4️⃣", five: "5️⃣", six: "6️⃣", seven: "7️⃣", eight: "8️⃣", nine: "9️⃣",
};

const words = (name) => ({ "+1": "thumb up", "-1": "thumb down" })[name] ?? name.replaceAll("_", " ");

export function chips(item, state, toggle) {
  if (!item.reactions.length) return null;
  return el("ul", { class: "chips", "aria-label": "Reactions" }, item.reactions.map(([name, people]) => chip(item, state, toggle, name, people)));
}

function chip(item, state, toggle, name, people) {
  const mine = people.includes(state.me);
  const who = people.map((person) => state.name(person)).join(", ");
  const label = `${words(name)}, ${people.length}: ${who}`;
  return el(
    "li",
    {},
    el(
      "button",
      { type: "button", class: "chip", "aria-pressed": String(mine), "aria-label": label, title: who, "data-focus": `chip ${name}`, click: () => toggle(name, !mine) },
      el("span", { "aria-hidden": "true" }, SIGNS[name] ? `${SIGNS[name]} ` : "", `${words(name)} ${people.length}`, mine ? " ✓" : ""),
    ),
  );
}

export function pick(title, chosen) {
  const list = el("div", { class: "picker", role: "group", "aria-label": "Reactions to choose from" });
  const filter = el("input", { type: "search", id: "picker-filter", autocomplete: "off", input: () => fill(filter.value) });
  const choose = (name) => { box.close(); chosen(name); };
  const fill = (wanted) => {
    const names = Object.keys(SIGNS).filter((name) => !name.startsWith("thumbs") && words(name).includes(wanted.trim().toLowerCase()));
    list.replaceChildren(...names.map((name) => el("button", { type: "button", click: () => choose(name) }, el("span", { "aria-hidden": "true" }, SIGNS[name]), ` ${words(name)}`)));
    if (!names.length) list.append(el("p", {}, "No reaction goes by that name."));
  };
  const cancel = el("button", { type: "button", click: () => box.close() }, "Cancel");
  const box = openDialog(title, el("p", {}, el("label", { for: "picker-filter" }, "Find by name "), filter), list, el("p", { class: "row" }, cancel));
  list.addEventListener("keydown", (event) => walk(event, list));
  fill("");
  byId("picker-filter").focus();
}

function walk(event, list) {
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  if (!step) return;
  event.preventDefault();
  const all = [...list.querySelectorAll("button")];
  all[(all.indexOf(document.activeElement) + step + all.length) % all.length]?.focus();
}
