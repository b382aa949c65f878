// A note in one go: the words, and which way they pull. It goes through the form that the button opens.

import { el, freshId } from "./dom.js";
import { drafts } from "./drafts.js";

// `more.through(button, fields)` opens the button's form, fills these fields and sends it.
export function quickNote(add, lever, more) {
  const id = freshId("note");
  const box = el("textarea", { id, rows: 2, "data-focus": `note ${add.value}`, "aria-describedby": `${id}-wrong` });
  const wrong = el("p", { class: "error", id: `${id}-wrong`, role: "alert" });
  const name = `quick ${add.value}`;
  drafts.bind(box, name);
  box.addEventListener("input", () => { wrong.textContent = ""; });
  const send = async (side) => {
    if (!box.value.trim()) { wrong.textContent = "! Write the note first."; return box.focus(); }
    const answer = await more.through(add, { side, text: box.value });
    const trouble = answer.error ?? Object.values(answer.errors ?? {})[0];
    if (trouble) { wrong.textContent = `! ${trouble}`; return box.focus(); }
    box.value = "";
    drafts.drop(name);
    box.focus();
  };
  const button = (side, sign, words) => el("button", { type: "button", "data-focus": `${side} ${add.value}`, "aria-label": `Keep the note on ${lever}: it ${words}`, click: () => send(side) }, el("span", { "aria-hidden": "true" }, `${sign} `), words);
  return el("div", { class: "quick", "data-keep": `note ${add.value}` }, el("label", { for: id }, "A note"), box, wrong, el("p", { class: "row" }, button("restraining", "−", "holds us back"), button("driving", "+", "helps")));
}
