// What was filled in where the part is broken: each break kept or left open for itself, and breaks marked by hand.
import { attempt, busy } from "./api.js";
import { byId, el, icon, inputOf, selectOf, unbroken } from "./dom.js";

/** @typedef {import("./types.js").Break} Break */

const WAYS = { mirror: "by its own mirror image", turn: "by turning about a centre", extend: "by longer neighbours" };

export class Completion {
  #store;
  /** @type {string[]} */
  #ends = [];

  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.#store = store;
    byId("complete-form").addEventListener("submit", (e) => {
      e.preventDefault();
      this.#fill();
    });
    byId("broken-clear").addEventListener("click", () => this.#mark([]));
    byId("broken").addEventListener("input", () => {
      this.#ends = [];
    });
  }

  /** Whether a touch on the photo marks a break just now. */
  get marking() {
    const form = byId("complete", HTMLDetailsElement);
    return form.open && !form.hidden;
  }

  /**
   * The first touch is where a break begins, the second where it ends.
   * @param {string} label
   */
  pick(label) {
    this.#mark(this.#ends.length === 1 ? [...this.#ends, label] : [label]);
  }

  /** @param {string[]} ends */
  #mark(ends) {
    this.#ends = ends;
    inputOf("broken").value = ends.join("-");
    byId("complete-wrong").textContent = "";
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    const breaks = busy(state) ? [] : (state.completion?.breaks ?? []);
    byId("completion").hidden = !breaks.length;
    byId("complete").hidden = busy(state) || !state.features.length;
    byId("breaks").replaceChildren(...breaks.map((b) => this.#row(b)));
  }

  /** @param {Break} b */
  #row(b) {
    const answer = (/** @type {string} */ by, /** @type {string} */ shape, /** @type {string} */ words) =>
      el(
        "button",
        {
          type: "button",
          "data-answer": by,
          "aria-label": `${words}: the break at ${b.broken}`,
          onclick: () => this.#answer(by, b.broken),
        },
        icon(shape),
        words,
      );
    return el(
      "li",
      { class: b.kept ? "kept" : null, "data-break": b.broken },
      el(
        "p",
        { class: "state" },
        icon(b.kept ? "agrees" : "alone"),
        el("b", {}, b.kept ? "Kept" : "To be looked at"),
        ` · ${unbroken(b.broken.replace("-", "–"))}, ${WAYS[b.by]}`,
      ),
      el("p", {}, b.words),
      el(
        "div",
        { class: "row" },
        b.kept ? null : answer("keep", "tick", "Keep it"),
        answer("open", "cross", "Leave it open"),
      ),
    );
  }

  /**
   * @param {string} by
   * @param {string} broken
   */
  async #answer(by, broken) {
    await this.#ask(by, broken, "breaks-wrong");
    /** @type {HTMLElement | null} */
    const row = document.querySelector(`[data-break="${CSS.escape(broken)}"] button`);
    (row ?? byId("tab-outline")).focus({ preventScroll: true });
  }

  async #fill() {
    const broken = inputOf("broken").value.trim().toUpperCase();
    const done = await this.#ask(selectOf("by").value || null, broken || null, "complete-wrong");
    if (!done) return;
    this.#mark([]);
    byId("complete", HTMLDetailsElement).open = false;
    byId("completion").scrollIntoView({ block: "nearest" });
  }

  /**
   * @param {string | null} by
   * @param {string | null} broken
   * @param {string} wrong id of where a refusal is said
   */
  #ask(by, broken, wrong) {
    byId(wrong).textContent = "";
    return attempt(
      () => this.#store.change("complete", { by, broken }),
      (text) => {
        byId(wrong).textContent = text;
      },
    );
  }
}
