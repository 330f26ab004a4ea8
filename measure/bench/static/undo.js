// One step back, whatever it was: a reading, a trace, something filled in. By button or Ctrl+Z.
import { attempt, post } from "./api.js";
import { note } from "./notes.js";

const TYPED_IN = "input:not([type=radio]):not([type=range]), select, textarea";

export class Undo {
  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.store = store;
    this.buttons = [...document.querySelectorAll("[data-undo]")];
    for (const b of this.buttons) b.addEventListener("click", () => this.back());
    document.addEventListener("keydown", (e) => {
      if (e.key !== "z" || !(e.ctrlKey || e.metaKey) || e.shiftKey || e.target.closest?.(TYPED_IN)) return;
      e.preventDefault();
      this.back();
    });
  }

  show(state) {
    this.can = state.can_undo && state.state !== "tracing";
    for (const b of this.buttons) b.disabled = !this.can;
  }

  async back() {
    if (!this.can) return;
    await attempt(() => this.store.change(() => post(`${this.store.path}/undo`, { revision: this.store.state.revision })), note);
  }
}
