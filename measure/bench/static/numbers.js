// Numbers as people write them, and as they are shown: hundredths, as a caliper shows them and the drawing has them.

/**
 * The number in a text with decimal point or comma, or NaN.
 * @param {string} text
 */
export function parse(text) {
  const plain = text.trim().replace("−", "-").replace(",", ".");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
}

/** @param {number} mm */
export const value = (mm) => mm.toFixed(2);
/** @param {number} u95 */
export const plusMinus = (u95) => `± ${u95.toFixed(2)}`;

/**
 * A residual in words, to go before “what all else says”.
 * @param {number} residual mm
 */
export function apart(residual) {
  const far = Math.abs(residual);
  if (far < 0.005) return "exactly";
  return `${far.toFixed(far < 10 ? 2 : 1)} mm ${residual > 0 ? "over" : "under"}`;
}
