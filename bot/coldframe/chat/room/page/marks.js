// Marks in a field: one stop of the Tab key for all of them, the arrows lead from one to the next, Enter opens one.

import { el } from "./dom.js";

const SVG = "http://www.w3.org/2000/svg";

export function svg(tag, attributes, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) if (value !== null) node.setAttribute(name, value);
  node.append(...children.flat());
  return node;
}

export const share = (value) => `${(100 * value).toFixed(2)}%`;
export const fromTop = (value) => share(1 - value);

export function put(node, x, y) {
  node.style.left = share(x);
  if (y !== undefined) node.style.bottom = share(y);
  return node;
}

// A label goes to the left where there is no room to the right, or another mark stands there.
const NEAR = { x: 0.25, y: 0.06 };
function isCrowded(mark, marks) {
  return mark.x > 0.7 || (mark.x > 0.15 && marks.some((other) => other !== mark && other.x >= mark.x && other.x - mark.x < NEAR.x && Math.abs(other.y - mark.y) < NEAR.y));
}

// `marks`: { x, y, look, label, more, name, text, says }, in the order in which the arrows go; `more` stands where there is room.
export function marksIn(marks, named, open) {
  const buttons = marks.map((mark, at) =>
    put(el("button", { type: "button", class: `mark ${mark.look} ${isCrowded(mark, marks) ? "leftward" : ""}`, tabindex: at ? "-1" : "0", "aria-label": [mark.name, mark.text, mark.says].filter(Boolean).join(": "), "data-focus": `mark ${at} ${mark.name}`, click: () => open(mark) }, el("span", { "aria-hidden": "true" }, mark.label, mark.more ? el("span", { class: "more" }, mark.more) : null)), mark.x, mark.y),
  );
  const group = el("div", { class: "marks", role: "group", "aria-label": `${named}; the arrow keys lead from mark to mark` }, buttons);
  group.addEventListener("keydown", (event) => {
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    const to = { Home: 0, End: buttons.length - 1 }[event.key] ?? buttons.indexOf(document.activeElement) + (step ?? NaN);
    if (Number.isNaN(to)) return;
    event.preventDefault();
    const next = buttons[(to + buttons.length) % buttons.length];
    for (const button of buttons) button.tabIndex = button === next ? 0 : -1;
    next.focus();
  });
  return group;
}
