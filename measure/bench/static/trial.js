// What is said of a trial print, and what the next drawing does about it.
import { attempt, post } from "./api.js";
import { byId, el, unbroken } from "./dom.js";
import { plusMinus, value } from "./numbers.js";

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
    el("p", {}, `Drawing ${revision} is drawn and kept. It differs from ${of}, the one printed, by, mm:`),
    el(
      "ul",
      { class: "changes" },
      ...changes.map((c) => el("li", {}, `${c.feature} ${c.by_mm > 0 ? "out" : "back"} by ${value(Math.abs(c.by_mm))} ${plusMinus(c.u95_mm)}`)),
      ...sizes.map((s) => el("li", {}, `${nameOf(s)}: ${value(s.before_mm)} → ${value(s.value_mm)} ${plusMinus(s.u95_mm)}`)),
    ),
  ];
}

const nameOf = (s) => unbroken(`${s.kind === "distance" ? "" : `${s.kind} `}${s.features.join("–")}`);
