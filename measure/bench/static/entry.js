// Taking down one reading: which kinds the picked features allow, and what the tool shows. What is expected is not
// shown before the value is in: who knows the answer reads it off the caliper.
import { attempt, get, post } from "./api.js";
import { byId, el, unbroken } from "./dom.js";
import { plusMinus } from "./numbers.js";

export class Entry {
  /**
   * @param {import("./store.js").Store} store
   * @param {import("./picking.js").Picking} picking
   */
  constructor(store, picking) {
    Object.assign(this, { store, picking });
    this.asked = 0;
    byId("entry").addEventListener("submit", (e) => {
      e.preventDefault();
      if (byId("value-row").hidden) return;
      this.send();
    });
    byId("labels").addEventListener("keydown", (e) => {
      if (e.key !== "Enter") return;
      e.preventDefault();
      if (!byId("value-row").hidden) byId("value").focus();
      else byId("kinds-list").querySelector("input")?.focus();
    });
    byId("value").addEventListener("input", () => this.wrong(""));
  }

  /** What can be read between the picked features. */
  picked(labels, wish = null) {
    this.pending = this.ask(labels, wish);
    return this.pending;
  }

  async ask(labels, wish) {
    const turn = ++this.asked;
    this.chosen = null; // until it is known what these features allow
    let offers = [];
    try {
      const answer = await get(`${this.store.path}/offers?features=${labels.map(encodeURIComponent).join(",")}`);
      offers = answer.offers;
    } catch (why) {
      if (turn === this.asked && labels.length) byId("labels-wrong").textContent = why.message;
    }
    if (turn !== this.asked) return;
    this.offers = offers;
    this.show(labels, wish);
  }

  show(labels, wish) {
    // Of several kinds none is chosen for anybody, nor is the height of the part when nothing is picked.
    const only = labels.length && this.offers.length === 1 ? this.offers[0] : undefined;
    const best = this.offers.find((o) => o.kind === wish) ?? only;
    byId("kinds").querySelector("legend").textContent = labels.length ? "Where the jaws go" : "Or, without an edge";
    byId("kinds-list").replaceChildren(
      ...this.offers.map((o) =>
        el(
          "label",
          { class: "pill" },
          el("input", { type: "radio", name: "kind", value: o.kind, checked: o === best, onchange: () => this.choose(o) }),
          el("span", {}, el("span", { class: "offer-words" }, unbroken(o.words)), o.u95_mm ? el("small", { class: "soft" }, `known ${plusMinus(o.u95_mm)}`) : null),
        ),
      ),
    );
    byId("kinds").hidden = !this.offers.length;
    byId("value-row").hidden = !best;
    if (labels.length && !this.offers.length && !byId("labels-wrong").textContent)
      byId("labels-wrong").textContent = labels.length === 1 ? "Jaws need a second edge or a hole as well." : "No jaws fit over these two. Try two parallel edges, two holes, or a hole and an edge.";
    if (best) this.choose(best);
  }

  choose(offer) {
    const tool = byId("tool-name");
    const gauge = offer.kind === "radius";
    if (gauge !== (tool.value === "gauge")) tool.value = gauge ? "gauge" : (this.caliper ?? "caliper");
    this.chosen = offer;
    byId("value-row").hidden = false;
  }

  async send() {
    const field = byId("value");
    await this.pending;
    if (!this.chosen) return;
    if (!field.value.trim()) {
      this.wrong("Write what the tool shows, such as 24.31.");
      field.focus();
      return;
    }
    const tool = byId("tool-name").value;
    if (tool !== "gauge") this.caliper = tool;
    const features = this.chosen.features ?? (this.chosen.kind === "thickness" ? [] : this.picking.picked);
    byId("add").disabled = true;
    const reading = { kind: this.chosen.kind, features, value: field.value, unit: byId("unit").value, tool, revision: this.store.state.revision };
    const taken = await attempt(
      () => this.store.change(() => post(`${this.store.path}/readings`, reading)),
      (text) => this.wrong(text),
    );
    byId("add").disabled = false;
    if (!taken) return field.focus();
    field.value = "";
    this.wrong("");
    this.picking.set([]);
    byId("labels").focus({ preventScroll: true });
  }

  wrong(text) {
    byId("value-wrong").textContent = text;
    byId("value").setAttribute("aria-invalid", String(Boolean(text)));
  }
}
