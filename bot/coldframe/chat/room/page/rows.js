// Pictures in rows: votes as bars, forces as arrows. Each row is a mark that opens what it stands for.

import { el, theirs } from "./dom.js";
import { share } from "./marks.js";

// --- votes

export function ranking({ figure, names }, open) {
  if (!figure.bars.length) return el("p", {}, names.nothing_voted);
  const bars = figure.columns.length > 0;
  const signs = figure.apart ? el("p", { class: "signs small" }, part("group"), ` ${names.group} `, part("rest"), ` ${names.decision_maker}`) : null;
  const rows = figure.bars.flatMap((bar) => [row(bar, figure, names, open), bar.cut ? el("li", { class: "cut" }, el("span", {}, bar.cut)) : null]);
  return el("div", { class: "plot" }, signs, bars ? null : el("p", { class: "small" }, names.places_only), el("ol", { class: "bars" }, rows), figure.note ? el("p", {}, theirs(figure.note)) : null);
}

function row(bar, figure, names, open) {
  const place = bar.tied ? `${bar.place} ${names.tied}` : `${bar.place}`;
  const told = figure.columns.map((name, at) => `${name} ${bar.figures[at]}`).join(", ");
  const mark = { name: `Place ${place}`, text: bar.label, says: [told, bar.outcome].filter(Boolean).join("; ") };
  const lengths = figure.columns.length ? el("div", { class: "lengths", "aria-hidden": "true" }, bar.group ? part("group", bar.group) : null, bar.rest ? part("rest", bar.rest) : null) : null;
  return el(
    "li",
    {},
    el("span", { class: "place" }, place),
    el("div", {}, el("button", { type: "button", class: "quiet text", "data-focus": `bar ${bar.place} ${bar.label}`, click: () => open(mark) }, theirs(bar.label)), lengths, el("p", { class: "small" }, mark.says)),
  );
}

function part(look, length) {
  const node = el("span", { class: `length ${look}` });
  if (length !== undefined) node.style.width = share(length);
  return node;
}

// --- forces

export function forces({ figure, names }, open) {
  const side = (all, look, heading, nothing) => el("div", { class: `pull ${look}` }, el("p", { class: "pull-heading" }, heading), all.length ? el("ul", {}, all.map((force) => arrow(force, heading, open))) : el("p", {}, nothing));
  const middle = el("p", { class: "middle" }, el("span", { "aria-hidden": "true" }, `← ${names.back}`), el("strong", {}, theirs(figure.middle)), el("span", { "aria-hidden": "true" }, `${names.forward} →`));
  return el("div", { class: "plot" }, side(figure.driving, "driving", figure.headings[0], names.no_driving), middle, side(figure.restraining, "restraining", figure.headings[1], names.no_restraining), figure.note ? el("p", { class: "small" }, figure.note) : null);
}

function arrow(force, heading, open) {
  const dots = force.dots === null ? "" : `${force.dots} ${force.dots === 1 ? "dot" : "dots"}`;
  const shaft = el("span", { class: "shaft" });
  if (force.weight !== null) shaft.style.height = `${1 + 9 * force.weight}px`;
  const mark = { name: heading.replace(/ \(.*/, ""), text: force.text, says: dots };
  return el("li", {}, el("button", { type: "button", class: "quiet text", "data-focus": `force ${force.text}`, click: () => open(mark) }, theirs(force.text)), el("span", { class: "arrow", "aria-hidden": "true" }, shaft), dots ? el("strong", { class: "small" }, dots) : null);
}
