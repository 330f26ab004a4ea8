// What a job is called, whose it is, its ticket; and how it is taken away for good.
import { attempt } from "./api.js";
import { byId, inputOf } from "./dom.js";
import { language, t } from "./words.js";

const FIELDS = /** @type {const} */ (["name", "owner", "contact", "note"]);

export class About {
  #store;

  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.#store = store;
    byId("about-form").addEventListener("submit", (e) => {
      e.preventDefault();
      this.#keep();
    });
    byId("remove").addEventListener("click", () => this.#ask(true));
    byId("remove-not").addEventListener("click", () => this.#ask(false));
    byId("remove-sure").addEventListener("click", () => this.#remove());
  }

  /**
   * @param {import("./types.js").State} state
   * @param {import("./types.js").State | null} before
   */
  show(state, before) {
    for (const f of FIELDS) if (before?.[f] !== state[f]) inputOf(`about-${f}`).value = state[f];
    if (before?.owner_drawn !== state.owner_drawn) inputOf("about-drawn").checked = state.owner_drawn;
    const day = state.begun ? new Date(state.begun * 1000).toLocaleDateString(language) : "";
    byId("ticket").textContent = [state.ticket ? t("Ticket {ticket}", { ticket: state.ticket }) : "", day]
      .filter(Boolean)
      .join(", ");
  }

  async #keep() {
    byId("about-wrong").textContent = byId("about-kept").textContent = "";
    const said = Object.fromEntries(FIELDS.map((f) => [f, inputOf(`about-${f}`).value]));
    const drawn = { owner_drawn: inputOf("about-drawn").checked };
    const kept = await attempt(() => this.#store.change("", { ...said, ...drawn }), wrong);
    if (kept) byId("about-kept").textContent = t("Kept.");
  }

  /** @param {boolean} asked */
  #ask(asked) {
    byId("remove-ask").hidden = !asked;
    byId("remove").hidden = asked;
    byId(asked ? "remove-not" : "remove").focus();
  }

  async #remove() {
    const gone = await attempt(() => this.#store.remove(""), wrong);
    if (gone) location.assign("/");
  }
}

/** @param {string} text */
function wrong(text) {
  byId("about-wrong").textContent = text;
}
