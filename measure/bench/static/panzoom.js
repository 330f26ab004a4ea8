// Moving and zooming a picture by pointer, wheel, two fingers and keys.
// A view is { x, y, k }: screen = k · picture + (x, y).
import { nearest } from "./dom.js";

/** @typedef {import("./types.js").Point} Point */
/** @typedef {{ x: number, y: number, k: number }} View */

const LARGEST = 24;
const CLICK_PX = 7;

export class PanZoom {
  /** @type {HTMLElement} */
  #buttons;
  #moved;
  #clicked;
  /** @type {[number, number]} */
  #size = [1, 1];
  /** @type {View} */
  #view = { x: 0, y: 0, k: 1 };
  /** @type {Map<number, Point>} */
  #held = new Map();
  /** @type {import("./types.js").Pen | null} */
  #pen = null;
  #untouched = true;
  /** @type {Point} */
  #from = [0, 0];
  /** @type {EventTarget | null} */
  #target = null;
  #far = false;

  /**
   * @param {HTMLElement} element that takes the input
   * @param {HTMLElement} buttons over it; a row of them at its foot is kept clear of what is fitted with a rim
   * @param {() => void} moved called after each change
   * @param {(target: EventTarget | null, at: Point) => void} clicked called for a touch that moves nothing
   */
  constructor(element, buttons, moved, clicked) {
    this.element = element;
    this.#buttons = buttons;
    this.#moved = moved;
    this.#clicked = clicked;
    element.addEventListener("pointerdown", (e) => this.#down(e));
    element.addEventListener("pointermove", (e) => this.#move(e));
    element.addEventListener("pointerup", (e) => this.#up(e));
    element.addEventListener("pointercancel", (e) => this.#up(e, true));
    element.addEventListener("wheel", (e) => this.#wheel(e), { passive: false });
    element.addEventListener("keydown", (e) => this.#key(e));
    new ResizeObserver(() => (this.#untouched ? this.showAll() : this.#moved())).observe(element);
  }

  get view() {
    return this.#view;
  }

  /** Width and height of the picture. */
  get size() {
    return this.#size;
  }

  box() {
    return this.element.getBoundingClientRect();
  }

  /**
   * @param {number} clientX
   * @param {number} clientY
   * @returns {Point}
   */
  toPicture(clientX, clientY) {
    const box = this.box();
    const { x, y, k } = this.#view;
    return [(clientX - box.left - x) / k, (clientY - box.top - y) / k];
  }

  /**
   * @param {Point} at in the picture
   * @returns {Point}
   */
  toScreen([px, py]) {
    return [px * this.#view.k + this.#view.x, py * this.#view.k + this.#view.y];
  }

  /**
   * @param {number} width
   * @param {number} height
   */
  setSize(width, height) {
    const same = this.#size[0] === width && this.#size[1] === height;
    this.#size = [width, height];
    if (!same) this.showAll();
  }

  /** Where a person has moved it to, to be gone back to; null where nobody has. */
  kept() {
    return this.#untouched ? null : { ...this.#view };
  }

  /** @param {View} view that was kept */
  goBack(view) {
    this.#view = view;
    this.#untouched = false;
    this.#moved();
  }

  /**
   * While something is painted a single pointer paints and moves nothing.
   * @param {import("./types.js").Pen | null} pen
   */
  paintWith(pen) {
    this.#pen = pen;
  }

  showAll() {
    this.show([0, 0, ...this.#size]);
    this.#untouched = true;
  }

  /**
   * Fit a part of the picture.
   * @param {import("./types.js").Box} part
   * @param {number} rim pixels of the screen that stay free round it
   */
  show([x0, y0, x1, y1], rim = 0) {
    const box = this.box();
    if (!box.width || !box.height) return;
    const row = this.#buttons.getBoundingClientRect();
    const height = box.height - (rim && row.width > row.height ? box.bottom - row.top : 0);
    const room = [box.width, height].map((v) => Math.max(v / 2, v - 2 * rim));
    const k = Math.min(LARGEST, room[0] / (x1 - x0), room[1] / (y1 - y0));
    this.#view = { k, x: box.width / 2 - (k * (x0 + x1)) / 2, y: height / 2 - (k * (y0 + y1)) / 2 };
    this.#untouched = false;
    this.#moved();
  }

  /**
   * @param {number} factor
   * @param {Point | null} at what stays where it is; the middle by default
   */
  zoom(factor, at = null) {
    const box = this.box();
    const smallest = 0.6 * Math.min(box.width / this.#size[0], box.height / this.#size[1]);
    const [cx, cy] = at ?? [box.width / 2, box.height / 2];
    const k = Math.min(LARGEST, Math.max(smallest, this.#view.k * factor));
    const f = k / this.#view.k;
    this.#view = { k, x: cx - f * (cx - this.#view.x), y: cy - f * (cy - this.#view.y) };
    this.#keepInSight();
  }

  /**
   * @param {number} dx
   * @param {number} dy
   */
  #pan(dx, dy) {
    this.#view = { ...this.#view, x: this.#view.x + dx, y: this.#view.y + dy };
    this.#keepInSight();
  }

  /** A strip of the picture always stays to be seen. */
  #keepInSight() {
    const box = this.box();
    const keep = 80;
    const { x, y, k } = this.#view;
    const [w, h] = this.#size.map((s) => s * k);
    this.#view = {
      k,
      x: Math.min(box.width - keep, Math.max(keep - w, x)),
      y: Math.min(box.height - keep, Math.max(keep - h, y)),
    };
    this.#untouched = false;
    this.#moved();
  }

  /** @param {PointerEvent} e */
  #down(e) {
    if (e.button > 0 || nearest(e.target, "[data-own-drag]")) return;
    this.#held.set(e.pointerId, [e.clientX, e.clientY]);
    if (this.#held.size === 1) {
      this.#from = [e.clientX, e.clientY];
      this.#target = e.target;
      this.#far = false;
      this.element.setPointerCapture(e.pointerId);
      this.#pen?.start(this.toPicture(e.clientX, e.clientY));
    } else {
      this.#far = true;
      this.#pen?.cancel();
    }
  }

  /** @param {PointerEvent} e */
  #move(e) {
    const last = this.#held.get(e.pointerId);
    if (!last) return;
    /** @type {Point} */
    const now = [e.clientX, e.clientY];
    if (this.#held.size === 1) {
      this.#far ||= Math.hypot(now[0] - this.#from[0], now[1] - this.#from[1]) > CLICK_PX;
      if (this.#pen) {
        const steps = e.getCoalescedEvents?.() ?? [];
        for (const s of steps.length ? steps : [e]) this.#pen.move(this.toPicture(s.clientX, s.clientY));
      } else if (this.#far) {
        this.element.classList.add("panning");
        this.#pan(now[0] - last[0], now[1] - last[1]);
      }
    } else if (this.#held.size === 2) {
      const other = [...this.#held].find(([id]) => id !== e.pointerId)?.[1] ?? now;
      const box = this.box();
      const was = Math.hypot(last[0] - other[0], last[1] - other[1]);
      const is = Math.hypot(now[0] - other[0], now[1] - other[1]);
      this.#pan((now[0] - last[0]) / 2, (now[1] - last[1]) / 2);
      if (was > 1) this.zoom(is / was, [(now[0] + other[0]) / 2 - box.left, (now[1] + other[1]) / 2 - box.top]);
    }
    this.#held.set(e.pointerId, now);
  }

  /**
   * @param {PointerEvent} e
   * @param {boolean} cancelled
   */
  #up(e, cancelled = false) {
    if (!this.#held.delete(e.pointerId)) return;
    this.element.classList.remove("panning");
    if (this.#held.size) return;
    if (this.#pen) {
      if (cancelled) this.#pen.cancel();
      else this.#pen.end();
    } else if (!this.#far && !cancelled) this.#clicked(this.#target, this.toPicture(...this.#from));
  }

  /** @param {WheelEvent} e */
  #wheel(e) {
    e.preventDefault();
    const box = this.box();
    const lines = e.deltaMode === WheelEvent.DOM_DELTA_LINE ? 16 : 1;
    const factor = Math.exp(-0.0016 * lines * Math.max(-300, Math.min(300, e.deltaY)));
    this.zoom(factor, [e.clientX - box.left, e.clientY - box.top]);
  }

  /** @param {KeyboardEvent} e */
  #key(e) {
    if (e.target !== this.element || e.ctrlKey || e.metaKey || e.altKey) return;
    const step = e.shiftKey ? 200 : 60;
    /** @type {Record<string, () => void>} */
    const keys = {
      ArrowLeft: () => this.#pan(step, 0),
      ArrowRight: () => this.#pan(-step, 0),
      ArrowUp: () => this.#pan(0, step),
      ArrowDown: () => this.#pan(0, -step),
      "+": () => this.zoom(1.3),
      "=": () => this.zoom(1.3),
      "-": () => this.zoom(1 / 1.3),
      0: () => this.showAll(),
    };
    if (!keys[e.key] || e.defaultPrevented) return;
    e.preventDefault();
    keys[e.key]();
  }
}
