// Which reading is the most useful next, always in sight while readings are taken.
import { byId, unbroken } from "./dom.js";
import { t } from "./words.js";

export class Next {
  /** @type {import("./types.js").Suggestion | null} */
  #next = null;

  /**
   * @param {import("./picking.js").Picking} picking
   * @param {import("./entry.js").Entry} entry
   */
  constructor(picking, entry) {
    byId("next-take").addEventListener("click", async () => {
      const wish = this.#next;
      if (!wish) return;
      picking.set(wish.features);
      await entry.picked(wish.features, wish.kind);
      entry.focus();
    });
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    this.#next = state.next;
    byId("next").hidden = !state.next && !state.stop;
    byId("next-head").textContent = state.next ? t("Most useful next") : t("Enough");
    byId("next-words").textContent = unbroken(state.next?.words ?? state.stop ?? "");
    byId("next-take").hidden = !state.next;
  }
}
