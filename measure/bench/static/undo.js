// One step back, whatever it was: a reading, a trace, something filled in. By button or Ctrl+Z.
import { attempt } from "./api.js";
import { byId, nearest } from "./dom.js";
import { note } from "./notes.js";

const TYPED_IN = "input:not([type=radio]):not([type=range]), select, textarea";

export class Undo {
  #store;
  #buttons = [...document.querySelectorAll("button")].filter((b) => b.dataset.undo !== undefined);
  #can = false;

  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.#store = store;
    for (const b of this.#buttons) b.addEventListener("click", () => this.#back());
    document.addEventListener("keydown", (e) => {
      if (e.key !== "z" || !(e.ctrlKey || e.metaKey) || e.shiftKey || nearest(e.target, TYPED_IN)) return;
      e.preventDefault();
      this.#back();
    });
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    this.#can = state.can_undo && state.state !== "tracing";
    const last = this.#buttons.find((b) => b === document.activeElement);
    for (const b of this.#buttons) b.disabled = !this.#can;
    if (last?.disabled) byId(nearest(last, "[role=tabpanel]")?.getAttribute("aria-labelledby") ?? "undo").focus();
  }

  async #back() {
    if (this.#can) await attempt(() => this.#store.change("undo"), note);
  }
}
