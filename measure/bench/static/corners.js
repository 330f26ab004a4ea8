// The card's four corners as handles: dragged, or moved by arrow keys, with a loupe beside.
import { svg } from "./dom.js";

const LOUPE = 3;

export class Corners {
  /**
   * @param {import("./photo.js").Photo} photo
   * @param {import("./panzoom.js").PanZoom} panzoom
   * @param {HTMLElement} loupe
   * @param {() => void} changed
   */
  constructor(photo, panzoom, loupe, changed) {
    Object.assign(this, { photo, panzoom, loupe, changed });
    this.points = null; // as shown
    this.found = null; // by the last trace that was not refused
    this.given = null; // by hand, as last sent
    this.moved = false;
    this.shown = false;
    this.glass = svg("use", { href: "#world" });
    this.sight = svg("path", { d: "M-14 0H14M0-14V14", stroke: "#ff3d8b", "stroke-width": 1.5 });
    loupe.append(svg("svg", {}, this.glass, this.sight));
  }

  /** The corners as found, or as given by hand where that was refused; until they change, what a person has moved stays. */
  load(found, given, refused) {
    const key = JSON.stringify([found, given, refused]);
    if (key === this.key) return this.draw();
    Object.assign(this, { key, found, given });
    this.set(refused ? (given ?? found) : (found ?? given));
  }

  set(points) {
    this.moved = false;
    this.points = points ? points.map((p) => [...p]) : null;
    if (this.shown) this.show(true);
    this.draw();
  }

  /** Whether any have been set by hand. */
  get byHand() {
    return this.moved || Boolean(this.given);
  }

  show(on) {
    this.shown = on;
    if (on && !this.points) {
      const [w, h] = this.panzoom.size;
      this.points = [[0.55, 0.35], [0.85, 0.35], [0.85, 0.65], [0.55, 0.65]].map(([x, y]) => [x * w, y * h]);
      this.moved = true;
      this.changed();
    }
    this.panzoom.element.classList.toggle("cornering", on);
    this.handles = on ? this.points.map((_, i) => this.handle(i)) : [];
    this.photo.handles.replaceChildren(...this.handles);
    if (!on) this.loupe.hidden = true;
    this.draw();
  }

  handle(i) {
    const node = svg(
      "g",
      { class: "corner", tabindex: "0", role: "button", "data-own-drag": true, "data-corner": i },
      svg("circle", { class: "ring", r: 20 }),
      svg("path", { class: "cross", d: "M-20 0H20M0-20V20" }),
    );
    let grip = null;
    node.addEventListener("pointerdown", (e) => {
      const [px, py] = this.panzoom.toPicture(e.clientX, e.clientY);
      grip = [this.points[i][0] - px, this.points[i][1] - py];
      node.setPointerCapture(e.pointerId);
      node.classList.add("held");
      node.focus();
      e.preventDefault();
      this.look(i);
    });
    node.addEventListener("pointermove", (e) => {
      if (!grip) return;
      const [px, py] = this.panzoom.toPicture(e.clientX, e.clientY);
      this.put(i, [px + grip[0], py + grip[1]]);
    });
    const release = () => {
      if (!grip) return;
      grip = null;
      node.classList.remove("held");
    };
    node.addEventListener("pointerup", release);
    node.addEventListener("pointercancel", release);
    node.addEventListener("focus", () => this.look(i));
    node.addEventListener("blur", () => (this.loupe.hidden = true));
    node.addEventListener("keydown", (e) => {
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
      if (!way) return;
      e.preventDefault();
      const step = (e.shiftKey ? 20 : 1) / Math.max(1, this.panzoom.view.k);
      this.put(i, [this.points[i][0] + way[0] * step, this.points[i][1] + way[1] * step]);
    });
    return node;
  }

  put(i, [x, y]) {
    const [w, h] = this.panzoom.size;
    this.points[i] = [Math.min(w, Math.max(0, x)), Math.min(h, Math.max(0, y))];
    this.moved = true;
    this.draw();
    this.look(i);
    this.changed();
  }

  look(i) {
    const [x, y] = this.panzoom.toScreen(this.points[i]);
    const half = this.loupe.clientWidth / 2 || 80;
    this.loupe.hidden = false;
    this.loupe.classList.toggle("right", x < this.panzoom.box().width / 2);
    this.glass.setAttribute("transform", `translate(${half - LOUPE * x} ${half - LOUPE * y}) scale(${LOUPE})`);
    this.sight.setAttribute("transform", `translate(${half} ${half})`);
    this.handles[i]?.setAttribute("aria-label", this.words(i));
  }

  words(i) {
    const [x, y] = this.points[i].map(Math.round);
    return `Corner ${i + 1} of 4 of the card, at ${x}, ${y}. Arrow keys move it.`;
  }

  draw() {
    if (this.points) this.photo.showCard(this.points);
    if (!this.shown) return;
    this.handles.forEach((node, i) => {
      const [x, y] = this.panzoom.toScreen(this.points[i]);
      node.setAttribute("transform", `translate(${x} ${y})`);
      node.setAttribute("aria-label", this.words(i));
    });
  }

  /** Back to what was found. */
  forget() {
    this.given = null;
    this.set(this.found);
  }

  /** As the program takes them; null while nobody has set any. */
  plain() {
    return this.moved ? this.points.map((p) => p.map((v) => Math.round(v * 10) / 10)) : this.given;
  }
}
