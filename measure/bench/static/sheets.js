// The drawing as it is now, and an earlier one over it, in the same view as the photo.
import { el } from "./dom.js";

const PX_PER_MM = 10;

export class Sheets {
  /**
   * @param {HTMLElement} host
   * @param {import("./panzoom.js").PanZoom} panzoom
   */
  constructor(host, panzoom) {
    this.panzoom = panzoom;
    this.now = el("img", { alt: "The dimensioned drawing as it is now" });
    this.was = el("img", { alt: "An earlier drawing" });
    this.wasLayer = el("div", { class: "layer was", hidden: true }, this.was);
    this.edge = el("div", { class: "slide-edge", hidden: true });
    this.root = el("div", { class: "sheets", hidden: true }, el("div", { class: "layer is" }, this.now), this.wasLayer, this.edge);
    this.missing = el("p", { class: "paper-note", hidden: true });
    host.append(this.root, this.missing);
    this.shown = null;
  }

  /** Show a drawing; the one before stays until the new one is there, so that nothing flickers. */
  async show(url) {
    if (!url || url === this.shown) return;
    this.shown = url;
    const next = new Image();
    next.src = url;
    try {
      await next.decode();
    } catch {
      if (this.shown === url) this.shown = null;
      this.missing.textContent = "There is no drawing yet.";
      this.missing.hidden = this.root.hidden;
      return;
    }
    if (this.shown !== url) return;
    this.missing.hidden = true;
    this.now.src = url;
    this.drawn = await whereDrawn(url);
    if (this.shown !== url) return;
    this.size = [next.naturalWidth, next.naturalHeight].map((v) => ((v * 25.4) / 96) * PX_PER_MM);
    this.root.style.width = `${this.size[0]}px`;
    this.root.style.height = `${this.size[1]}px`;
    if (!this.root.hidden) this.fit();
  }

  /** What is drawn, without the empty paper round it; once, and then as it was left. */
  fit() {
    const same = this.panzoom.size.every((s, i) => s === this.size[i]);
    this.panzoom.setSize(...this.size);
    if (!same && this.drawn) this.panzoom.show(this.drawn.map((v) => v * PX_PER_MM), 16);
  }

  open(on) {
    this.root.hidden = !on;
    if (on && this.size) this.fit();
    if (!on) this.missing.hidden = true;
  }

  /** Lay an earlier drawing over: "over", "slide" or "off". */
  compare(how, url) {
    this.wasLayer.hidden = how === "off";
    this.edge.hidden = how !== "slide";
    this.root.className = `sheets ${how}`;
    if (url && how !== "off") {
      this.was.src = url;
      this.align(url);
    }
    this.wasLayer.style.clipPath = "";
    if (how === "slide") this.slide(this.share ?? 50);
  }

  /** Lay the earlier part on the present one by the lower left of both outlines, wherever each is on its sheet. */
  async align(url) {
    const [was, is] = await Promise.all([whereDrawn(url, "g#outline"), whereDrawn(this.shown, "g#outline")]);
    if (!was || !is || !this.was.src.endsWith(url)) return;
    this.was.style.transform = `translate(${(is[0] - was[0]) * PX_PER_MM}px, ${(is[3] - was[3]) * PX_PER_MM}px)`;
  }

  slide(share) {
    this.share = share;
    this.wasLayer.style.clipPath = `inset(0 ${100 - share}% 0 0)`;
    this.edge.style.left = `${share}%`;
  }

  moved() {
    const { x, y, k } = this.panzoom.view;
    this.root.style.transform = `translate(${x}px, ${y}px) scale(${k})`;
    this.edge.style.borderLeftWidth = `${3 / k}px`;
  }
}

/** Box of what is drawn on the sheet without its frame and title block, millimetres; null where that can't be told. */
async function whereDrawn(url, groups = "g#outline, g#dimensions") {
  const asked = fetch(url, { credentials: "same-origin" });
  const text = await asked.then((r) => r.text()).catch(() => ""); // nobody answers: the page says so elsewhere
  if (!text) return null;
  const sheet = new DOMParser().parseFromString(text, "image/svg+xml");
  const xs = [];
  const ys = [];
  const take = (x, y) => {
    xs.push(Number(x));
    ys.push(Number(y));
  };
  for (const group of sheet.querySelectorAll(groups)) {
    for (const t of group.querySelectorAll("text")) take(t.getAttribute("x"), t.getAttribute("y"));
    for (const p of group.querySelectorAll("path")) for (const m of withoutRadii(p.getAttribute("d")).matchAll(/(-?[\d.]+),(-?[\d.]+)/g)) take(m[1], m[2]);
  }
  if (!xs.length) return null;
  const rim = 6;
  return [Math.min(...xs) - rim, Math.min(...ys) - rim, Math.max(...xs) + rim, Math.max(...ys) + rim];
}

const withoutRadii = (d) => d.replace(/A\S+ \S+ \S+ \S+ /g, "L");
