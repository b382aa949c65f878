// Text that is too long: by how much, and where to cut.

import { el } from "./dom.js";

const lengthOf = (text) => [...text].length; // as the room counts: characters, not the browser's halves of them

// Under a field. `check()` says whether the text fits; what is too much can be marked and cut.
export function limited(field, most, { always = true } = {}) {
  const words = el("span", {});
  const mark = el("button", { type: "button", class: "quiet", hidden: true, click: () => show(field, most) }, "Mark what is too much");
  const node = el("p", { class: "hint" }, words, " ", mark);
  const check = () => {
    const over = lengthOf(field.value) - most;
    words.textContent = over > 0 ? `! ${over.toLocaleString("en")} ${over === 1 ? "character" : "characters"} too long: at most ${most.toLocaleString("en")}.` : always ? `${lengthOf(field.value)} of at most ${most} characters` : "";
    words.classList.toggle("too-long", over > 0);
    mark.hidden = over <= 0 || !field.setSelectionRange;
    return over <= 0;
  };
  field.addEventListener("input", check);
  check();
  return { node, check };
}

function show(field, most) {
  const fits = [...field.value].slice(0, most).join("").length;
  field.focus();
  field.setSelectionRange(fits, field.value.length);
}
