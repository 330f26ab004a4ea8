// Where labels go so that none lies on another: the most wanted first, each at the nearest free place by its feature.

/** @typedef {import("./types.js").Point} Point */
/** @typedef {import("./types.js").Box} Box */

const GAPS = [16, 30, 48, 70];
const TURNS = [0, 0.6, -0.6, 1.2, -1.2, 2, -2, Math.PI];

/**
 * @param {Box} a
 * @param {Box} b
 */
const overlap = (a, b) =>
  Math.max(0, Math.min(a[2], b[2]) - Math.max(a[0], b[0])) * Math.max(0, Math.min(a[3], b[3]) - Math.max(a[1], b[1]));

/**
 * @typedef {object} Wish a label that is to be placed
 * @property {string} key
 * @property {Point} at on the screen
 * @property {Point} out the direction that leads away from the material
 * @property {number} width
 * @property {number} weight larger ones come first
 * @property {boolean} must is shown whatever happens
 */

/**
 * @param {Wish[]} wishes
 * @param {[number, number]} room width and height of the screen
 * @param {number} height of a label
 * @param {Point[]} lines what had better not be covered
 * @param {Box[]} kept parts of the screen that stay free
 * @returns {Map<string, Point | null>} centre of each label, null where there is no room
 */
export function place(wishes, room, height, lines = [], kept = []) {
  const taken = [...kept];
  /** @type {Map<string, Point | null>} */
  const placed = new Map();
  const order = [...wishes].sort((a, b) => Number(b.must) - Number(a.must) || b.weight - a.weight);
  const dots = lines.map(([x, y]) => /** @type {Box} */ ([x - 3, y - 3, x + 3, y + 3]));
  for (const wish of order) {
    const best = nearestPlace(wish, room, height, dots, taken);
    if (best && (best.clash === 0 || wish.must)) {
      taken.push(best.box);
      placed.set(wish.key, best.c);
    } else placed.set(wish.key, null);
  }
  return placed;
}

/**
 * @param {Wish} wish
 * @param {[number, number]} room
 * @param {number} height
 * @param {Box[]} dots
 * @param {Box[]} taken
 * @returns {{ cost: number, clash: number, c: Point, box: Box } | null}
 */
function nearestPlace(wish, room, height, dots, taken) {
  const base = Math.atan2(wish.out[1], wish.out[0]);
  /** @type {ReturnType<typeof nearestPlace>} */
  let best = null;
  for (const gap of GAPS) {
    for (const turn of TURNS) {
      const a = base + turn;
      const reach = gap + Math.abs(Math.cos(a)) * (wish.width / 2) + Math.abs(Math.sin(a)) * (height / 2);
      /** @type {Point} */
      const c = [wish.at[0] + Math.cos(a) * reach, wish.at[1] + Math.sin(a) * reach];
      const [across, along] = [wish.width / 2 + 2, height / 2 + 2];
      /** @type {Box} */
      const box = [c[0] - across, c[1] - along, c[0] + across, c[1] + along];
      if (box[0] < 0 || box[1] < 0 || box[2] > room[0] || box[3] > room[1]) continue;
      const clash = taken.reduce((sum, t) => sum + overlap(box, t), 0);
      const near = dots.reduce((sum, d) => sum + overlap(box, d), 0);
      const cost = clash * 100 + near + gap * 0.3 + Math.abs(turn) * 4;
      if (!best || cost < best.cost) best = { cost, clash, c, box };
    }
    if (best?.clash === 0) break;
  }
  return best;
}
