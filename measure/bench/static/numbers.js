// Numbers as people write them, and as they are shown: hundredths, as a caliper shows them and the drawing has them.
import { language, t } from "./words.js";

/**
 * The number in a text with decimal point or comma, or NaN.
 * @param {string} text
 */
export function parse(text) {
  const plain = text.trim().replace("−", "-").replace(",", ".");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
}

/**
 * Figures with a decimal point, as they are written here.
 * @param {string} figures
 */
export const decimals = (figures) => (language === "en" ? figures : figures.replaceAll(".", ","));
/** @param {number} mm */
export const value = (mm) => decimals(mm.toFixed(2));
/** @param {number} u95 */
export const plusMinus = (u95) => `± ${decimals(u95.toFixed(2))}`;

/**
 * How far a reading lies off, in words.
 * @param {number} residual mm
 */
export function apart(residual) {
  const far = Math.abs(residual);
  if (far < 0.005) return t("exactly what all else says");
  const mm = decimals(far.toFixed(far < 10 ? 2 : 1));
  return residual > 0 ? t("{mm} mm over what all else says", { mm }) : t("{mm} mm under what all else says", { mm });
}
