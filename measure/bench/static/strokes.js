// Strokes over the photo that say: this is the part, this is not. By pointer, or by arrow keys and the space bar.
import { svg } from "./dom.js";
import { wayOf } from "./keys.js";

/** @typedef {import("./types.js").Point} Point */
/** @typedef {"part" | "away"} Kind */
/** @typedef {{ kind: Kind, points: Point[] }} Stroke */

const APART_PX = 3;
const MOST_POINTS = 400;
const PEN_PX = 8;

export class Strokes {
  #photo;
  #panzoom;
  #changed;
  /** @type {Stroke[]} */
  #all = [];
  /** @type {Kind | null} */
  #kind = null;
  /** @type {Stroke | null} */
  #now = null;
  /** @type {Point} where the pen is that keys move */
  #at = [0, 0];
  #layer = svg("g");
  #pen = svg("circle", { class: "pen", r: PEN_PX });

  /**
   * @param {import("./photo.js").Photo} photo
   * @param {import("./panzoom.js").PanZoom} panzoom
   * @param {() => void} changed
   */
  constructor(photo, panzoom, changed) {
    this.#photo = photo;
    this.#panzoom = panzoom;
    this.#changed = changed;
    photo.lay(this.#layer);
    panzoom.element.addEventListener("keydown", (e) => this.#key(e), { capture: true }); // before the picture moves
  }

  /** Whether there are any. */
  get any() {
    return this.#all.length > 0;
  }

  /**
   * Start to paint strokes of a kind; null stops.
   * @param {Kind | null} kind
   */
  paint(kind) {
    this.#kind = kind;
    this.#finish();
    this.#panzoom.element.classList.toggle("painting", Boolean(kind));
    this.#panzoom.paintWith(kind && this.#penFor(kind));
    if (kind) {
      const box = this.#panzoom.box();
      this.#at = this.#panzoom.toPicture(box.left + box.width / 2, box.top + box.height / 2);
      this.#photo.lay(this.#pen);
    } else this.#pen.remove();
    this.draw();
  }

  /**
   * @param {Kind} kind
   * @returns {import("./types.js").Pen}
   */
  #penFor(kind) {
    return {
      start: (p) => {
        this.#now = { kind, points: [p] };
      },
      move: (p) => this.#add(p),
      end: () => this.#finish(),
      cancel: () => {
        this.#now = null;
        this.draw();
      },
    };
  }

  /** @param {Point} p */
  #add(p) {
    const last = this.#now?.points.at(-1);
    if (!last) return;
    if (Math.hypot(p[0] - last[0], p[1] - last[1]) * this.#panzoom.view.k >= APART_PX) this.#now?.points.push(p);
    this.draw();
  }

  #finish() {
    if (this.#now?.points.length) {
      this.#all.push({ kind: this.#now.kind, points: thinned(this.#now.points) });
      this.#changed();
    }
    this.#now = null;
    this.draw();
  }

  back() {
    this.#all.pop();
    this.draw();
    this.#changed();
  }

  clear() {
    this.#all = [];
    this.draw();
    this.#changed();
  }

  /** @param {import("./types.js").PaintedStrokes} strokes */
  load(strokes) {
    const of = (/** @type {Kind} */ kind) => strokes[kind].map((points) => ({ kind, points }));
    this.#all = [...of("part"), ...of("away")];
    this.draw();
  }

  /** As the program takes them. */
  plain() {
    const of = (/** @type {Kind} */ kind) =>
      this.#all.filter((s) => s.kind === kind).map((s) => s.points.map((p) => p.map((v) => Math.round(v * 10) / 10)));
    return { part: of("part"), away: of("away") };
  }

  draw() {
    const all = this.#now ? [...this.#all, this.#now] : this.#all;
    this.#layer.replaceChildren(
      ...all.map(({ kind, points }) => {
        const line = points.length > 1 ? points : [points[0], points[0]];
        return svg("polyline", { class: `stroke ${kind}`, points: line.map((p) => p.join(",")).join(" ") });
      }),
    );
    this.#pen.setAttribute("cx", String(this.#at[0]));
    this.#pen.setAttribute("cy", String(this.#at[1]));
    this.#pen.setAttribute("r", String(PEN_PX / this.#panzoom.view.k));
    this.#pen.classList.toggle("down", Boolean(this.#now));
  }

  /** @param {KeyboardEvent} e */
  #key(e) {
    if (!this.#kind || e.target !== this.#panzoom.element) return;
    const way = wayOf(e);
    if (e.key === " ") {
      if (this.#now) this.#finish();
      else this.#now = { kind: this.#kind, points: [[...this.#at]] };
    } else if (way) {
      const step = (e.shiftKey ? 40 : 10) / this.#panzoom.view.k;
      this.#at = [this.#at[0] + way[0] * step, this.#at[1] + way[1] * step];
      this.#now?.points.push([...this.#at]);
    } else return;
    e.preventDefault();
    e.stopImmediatePropagation();
    this.draw();
  }
}

/** @param {Point[]} points */
function thinned(points) {
  const step = Math.ceil(points.length / MOST_POINTS);
  return step > 1 ? points.filter((_, i) => i % step === 0 || i === points.length - 1) : points;
}
