// Pictures with a field and scales: the matrix, a trial's weeks, forecasts.

import { el, theirs } from "./dom.js";
import { fromTop, marksIn, put, share, svg } from "./marks.js";

// --- the matrix

export function matrix({ heading, figure, names }, open) {
  const spots = figure.spots.map((spot) => ({ x: spot.x, y: spot.y, look: spot.unsure ? "dot unsure" : "dot", label: spot.label, more: spot.unsure ? ", unsure" : "", name: spot.label, text: spot.title, says: spot.says }));
  if (!spots.length) return notes(figure.notes);
  const ground = svg("svg", { class: "ground", "aria-hidden": "true" }, line(0.5, 0, 0.5, 1, "cut"), line(0, 0.5, 1, 0.5, "cut"), figure.rings ? figure.spots.map(ring) : []);
  const corners = names.corners.map((name, at) => el("span", { class: `corner corner-${at}`, "aria-hidden": "true" }, name));
  const field = el("div", { class: "plane square" }, ground, corners, marksIn(spots, heading, open));
  const signs = figure.rings ? el("p", { class: "signs" }, sign("dot"), ` ${names.sure} `, sign("dot unsure"), ` ${names.unsure}`) : null;
  return el("div", { class: "plot" }, scaled(field, names.impact, names.effort, names), signs, notes(figure.notes), key(spots, open));
}

function ring(spot) {
  return svg("ellipse", { class: spot.unsure ? "ring unsure" : "ring", cx: share(spot.x), cy: fromTop(spot.y), rx: share(spot.wide), ry: share(spot.high) });
}

// Every mark with all its words, for whoever does not hit or tell it apart in the field.
function key(marks, open) {
  return el("ol", { class: "all-marks" }, marks.map((mark, at) => el("li", {}, el("button", { type: "button", class: "quiet", "data-focus": `key ${at} ${mark.name}`, click: () => open(mark) }, theirs(`${mark.name}: ${mark.text}`)), el("span", { class: "small" }, ` ${mark.says}`))));
}

function scaled(field, up, across, names) {
  const scale = (words, end) => el("p", { class: `scale ${end}`, "aria-hidden": "true" }, el("span", {}, names.little), el("strong", {}, `${words} →`), el("span", {}, names.much));
  return el("div", { class: "scaled" }, scale(up, "up"), field, scale(across, "across"));
}

// --- a trial's weeks

export function trend({ heading, figure, names }, open) {
  if (!figure.series.length) return notes(figure.notes);
  const marks = figure.series.flatMap((series) => series.readings.map((reading) => ({ ...reading, look: `${series.kind} ${reading.first ? "hollow" : ""}`, label: "", name: reading.says, text: "", says: "" })));
  const ground = svg(
    "svg",
    { class: "ground", "aria-hidden": "true" },
    figure.values.map(([y]) => line(0, y, 1, y, "grid")),
    figure.levels.flatMap((level) => (level.kind === "interval" ? band(figure.band, level) : line(0, level.y, 1, level.y, level.kind))),
    figure.starts === null ? [] : line(figure.starts, 0, figure.starts, 1, "start"),
    figure.series.flatMap((series) => series.runs.flatMap((run) => run.slice(1).map((to, at) => joined(series, run[at], to)))),
  );
  const field = el("div", { class: "plane weeks" }, ground, ticks(figure), figure.starts === null ? null : put(el("span", { class: "starts" }, `${names.starts} →`), figure.starts, 1), figure.gaps.map((gap) => put(el("span", { class: "gap", "aria-hidden": "true" }, names.no_number), gap, 0)), marksIn(marks, heading, open));
  const legend = [...figure.series, ...figure.levels].map((one) => el("li", {}, sign(one.kind), ` ${one.name}`));
  return el("div", { class: "plot" }, el("p", { class: "small" }, theirs(figure.unit)), field, el("p", { class: "small below" }, figure.below), el("ul", { class: "legend" }, legend), notes(figure.notes));
}

function joined(series, from, to) {
  const [a, b] = [series.readings[from], series.readings[to]];
  return line(a.x, a.y, b.x, b.y, series.kind);
}

function band([from, to], level) {
  const rect = svg("rect", { class: "within", x: share(from), y: fromTop(level.top), width: share(to - from), height: share(level.top - level.y) });
  return [rect, line(from, level.y, to, level.y, "interval"), line(from, level.top, to, level.top, "interval")];
}

function ticks({ weeks, values }) {
  const across = weeks.map(([x, words]) => put(el("span", { class: "tick across" }, words), x));
  const up = values.map(([y, words]) => { const node = el("span", { class: "tick up" }, words); node.style.bottom = share(y); return node; });
  return el("div", { class: weeks.length > 8 ? "ticks many" : "ticks", "aria-hidden": "true" }, across, up);
}

// --- forecasts

export function calibration({ heading, figure, names }, open) {
  if (!figure.groups.length) return notes([figure.note]);
  const [low, high] = figure.as_said;
  const marks = figure.groups.map((group) => ({ x: group.x, y: group.y, look: "dot", label: "", name: group.says, text: "", says: group.cells[2] }));
  const whiskers = figure.groups.map((group) => line(group.x, group.low, group.x, group.high, "whisker"));
  const ground = svg("svg", { class: "ground", "aria-hidden": "true" }, figure.ticks.map(([at]) => line(0, at, 1, at, "grid")), line(low, low, high, high, "as-said"), whiskers);
  const field = el("div", { class: "plane square" }, ground, ticks({ weeks: figure.ticks, values: figure.ticks }), marksIn(marks, heading, open));
  return el("div", { class: "plot" }, el("p", { class: "small" }, figure.note, `. ${names.came_true} ↑`), field, el("p", { class: "small below" }, `${names.said} →`), el("ul", { class: "legend" }, el("li", {}, sign("whisker"), ` ${names.with_interval}`), el("li", {}, sign("as-said"), ` ${names.as_said}`)));
}

// --- shared

function line(x1, y1, x2, y2, look) {
  return svg("line", { class: look, x1: share(x1), y1: fromTop(y1), x2: share(x2), y2: fromTop(y2) });
}

// A piece of what the words beside it name.
function sign(look) {
  if (look.startsWith("dot")) return el("span", { class: `sign ${look}`, "aria-hidden": "true" });
  const inside = look === "interval" ? svg("rect", { class: "within", x: "1", y: "3", width: "34", height: "10" }) : line(0, 0.5, 1, 0.5, look);
  const mark = look === "control" ? svg("rect", { class: "control", x: "14", y: "4", width: "8", height: "8" }) : look === "trial" ? svg("circle", { class: "trial", cx: "18", cy: "8", r: "4" }) : [];
  return svg("svg", { class: "piece", width: "36", height: "16", "aria-hidden": "true" }, inside, mark);
}

function notes(all) {
  return el("div", { class: "notes-of" }, all.map((note) => el("p", { class: "small" }, theirs(note))));
}
