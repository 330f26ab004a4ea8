// The drawing as it is now, and an earlier one over it, in the same view as the photo.
import { el } from "./dom.js";
import { t } from "./words.js";

/** @typedef {import("./types.js").Box} Box */

const PX_PER_MM = 10;

export class Sheets {
  #panzoom;
  #now = el("img", { alt: t("The dimensioned drawing as it is now") });
  #was = el("img", { alt: t("An earlier drawing") });
  #wasLayer = el("div", { class: "layer was", hidden: true }, this.#was);
  #edge = el("div", { class: "slide-edge", hidden: true });
  #root = el(
    "div",
    { class: "sheets", hidden: true },
    el("div", { class: "layer is" }, this.#now),
    this.#wasLayer,
    this.#edge,
  );
  #missing = el("p", { class: "paper-note", hidden: true });
  #shown = "";
  /** @type {[number, number] | null} */
  #size = null;
  /** @type {Box | null} mm */
  #drawn = null;
  #share = 50;

  /**
   * @param {HTMLElement} host
   * @param {import("./panzoom.js").PanZoom} panzoom
   */
  constructor(host, panzoom) {
    this.#panzoom = panzoom;
    host.append(this.#root, this.#missing);
  }

  get isOpen() {
    return !this.#root.hidden;
  }

  /**
   * Show a drawing; the one before stays until the new one is there, so that nothing flickers.
   * @param {string} url
   */
  async show(url) {
    if (url === this.#shown) return;
    this.#shown = url;
    const next = new Image();
    next.src = url;
    try {
      await next.decode();
    } catch {
      if (this.#shown === url) this.#shown = "";
      this.#missing.textContent = t("There is no drawing yet.");
      this.#missing.hidden = this.#root.hidden;
      return;
    }
    if (this.#shown !== url) return;
    this.#missing.hidden = true;
    this.#now.src = url;
    this.#drawn = await boxOfDrawing(url);
    if (this.#shown !== url) return;
    const long = (/** @type {number} */ px) => ((px * 25.4) / 96) * PX_PER_MM;
    this.#size = [long(next.naturalWidth), long(next.naturalHeight)];
    this.#root.style.width = `${this.#size[0]}px`;
    this.#root.style.height = `${this.#size[1]}px`;
    if (this.isOpen) this.#fit();
  }

  /** What is drawn, without the empty paper round it; once, and then as it was left. */
  #fit() {
    const size = this.#size;
    if (!size) return;
    const same = this.#panzoom.size.every((s, i) => s === size[i]);
    this.#panzoom.setSize(...size);
    if (!same && this.#drawn) this.#panzoom.show(/** @type {Box} */ (this.#drawn.map((v) => v * PX_PER_MM)), 16);
  }

  /** @param {boolean} on */
  open(on) {
    this.#root.hidden = !on;
    if (on) this.#fit();
    else this.#missing.hidden = true;
  }

  /**
   * Lay an earlier drawing over.
   * @param {string} way "over", "slide" or "off"
   * @param {string} [url]
   */
  compare(way, url) {
    this.#wasLayer.hidden = way === "off";
    this.#edge.hidden = way !== "slide";
    this.#root.className = `sheets ${way}`;
    if (url && way !== "off") {
      this.#was.src = url;
      this.#align(url);
    }
    this.#wasLayer.style.clipPath = "";
    if (way === "slide") this.slide(this.#share);
  }

  /**
   * Lay the earlier part on the present one by the lower left of both outlines, wherever each is on its sheet.
   * @param {string} url
   */
  async #align(url) {
    const [was, is] = await Promise.all([boxOfDrawing(url, "g#outline"), boxOfDrawing(this.#shown, "g#outline")]);
    if (!was || !is || !this.#was.src.endsWith(url)) return;
    const [x, y] = [(is[0] - was[0]) * PX_PER_MM, (is[3] - was[3]) * PX_PER_MM];
    this.#was.style.transform = `translate(${x}px, ${y}px)`;
  }

  /** @param {number} share of the earlier one, hundredths */
  slide(share) {
    this.#share = share;
    this.#wasLayer.style.clipPath = `inset(0 ${100 - share}% 0 0)`;
    this.#edge.style.left = `${share}%`;
  }

  moved() {
    const { x, y, k } = this.#panzoom.view;
    this.#root.style.transform = `translate(${x}px, ${y}px) scale(${k})`;
    this.#edge.style.borderLeftWidth = `${3 / k}px`;
  }
}

/**
 * Box of what is drawn on the sheet without its frame and title block, mm; null where that can't be told.
 * @param {string} url
 * @param {string} groups
 * @returns {Promise<Box | null>}
 */
async function boxOfDrawing(url, groups = "g#outline, g#dimensions") {
  if (!url) return null;
  const asked = fetch(url, { credentials: "same-origin" });
  const text = await asked.then((r) => r.text()).catch(() => ""); // nobody answers: the page says so elsewhere
  if (!text) return null;
  const sheet = new DOMParser().parseFromString(text, "image/svg+xml");
  /** @type {number[]} */
  const xs = [];
  /** @type {number[]} */
  const ys = [];
  const take = (/** @type {string | null} */ x, /** @type {string | null} */ y) => {
    xs.push(Number(x));
    ys.push(Number(y));
  };
  for (const group of sheet.querySelectorAll(groups)) {
    for (const t of group.querySelectorAll("text")) take(t.getAttribute("x"), t.getAttribute("y"));
    for (const p of group.querySelectorAll("path")) {
      for (const m of withoutRadii(p.getAttribute("d") ?? "").matchAll(/(-?[\d.]+),(-?[\d.]+)/g)) take(m[1], m[2]);
    }
  }
  if (!xs.length) return null;
  const rim = 6;
  return [Math.min(...xs) - rim, Math.min(...ys) - rim, Math.max(...xs) + rim, Math.max(...ys) + rim];
}

/** @param {string} d path data */
const withoutRadii = (d) => d.replace(/A\S+ \S+ \S+ \S+ /g, "L");
