// A missing boundary drawn by hand: each touch on the photo becomes a step, in the words that can be typed as well.
import { attempt, post } from "./api.js";
import { buttonOf, byId, chosenOf, inputOf, radiosOf, svg } from "./dom.js";
import { parse } from "./numbers.js";
import { t } from "./words.js";

/** @typedef {import("./types.js").Point} Point */

const NEAR_PX = 14;
const PREVIEW_MS = 250;
/** @type {Record<string, string>} */
const WORDS = {
  on: t("Goes on as the line came, as far as beside your touch, or up to the edge’s line that you touch."),
  to: t("A straight line to your touch."),
  arc: t("An arc to your touch: of the radius below, or else without a corner."),
  as: t("Touch the first and the last label of the stretch that it is the mirror image of, counter-clockwise."),
};

export class ByHand {
  #store;
  #panzoom;
  #broken;
  #say;
  #field = byId("drawn", HTMLTextAreaElement);
  #layer = svg("g", { class: "drawn" });
  /** @type {string | null} the label that was touched first of those to draw like */
  #first = null;
  #waiting = 0;

  /**
   * @param {import("./store.js").Store} store
   * @param {import("./photo.js").Photo} photo
   * @param {import("./panzoom.js").PanZoom} panzoom
   * @param {() => string} broken the break that is marked
   * @param {(text: string) => void} say what is wrong
   */
  constructor(store, photo, panzoom, broken, say) {
    this.#store = store;
    this.#panzoom = panzoom;
    this.#broken = broken;
    this.#say = say;
    photo.lay(this.#layer);
    for (const radio of radiosOf("draw-tool")) radio.addEventListener("change", () => this.#tool());
    this.#field.addEventListener("input", () => {
      clearTimeout(this.#waiting);
      this.#waiting = setTimeout(() => this.#show(), PREVIEW_MS);
    });
    buttonOf("draw-back").addEventListener("click", () => this.set(this.#steps().slice(0, -1).join("; ")));
    this.#tool();
  }

  /** What is drawn, in words. */
  get words() {
    return this.#field.value.trim();
  }

  /** @param {string} words */
  set(words) {
    this.#field.value = words;
    this.#first = null;
    return this.#show();
  }

  #steps() {
    return this.words
      .split(/[;\n]/)
      .map((s) => s.trim())
      .filter(Boolean);
  }

  #tool() {
    this.#first = null;
    byId("draw-words").textContent = WORDS[chosenOf("draw-tool")];
  }

  /**
   * A touch on the photo.
   * @param {Point} at in the picture
   * @param {string | undefined} label that was touched
   */
  async touch(at, label) {
    const tool = chosenOf("draw-tool");
    if (tool === "as") {
      if (!label) return;
      if (this.#first === null) {
        this.#first = label;
        byId("draw-words").textContent = t("From {label} to …: touch the last one; the same once more for it alone.", {
          label,
        });
        return;
      }
      const like = this.#first === label ? label : `${this.#first}-${label}`;
      await this.set([...this.#steps(), `as ${like}`].join("; "));
      this.#tool();
      return;
    }
    const size = parse(inputOf("draw-size").value);
    const near = NEAR_PX / this.#panzoom.view.k;
    if (await this.#ask({ tool, at, near, size_mm: size > 0 ? size : null })) inputOf("draw-size").value = "";
  }

  /** Draw what the words say. */
  async #show() {
    this.#say("");
    if (this.words && this.#broken()) await this.#ask({});
    else this.#layer.replaceChildren();
  }

  /** @param {object} more */
  async #ask(more) {
    this.#say("");
    const asked = { broken: this.#broken(), drawn: this.words, ...more };
    const found = await attempt(() => post(`${this.#store.path}/draw`, asked), this.#say);
    if (!found) return false;
    this.#field.value = found.drawn;
    this.#layer.replaceChildren(
      ...found.paths.flatMap((/** @type {string} */ d) => [
        svg("path", { class: "drawn-case", d }),
        svg("path", { class: "drawn-line", d }),
      ]),
    );
    return true;
  }
}
