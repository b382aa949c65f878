// How a sheet lies on the bench: made for its step, out of the same blocks that stand in the talk.

import { el, plain, theirs } from "./dom.js";
import { blockOf, cardOf, lineOf, pressable } from "./card.js";
import { isQuick, quickField, quickNote } from "./quick.js";

const about = (button) => button.value.split("|").slice(1); // what a button is about, beside its round

const titled = (card) => card.blocks.find((block) => block.kind === "heading");
const rest = (card) => card.blocks.filter((block) => block.kind !== "heading");
const drawn = (blocks, press) => blocks.map((block) => blockOf(block, press, "h3"));

// With a field of its own for each button that takes one only.
function filled(blocks, press, more) {
  return blocks.flatMap((block) => {
    if (block.kind !== "buttons" || !block.buttons.some(isQuick)) return [blockOf(block, press, "h3")];
    const others = block.buttons.filter((button) => !isQuick(button));
    return [...block.buttons.filter(isQuick).map((button) => quickField(button, press, more)), others.length ? blockOf({ ...block, buttons: others }, press, "h3") : null];
  });
}

function sheet(kind, card, ...inside) {
  const title = titled(card);
  return el("article", { class: `sheet ${kind}` }, title ? el("h3", {}, lineOf(title.line)) : null, ...inside);
}

// --- notes, by lever ---------------------------------------------------------

const NOTE = new Set(["note.edit", "note.withdraw"]);

function notes(laid, press, more) {
  const blocks = rest(laid.card);
  const adds = blocks.flatMap((block) => (block.kind === "buttons" ? block.buttons.filter((button) => button.action === "note.write") : []));
  const columns = new Map(adds.map((add) => [add, []]));
  const names = new Map(adds.map((add) => [more.lever(about(add)[0]), add]));
  const head = [], foot = [];
  let column = null;
  for (const [at, block] of blocks.entries()) {
    const next = blocks.slice(at + 1).find((one) => one.kind !== "small");
    const buttons = block.kind === "buttons" ? block.buttons : [];
    if (isName(block) && names.has(plain(block.line))) column = names.get(plain(block.line));
    else if (buttons.length && buttons.every((button) => NOTE.has(button.action))) columns.get(column)?.push(block);
    else if (column && block.kind === "paragraph" && next?.kind === "buttons" && next.buttons.every((button) => NOTE.has(button.action))) columns.get(column).push(block);
    else if (column && block.kind === "small" && columns.get(column).at(-1)?.kind === "paragraph") columns.get(column).push(block);
    else if (buttons.some((button) => button.action === "note.write")) column = null;
    else if (!isHowInTheTalk(block) && block.mark !== "count") (foot.length || adds.some((add) => columns.get(add).length) || at > 1 ? foot : head).push(block);
  }
  const levers = [...names].map(([name, add]) => {
    return el("section", { class: "lever", "aria-label": name }, el("h4", {}, theirs(name)), drawn(columns.get(add), press), quickNote(add, name, more));
  });
  return sheet("notes", laid.card, drawn(head, press), el("div", { class: "levers" }, levers), drawn(foot, press));
}

const isName = (block) => block.kind === "paragraph" && block.line.length === 1 && block.line[0].kind === "theirs";
const isHowInTheTalk = (block) => block.kind === "small" && block.line.some((part) => part.kind === "code");

// --- a ballot ----------------------------------------------------------------

const FINISH = "ballot.lock";

// What is left stays in sight, and with it how the ballot is handed in; each plan lies open below its votes.
function ballot(laid, press, more) {
  const blocks = rest(laid.card).filter((block) => !isHowInTheTalk(block));
  const isOption = (block) => block.kind === "paragraph" && block.line[0]?.kind === "words" && /^\d+\. /.test(plain(block.line));
  const first = blocks.findIndex(isOption);
  const last = blocks.findLastIndex((block, at) => isOption(block) || (block.kind === "buttons" && isOption(blocks[at - 1] ?? {})));
  const head = first < 0 ? blocks : blocks.slice(0, first);
  const options = [];
  for (const block of first < 0 ? [] : blocks.slice(first, last + 1)) {
    if (isOption(block)) options.push({ words: block.line, buttons: [] });
    else if (block.kind === "buttons") options.at(-1).buttons.push(...block.buttons);
  }
  const left = head.find((block) => block.kind === "paragraph" && block.line.some((part) => part.strong));
  const foot = first < 0 ? [] : blocks.slice(last + 1);
  const finish = left && foot.flatMap((block) => block.buttons ?? []).find((button) => button.action === FINISH && button.style === "primary");
  const list = options.map((option) => {
    const plan = more.beside("plan", option.buttons.flatMap(about));
    const votes = option.buttons.filter((button) => button.action !== "ballot.read" || !plan);
    return el(
      "li",
      { class: "option" },
      el("p", {}, lineOf(option.words)),
      votes.length ? el("div", { class: "row" }, votes.map((button) => pressable(button, press))) : null,
      plan ? el("details", { class: "inner", open: innerWidth > 1100 }, el("summary", { "data-focus": `plan ${plan.about}` }, "The plan"), drawn(rest(plan.card), press)) : null,
    );
  });
  return sheet(
    "ballot",
    laid.card,
    drawn(head.filter((block) => block !== left), press),
    left ? el("div", { class: "left row" }, el("p", {}, lineOf(left.line)), finish ? pressable(finish, press) : null) : null,
    el("ol", { class: "options" }, list),
    drawn(foot.map((block) => (block.buttons ? { ...block, buttons: block.buttons.filter((button) => button !== finish) } : block)), press),
  );
}

// --- a comparison ------------------------------------------------------------

const SIDES = ["compare.first", "compare.second"];

function compare(laid, press, more) {
  const buttons = laid.card.blocks.flatMap((block) => (block.kind === "buttons" ? block.buttons : []));
  const sides = SIDES.map((action) => buttons.find((button) => button.action === action));
  if (!sides.every(Boolean)) return plainly(laid, press, more);
  const others = buttons.filter((button) => !SIDES.includes(button.action));
  const [ask, ...words] = rest(laid.card).filter((block) => block.kind !== "buttons" && block.kind !== "items");
  const [, first, second] = about(sides[0]);
  const plans = [first, second].map((plan, at) => {
    const page = more.beside("plan", [plan]);
    const items = laid.card.blocks.find((block) => block.kind === "items");
    return el(
      "section",
      { "aria-label": sides[at].says },
      pressable({ ...sides[at], label: `${sides[at].label}: this one`, says: `${sides[at].label}: this one. ${sides[at].says}`, style: "primary" }, press),
      el("p", {}, lineOf(items?.lines[at] ?? [])),
      page ? el("details", { class: "inner", open: innerWidth > 700 }, el("summary", { "data-focus": `plan ${plan}` }, "The whole plan"), drawn(rest(page.card), press)) : null,
    );
  });
  return sheet("compare", laid.card, drawn([ask], press), el("div", { class: "abreast" }, plans), el("div", { class: "row" }, others.map((button) => pressable(button, press))), drawn(words, press));
}

// --- the commitment ----------------------------------------------------------

// What is still missing as a list to be ticked off by what is done about it.
function commitment(laid, press, more) {
  const blocks = rest(laid.card);
  const at = blocks.findIndex((block) => block.mark === "missing");
  const lacks = at >= 0 && blocks[at + 1]?.kind === "items" ? blocks[at + 1].lines : [];
  const list = lacks.length
    ? el("section", { class: "lacks", "aria-label": plain(blocks[at].line) }, el("h4", {}, lineOf(blocks[at].line)), el("ul", { class: "ticks" }, lacks.map((line) => el("li", {}, lineOf(line)))))
    : null;
  const others = blocks.filter((_, n) => at < 0 || (n !== at && n !== at + 1));
  const parts = [[]];
  for (const block of others) {
    if (block.mark === "chosen") parts.push([]);
    parts.at(-1).push(block);
    if (parts.length > 1 && block.kind === "buttons") parts.push([]);
  }
  return sheet("commitment", laid.card, list, parts.filter((part) => part.length).map((part) => el("div", { class: "settles" }, filled(part, press, more))));
}

// --- whatever has no layout of its own ---------------------------------------

function plainly(laid, press, more) {
  return sheet("plain", laid.card, filled(rest(laid.card), press, more));
}

export function layout(laid, step, press, more) {
  if (laid.what === "ask" && step === "notes") return notes(laid, press, more);
  if (laid.what === "ballot") return ballot(laid, press, more);
  if (laid.what === "compare") return compare(laid, press, more);
  if (laid.what === "card" && step === "commitment") return commitment(laid, press, more);
  return plainly(laid, press, more);
}

// --- beside a sheet ----------------------------------------------------------

// All notes of a lever, both directions side by side.
export function wallOf(laid) {
  const [title, ...blocks] = laid.card.blocks;
  const sides = [];
  for (const block of blocks) {
    if (block.kind === "paragraph" && block.line.every((part) => part.kind === "words" && part.strong)) sides.push([block]);
    else sides.at(-1)?.push(block);
  }
  return el("article", { class: "wall" }, el("h3", {}, lineOf(title.line)), el("div", { class: "directions" }, sides.map(([caption, ...inside]) => el("div", { role: "group", "aria-label": plain(caption.line) }, el("h4", {}, lineOf(caption.line)), drawn(inside, () => null)))));
}

export function pageOf(laid, press, files, more = null) {
  return el("article", { class: `leaf ${laid.what}` }, cardOf(laid.card, press, "h3"), more ? el("p", { class: "row more" }, more) : null, files);
}

