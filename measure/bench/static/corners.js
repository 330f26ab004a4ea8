// The card's four corners as handles: dragged, or moved by arrow keys, with a loupe beside.
import { svg } from "./dom.js";
import { wayOf } from "./keys.js";
import { t } from "./words.js";

/** @typedef {import("./types.js").Point} Point */

const LOUPE = 3;
/** @type {Point[]} */
const BEGIN = [
  [0.55, 0.35],
  [0.85, 0.35],
  [0.85, 0.65],
  [0.55, 0.65],
]; // of the picture, where none were found

export class Corners {
  #photo;
  #panzoom;
  #loupe;
  #changed;
  /** @type {Point[] | null} as shown */
  #points = null;
  /** @type {Point[] | null} by the last trace that was not refused */
  #found = null;
  /** @type {Point[] | null} by hand, as last sent */
  #given = null;
  #moved = false;
  #shown = false;
  #key = "";
  /** @type {SVGGElement[]} */
  #handles = [];
  #glass = svg("use", { href: "#world" });
  #sight = svg("path", { class: "sight", d: "M-14 0H14M0-14V14" });

  /**
   * @param {import("./photo.js").Photo} photo
   * @param {import("./panzoom.js").PanZoom} panzoom
   * @param {HTMLElement} loupe
   * @param {() => void} changed
   */
  constructor(photo, panzoom, loupe, changed) {
    this.#photo = photo;
    this.#panzoom = panzoom;
    this.#loupe = loupe;
    this.#changed = changed;
    loupe.append(svg("svg", {}, this.#glass, this.#sight));
  }

  /**
   * The corners as found, or as given by hand where that was refused. What a person has moved stays until they change.
   * @param {Point[] | null} found
   * @param {Point[] | null} given
   * @param {boolean} refused
   */
  load(found, given, refused) {
    const key = JSON.stringify([found, given, refused]);
    if (key === this.#key) {
      this.draw();
      return;
    }
    this.#key = key;
    this.#found = found;
    this.#given = given;
    this.#set(refused ? (given ?? found) : (found ?? given));
  }

  /** @param {Point[] | null} points */
  #set(points) {
    this.#moved = false;
    this.#points = points ? points.map((p) => [...p]) : null;
    if (this.#shown) this.show(true);
    this.draw();
  }

  /** Whether any have been set by hand. */
  get byHand() {
    return this.#moved || Boolean(this.#given);
  }

  /** @param {boolean} on */
  show(on) {
    this.#shown = on;
    if (on && !this.#points) {
      const [w, h] = this.#panzoom.size;
      this.#points = BEGIN.map(([x, y]) => [x * w, y * h]);
      this.#moved = true;
      this.#changed();
    }
    this.#panzoom.element.classList.toggle("cornering", on);
    this.#handles = on ? (this.#points ?? []).map((_, i) => this.#handle(i)) : [];
    this.#photo.showHandles(this.#handles);
    if (!on) this.#loupe.hidden = true;
    this.draw();
  }

  /** @param {number} i */
  #at(i) {
    return /** @type {Point[]} */ (this.#points)[i];
  }

  /** @param {number} i */
  #handle(i) {
    const node = svg(
      "g",
      { class: "corner", tabindex: "0", role: "button", "data-own-drag": true, "data-corner": i },
      svg("circle", { class: "ring", r: 20 }),
      svg("path", { class: "cross", d: "M-20 0H20M0-20V20" }),
    );
    /** @type {Point | null} from the pointer to the corner */
    let grip = null;
    node.addEventListener("pointerdown", (e) => {
      const [px, py] = this.#panzoom.toPicture(e.clientX, e.clientY);
      grip = [this.#at(i)[0] - px, this.#at(i)[1] - py];
      node.setPointerCapture(e.pointerId);
      node.classList.add("held");
      node.focus();
      e.preventDefault();
      this.#look(i);
    });
    node.addEventListener("pointermove", (e) => {
      if (!grip) return;
      const [px, py] = this.#panzoom.toPicture(e.clientX, e.clientY);
      this.#put(i, [px + grip[0], py + grip[1]]);
    });
    const release = () => {
      grip = null;
      node.classList.remove("held");
    };
    node.addEventListener("pointerup", release);
    node.addEventListener("pointercancel", release);
    node.addEventListener("focus", () => this.#look(i));
    node.addEventListener("blur", () => {
      this.#loupe.hidden = true;
    });
    node.addEventListener("keydown", (e) => {
      const way = wayOf(e);
      if (!way) return;
      e.preventDefault();
      const step = (e.shiftKey ? 20 : 1) / Math.max(1, this.#panzoom.view.k);
      this.#put(i, [this.#at(i)[0] + way[0] * step, this.#at(i)[1] + way[1] * step]);
    });
    return node;
  }

  /**
   * @param {number} i
   * @param {Point} at
   */
  #put(i, [x, y]) {
    const [w, h] = this.#panzoom.size;
    const at = this.#at(i);
    at[0] = Math.min(w, Math.max(0, x));
    at[1] = Math.min(h, Math.max(0, y));
    this.#moved = true;
    this.draw();
    this.#look(i);
    this.#changed();
  }

  /** @param {number} i */
  #look(i) {
    const [x, y] = this.#panzoom.toScreen(this.#at(i));
    const half = this.#loupe.clientWidth / 2 || 80;
    this.#loupe.hidden = false;
    this.#loupe.classList.toggle("right", x < this.#panzoom.box().width / 2);
    this.#glass.setAttribute("transform", `translate(${half - LOUPE * x} ${half - LOUPE * y}) scale(${LOUPE})`);
    this.#sight.setAttribute("transform", `translate(${half} ${half})`);
    this.#handles[i]?.setAttribute("aria-label", this.#words(i));
  }

  /** @param {number} i */
  #words(i) {
    const [x, y] = this.#at(i).map(Math.round);
    return t("Corner {i} of 4 of the card, at {x}, {y}. Arrow keys move it.", { i: i + 1, x, y });
  }

  draw() {
    if (this.#points) this.#photo.showCard(this.#points);
    if (!this.#shown) return;
    for (const [i, node] of this.#handles.entries()) {
      const [x, y] = this.#panzoom.toScreen(this.#at(i));
      node.setAttribute("transform", `translate(${x} ${y})`);
      node.setAttribute("aria-label", this.#words(i));
    }
  }

  /** Back to what was found. */
  forget() {
    this.#given = null;
    this.#set(this.#found);
  }

  /** As the program takes them; null while nobody has set any. */
  plain() {
    if (!this.#moved || !this.#points) return this.#given;
    return this.#points.map((p) => p.map((v) => Math.round(v * 10) / 10));
  }
}
