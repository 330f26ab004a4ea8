// Short messages at the foot of the page, spoken by screen readers, gone after a while.
import { byId, el } from "./dom.js";

/**
 * @param {string} text
 * @param {number} seconds
 */
export function note(text, seconds = 6) {
  const line = el("p", {}, text);
  byId("notes").append(line);
  setTimeout(() => line.remove(), seconds * 1000);
}
