// The bot's neutral messages as elements.

import { el, freshId, theirs, timeOf } from "./dom.js";

export function lineOf(parts) {
  return parts.map(inline);
}

function inline(part) {
  switch (part.kind) {
    case "words":
      return part.strong ? el("strong", {}, part.text) : part.text;
    case "theirs":
      return theirs(part.text);
    case "when":
      return timeOf(part.at, part.form);
    case "who":
      return el("span", { class: "who" }, theirs(part.name));
    case "code":
      return el("code", {}, part.text);
    case "link":
      return el("a", { href: part.url, rel: "noopener noreferrer", target: "_blank" }, `${part.label} `, el("small", {}, `(${new URL(part.url).host})`));
    default:
      return part.text ?? "";
  }
}

// `press(button, node)` is called with what was pressed; `title` is the rank of its headings.
export function cardOf(card, press, title = "h4") {
  const blocks = card.blocks.length ? card.blocks : [{ kind: "paragraph", line: card.summary }];
  return el("div", { class: "card" }, blocks.map((one) => blockOf(one, press, title)));
}

export function blockOf(one, press, title = "h4") {
  switch (one.kind) {
    case "heading":
      return el(title, {}, lineOf(one.line));
    case "paragraph":
      return el("p", {}, lineOf(one.line));
    case "small":
      return el("p", { class: "small" }, lineOf(one.line));
    case "facts":
      return el("dl", {}, one.rows.map(([label, value]) => el("div", {}, el("dt", {}, label), el("dd", {}, lineOf(value)))));
    case "items":
      return el(one.ordered ? "ol" : "ul", {}, one.lines.map((line) => el("li", {}, lineOf(line))));
    case "grid":
      return grid(one);
    case "quoted":
      return el("blockquote", {}, theirs(one.text));
    case "buttons":
      return el("div", { class: "row" }, one.buttons.map((button) => pressable(button, press)));
    case "rule":
      return el("hr");
    default:
      return null;
  }
}

function grid(one) {
  const caption = freshId("caption");
  const table = el(
    "table",
    {},
    el("caption", { id: caption }, one.caption),
    el("thead", {}, el("tr", {}, one.header.map((cell) => el("th", { scope: "col" }, cell)))),
    el("tbody", {}, one.rows.map((row) => el("tr", {}, row.map((cell) => el("td", {}, lineOf(cell)))))),
  );
  return el("div", { class: "wide", role: "group", tabindex: "0", "aria-labelledby": caption }, table);
}

const SIGNS = { primary: "→ ", danger: "! ", plain: "" };

export function pressable(button, press) {
  const label = button.label.replace(/ …$/, "");
  const name = button.says && !button.says.includes(label) ? `${label}: ${button.says}` : button.says;
  const sign = SIGNS[button.style] ? el("span", { "aria-hidden": "true" }, SIGNS[button.style]) : null;
  return el(
    "button",
    {
      type: "button",
      class: button.style,
      "aria-label": name,
      "data-focus": `${button.action} ${button.value}`,
      click: (event) => press(button, event.currentTarget),
    },
    sign,
    button.label,
  );
}
