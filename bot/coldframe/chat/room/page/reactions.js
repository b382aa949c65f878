// Emoji by their characters: those under a message, and a picker. The name always stands beside the sign.

import { byId, el, openDialog } from "./dom.js";

// Their short names in the Unicode standard's list of emoji; of whatever `message.emoji` knows by a name, and some more.
const NAMES = {
  "👍": "thumbs up", "👎": "thumbs down", "❤️": "red heart", "⭐": "star", "🌱": "seedling", "🌿": "herb",
  "🌻": "sunflower", "🌷": "tulip", "🌵": "cactus", "🍁": "maple leaf", "🍄": "mushroom", "🌳": "deciduous tree",
  "🍃": "leaf fluttering in wind", "☀️": "sun", "☁️": "cloud", "🌈": "rainbow", "❄️": "snowflake", "🔥": "fire",
  "💧": "droplet", "🐝": "honeybee", "🐌": "snail", "🐦": "bird", "🐟": "fish", "🐱": "cat face", "🐶": "dog face",
  "🍎": "red apple", "🥕": "carrot", "🍞": "bread", "🍵": "teacup without handle", "☕": "hot beverage",
  "🍰": "shortcake", "🎉": "party popper", "👏": "clapping hands", "🙌": "raising hands", "🙏": "folded hands",
  "👋": "waving hand", "💪": "flexed biceps", "👊": "oncoming fist", "✋": "raised hand", "🏃": "person running",
  "👀": "eyes", "💡": "light bulb", "🔑": "key", "🔔": "bell", "📌": "pushpin", "⌛": "hourglass done", "🚀": "rocket",
  "🚲": "bicycle", "⚓": "anchor", "💎": "gem stone", "🏅": "sports medal", "🎯": "bullseye", "💥": "collision",
  "☎️": "telephone", "📨": "incoming envelope", "😄": "grinning face with smiling eyes",
  "😆": "grinning squinting face", "🙂": "slightly smiling face", "😂": "face with tears of joy",
  "🤔": "thinking face", "😮": "face with open mouth", "😢": "crying face", "😕": "confused face",
  "😅": "grinning face with sweat", "💩": "pile of poo", "✅": "check mark button", "✔️": "check mark",
  "❌": "cross mark", "❓": "red question mark", "❗": "red exclamation mark", "⚠️": "warning", "🔴": "red circle",
  "🔵": "blue circle", "0️⃣": "keycap: 0", "1️⃣": "keycap: 1", "2️⃣": "keycap: 2", "3️⃣": "keycap: 3", "4️⃣": "keycap: 4",
  "5️⃣": "keycap: 5", "6️⃣": "keycap: 6", "7️⃣": "keycap: 7", "8️⃣": "keycap: 8", "9️⃣": "keycap: 9", "🔟": "keycap: 10",
};

const FEW = 3; // people who are named on a chip: more stand in its name, and under the pointer
const bare = (sign) => sign.replaceAll("\ufe0f", "");
const SIGNS = Object.fromEntries(Object.keys(NAMES).map((sign) => [bare(sign), sign]));
const words = (emoji) => NAMES[SIGNS[emoji]] ?? emoji;

export function chips(item, state, toggle) {
  if (!item.reactions.length) return null;
  return el("ul", { class: "chips", "aria-label": "Reactions" }, item.reactions.map(([emoji, people]) => chip(item, state, toggle, emoji, people)));
}

function chip(item, state, toggle, emoji, people) {
  const mine = people.includes(state.me);
  const who = people.map((person) => state.name(person)).join(", ");
  const label = `${words(emoji)}, ${people.length}: ${who}`;
  const shown = people.length > FEW ? `${words(emoji)} ${people.length}` : `${words(emoji)}: ${who}`;
  return el(
    "li",
    {},
    el(
      "button",
      { type: "button", class: "chip", "aria-pressed": String(mine), "aria-label": label, title: who, "data-focus": `chip ${emoji}`, click: () => toggle(emoji, !mine) },
      el("span", { "aria-hidden": "true" }, SIGNS[emoji] ? `${SIGNS[emoji]} ` : "", shown, mine ? " ✓" : ""),
    ),
  );
}

export function pick(title, chosen) {
  const list = el("div", { class: "picker", role: "group", "aria-label": "Reactions to choose from" });
  const filter = el("input", { type: "search", id: "picker-filter", autocomplete: "off", input: () => fill(filter.value) });
  const choose = (emoji) => { box.close(); chosen(emoji); };
  const fill = (wanted) => {
    const found = Object.keys(SIGNS).filter((emoji) => words(emoji).includes(wanted.trim().toLowerCase()));
    list.replaceChildren(...found.map((emoji) => el("button", { type: "button", click: () => choose(emoji) }, el("span", { "aria-hidden": "true" }, SIGNS[emoji]), ` ${words(emoji)}`)));
    if (!found.length) list.append(el("p", {}, "No reaction goes by that name."));
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
