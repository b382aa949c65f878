// A change of one's own message, kept while it is written.

import { el } from "./dom.js";
import { drafts, untilIn } from "./drafts.js";
import { limited } from "./limits.js";
import { MOST_TEXT } from "./writing.js";

const nameOf = (item) => `change ${item.id}`;

export const isBegun = (item) => drafts.get(nameOf(item)) !== undefined;

// `save(text)` resolves with the room's answer; `stop()` is called at the end.
export function correction(item, { save, stop }) {
  const box = el("textarea", { rows: 3, "aria-label": "Change your message", "data-focus": "change" });
  box.value = item.text;
  drafts.bind(box, nameOf(item), untilIn(item.place));
  const limit = limited(box, MOST_TEXT, { always: false });
  const trouble = el("p", { class: "trouble", role: "alert" });
  const leave = () => { drafts.drop(nameOf(item)); stop(); };
  const form = el("form", { class: "write" }, box, limit.node, trouble, el("p", { class: "row" }, el("button", { type: "submit", class: "primary" }, "Save"), el("button", { type: "button", click: leave }, "Leave it as it is")));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!limit.check()) return box.focus();
    const answer = await save(box.value);
    if (!answer.error) return leave();
    trouble.textContent = answer.error;
    box.focus();
  });
  return form;
}
