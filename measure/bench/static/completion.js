// What was filled in where the part is broken: each break kept or left open for itself, and breaks marked by hand.
import { attempt, busy, post } from "./api.js";
import { byId, el, icon, unbroken } from "./dom.js";

const WAYS = { mirror: "by its own mirror image", turn: "by turning about a centre", extend: "by longer neighbours" };

export class Completion {
  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.store = store;
    this.ends = [];
    byId("complete-form").addEventListener("submit", (e) => {
      e.preventDefault();
      this.fill();
    });
    byId("broken-clear").addEventListener("click", () => this.mark([]));
    byId("broken").addEventListener("input", () => (this.ends = []));
  }

  /** Whether a touch on the photo marks a break just now. */
  get marking() {
    return byId("complete").open && !byId("complete").hidden;
  }

  /** The first touch is where a break begins, the second where it ends. */
  pick(label) {
    this.mark(this.ends.length === 1 ? [...this.ends, label] : [label]);
  }

  mark(ends) {
    this.ends = ends;
    byId("broken").value = ends.join("-");
    byId("complete-wrong").textContent = "";
  }

  show(state) {
    const breaks = busy(state) ? [] : (state.completion?.breaks ?? []);
    byId("completion").hidden = !breaks.length;
    byId("complete").hidden = busy(state) || !state.features.length;
    byId("breaks").replaceChildren(...breaks.map((b) => this.row(b)));
  }

  row(b) {
    const called = `the break at ${b.broken}`;
    const answer = (by, shape, words) =>
      el("button", { type: "button", "data-answer": by, "aria-label": `${words}: ${called}`, onclick: () => this.answer(by, b.broken) }, icon(shape), words);
    return el(
      "li",
      { class: b.kept ? "kept" : null, "data-break": b.broken },
      el("p", { class: "state" }, icon(b.kept ? "agrees" : "alone"), el("b", {}, b.kept ? "Kept" : "To be looked at"), ` · ${unbroken(b.broken.replace("-", "–"))}, ${WAYS[b.by]}`),
      el("p", {}, b.words),
      el("div", { class: "row" }, b.kept ? null : answer("keep", "tick", "Keep it"), answer("open", "cross", "Leave it open")),
    );
  }

  async answer(by, broken) {
    await this.ask(by, broken, "breaks-wrong");
    const row = document.querySelector(`[data-break="${CSS.escape(broken)}"] button`);
    (row ?? byId("tab-outline")).focus({ preventScroll: true });
  }

  async fill() {
    const done = await this.ask(byId("by").value || null, byId("broken").value.trim().toUpperCase() || null, "complete-wrong");
    if (!done) return;
    this.mark([]);
    byId("complete").open = false;
    byId("completion").scrollIntoView({ block: "nearest" });
  }

  ask(by, broken, wrong) {
    byId(wrong).textContent = "";
    return attempt(
      () => this.store.change(() => post(`${this.store.path}/complete`, { by, broken, revision: this.store.state.revision })),
      (text) => (byId(wrong).textContent = text),
    );
  }
}
