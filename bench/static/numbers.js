// Numbers as people write them, and as they are shown: never more decimals than the uncertainty bears.

/** The number in a text with decimal point or comma, or NaN. */
export function parse(text) {
  const plain = text.trim().replace("−", "-").replace(",", ".");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
}

/** Decimals that an uncertainty leaves: 2 for 0.02 to 0.19, 1 from 0.2 on. */
export const decimals = (u95) => (u95 >= 2 ? 0 : u95 >= 0.2 ? 1 : u95 >= 0.02 ? 2 : 3);

export const value = (mm, u95) => mm.toFixed(decimals(u95));
export const plusMinus = (u95) => `± ${u95.toFixed(Math.max(2, decimals(u95)))}`;

/** A residual in words: which way, and how far. */
export function apart(residual) {
  const far = Math.abs(residual);
  const size = far < 0.005 ? "less than 0.01" : far.toFixed(far < 10 ? 2 : 1);
  return far < 0.005 ? `${size} mm apart` : `${size} mm ${residual > 0 ? "more" : "less"}`;
}
