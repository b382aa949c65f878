// A field of lines that each say what is done, by when and by whom: a row of controls for each of them.

import { dayFor, el, freshId } from "./dom.js";

const parts = (line) => line.split("|").map((part) => part.trim());

// In the field's own words: what | by when | who.
export function lines(field, value) {
  const rows = [];
  const list = el("div", { class: "lines" });
  const number = () => rows.forEach((row, at) => row.node.setAttribute("aria-label", `Action ${at + 1}`));
  const changed = () => { number(); list.dispatchEvent(new Event("input", { bubbles: true })); };
  const add = (line) => {
    const row = rowOf(field, parts(line), () => { rows.splice(rows.indexOf(row), 1); row.node.remove(); changed(); (rows.at(-1)?.what ?? more).focus(); });
    rows.push(row);
    list.append(row.node);
  };
  const more = el("button", { type: "button", click: () => { add(""); changed(); rows.at(-1).what.focus(); } }, "Add an action");
  for (const line of value.split("\n").filter((one) => one.trim())) add(line);
  if (!rows.length) add("");
  number();
  return { group: true, legend: field.options.length ? "What, by when, and who" : "What, and by when", node: el("div", {}, list, el("p", { class: "row" }, more)), value: () => rows.map(lineOf).filter(Boolean).join("\n"), focus: () => (rows[0]?.what ?? more).focus() };
}

function rowOf(field, [what = "", when = "", who = ""], remove) {
  const known = field.options.find((one) => one.value === who || one.label === who);
  const row = {
    what: el("input", { type: "text", id: freshId("what"), autocomplete: "off" }),
    when: el("input", { type: "text", id: freshId("when"), autocomplete: "off", size: 16 }),
    who: el("select", { id: freshId("who") }, el("option", { value: "" }, "the owner"), field.options.map((one) => el("option", { value: one.value }, one.label))),
  };
  Object.assign(row.what, { value: what });
  Object.assign(row.when, { value: when });
  Object.assign(row.who, { value: known?.value ?? "" });
  const pair = (words, control) => el("span", { class: "pair" }, el("label", { for: control.id }, words), " ", control);
  row.node = el("div", { class: "line", role: "group" }, pair("What", row.what), pair("By when", row.when), dayFor(row.when, "By when"), field.options.length ? pair("Who", row.who) : null, el("button", { type: "button", class: "quiet", click: remove }, "Remove"));
  return row;
}

// A bar parts the parts, so none stands in one.
function lineOf({ what, when, who }) {
  const said = [what, when, who].map((control) => control.value.replaceAll("|", "/").trim());
  return said[0] || said[1] ? said.join(" | ").replace(/( \| )+$/, "") : "";
}
