// Taking down one reading: which kinds the picked features allow, and what the tool shows. What is expected is not
// shown before the value is in: who knows the answer reads it off the caliper.
import { attempt, get } from "./api.js";
import { buttonOf, byId, el, inputOf, selectOf, unbroken } from "./dom.js";
import { plusMinus } from "./numbers.js";
import { t } from "./words.js";

/** @typedef {import("./types.js").Offer} Offer */

const ONE_IS_TOO_FEW = t("Jaws need a second edge or a hole as well.");
const NO_JAWS = t("No jaws fit over these two. Try two parallel edges, two holes, or a hole and an edge.");

export class Entry {
  #store;
  #picking;
  #jaws;
  #turn = 0;
  /** @type {Promise<void>} */
  #pending = Promise.resolve();
  /** @type {Offer[]} */
  #offers = [];
  /** @type {Offer | null} */
  #chosen = null;
  #caliper = "caliper";
  /** @type {string | null} key of the reading that is being changed */
  #changing = null;

  /**
   * @param {import("./store.js").Store} store
   * @param {import("./picking.js").Picking} picking
   * @param {() => void} jaws told that the jaws of the reading that is being taken go elsewhere
   */
  constructor(store, picking, jaws) {
    this.#store = store;
    this.#picking = picking;
    this.#jaws = jaws;
    byId("entry").addEventListener("submit", (e) => {
      e.preventDefault();
      if (!byId("value-row").hidden) this.#send();
    });
    picking.whenEntered(() => {
      if (byId("value-row").hidden) byId("kinds-list").querySelector("input")?.focus();
      else this.focus();
    });
    byId("value").addEventListener("input", () => this.#wrong(""));
    byId("leave-it").addEventListener("click", () => this.#begin());
  }

  /**
   * Change a reading: it stands in the form as it was entered.
   * @param {import("./types.js").Reading} reading
   */
  async change(reading) {
    this.#changing = reading.key;
    this.#caption();
    this.#picking.set(reading.features);
    await this.picked(reading.features, reading.kind);
    inputOf("value").value = reading.written;
    selectOf("unit").value = reading.unit;
    const tool = selectOf("tool-name");
    if ([...tool.options].some((o) => o.value === reading.tool)) tool.value = reading.tool;
    byId("value").focus();
    inputOf("value").select();
  }

  /** What the button does. */
  #caption() {
    byId("add-words").textContent = this.#changing ? t("Change the reading") : t("Enter the reading");
    byId("leave-it").hidden = !this.#changing;
  }

  /** An empty form, for the next reading. */
  #begin() {
    this.#changing = null;
    this.#caption();
    inputOf("value").value = "";
    selectOf("unit").value = "mm";
    this.#wrong("");
    this.#picking.set([]);
    this.#picking.focus();
  }

  /** Where the jaws go for the reading that is being taken; none before its kind is chosen. */
  get jaws() {
    return this.#chosen?.jaws ?? [];
  }

  /** Where the value goes. */
  focus() {
    byId("value").focus();
  }

  /**
   * What can be read between the picked features.
   * @param {string[]} labels
   * @param {string} [wish] kind of reading that is wanted
   */
  picked(labels, wish) {
    this.#pending = this.#ask(labels, wish);
    return this.#pending;
  }

  /**
   * @param {string[]} labels
   * @param {string} [wish]
   */
  async #ask(labels, wish) {
    this.#turn += 1;
    const turn = this.#turn;
    this.#chosen = null; // until it is known what these features allow
    const path = `${this.#store.path}/offers?features=${labels.map(encodeURIComponent).join(",")}`;
    const answer = await attempt(
      () => get(path),
      (text) => {
        if (turn === this.#turn && labels.length) this.#picking.say(text);
      },
    );
    if (turn !== this.#turn) return;
    this.#offers = answer?.offers ?? [];
    this.#show(labels, wish);
  }

  /**
   * @param {string[]} labels
   * @param {string} [wish]
   */
  #show(labels, wish) {
    // Of several kinds none is chosen for anybody, nor is the height of the part when nothing is picked.
    const only = labels.length && this.#offers.length === 1 ? this.#offers[0] : undefined;
    const best = this.#offers.find((o) => o.kind === wish) ?? only;
    const legend = byId("kinds").querySelector("legend");
    if (legend) legend.textContent = labels.length ? t("Where the jaws go") : t("Or, without an edge");
    byId("kinds-list").replaceChildren(...this.#offers.map((o) => this.#pill(o, o === best)));
    byId("kinds").hidden = !this.#offers.length;
    byId("value-row").hidden = !best;
    if (labels.length && !this.#offers.length && !this.#picking.isWrong) {
      this.#picking.say(labels.length === 1 ? ONE_IS_TOO_FEW : NO_JAWS);
    }
    if (best) this.#choose(best);
    else this.#jaws();
  }

  /**
   * @param {Offer} offer
   * @param {boolean} checked
   */
  #pill(offer, checked) {
    const choose = () => this.#choose(offer);
    return el(
      "label",
      { class: "pill" },
      el("input", { type: "radio", name: "kind", value: offer.kind, checked, onchange: choose }),
      el(
        "span",
        {},
        el("span", { class: "offer-words" }, unbroken(offer.words)),
        offer.u95_mm ? el("small", { class: "soft" }, t("known {u95}", { u95: plusMinus(offer.u95_mm) })) : null,
      ),
    );
  }

  /** @param {Offer} offer */
  #choose(offer) {
    const tool = selectOf("tool-name");
    const gauge = offer.kind === "radius";
    if (gauge !== (tool.value === "gauge")) tool.value = gauge ? "gauge" : this.#caliper;
    this.#chosen = offer;
    byId("value-row").hidden = false;
    this.#jaws();
  }

  async #send() {
    const field = inputOf("value");
    await this.#pending;
    const chosen = this.#chosen;
    if (!chosen) return;
    if (!field.value.trim()) {
      this.#wrong(t("Write what the tool shows, such as 24.31."));
      field.focus();
      return;
    }
    const tool = selectOf("tool-name").value;
    if (tool !== "gauge") this.#caliper = tool;
    const features = chosen.features ?? (chosen.kind === "thickness" ? [] : this.#picking.picked);
    const reading = { kind: chosen.kind, features, value: field.value, unit: selectOf("unit").value, tool };
    buttonOf("add").disabled = true;
    const taken = await attempt(
      () => this.#store.change(this.#changing ? `readings/${encodeURIComponent(this.#changing)}` : "readings", reading),
      (text) => this.#wrong(text),
    );
    buttonOf("add").disabled = false;
    if (!taken) {
      field.focus();
      return;
    }
    const unit = this.#changing ? "mm" : reading.unit; // whoever reads inches goes on reading them
    this.#begin();
    selectOf("unit").value = unit;
  }

  /** @param {string} text */
  #wrong(text) {
    byId("value-wrong").textContent = text;
    byId("value").setAttribute("aria-invalid", String(Boolean(text)));
  }
}
