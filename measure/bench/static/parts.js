// Several parts in one photo: each that is touched becomes a job of its own.
import { attempt, post } from "./api.js";
import { buttonOf, byId, chosenOf, el, inputOf, selectOf, svg } from "./dom.js";
import { scale } from "./scale.js";
import { counted } from "./words.js";

/** @typedef {import("./types.js").Point} Point */

const DOT_PX = 13;

export class Parts {
  #store;
  #panzoom;
  #layer = svg("g", { class: "touched" });
  /** @type {Point[]} */
  #points = [];

  /**
   * @param {import("./store.js").Store} store
   * @param {import("./photo.js").Photo} photo
   * @param {import("./panzoom.js").PanZoom} panzoom
   */
  constructor(store, photo, panzoom) {
    this.#store = store;
    this.#panzoom = panzoom;
    photo.lay(this.#layer);
    byId("parts-touch").addEventListener("click", () => this.#touching(!this.touching));
    byId("parts-clear").addEventListener("click", () => this.#clear());
    byId("parts-go").addEventListener("click", () => this.#go());
    panzoom.element.addEventListener("keydown", (e) => {
      if (!this.touching || e.key !== "Enter" || e.target !== panzoom.element) return;
      const box = panzoom.box();
      this.touch(panzoom.toPicture(box.left + box.width / 2, box.top + box.height / 2));
      e.preventDefault();
    });
  }

  /** Whether a touch of the photo marks a part. */
  get touching() {
    return byId("parts-touch").getAttribute("aria-pressed") === "true";
  }

  /** @param {boolean} on */
  #touching(on) {
    byId("parts-touch").setAttribute("aria-pressed", String(on));
    if (on) this.#panzoom.element.focus({ preventScroll: true });
  }

  /** @param {Point} at in the picture */
  touch(at) {
    this.#points.push(at);
    this.draw();
  }

  #clear() {
    this.#points = [];
    this.#touching(false);
    this.draw();
  }

  draw() {
    const k = this.#panzoom.view.k;
    this.#layer.replaceChildren(
      ...this.#points.map(([x, y], i) =>
        svg(
          "g",
          { transform: `translate(${x} ${y}) scale(${1 / k})` },
          svg("circle", { r: DOT_PX }),
          svg("text", { y: 5 }, String(i + 1)),
        ),
      ),
    );
    const n = this.#points.length;
    byId("parts-clear").hidden = byId("parts-go").hidden = !n;
    byId("parts-words").textContent = counted("Trace {n} part", "Trace {n} parts, a job each", n);
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    const parts = byId("parts", HTMLDetailsElement);
    parts.hidden = state.state === "tracing" || !state.photo?.url || Boolean(state.photo.blurred);
    if (state.refusal?.code === "several-parts" && !parts.hidden) parts.open = true;
    if (parts.hidden && this.#points.length) this.#clear();
  }

  async #go() {
    const asked = {
      thickness: inputOf("thickness").value,
      subject: chosenOf("subject"),
      rim: selectOf("rim").value,
      scale: scale(),
      points: this.#points,
      revision: this.#store.state?.revision,
    };
    const wrong = byId("parts-wrong");
    wrong.textContent = "";
    buttonOf("parts-go").disabled = true;
    const made = await attempt(
      () => post(`${this.#store.path}/parts`, asked),
      (text) => {
        wrong.textContent = text;
      },
    );
    buttonOf("parts-go").disabled = false;
    if (!made) return;
    const others = made.jobs.slice(1);
    const link = (/** @type {string} */ id) => el("a", { href: `/job/${encodeURIComponent(id)}` }, id);
    byId("parts-made").replaceChildren(...others.map((/** @type {string} */ id) => el("li", {}, link(id))));
    this.#clear();
    await this.#store.load();
  }
}
