// The readings so far: each says in a shape and in words whether it agrees, how far off it is, and why that may be.
import { attempt, remove } from "./api.js";
import { byId, el, icon, unbroken } from "./dom.js";
import { note } from "./notes.js";
import { apart, value } from "./numbers.js";

const LIKELY = {
  unit: "inch and millimetre mixed up",
  digits: "digits swapped or the point slipped",
  feature: "measured somewhere else",
  zero: "the tool’s zero is off",
  other: "no usual slip",
};

export class Readings {
  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.store = store;
    this.known = null;
  }

  show(state) {
    const rows = [...state.readings].reverse();
    const fresh = this.known ? rows.filter((r) => !this.known.has(r.key)) : [];
    byId("readings").replaceChildren(...rows.map((r) => this.row(r, fresh.includes(r))));
    byId("no-readings").hidden = rows.length > 0;
    if (fresh.length === 1) note(`${called(fresh[0])}: ${verdict(fresh[0]).head}${fresh[0].verdict === "suspect" ? `, ${off(fresh[0])}` : ""}.`);
    this.known = new Set(rows.map((r) => r.key));
  }

  row(r, fresh) {
    const v = verdict(r);
    const says = [el("b", {}, v.head)];
    if (off(r) && !/\d mm (less|more) than expected/.test(r.reason ?? "")) says.push(` — ${off(r)}`); // the amount is said once
    if (r.likely && !r.reason) says.push(el("span", { class: "why-so" }, `Likely: ${LIKELY[r.likely] ?? r.likely}.`));
    if (r.reason) says.push(el("span", { class: "why-so" }, sentence(r.reason)));
    if (r.advice && !r.reason?.includes("again")) says.push(el("span", { class: "why-so" }, sentence(r.advice)));
    return el(
      "li",
      { class: `${v.name}${fresh ? " just" : ""}` },
      icon(v.name === "kept" ? "agrees" : v.name, "verdict-shape"),
      el("span", { class: "what" }, unbroken(called(r))),
      el("span", { class: "value" }, `${value(r.value_mm)} mm`),
      el("button", { type: "button", class: "quiet drop-it", "aria-label": `Take out ${called(r)} ${value(r.value_mm)}`, onclick: () => this.drop(r) }, icon("bin")),
      el("span", { class: "says" }, ...says),
    );
  }

  async drop(r) {
    const path = `${this.store.path}/readings/${encodeURIComponent(r.key)}?revision=${this.store.state.revision}`;
    await attempt(() => this.store.change(() => remove(path)), note);
    byId("undo").focus({ preventScroll: true });
  }
}

const called = (r) => `${r.kind} ${r.features.join("–")}`.trim();

function verdict(r) {
  if (r.verdict === "suspect") return { name: "suspect", head: "Contradicted, not used" };
  if (r.reason?.startsWith("nothing else checks")) return { name: "alone", head: "Taken on trust" };
  return { name: "kept", head: "Agrees" };
}

function off(r) {
  return Number.isFinite(r.residual_mm) ? `${apart(r.residual_mm)} what all else says` : "";
}

function sentence(text) {
  const first = text.charAt(0).toUpperCase() + text.slice(1);
  return /[.?!]$/.test(first) ? first : `${first}.`;
}
