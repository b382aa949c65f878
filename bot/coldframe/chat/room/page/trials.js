// A trial on the bench: where it stands, its picture, and one line to log a week.

import { el, freshId } from "./dom.js";
import { drafts } from "./drafts.js";
import { cardOf } from "./card.js";

const LOG = "trial.log";

export function trialOf(laid, acts) {
  const press = (button, node) => acts.press(null, button, node);
  const logs = laid.card.blocks.some((block) => block.kind === "buttons" && block.buttons.some((button) => button.action === LOG));
  return el("article", { class: "sheet trial" }, cardOf(laid.card, press, "h3"), logs ? line(laid, acts) : null, laid.files.slice(0, 1).map(acts.fileOf));
}

// The numbers go as words, in the thread that belongs to the trial where there is one, and are read as if they had been typed there.
function line(laid, acts) {
  const id = freshId("log");
  const box = el("input", { id, type: "text", autocomplete: "off", "data-focus": `log ${laid.about}`, "aria-describedby": `${id}-hint` });
  const wrong = el("p", { class: "error", role: "alert" });
  const name = `log ${laid.about}`;
  drafts.bind(box, name, "sent");
  const form = el("form", { class: "logging", "data-keep": `log ${laid.about}` }, el("label", { for: id }, "A week's numbers"), el("p", { class: "row" }, box, el("button", { type: "submit" }, "Log it")), el("p", { class: "hint", id: `${id}-hint` }, `Such as ${laid.example}.`), wrong);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!box.value.trim()) return;
    const answer = await acts.say("d", box.value, [], laid.message);
    wrong.textContent = answer.error ? `! ${answer.error}` : "";
    if (answer.error) return;
    box.value = "";
    drafts.drop(name);
  });
  return form;
}
