// The arrow keys as directions.

/** @type {Record<string, import("./types.js").Point>} */
const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/**
 * Where an arrow key points, x right and y down; undefined for another key.
 * @param {KeyboardEvent} e
 * @returns {import("./types.js").Point | undefined}
 */
export const wayOf = (e) => WAYS[e.key];
