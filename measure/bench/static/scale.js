// What gives the scale, where somebody says so: a name, a size of one's own, or the printed sheet's bars.
import { byId, inputOf, selectOf } from "./dom.js";

/** @typedef {{ reference: string, tolerance: string, bar_x: string, bar_y: string }} Scale */

const OWN = "own";

/** Have the fields that go with a choice come and go. */
export function watchScale() {
  selectOf("reference").addEventListener("change", show);
}

function show() {
  const chosen = selectOf("reference").value;
  byId("scale-own").hidden = chosen !== OWN;
  byId("scale-sheet").hidden = chosen !== "sheet";
}

/** @returns {Scale} as it is sent */
export function scale() {
  const chosen = selectOf("reference").value;
  const of = (/** @type {string} */ id, /** @type {boolean} */ on) => (on ? inputOf(id).value.trim() : "");
  return {
    reference: chosen === OWN ? inputOf("own-size").value.trim() || "0x0" : chosen,
    tolerance: of("own-tolerance", chosen === OWN),
    bar_x: of("bar-x", chosen === "sheet"),
    bar_y: of("bar-y", chosen === "sheet"),
  };
}

/** @param {Scale} known */
export function showScale(known) {
  const select = selectOf("reference");
  const named = [...select.options].some((o) => o.value === known.reference);
  select.value = named ? known.reference : OWN;
  inputOf("own-size").value = named ? "" : known.reference;
  inputOf("own-tolerance").value = known.tolerance;
  inputOf("bar-x").value = known.bar_x;
  inputOf("bar-y").value = known.bar_y;
  if (known.reference) byId("scale", HTMLDetailsElement).open = true;
  show();
}
