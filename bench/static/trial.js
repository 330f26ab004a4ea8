// What is said of a trial print, and what the next drawing does about it.
import { attempt, post } from "./api.js";
import { byId, el } from "./dom.js";
import { value } from "./numbers.js";

export class Trial {
  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.store = store;
    byId("trial-form").addEventListener("submit", (e) => {
      e.preventDefault();
      this.take();
    });
    byId("said").addEventListener("input", () => (byId("trial-wrong").textContent = ""));
  }

  show(state) {
    byId("trial-take").disabled = !state.features.length;
  }

  async take() {
    const said = byId("said").value;
    byId("trial-wrong").textContent = "";
    const state = await attempt(
      () => this.store.change(() => post(`${this.store.path}/trial`, { said, revision: this.store.state.revision })),
      (text) => (byId("trial-wrong").textContent = text),
    );
    if (!state) return;
    byId("said").value = "";
    byId("trial-found").replaceChildren(...found(state.trial));
  }
}

function found({ of, revision, changes, sizes }) {
  if (revision === of) return [el("p", {}, `Nothing is to be changed: drawing ${of} stands.`)];
  return [
    el("p", {}, `Drawing ${revision} is drawn and kept. It differs from ${of}, the one printed, by:`),
    el(
      "ul",
      {},
      ...changes.map((c) => el("li", {}, `${c.feature} ${c.by_mm > 0 ? "out" : "back"} by ${value(Math.abs(c.by_mm))} ± ${value(c.u95_mm)} mm`)),
      ...sizes.map((s) => el("li", {}, `${s.kind} ${s.features.join(" ")}: ${value(s.before_mm)} becomes ${value(s.value_mm)} ± ${value(s.u95_mm)} mm`)),
    ),
  ];
}
