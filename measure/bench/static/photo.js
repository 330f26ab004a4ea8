// The photo with outline, labels and card over it.
import { place } from "./declutter.js";
import { svg } from "./dom.js";

const LABEL_HEIGHT = 1.45; // of the page's letters, as large as the person wants them, like the next two
const LABEL_LETTER = 0.61;
const LABEL_PADDING = 0.78;
const AWAY_FROM_EDGE = 24;
const LABEL_EVERY = 34; // px of the outline's box: a part that is shown small gets its largest features' labels only
const SETTLE_MS = 120;

export class Photo {
  /**
   * @param {HTMLElement} host
   * @param {import("./panzoom.js").PanZoom} panzoom
   * @param {Element[]} covers what lies over the picture, where no label may be
   * @param {(hidden: number) => void} unlabelled told how many labels found no room
   */
  constructor(host, panzoom, covers, unlabelled) {
    this.covers = covers;
    this.panzoom = panzoom;
    this.unlabelled = unlabelled;
    this.image = svg("image", { preserveAspectRatio: "none" });
    this.cardLine = svg("polygon", { class: "card-line" });
    this.lines = svg("g");
    this.broken = svg("g"); // the fracture as seen, where the outline was completed
    this.over = svg("g");
    this.world = svg("g", { id: "world" }, this.image, this.cardLine, this.broken, this.lines, this.over);
    this.tags = svg("g");
    this.handles = svg("g");
    this.root = svg("svg", { role: "group", "aria-label": "The photo with the outline that was found" }, this.world, this.tags, this.handles);
    host.append(this.root);
    this.features = [];
    this.picked = [];
    this.wanted = [];
    this.nodes = new Map();
  }

  show(state) {
    const { photo, features, card } = state;
    this.root.toggleAttribute("hidden", !photo);
    if (!photo) return;
    if (photo.url && this.image.getAttribute("href") !== photo.url) this.image.setAttribute("href", photo.url);
    this.root.classList.toggle("plain-ground", !photo.url); // a job whose photo is not kept: the outline alone
    this.image.setAttribute("width", photo.width);
    this.image.setAttribute("height", photo.height);
    this.panzoom.setSize(photo.width, photo.height);
    this.showCard(card?.corners);
    this.broken.replaceChildren(...(state.broken ?? []).map((d) => svg("path", { class: "fracture", d })));
    const key = JSON.stringify(features);
    if (key !== this.key) {
      this.key = key;
      this.features = features;
      this.drawLines();
    }
    this.moved();
  }

  showCard(corners) {
    this.cardLine.setAttribute("points", (corners ?? []).map((c) => c.join(",")).join(" "));
  }

  drawLines() {
    this.nodes = new Map();
    this.lines.replaceChildren(
      ...this.features.map((f) => {
        const node = svg(
          "g",
          { class: "feature", "data-label": f.label },
          svg("path", { class: "trail-case", d: f.path }),
          svg("path", { class: "trail", d: f.path }),
          svg("path", { class: "trail-grip", d: f.path }),
        );
        this.nodes.set(f.label, node);
        return node;
      }),
    );
    for (const f of this.features) f.span = spanOf(this.nodes.get(f.label).lastChild);
    // Small features lie over large ones, so that each can be touched.
    for (const f of [...this.features].sort((a, b) => b.span.length - a.span.length)) this.lines.append(this.nodes.get(f.label));
    this.centres = centresOf(this.features);
  }

  mark(picked, wanted) {
    this.picked = picked;
    this.wanted = wanted;
    this.moved();
  }

  /** Box of the outline in the picture; of the whole picture where there is none. */
  partBox() {
    const boxes = this.features.map((f) => f.span.box);
    if (!boxes.length) return [0, 0, ...this.panzoom.size];
    return [0, 1].map((i) => Math.min(...boxes.map((b) => b[i]))).concat([2, 3].map((i) => Math.max(...boxes.map((b) => b[i]))));
  }

  moved() {
    const { x, y, k } = this.panzoom.view;
    this.world.setAttribute("transform", `translate(${x} ${y}) scale(${k})`);
    for (const f of this.features) {
      const marks = `${f.kind} ${f.origin} ${this.picked.includes(f.label) ? "picked" : ""} ${this.wanted.includes(f.label) ? "wanted" : ""}`;
      this.nodes.get(f.label)?.setAttribute("class", `feature ${marks}`);
    }
    this.shiftTags(x, y, k);
  }

  /** While the picture is only moved its labels go along; they find new places when it rests. */
  shiftTags(x, y, k) {
    const laid = this.laid;
    const along = laid?.k === k && laid.marks === this.marks();
    if (along) this.tags.setAttribute("transform", `translate(${x - laid.x} ${y - laid.y})`);
    cancelAnimationFrame(this.frame);
    clearTimeout(this.settling);
    if (along) this.settling = setTimeout(() => this.drawTags(), SETTLE_MS);
    else this.frame = requestAnimationFrame(() => this.drawTags());
  }

  marks() {
    return `${this.key?.length} ${this.picked} ${this.wanted}`;
  }

  /** As many as find room round the part at this size, the largest first. */
  fewer(wishes) {
    const [x0, y0, x1, y1] = this.partBox();
    const most = Math.floor((2 * this.panzoom.view.k * (x1 - x0 + y1 - y0)) / LABEL_EVERY);
    return [...wishes].sort((a, b) => Number(b.must) - Number(a.must) || b.weight - a.weight).filter((w, i) => w.must || i < most);
  }

  /** Where the buttons for zooming and the words about labels lie. */
  keptFree(box) {
    const shown = this.covers.map((e) => e.getBoundingClientRect()).filter((b) => b.width);
    return shown.map((b) => [b.left - box.left - 4, b.top - box.top - 4, b.right - box.left + 4, b.bottom - box.top + 4]);
  }

  drawTags() {
    const before = this.keptFree(this.panzoom.box()).length;
    this.layTags();
    if (this.keptFree(this.panzoom.box()).length > before) this.layTags(); // the words came up: no label under them
  }

  layTags() {
    const em = parseFloat(getComputedStyle(document.documentElement).fontSize);
    const height = LABEL_HEIGHT * em;
    this.laid = { ...this.panzoom.view, marks: this.marks() };
    this.tags.setAttribute("transform", "");
    const box = this.panzoom.box();
    const room = [box.width, box.height];
    const seen = this.features.filter((f) => {
      const [sx, sy] = this.panzoom.toScreen(f.span.middle);
      return sx > -AWAY_FROM_EDGE && sy > -AWAY_FROM_EDGE && sx < room[0] + AWAY_FROM_EDGE && sy < room[1] + AWAY_FROM_EDGE;
    });
    const wishes = seen.map((f) => ({
      key: f.label,
      at: this.panzoom.toScreen(f.span.middle),
      out: outward(f, this.centres),
      width: (LABEL_PADDING + LABEL_LETTER * f.label.length) * em,
      weight: f.span.length + (f.kind === "circle" ? 1e4 : 0),
      must: this.picked.includes(f.label) || this.wanted.includes(f.label),
    }));
    const lines = seen.flatMap((f) => f.span.points.map((p) => this.panzoom.toScreen(p)));
    const where = place(this.fewer(wishes), room, height, lines, this.keptFree(box));
    const leaders = [];
    const tags = wishes.map((w) => {
      const c = where.get(w.key);
      const marks = this.nodes.get(w.key).getAttribute("class").replace("feature", "");
      if (!c) return svg("g", { class: `tag dot${marks}`, "data-label": w.key }, svg("circle", { cx: w.at[0], cy: w.at[1], r: 4 }));
      const line = { x1: w.at[0], y1: w.at[1], x2: c[0], y2: c[1] };
      leaders.push(svg("line", { class: "leader-case", ...line }), svg("line", { class: "leader", ...line }));
      const box = { x: c[0] - w.width / 2, y: c[1] - height / 2, width: w.width, height, rx: 6 };
      return svg("g", { class: `tag${marks}`, "data-label": w.key }, svg("rect", box), textAt(w.key, c));
    });
    this.tags.replaceChildren(svg("g", { class: "leaders" }, ...leaders), ...tags);
    const hidden = wishes.filter((w) => !where.get(w.key)).length;
    this.unlabelled(hidden);
  }
}

function textAt(words, [x, y]) {
  const node = svg("text", { x, y: y + 6 });
  node.textContent = words;
  return node;
}

/** Length, middle, direction and box of a path in the picture. */
function spanOf(path) {
  const length = path.getTotalLength();
  const at = (share) => {
    const p = path.getPointAtLength(length * share);
    return [p.x, p.y];
  };
  const b = path.getBBox();
  const points = Array.from({ length: 9 }, (_, i) => at(i / 8));
  return { length, points, middle: at(0.5), before: at(0.45), after: at(0.55), box: [b.x, b.y, b.x + b.width, b.y + b.height] };
}

function centresOf(features) {
  const sums = new Map();
  for (const f of features) {
    const s = sums.get(f.loop) ?? [0, 0, 0];
    const weight = f.span.length;
    sums.set(f.loop, [s[0] + f.span.middle[0] * weight, s[1] + f.span.middle[1] * weight, s[2] + weight]);
  }
  return new Map([...sums].map(([loop, [x, y, n]]) => [loop, [x / n, y / n]]));
}

/** Square to the feature, away from the material: out of the outer loop, and out of a hole into the material only where that is all the room. */
function outward(f, centres) {
  const [tx, ty] = [f.span.after[0] - f.span.before[0], f.span.after[1] - f.span.before[1]];
  const centre = centres.get(f.loop);
  const away = [f.span.middle[0] - centre[0], f.span.middle[1] - centre[1]];
  const normal = [ty, -tx];
  const side = normal[0] * away[0] + normal[1] * away[1] >= 0 ? 1 : -1;
  return [normal[0] * side, normal[1] * side];
}
