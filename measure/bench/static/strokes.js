// Strokes over the photo that say: this is the part, this is not. By pointer, or by arrow keys and the space bar.
import { svg } from "./dom.js";

const APART_PX = 3;
const MOST_POINTS = 400;

export class Strokes {
  /**
   * @param {import("./photo.js").Photo} photo
   * @param {import("./panzoom.js").PanZoom} panzoom
   * @param {() => void} changed
   */
  constructor(photo, panzoom, changed) {
    Object.assign(this, { photo, panzoom, changed });
    this.all = [];
    this.kind = null;
    this.now = null;
    this.layer = svg("g");
    this.pen = svg("circle", { class: "pen", r: 8 });
    photo.over.append(this.layer);
    panzoom.element.addEventListener("keydown", (e) => this.key(e), { capture: true }); // before the picture moves
  }

  /** Start to paint strokes of a kind, "part" or "away"; null stops. */
  paint(kind) {
    this.kind = kind;
    this.finish();
    this.panzoom.element.classList.toggle("painting", Boolean(kind));
    this.panzoom.draw = kind && {
      start: (p) => (this.now = { kind, points: [p] }),
      move: (p) => this.add(p),
      end: () => this.finish(),
      cancel: () => ((this.now = null), this.draw()),
    };
    if (kind) {
      const box = this.panzoom.box();
      this.at = this.panzoom.toPicture(box.left + box.width / 2, box.top + box.height / 2);
      this.photo.over.append(this.pen);
    } else this.pen.remove();
    this.draw();
  }

  add(p) {
    const last = this.now?.points.at(-1);
    if (!last) return;
    if (Math.hypot(p[0] - last[0], p[1] - last[1]) * this.panzoom.view.k >= APART_PX) this.now.points.push(p);
    this.draw();
  }

  finish() {
    if (this.now?.points.length > 0) {
      this.all.push({ kind: this.now.kind, points: thinned(this.now.points) });
      this.changed();
    }
    this.now = null;
    this.draw();
  }

  back() {
    this.all.pop();
    this.draw();
    this.changed();
  }

  clear() {
    this.all = [];
    this.draw();
    this.changed();
  }

  load(strokes) {
    this.all = ["part", "away"].flatMap((kind) => (strokes?.[kind] ?? []).map((points) => ({ kind, points })));
    this.draw();
  }

  /** As the program takes them. */
  plain() {
    const of = (kind) => this.all.filter((s) => s.kind === kind).map((s) => s.points.map((p) => p.map((v) => Math.round(v * 10) / 10)));
    return { part: of("part"), away: of("away") };
  }

  draw() {
    const all = this.now ? [...this.all, this.now] : this.all;
    this.layer.replaceChildren(
      ...all.map((s) => svg("polyline", { class: `stroke ${s.kind}`, points: (s.points.length > 1 ? s.points : [s.points[0], s.points[0]]).map((p) => p.join(",")).join(" ") })),
    );
    if (this.at) {
      this.pen.setAttribute("cx", this.at[0]);
      this.pen.setAttribute("cy", this.at[1]);
      this.pen.setAttribute("r", 8 / this.panzoom.view.k);
      this.pen.classList.toggle("down", Boolean(this.now));
    }
  }

  key(e) {
    if (!this.kind || e.target !== this.panzoom.element) return;
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
    if (e.key === " ") {
      if (this.now) this.finish();
      else this.now = { kind: this.kind, points: [[...this.at]] };
    } else if (way) {
      const step = (e.shiftKey ? 40 : 10) / this.panzoom.view.k;
      this.at = [this.at[0] + way[0] * step, this.at[1] + way[1] * step];
      if (this.now) this.now.points.push([...this.at]);
    } else return;
    e.preventDefault();
    e.stopImmediatePropagation();
    this.draw();
  }
}

function thinned(points) {
  const step = Math.ceil(points.length / MOST_POINTS);
  return step > 1 ? points.filter((_, i) => i % step === 0 || i === points.length - 1) : points;
}
