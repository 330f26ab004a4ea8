// The readings so far: each says in a shape and in words whether it agrees, how far off it is, and why that may be.
import { attempt } from "./api.js";
import { byId, el, icon, unbroken } from "./dom.js";
import { note } from "./notes.js";
import { apart, value } from "./numbers.js";
import { kindOf, t } from "./words.js";

/** @typedef {import("./types.js").Reading} Reading */

export class Readings {
  #store;
  #change;
  /** @type {Set<string> | null} */
  #known = null;

  /**
   * @param {import("./store.js").Store} store
   * @param {(reading: Reading) => void} change is asked to change one
   */
  constructor(store, change) {
    this.#store = store;
    this.#change = change;
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    const rows = [...state.readings].reverse();
    const known = this.#known;
    const fresh = known ? rows.filter((r) => !known.has(r.key)) : [];
    byId("readings").replaceChildren(...rows.map((r) => this.#row(r, fresh.includes(r))));
    byId("no-readings").hidden = rows.length > 0;
    if (fresh.length === 1) note(news(fresh[0]));
    this.#known = new Set(rows.map((r) => r.key));
  }

  /**
   * @param {Reading} r
   * @param {boolean} fresh
   */
  #row(r, fresh) {
    const v = verdict(r);
    const name = unbroken(called(r));
    return el(
      "li",
      { class: `${v.name}${fresh ? " just" : ""}` },
      icon(v.name === "kept" ? "agrees" : v.name, "verdict-shape"),
      el("span", { class: "what" }, name),
      el("span", { class: "value" }, `${value(r.value_mm)} mm`),
      el(
        "button",
        {
          type: "button",
          class: "quiet change-it",
          "aria-label": t("Change {reading}", { reading: `${called(r)} ${value(r.value_mm)}` }),
          onclick: () => this.#change(r),
        },
        icon("pencil"),
      ),
      el(
        "button",
        {
          type: "button",
          class: "quiet drop-it",
          "aria-label": t("Take out {reading}", { reading: `${called(r)} ${value(r.value_mm)}` }),
          onclick: () => this.#drop(r),
        },
        icon("bin"),
      ),
      el("span", { class: "says" }, ...says(r, v.head), ...this.#inches(r)),
    );
  }

  /**
   * What fits as inches can be taken as such.
   * @param {Reading} r
   */
  #inches(r) {
    if (r.verdict !== "suspect" || r.likely !== "unit") return [];
    const other = r.unit === "in" ? "mm" : "in";
    const words = other === "in" ? t("Take it as inches") : t("Take it as millimetres");
    const take = () =>
      attempt(() => this.#store.change(`readings/${encodeURIComponent(r.key)}`, { unit: other }), note);
    return [el("button", { type: "button", class: "as-unit", onclick: take }, words)];
  }

  /** @param {Reading} r */
  async #drop(r) {
    await attempt(() => this.#store.remove(`readings/${encodeURIComponent(r.key)}`), note);
    byId("undo").focus({ preventScroll: true });
  }
}

/** @param {Reading} r */
const called = (r) => `${kindOf(r.kind)} ${r.features.join("–")}`.trim();

/** @param {Reading} r */
function verdict(r) {
  if (r.verdict === "suspect") return { name: "suspect", head: t("Contradicted, not used") };
  if (r.reason) return { name: "alone", head: t("Taken on trust") }; // the reason why nothing checks it
  return { name: "kept", head: t("Agrees") };
}

/** @param {Reading} r */
const news = (r) => `${called(r)}: ${verdict(r).head}${r.verdict === "suspect" ? `, ${off(r)}` : ""}.`;

/**
 * @param {Reading} r
 * @param {string} head
 */
function says(r, head) {
  const why = (/** @type {string} */ text) => el("span", { class: "why-so" }, sentence(text));
  /** @type {(Node | string)[]} */
  const out = [el("b", {}, head)];
  if (off(r) && r.likely !== "other") out.push(` — ${off(r)}`); // that reason begins with the amount
  if (r.reason) out.push(why(r.reason));
  if (r.advice) out.push(why(r.advice));
  return out;
}

/** @param {Reading} r */
function off(r) {
  return Number.isFinite(r.residual_mm) ? apart(r.residual_mm ?? 0) : "";
}

/** @param {string} text */
function sentence(text) {
  const first = text.charAt(0).toUpperCase() + text.slice(1);
  return /[.?!]$/.test(first) ? first : `${first}.`;
}
