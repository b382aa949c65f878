// Pictures drawn for their reader: in their colours, at their width, text at text size. The room sends the same figures
// from which the file for chats is drawn, in shares of the field; nothing is reckoned here.

import { el, freshId, openDialog, theirs } from "./dom.js";
import { calibration, matrix, trend } from "./fields.js";
import { forces, ranking } from "./rows.js";

const DRAW = { placement_matrix: matrix, vote_ranking: ranking, force_field: forces, trial_trend: trend, calibration };

// `find(text)` gives what leads to where a note or plan of these words stands, if it is there.
export function pictureOf(file, address, find) {
  const { picture } = file;
  const caption = freshId("picture");
  const open = (mark) => openMark(mark, find);
  return el(
    "figure",
    { class: `picture ${picture.figure.kind}`, "aria-labelledby": caption },
    el("figcaption", { id: caption }, theirs(picture.heading)),
    DRAW[picture.figure.kind](picture, open),
    behind("As a table", `table ${file.id}`, table(picture)),
    behind("The picture in words", `words ${file.id}`, el("p", {}, theirs(picture.words))),
    el("p", { class: "small" }, el("a", { href: address, download: file.name }, "As a file")),
  );
}

function behind(name, focus, inside) {
  return el("details", {}, el("summary", { "data-focus": focus }, name), inside);
}

function table({ heading, header, rows }) {
  const caption = freshId("caption");
  const head = el("thead", {}, el("tr", {}, header.map((cell) => el("th", { scope: "col" }, cell))));
  const body = el("tbody", {}, rows.map((row) => el("tr", {}, row.map((cell) => el("td", {}, theirs(cell))))));
  return el("div", { class: "wide", role: "group", tabindex: "0", "aria-labelledby": caption }, el("table", {}, el("caption", { id: caption }, theirs(heading)), head, body));
}

// What a mark stands for: all that is told of it, and the way to where its words stand.
function openMark({ name, text, says }, find) {
  const go = text ? find(text) : null;
  const close = el("button", { type: "button", click: () => box.close() }, "Close");
  const lead = go ? el("button", { type: "button", class: "primary", click: () => { box.close(); go(); } }, "Show where it stands") : null;
  const box = openDialog(name, text ? el("blockquote", {}, theirs(text)) : null, says ? el("p", {}, theirs(says)) : null, el("p", { class: "row" }, lead, close));
  (lead ?? close).focus();
}
