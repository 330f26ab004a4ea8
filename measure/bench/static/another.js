// Another photo for the job: together with the first, or in its place.
import { attempt, post } from "./api.js";
import { byId, chosenOf, inputOf, selectOf } from "./dom.js";
import { scale } from "./scale.js";
import { t } from "./words.js";

export class Another {
  #store;

  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.#store = store;
    for (const [button, id] of [
      ["another-choose", "another-file"],
      ["another-camera", "another-shot"],
    ]) {
      const input = inputOf(id);
      byId(button).addEventListener("click", () => input.click());
      input.addEventListener("change", () => {
        const [file] = input.files ?? [];
        if (file) this.#send(file);
        input.value = "";
      });
    }
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    byId("another").hidden = state.state === "tracing";
    const used = byId("photos-used");
    used.hidden = !state.further.length;
    used.textContent = t("Traced together with {names}.", { names: state.further.join(", ") });
  }

  /** @param {File} file */
  async #send(file) {
    const state = this.#store.state;
    const form = new FormData();
    const said = {
      thickness: inputOf("thickness").value,
      subject: chosenOf("subject"),
      rim: selectOf("rim").value,
      use: chosenOf("use"),
      revision: String(state?.revision ?? ""),
      ...scale(),
    };
    for (const [name, value] of Object.entries(said)) form.set(name, value);
    form.set("photo", file, file.name);
    byId("another-wrong").textContent = "";
    await attempt(
      async () => {
        await post(`${this.#store.path}/photo`, form);
        await this.#store.load();
      },
      (text) => {
        byId("another-wrong").textContent = text;
      },
    );
  }
}
