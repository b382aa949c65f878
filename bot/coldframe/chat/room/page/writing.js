// Where people write: a conversation's box and each thread's box.

import { announce, el, freshId, size } from "./dom.js";
import { drafts, untilIn } from "./drafts.js";
import { limited } from "./limits.js";

export const MOST_TEXT = 40000;
const MOST_FILES = 3;
const MOST_BYTES = 1 << 20;

const draftOf = (place, thread) => `draft ${place} ${thread ?? ""}`;

// `send(text, files)` resolves with the server's answer.
export function writingBox({ place, thread, label, hint, send, ask }) {
  const id = freshId("write");
  const box = el("textarea", { id, rows: 1, "data-focus": "write", "aria-describedby": hint ? `${id}-hint` : null });
  const name = draftOf(place, thread);
  drafts.bind(box, name, untilIn(place));
  const limit = limited(box, MOST_TEXT, { always: false });
  const trouble = el("p", { class: "trouble", role: "alert" });
  const chosen = el("ul", { class: "chosen" });
  const file = thread ? null : el("input", { type: "file", multiple: true, class: "unseen", id: `${id}-file`, tabindex: "-1", "aria-hidden": "true", change: () => list() });
  const attach = file ? el("button", { type: "button", click: () => file.click() }, "Add a file") : null;
  const panel = ask ? el("button", { type: "button", click: ask }, "What can I do here?") : null;
  const form = el(
    "form",
    { class: "write" },
    el("label", { for: id }, label),
    box,
    limit.node,
    chosen,
    trouble,
    file,
    el("p", { class: "row" }, el("button", { type: "submit", class: "primary" }, el("span", { "aria-hidden": "true" }, "→ "), "Send"), attach, panel, hint ? el("span", { class: "hint", id: `${id}-hint` }, hint) : null),
  );

  const list = () => chosen.replaceChildren(...[...file.files].map((one) => el("li", {}, `${one.name}, ${size(one.size)}`)));
  const fill = (text) => { box.value = text; box.dispatchEvent(new Event("input")); };
  box.addEventListener("input", () => { trouble.textContent = ""; });
  box.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.shiftKey || event.isComposing) return;
    event.preventDefault();
    form.requestSubmit();
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const text = box.value;
    const files = file ? [...file.files] : [];
    const problem = files.length > MOST_FILES ? `At most ${MOST_FILES} files go with one message. Nothing was sent.` : "";
    if (problem) trouble.textContent = problem;
    if (problem || !limit.check()) return box.focus();
    if (!text.trim() && !files.length) return;
    fill("");
    if (file) { file.value = ""; list(); }
    const answer = await send(text, await Promise.all(files.map(packed)));
    if (answer.error) {
      if (!box.value) fill(text);
      trouble.textContent = answer.error;
    } else if (answer.taken === false) {
      trouble.textContent = "Kept. coldframe could not take it in just now and will get it again by itself.";
    } else announce("Sent.");
  });
  return form;
}

async function packed(file) {
  const content = file.size > MOST_BYTES ? null : base64(new Uint8Array(await file.arrayBuffer()));
  return { name: file.name.slice(0, 255) || "file", size: file.size, content };
}

function base64(bytes) {
  let text = "";
  for (let at = 0; at < bytes.length; at += 0x8000) text += String.fromCharCode(...bytes.subarray(at, at + 0x8000));
  return btoa(text);
}
