// What is drawn anew keeps the focus, the half-written words and what was unfolded in the old.

const alike = (node, focus) => node.querySelector(`[data-focus="${CSS.escape(focus ?? "")}"]`);

export function swap(old, node, scopeOf = "li.message") {
  const active = old.contains(document.activeElement) ? document.activeElement : null;
  const selection = active?.tagName === "TEXTAREA" ? [active.value, active.selectionStart, active.selectionEnd] : null;
  for (const summary of old.querySelectorAll("details > summary[data-focus]")) {
    const twin = alike(node, summary.dataset.focus);
    if (twin) twin.parentElement.open = summary.parentElement.open;
  }
  for (const kept of old.querySelectorAll("[data-keep]")) {
    node.querySelector(`[data-keep="${CSS.escape(kept.dataset.keep)}"]`)?.replaceWith(kept);
  }
  const scope = active?.closest(scopeOf)?.id;
  old.replaceWith(node);
  if (!active) return;
  if (node.contains(active)) return active.focus({ preventScroll: true });
  const home = !scope || node.id === scope ? node : (node.querySelector(`[id="${scope}"]`) ?? node);
  const twin = active === old ? node : alike(home, active.dataset.focus);
  const target = twin ?? node.querySelector("button");
  target?.focus({ preventScroll: true });
  if (selection && twin?.tagName === "TEXTAREA") {
    twin.value = selection[0];
    twin.setSelectionRange(selection[1], selection[2]);
  }
}

// A list whose nodes stay as they are until what they were drawn from changes.
export class Keyed {
  #nodes = new Map(); // key -> node
  #looks = new Map(); // the same -> what it was drawn from, as one string

  constructor(list) {
    this.list = list;
  }

  get(key) {
    return this.#nodes.get(key);
  }

  node(key, look, draw) {
    const old = this.#nodes.get(key);
    if (old && this.#looks.get(key) === look) return old;
    const node = draw();
    if (old) swap(old, node);
    this.#nodes.set(key, node);
    this.#looks.set(key, look);
    return node;
  }

  // These, in this order, and no others.
  lay(wanted) {
    const keep = new Set(wanted);
    for (const [key, node] of this.#nodes) if (!keep.has(node)) { node.remove(); this.#nodes.delete(key); this.#looks.delete(key); }
    let at = this.list.firstElementChild;
    for (const node of wanted) {
      if (node === at) at = at.nextElementSibling;
      else this.list.insertBefore(node, at);
    }
  }

  clear() {
    this.#nodes.clear();
    this.#looks.clear();
    this.list.replaceChildren();
  }
}
