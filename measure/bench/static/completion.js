// What was filled in where the part is broken: each break kept or left open for itself, and breaks marked by hand.
import { attempt, busy } from "./api.js";
import { ByHand } from "./by-hand.js";
import { byId, el, icon, inputOf, selectOf, unbroken } from "./dom.js";
import { t } from "./words.js";

/** @typedef {import("./types.js").Break} Break */

const WAYS = {
  mirror: t("by its own mirror image"),
  turn: t("by turning about a centre"),
  extend: t("by longer neighbours"),
  hand: t("drawn by hand"),
  open: t("left open"),
};

export class Completion {
  #store;
  #hand;
  /** @type {string[]} */
  #ends = [];

  /**
   * @param {import("./store.js").Store} store
   * @param {import("./photo.js").Photo} photo
   * @param {import("./panzoom.js").PanZoom} panzoom
   */
  constructor(store, photo, panzoom) {
    this.#store = store;
    this.#hand = new ByHand(store, photo, panzoom, marked, (text) => {
      byId("complete-wrong").textContent = text;
    });
    selectOf("by").addEventListener("change", () => this.#turnTo());
    byId("complete-form").addEventListener("submit", (e) => {
      e.preventDefault();
      this.#fill();
    });
    byId("broken-clear").addEventListener("click", () => this.#mark([]));
    byId("broken").addEventListener("input", () => {
      this.#ends = [];
    });
  }

  /** Whether a touch on the photo marks a break just now, or draws in it. */
  get marking() {
    const form = byId("complete", HTMLDetailsElement);
    return form.open && !form.hidden;
  }

  get #drawing() {
    return selectOf("by").value === "hand" && marked() !== "";
  }

  #turnTo() {
    const by = selectOf("by").value;
    byId("draw-row").hidden = by !== "hand";
    byId("fill-words").textContent = by === "open" ? t("Leave it open") : t("Fill it in");
    this.#hand.set(by === "hand" ? this.#hand.words : "");
  }

  /**
   * The first touch is where a break begins, the second where it ends; then each is where something drawn leads.
   * @param {string | undefined} label
   * @param {import("./types.js").Point} at in the picture
   */
  pick(label, at) {
    if (this.#drawing && this.#ends.length !== 1) this.#hand.touch(at, label);
    else if (label) this.#mark(this.#ends.length === 1 ? [...this.#ends, label] : [label]);
  }

  /** @param {string[]} ends */
  #mark(ends) {
    this.#ends = ends;
    inputOf("broken").value = [...new Set(ends)].join("-");
    byId("complete-wrong").textContent = "";
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    const breaks = busy(state) ? [] : (state.completion?.breaks ?? []);
    byId("completion").hidden = !breaks.length;
    byId("complete").hidden = busy(state) || !state.features.length;
    byId("asked").replaceChildren(...(busy(state) ? [] : state.asked).map((a) => this.#question(a)));
    byId("breaks").replaceChildren(...breaks.map((b) => this.#row(b)));
  }

  /**
   * One touch answers: it is broken there, or it is not.
   * @param {import("./types.js").Asked} asked
   */
  #question({ broken, plain, words }) {
    const answer = (/** @type {string} */ by, /** @type {string} */ shape, /** @type {string} */ said) =>
      el(
        "button",
        {
          type: "button",
          "data-answer": by,
          "aria-label": t("{words}: the break at {broken}", { words: said, broken }),
          onclick: async () => {
            await this.#ask(by, broken, "asked-wrong");
            const next = document.querySelector("#asked button, #breaks button, #looks-right");
            if (next instanceof HTMLElement) next.focus({ preventScroll: true });
          },
        },
        icon(shape),
        said,
      );
    return el(
      "li",
      { "data-asked": broken },
      el("p", {}, icon("broken"), " ", unbroken(words)),
      el(
        "div",
        { class: "row" },
        answer("broken", "tick", plain ? t("Fill it in") : t("It is broken")),
        answer("whole", "cross", t("It is whole")),
      ),
    );
  }

  /** @param {Break} b */
  #row(b) {
    const answer = (/** @type {string} */ by, /** @type {string} */ shape, /** @type {string} */ words) =>
      el(
        "button",
        {
          type: "button",
          "data-answer": by,
          "aria-label": t("{words}: the break at {broken}", { words, broken: b.broken }),
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
        el("b", {}, b.by === "open" ? t("Broken") : b.kept ? t("Kept") : t("To be looked at")),
        ` · ${unbroken(b.broken.replace("-", "–"))}, ${WAYS[b.by]}`,
      ),
      el("p", {}, b.words),
      el(
        "div",
        { class: "row" },
        b.kept || b.by === "open" ? null : answer("keep", "tick", t("Keep it")),
        b.by === "open" ? null : answer("open", "cross", t("Leave it open")),
        answer("seen", "undo", t("As it was seen")),
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
    const by = selectOf("by").value;
    if (by === "open" && !marked()) {
      byId("complete-wrong").textContent = t(
        "Say which break stays open: touch its first and last label on the photo.",
      );
      byId("broken").focus();
      return;
    }
    const done = await this.#ask(
      by || null,
      marked() || null,
      "complete-wrong",
      by === "hand" ? this.#hand.words : null,
    );
    if (!done) return;
    this.#mark([]);
    this.#hand.set("");
    byId("complete", HTMLDetailsElement).open = false;
    byId("completion").scrollIntoView({ block: "nearest" });
  }

  /**
   * @param {string | null} by
   * @param {string | null} broken
   * @param {string} wrong id of where a refusal is said
   * @param {string | null} drawn
   */
  #ask(by, broken, wrong, drawn = null) {
    byId(wrong).textContent = "";
    return attempt(
      () => this.#store.change("complete", { by, broken, drawn }),
      (text) => {
        byId(wrong).textContent = text;
      },
    );
  }
}

/** The break that is marked. */
function marked() {
  return inputOf("broken").value.trim().toUpperCase();
}
