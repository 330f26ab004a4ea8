// What concerns printing: the printer's own figures, thin places, snap hooks.
import { attempt, get, post } from "./api.js";
import { byId, el, inputOf, selectOf, unbroken } from "./dom.js";

const FIGURES = /** @type {const} */ (["undercut", "length", "thick", "width"]);
const CHOICES = /** @type {const} */ (["material", "layers", "assemblies"]);

/** @typedef {{ number: number, words: string, nominal_mm: number }} TestSize */
/** @typedef {{ printers: string[], sizes: TestSize[], least: number }} Printers */

export class Workshop {
  #path;

  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.#path = store.path;
    onSubmit("printer", () => keepPrinter());
    onSubmit("thin", () => this.#findThin());
    onSubmit("hook", () => judgeHook());
    byId("printing").addEventListener("toggle", () => listPrinters(), { once: true });
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    byId("thin").hidden = state.subject === "opening" || !state.features.length;
  }

  async #findThin() {
    const asked = `${this.#path}/thin?limit=${encodeURIComponent(inputOf("thin-limit").value)}`;
    const found = await attempt(() => get(asked), wrong("thin"));
    byId("thin-sketch").hidden = !found;
    if (found) tell("thin", [...found.lines, ...found.cautions]);
  }
}

/**
 * @param {string} what
 * @param {() => Promise<void>} work
 */
function onSubmit(what, work) {
  byId(`${what}-form`).addEventListener("submit", async (e) => {
    e.preventDefault();
    wrong(what)("");
    tell(what, []);
    await work();
  });
}

/** @param {string} what */
const wrong = (what) => (/** @type {string} */ text) => {
  byId(`${what}-wrong`).textContent = text;
};

/**
 * @param {string} what
 * @param {string[]} lines
 */
function tell(what, lines) {
  byId(`${what}-found`).replaceChildren(...lines.map((line) => el("li", {}, unbroken(line))));
}

async function listPrinters() {
  /** @type {Printers | null} */
  const known = await attempt(() => get("/api/printers"), wrong("printer"));
  if (!known) return;
  offer(known.printers, "");
  byId("printer-sizes").replaceChildren(...known.sizes.map(size));
}

/**
 * @param {string[]} printers
 * @param {string} chosen
 */
function offer(printers, chosen) {
  const select = selectOf("printer");
  const none = select.options[0];
  select.replaceChildren(none, ...printers.map((name) => el("option", { value: name }, name)));
  select.value = chosen;
}

/** @param {TestSize} s */
function size({ number, words }) {
  const id = `printer-size-${number}`;
  const field = el("input", { id, inputmode: "decimal", autocomplete: "off", "data-number": number });
  return el(
    "li",
    {},
    el("label", { for: id }, unbroken(words)),
    el("div", { class: "measure small" }, field, el("span", { class: "unit" }, "mm")),
  );
}

async function keepPrinter() {
  const fields = [...byId("printer-sizes").querySelectorAll("input")];
  const readings = Object.fromEntries(fields.map((f) => [f.dataset.number, f.value]));
  const kept = await attempt(
    () => post("/api/printers", { name: inputOf("printer-name").value, readings }),
    wrong("printer"),
  );
  if (!kept) return;
  offer(kept.printers, kept.name);
  tell("printer", kept.lines);
}

async function judgeHook() {
  const told = Object.fromEntries([
    ...FIGURES.map((key) => [key, inputOf(`hook-${key}`).value]),
    ...CHOICES.map((key) => [key, selectOf(`hook-${key}`).value]),
  ]);
  const found = await attempt(() => post("/api/clip", { told, taper: inputOf("hook-taper").checked }), wrong("hook"));
  if (found) tell("hook", [...found.lines, ...found.cautions]);
}
