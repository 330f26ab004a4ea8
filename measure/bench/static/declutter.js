// Where labels go so that none lies on another: the most wanted first, each at the nearest free place beside its feature.

const GAPS = [16, 30, 48, 70];
const TURNS = [0, 0.6, -0.6, 1.2, -1.2, 2, -2, Math.PI];

const overlap = (a, b) => Math.max(0, Math.min(a[2], b[2]) - Math.max(a[0], b[0])) * Math.max(0, Math.min(a[3], b[3]) - Math.max(a[1], b[1]));

/**
 * @param {{ key: string, at: number[], out: number[], width: number, weight: number, must: boolean }[]} wishes
 *   screen positions, the direction that leads away from the material, larger weights first; `must` is shown whatever happens
 * @param {number[]} room width and height of the screen
 * @param {number} height of a label
 * @param {number[][]} lines points of what had better not be covered
 * @param {number[][]} kept boxes [left, top, right, bottom] of the screen that stay free
 * @returns {Map<string, number[] | null>} centre of each label, null where there is no room
 */
export function place(wishes, room, height, lines = [], kept = []) {
  const taken = [...kept];
  const placed = new Map();
  const order = [...wishes].sort((a, b) => Number(b.must) - Number(a.must) || b.weight - a.weight);
  const dots = lines.map(([x, y]) => [x - 3, y - 3, x + 3, y + 3]);
  for (const wish of order) {
    const base = Math.atan2(wish.out[1], wish.out[0]);
    let best = null;
    for (const gap of GAPS) {
      for (const turn of TURNS) {
        const a = base + turn;
        const reach = gap + Math.abs(Math.cos(a)) * (wish.width / 2) + Math.abs(Math.sin(a)) * (height / 2);
        const c = [wish.at[0] + Math.cos(a) * reach, wish.at[1] + Math.sin(a) * reach];
        const box = [c[0] - wish.width / 2 - 2, c[1] - height / 2 - 2, c[0] + wish.width / 2 + 2, c[1] + height / 2 + 2];
        if (box[0] < 0 || box[1] < 0 || box[2] > room[0] || box[3] > room[1]) continue;
        const clash = taken.reduce((sum, t) => sum + overlap(box, t), 0);
        const near = dots.reduce((sum, d) => sum + overlap(box, d), 0);
        const cost = clash * 100 + near + gap * 0.3 + Math.abs(turn) * 4;
        if (!best || cost < best.cost) best = { cost, clash, c, box };
      }
      if (best && best.clash === 0) break;
    }
    if (best && (best.clash === 0 || wish.must)) {
      taken.push(best.box);
      placed.set(wish.key, best.c);
    } else placed.set(wish.key, null);
  }
  return placed;
}
