// What the caliper at hand can do: no reading is proposed that it can't take.
import { attempt } from "./api.js";
import { byId, inputOf } from "./dom.js";
import { decimals } from "./numbers.js";
import { t } from "./words.js";

const KEYS = /** @type {const} */ (["reach", "inside", "tip"]);

export class Caliper {
  #store;

  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.#store = store;
    byId("caliper-form").addEventListener("submit", (e) => {
      e.preventDefault();
      this.#keep();
    });
    byId("caliper-form").addEventListener("input", () => say("", ""));
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    byId("caliper").hidden = !state.caliper;
    if (!state.caliper || byId("caliper-form").contains(document.activeElement)) return;
    for (const key of KEYS) inputOf(`caliper-${key}`).value = decimals(String(state.caliper[`${key}_mm`]));
  }

  async #keep() {
    const told = Object.fromEntries(KEYS.map((key) => [key, inputOf(`caliper-${key}`).value]));
    const kept = await attempt(
      () => this.#store.change("caliper", told),
      (text) => say(text, ""),
    );
    if (kept) say("", t("Kept."));
  }
}

/**
 * @param {string} wrong
 * @param {string} kept
 */
function say(wrong, kept) {
  byId("caliper-wrong").textContent = wrong;
  byId("caliper-kept").textContent = kept;
}
