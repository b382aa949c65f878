// The bot's forms: one dialog at a time; what was typed outlives a closed dialog and a reload.

import { announce, dayFor, el, freshId, openDialog } from "./dom.js";
import { lineOf } from "./card.js";
import { drafts } from "./drafts.js";
import { limited } from "./limits.js";
import { lines } from "./lines.js";

const draftOf = (form) => `form ${form.action} ${form.value}`;

export function dropDraft(form) {
  drafts.drop(draftOf(form));
}

// `send(fields)` resolves with the server's answer; `closed(sent)` is called at the end. `given`: what is filled in already,
// by the names of fields; `done`: { label, press() } of what can be said in the same go.
export function openForm(form, state, send, closed, { given = {}, done = null } = {}) {
  const draft = drafts.get(draftOf(form)) ?? {};
  const fields = form.fields.map((field) => fieldOf(field, draft[field.name] ?? given[field.name] ?? field.initial, state));
  const trouble = el("p", { class: "trouble", role: "alert", tabindex: "-1" });
  const submit = el("button", { type: "submit", class: "primary" }, el("span", { "aria-hidden": "true" }, "→ "), form.submit);
  const both = done && form.last ? el("button", { type: "submit" }, `${form.submit}. ${done.label}`) : null;
  const later = el("button", { type: "button", click: () => box.close() }, "Close for now");
  const sheet = el("form", { novalidate: true }, form.intro.length ? el("p", {}, lineOf(form.intro)) : null, trouble, fields.map((one) => one.node), el("p", { class: "row" }, submit, both, later));
  const box = openDialog(form.title, sheet);
  let sent = false;

  const values = () => Object.fromEntries(fields.map((one) => [one.name, one.value()]));
  sheet.addEventListener("input", () => drafts.put(draftOf(form), values()));
  box.addEventListener("close", () => closed(sent));
  sheet.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (submit.getAttribute("aria-disabled") === "true") return;
    const long = fields.find((one) => !one.fits());
    if (long) return long.focus();
    submit.setAttribute("aria-disabled", "true");
    const answer = await send(values());
    submit.removeAttribute("aria-disabled");
    const wrong = fields.filter((one) => one.tell(answer.errors?.[one.name] ?? ""));
    trouble.textContent = answer.error ?? (wrong.length ? `${wrong.length === 1 ? "One field needs" : `${wrong.length} fields need`} another look.` : "");
    if (answer.error) return trouble.focus();
    if (wrong.length) return wrong[0].focus();
    sent = true;
    dropDraft(form);
    box.close();
    announce("Sent.");
    if (both && event.submitter === both) done.press();
  });
  (fields[0] ?? { focus: () => submit.focus() }).focus();
  return box;
}

function fieldOf(field, value, state) {
  const id = freshId("field");
  const hint = el("p", { class: "hint", id: `${id}-hint` }, [field.hint, field.required ? "" : "May be left empty."].filter(Boolean).join(" "));
  const error = el("p", { class: "error", id: `${id}-error` });
  const described = { "aria-describedby": `${id}-error ${id}-hint` };
  const control = field.each ? lines(field, value) : CONTROLS[field.shape](field, value, id, described, state);
  const limit = !control.group && (field.shape === "long" || field.shape === "text") ? limited(control.text ?? control.node, field.most) : null;
  const label = control.group ? null : el("label", { for: id }, field.label);
  const inside = field.shape === "tick" ? [control.node, label] : [label, control.node];
  const node = control.group
    ? el("fieldset", { class: "field", ...described }, el("legend", {}, control.legend ?? field.label), hint, error, control.node)
    : el("div", { class: "field" }, inside, limit?.node, hint, error);
  return { name: field.name, node, value: control.value, focus: control.focus, fits: () => limit?.check() ?? true, tell: (words) => tell(words, node, error) };
}

function tell(words, node, error) {
  error.textContent = words ? `! ${words}` : "";
  for (const input of node.querySelectorAll("input, textarea, select")) {
    if (words) input.setAttribute("aria-invalid", "true");
    else input.removeAttribute("aria-invalid");
  }
  return Boolean(words);
}

const one = (node) => ({ node, value: () => node.value, focus: () => node.focus() });
const required = (field) => ({ "aria-required": field.required ? "true" : null });

function input(type, extra = {}) {
  return (field, value, id, described) => {
    const node = el("input", { type, id, name: field.name, autocomplete: "off", ...required(field), ...described, ...extra });
    node.value = value;
    return one(node);
  };
}

function select(field, value, id, described, options) {
  const blank = value && options.some((option) => option.value === value) ? [] : [{ value: "", label: "Please choose" }];
  const node = el("select", { id, name: field.name, ...required(field), ...described }, [...blank, ...options].map((option) => el("option", { value: option.value }, option.label)));
  node.value = blank.length ? "" : value;
  return one(node);
}

function group(field, type, chosen) {
  const boxes = field.options.map((option) => {
    const box = el("input", { type, name: field.name, value: option.value, id: freshId("option") });
    box.checked = chosen.includes(option.value);
    return box;
  });
  const rows = boxes.map((box, at) => el("div", { class: "option" }, box, el("label", { for: box.id }, field.options[at].label)));
  const value = () => boxes.filter((box) => box.checked).map((box) => box.value).join("\n");
  return { group: true, node: el("div", {}, rows), value, focus: () => (boxes.find((box) => box.checked) ?? boxes[0])?.focus() };
}

const typed = input("text");

// A day in words, with a calendar beside it.
function dayOrWords(field, value, id, described) {
  const words = typed(field, value, id, described);
  return { ...words, node: el("div", { class: "row day" }, words.node, dayFor(words.node, field.label)), text: words.node };
}

const CONTROLS = {
  text: (field, ...more) => (field.day ? dayOrWords(field, ...more) : typed(field, ...more)),
  number: input("text", { inputmode: "decimal" }),
  date: input("date"),
  long: (field, value, id, described) => {
    const node = el("textarea", { id, name: field.name, rows: 4, ...required(field), ...described });
    node.value = value;
    return one(node);
  },
  tick: (field, value, id, described) => {
    const node = el("input", { type: "checkbox", id, name: field.name, ...described });
    node.checked = value === "yes";
    return { node, value: () => (node.checked ? "yes" : ""), focus: () => node.focus() };
  },
  choice: (field, value, id, described) =>
    field.options.length <= 5 ? group(field, "radio", [value]) : select(field, value, id, described, field.options),
  choices: (field, value) => group(field, "checkbox", value.split("\n")),
  person: (field, value, id, described, state) => {
    const people = field.options.length ? field.options : [...state.people.values()].filter((person) => !person.bot).map((person) => ({ value: person.id, label: person.name }));
    return select(field, value, id, described, people);
  },
};
