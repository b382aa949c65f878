// What takes one field is given on the bench in one go: it is sent through the form that the button opens.

import { el, freshId } from "./dom.js";
import { drafts } from "./drafts.js";
import { pressable } from "./card.js";
import { troubleIn } from "./wire.js";

// `more.through(button, fields)` opens the button's form, fills these fields and sends it.
export function quickNote(add, lever, more) {
  const id = freshId("note");
  const box = el("textarea", { id, rows: 2, "data-focus": `note ${add.value}`, "aria-describedby": `${id}-wrong` });
  const wrong = el("p", { class: "error", id: `${id}-wrong`, role: "alert" });
  const name = `quick ${add.value}`;
  drafts.bind(box, name);
  box.addEventListener("input", () => { wrong.textContent = ""; });
  const send = async (side) => {
    if (await isSent(box, wrong, "Write the note first.", () => more.through(add, { side, text: box.value }))) emptied(name)?.focus();
  };
  const button = (side, sign, words) => el("button", { type: "button", "data-focus": `${side} ${add.value}`, "aria-label": `Keep the note on ${lever}: it ${words}`, click: () => send(side) }, el("span", { "aria-hidden": "true" }, `${sign} `), words);
  return el("div", { class: "quick", "data-keep": `note ${add.value}` }, el("label", { for: id }, "A note"), box, wrong, el("p", { class: "row" }, button("restraining", "−", "holds us back"), button("driving", "+", "helps")));
}

// What hinders it stands below the field.
async function isSent(box, wrong, missing, send) {
  const trouble = box.value.trim() ? troubleIn(await send()) : missing;
  wrong.textContent = trouble ? `! ${trouble}` : "";
  if (trouble) box.focus();
  return !trouble;
}

// Wherever the field stands by now: the sheet may have been laid anew meanwhile.
function emptied(name) {
  const field = document.querySelector(`[data-draft="${CSS.escape(name)}"]`);
  if (field) field.value = "";
  drafts.drop(name);
  return field;
}

// --- one field of other kinds

// `field`: the one of the form; `control` makes what is filled in.
const ONE = {
  "question.write": { field: "text", label: "The question", hint: "It begins with “How might we” and ends with “?”.", does: "Keep it", control: (id) => el("textarea", { id, rows: 2 }) },
  "nextround.date": { field: "date", label: "Date of the next round", does: "Set it", control: (id) => el("input", { id, type: "date" }) },
  "live.date": { field: "date", label: "Live from", does: "Set it", control: (id) => el("input", { id, type: "date" }) },
  "owner.ask": { field: "member", label: "Owner", does: "Ask them", control: (id, people) => el("select", { id }, el("option", { value: "" }, "Please choose"), people.map(({ id: value, name }) => el("option", { value }, name))) },
};

export const isQuick = (button) => button.action in ONE;

// The button itself stays beside it: its form takes what is said in other words, and says more.
export function quickField(button, press, more) {
  const { field, label, hint, does, control } = ONE[button.action];
  const id = freshId("quick");
  const name = `quick ${button.action} ${button.value}`;
  const box = control(id, more.people);
  box.setAttribute("aria-describedby", `${id}-wrong ${id}-hint`);
  box.dataset.focus = name;
  drafts.bind(box, name);
  const wrong = el("p", { class: "error", id: `${id}-wrong`, role: "alert" });
  const about = button.says ?? button.label;
  const send = async () => {
    if (!(await isSent(box, wrong, "Fill this in first.", () => more.through(button, { [field]: box.value })))) return;
    box.value = "";
    emptied(name);
  };
  const keep = el("button", { type: "button", "data-focus": `send ${name}`, "aria-label": `${does}: ${about}`, click: send }, does);
  return el("div", { class: "quick one-field", "data-keep": name }, el("label", { for: id }, label), el("div", { class: "row" }, box, keep, pressable(button, press)), el("p", { class: "hint", id: `${id}-hint` }, hint), wrong);
}
