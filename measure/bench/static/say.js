// Features that the trace got wrong: touched on the photo, said what they are, and fitted anew at once.
import { attempt, busy } from "./api.js";
import { byId, el, icon, inputOf, selectOf } from "./dom.js";
import { t } from "./words.js";

export class Say {
  #store;
  /** @type {string[]} */
  #ends = [];

  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.#store = store;
    byId("say-form").addEventListener("submit", (e) => {
      e.preventDefault();
      this.#send();
    });
    byId("say-labels").addEventListener("input", () => {
      this.#ends = [];
    });
  }

  /** Whether a touch on the photo names a feature just now. */
  get picking() {
    const form = byId("say", HTMLDetailsElement);
    return form.open && !form.hidden;
  }

  /** @param {string} label */
  pick(label) {
    this.#ends = this.#ends.length === 1 && this.#ends[0] !== label ? [...this.#ends, label] : [label];
    inputOf("say-labels").value = this.#ends.join("-");
    byId("say-wrong").textContent = "";
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    byId("say").hidden = busy(state) || !state.features.length;
    byId("said-list").replaceChildren(...state.by_hand.map((h) => el("li", {}, icon("hand"), el("span", {}, h.words))));
  }

  async #send() {
    const wrong = byId("say-wrong");
    const labels = inputOf("say-labels").value.trim().toUpperCase();
    if (!labels) {
      wrong.textContent = t("Say which: touch its label on the photo, or type it.");
      byId("say-labels").focus();
      return;
    }
    wrong.textContent = "";
    const done = await attempt(
      () => this.#store.change("mend", { said: `${labels} ${selectOf("say-what").value}` }),
      (text) => {
        wrong.textContent = text;
      },
    );
    if (!done) return;
    this.#ends = [];
    inputOf("say-labels").value = "";
  }
}
