// The photo with outline, labels and card over it.
import { place } from "./declutter.js";
import { svg } from "./dom.js";
import { t } from "./words.js";

/** @typedef {import("./types.js").Point} Point */
/** @typedef {import("./types.js").Box} Box */
/** @typedef {import("./types.js").Feature} Feature */

const LABEL_HEIGHT = 1.45; // of the page's letters, as large as the person wants them, like the next two
const LABEL_LETTER = 0.61;
const LABEL_PADDING = 0.78;
const AWAY_FROM_EDGE = 24;
const LABEL_EVERY = 34; // px of the outline's box: a part that is shown small gets its largest features' labels only
const SETTLE_MS = 120;

export class Photo {
  #panzoom;
  #covers;
  #unlabelled;
  #image = svg("image", { preserveAspectRatio: "none" });
  #cardLine = svg("polygon", { class: "card-line" });
  #lines = svg("g");
  #broken = svg("g"); // the fracture as seen, where the outline was completed
  #edges = svg("g"); // the upper edge and the foot of the wall, all round
  #unseen = svg("g"); // what was not seen of features that go on
  #jaws = svg("g"); // the caliper's, where a reading is asked for or was taken
  #over = svg("g");
  #world = svg(
    "g",
    { id: "world" },
    this.#image,
    this.#cardLine,
    this.#broken,
    this.#edges,
    this.#lines,
    this.#unseen,
    this.#jaws,
    this.#over,
  );
  #tags = svg("g");
  #handles = svg("g");
  #root = svg(
    "svg",
    { role: "group", "aria-label": t("The photo with the outline that was found") },
    this.#world,
    this.#tags,
    this.#handles,
  );
  /** @type {Feature[]} */
  #features = [];
  /** @type {string[]} */
  #picked = [];
  /** @type {string[]} */
  #wanted = [];
  /** @type {Map<string, SVGGElement>} */
  #nodes = new Map();
  /** @type {Map<string, Span>} */
  #spans = new Map();
  /** @type {Map<number, Point>} */
  #centres = new Map();
  #key = "";
  /** @type {{ x: number, y: number, k: number, marks: string } | null} the view that the labels were laid out for */
  #laid = null;
  #frame = 0;
  #settling = 0;

  /**
   * @param {HTMLElement} host
   * @param {import("./panzoom.js").PanZoom} panzoom
   * @param {Element[]} covers what lies over the picture, where no label may be
   * @param {(hidden: number) => void} unlabelled told how many labels found no room
   */
  constructor(host, panzoom, covers, unlabelled) {
    this.#panzoom = panzoom;
    this.#covers = covers;
    this.#unlabelled = unlabelled;
    host.append(this.#root);
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    const { photo, features, card } = state;
    this.#root.toggleAttribute("hidden", !photo);
    if (!photo) return;
    if (photo.url && this.#image.getAttribute("href") !== photo.url) this.#image.setAttribute("href", photo.url);
    this.#root.classList.toggle("plain-ground", !photo.url); // a job whose photo is not kept: the outline alone
    this.#image.setAttribute("width", String(photo.width));
    this.#image.setAttribute("height", String(photo.height));
    this.#panzoom.setSize(photo.width, photo.height);
    this.showCard(card?.corners ?? []);
    this.#broken.replaceChildren(...(state.broken ?? []).map((d) => svg("path", { class: "fracture", d })));
    const edge = (/** @type {"upper" | "lower"} */ which) =>
      (state.edges?.[which] ?? []).map((d) => svg("path", { class: `edge-${which}`, d }));
    this.#edges.replaceChildren(...edge("upper"), ...edge("lower"));
    this.#unseen.replaceChildren(...(state.stretches ?? []).map((d) => svg("path", { class: "stretch", d })));
    const key = JSON.stringify(features);
    if (key !== this.#key) {
      this.#key = key;
      this.#features = features;
      this.#drawLines();
    }
    this.moved();
  }

  /** @param {boolean} on */
  hide(on) {
    this.#root.toggleAttribute("hidden", on);
  }

  /** @param {Point[]} corners */
  showCard(corners) {
    this.#cardLine.setAttribute("points", corners.map((c) => c.join(",")).join(" "));
  }

  /**
   * Jaws of the caliper: those of a reading that is asked for, and of those that were taken.
   * @param {{ asked: import("./types.js").Jaw[], taken: import("./types.js").Reading[] }} shown
   */
  showJaws({ asked, taken }) {
    const path = (/** @type {string} */ name) => (/** @type {import("./types.js").Jaw} */ jaw) =>
      svg("path", { class: `jaw ${name}${jaw.hidden ? " under" : ""}`, d: jaw.path });
    this.#jaws.replaceChildren(
      ...taken.flatMap((r) => (r.jaws ?? []).map(path(r.verdict === "suspect" ? "taken suspect" : "taken"))),
      ...asked.map(path("asked")),
    );
  }

  /**
   * Have something drawn over the picture, in its pixels.
   * @param {SVGElement} node
   */
  lay(node) {
    this.#over.append(node);
  }

  /**
   * Show what can be taken hold of, in pixels of the screen.
   * @param {SVGElement[]} handles
   */
  showHandles(handles) {
    this.#handles.replaceChildren(...handles);
  }

  /**
   * @param {string[]} picked
   * @param {string[]} wanted
   */
  mark(picked, wanted) {
    this.#picked = picked;
    this.#wanted = wanted;
    this.moved();
  }

  /**
   * Box of the outline in the picture; of the whole picture where there is none.
   * @returns {Box}
   */
  partBox() {
    const boxes = [...this.#spans.values()].map((s) => s.box);
    if (!boxes.length) return [0, 0, ...this.#panzoom.size];
    const least = (/** @type {0 | 1} */ i) => Math.min(...boxes.map((b) => b[i]));
    const most = (/** @type {2 | 3} */ i) => Math.max(...boxes.map((b) => b[i]));
    return [least(0), least(1), most(2), most(3)];
  }

  moved() {
    const { x, y, k } = this.#panzoom.view;
    this.#world.setAttribute("transform", `translate(${x} ${y}) scale(${k})`);
    for (const f of this.#features) this.#nodes.get(f.label)?.setAttribute("class", `feature ${this.#marksOf(f)}`);
    this.#shiftTags();
  }

  #drawLines() {
    this.#nodes = new Map();
    for (const f of this.#features) {
      const paths = ["trail-case", "trail", "trail-grip"].map((name) => svg("path", { class: name, d: f.path }));
      this.#nodes.set(f.label, svg("g", { class: "feature", "data-label": f.label }, ...paths));
    }
    this.#lines.replaceChildren(...this.#nodes.values());
    this.#spans = new Map([...this.#nodes].map(([label, node]) => [label, spanOf(node)]));
    // Small features lie over large ones, so that each can be touched.
    const bySize = [...this.#nodes].sort(([a], [b]) => this.#spanOf(b).length - this.#spanOf(a).length);
    this.#lines.append(...bySize.map(([, node]) => node));
    this.#centres = centresOf(this.#features.map((f) => [f.loop, this.#spanOf(f.label)]));
  }

  /** @param {string} label */
  #spanOf(label) {
    return /** @type {Span} */ (this.#spans.get(label));
  }

  /** @param {Feature} f */
  #marksOf(f) {
    const picked = this.#picked.includes(f.label) ? "picked" : "";
    const wanted = this.#wanted.includes(f.label) ? "wanted" : "";
    return `${f.kind} ${f.origin} ${picked} ${wanted}`;
  }

  /** While the picture is only moved its labels go along; they find new places when it rests. */
  #shiftTags() {
    const { x, y, k } = this.#panzoom.view;
    const laid = this.#laid;
    const along = laid?.k === k && laid.marks === this.#marks();
    if (along) this.#tags.setAttribute("transform", `translate(${x - laid.x} ${y - laid.y})`);
    cancelAnimationFrame(this.#frame);
    clearTimeout(this.#settling);
    if (along) this.#settling = setTimeout(() => this.#drawTags(), SETTLE_MS);
    else this.#frame = requestAnimationFrame(() => this.#drawTags());
  }

  #marks() {
    return `${this.#key.length} ${this.#picked} ${this.#wanted}`;
  }

  /**
   * As many as find room round the part at this size, the largest first.
   * @param {import("./declutter.js").Wish[]} wishes
   */
  #fewer(wishes) {
    const [x0, y0, x1, y1] = this.partBox();
    const most = Math.floor((2 * this.#panzoom.view.k * (x1 - x0 + y1 - y0)) / LABEL_EVERY);
    return [...wishes]
      .sort((a, b) => Number(b.must) - Number(a.must) || b.weight - a.weight)
      .filter((w, i) => w.must || i < most);
  }

  /**
   * Where the buttons for zooming and the words about labels lie.
   * @returns {Box[]}
   */
  #keptFree() {
    const { left, top } = this.#panzoom.box();
    const shown = this.#covers.map((e) => e.getBoundingClientRect()).filter((b) => b.width);
    return shown.map((b) => [b.left - left - 4, b.top - top - 4, b.right - left + 4, b.bottom - top + 4]);
  }

  #drawTags() {
    const before = this.#keptFree().length;
    this.#layTags();
    if (this.#keptFree().length > before) this.#layTags(); // the words came up: no label under them
  }

  #layTags() {
    this.#laid = { ...this.#panzoom.view, marks: this.#marks() };
    this.#tags.setAttribute("transform", "");
    const em = parseFloat(getComputedStyle(document.documentElement).fontSize);
    const { width, height } = this.#panzoom.box();
    const seen = this.#features.filter((f) => {
      const [x, y] = this.#panzoom.toScreen(this.#spanOf(f.label).middle);
      const rim = AWAY_FROM_EDGE;
      return x > -rim && y > -rim && x < width + rim && y < height + rim;
    });
    const wishes = seen.map((f) => this.#wishOf(f, em));
    const lines = seen.flatMap((f) => this.#spanOf(f.label).points.map((p) => this.#panzoom.toScreen(p)));
    const places = place(this.#fewer(wishes), [width, height], LABEL_HEIGHT * em, lines, this.#keptFree());
    /** @type {SVGElement[]} */
    const leaders = [];
    const tags = wishes.map((w, i) => {
      const c = places.get(w.key);
      const tag = { class: `tag ${this.#marksOf(seen[i])}`, "data-label": w.key };
      if (!c) {
        return svg(
          "g",
          { ...tag, class: `tag dot ${this.#marksOf(seen[i])}` },
          svg("circle", { ...centre(w.at), r: 4 }),
        );
      }
      const line = { x1: w.at[0], y1: w.at[1], x2: c[0], y2: c[1] };
      leaders.push(svg("line", { class: "leader-case", ...line }), svg("line", { class: "leader", ...line }));
      const tall = LABEL_HEIGHT * em;
      const frame = { x: c[0] - w.width / 2, y: c[1] - tall / 2, width: w.width, height: tall, rx: 6 };
      return svg("g", tag, svg("rect", frame), svg("text", { x: c[0], y: c[1] + 6 }, w.key));
    });
    this.#tags.replaceChildren(svg("g", { class: "leaders" }, ...leaders), ...tags);
    this.#unlabelled(wishes.filter((w) => !places.get(w.key)).length);
  }

  /**
   * @param {Feature} f
   * @param {number} em px of the screen
   * @returns {import("./declutter.js").Wish}
   */
  #wishOf(f, em) {
    const span = this.#spanOf(f.label);
    return {
      key: f.label,
      at: this.#panzoom.toScreen(span.middle),
      out: outward(span, this.#centres.get(f.loop) ?? span.middle),
      width: (LABEL_PADDING + LABEL_LETTER * f.label.length) * em,
      weight: span.length + (f.kind === "circle" ? 1e4 : 0),
      must: this.#picked.includes(f.label) || this.#wanted.includes(f.label),
    };
  }
}

/** @param {Point} at */
const centre = ([x, y]) => ({ cx: x, cy: y });

/**
 * @typedef {object} Span a feature's path in the picture
 * @property {number} length
 * @property {Point[]} points
 * @property {Point} middle
 * @property {Point} before the middle, by a twentieth of the length
 * @property {Point} after the middle, by as much
 * @property {Box} box
 */

/**
 * @param {SVGGElement} node
 * @returns {Span}
 */
function spanOf(node) {
  const path = /** @type {SVGPathElement} */ (node.lastChild);
  const length = path.getTotalLength();
  const at = (/** @type {number} */ share) => {
    const p = path.getPointAtLength(length * share);
    return /** @type {Point} */ ([p.x, p.y]);
  };
  const b = path.getBBox();
  const points = Array.from({ length: 9 }, (_, i) => at(i / 8));
  const box = /** @type {Box} */ ([b.x, b.y, b.x + b.width, b.y + b.height]);
  return { length, points, middle: at(0.5), before: at(0.45), after: at(0.55), box };
}

/**
 * Centre of each loop.
 * @param {[number, Span][]} spans each with its loop
 */
function centresOf(spans) {
  /** @type {Map<number, [number, number, number]>} */
  const sums = new Map();
  for (const [loop, { middle, length }] of spans) {
    const [x, y, n] = sums.get(loop) ?? [0, 0, 0];
    sums.set(loop, [x + middle[0] * length, y + middle[1] * length, n + length]);
  }
  return new Map([...sums].map(([loop, [x, y, n]]) => [loop, /** @type {Point} */ ([x / n, y / n])]));
}

/**
 * Square to the feature, away from its loop's centre.
 * @param {Span} span
 * @param {Point} centreOfLoop
 * @returns {Point}
 */
function outward({ before, middle, after }, centreOfLoop) {
  const normal = [after[1] - before[1], before[0] - after[0]];
  const side = normal[0] * (middle[0] - centreOfLoop[0]) + normal[1] * (middle[1] - centreOfLoop[1]) >= 0 ? 1 : -1;
  return [normal[0] * side, normal[1] * side];
}
