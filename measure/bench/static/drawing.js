// The drawing's side of the page: sizes with their uncertainties, files to take along, revisions.
import { attempt } from "./api.js";
import { byId, chosenOf, el, inputOf, radiosOf, selectOf, unbroken } from "./dom.js";
import { decimals, plusMinus, value } from "./numbers.js";
import { kindOf, language, t } from "./words.js";

/** @typedef {import("./types.js").State} State */
/** @typedef {import("./types.js").Dimension} Dimension */

/** @type {Record<string, string>} */
const BASES = { photo: t("photo"), caliper: t("caliper"), both: t("photo and caliper") };
const ROUGH_MM = 0.1;
const CHANGED_MM = 0.004; // what shows in hundredths

export class Drawing {
  #store;
  #sheets;
  /** @type {State["revisions"]} */
  #revisions = [];
  /** @type {HTMLButtonElement[]} */
  #makers = [...document.querySelectorAll("button")].filter((b) => b.dataset.what);

  /**
   * @param {import("./store.js").Store} store
   * @param {import("./sheets.js").Sheets} sheets
   */
  constructor(store, sheets) {
    this.#store = store;
    this.#sheets = sheets;
    for (const b of this.#makers) b.addEventListener("click", () => this.#make(b));
    for (const r of radiosOf("compare")) r.addEventListener("change", () => this.#compare());
    byId("earlier").addEventListener("change", () => this.#compare());
    byId("over-photo").addEventListener("change", () => this.#lay());
    byId("slide").addEventListener("input", () => sheets.slide(Number(inputOf("slide").value)));
  }

  /**
   * @param {State} state
   * @param {State | null} before
   */
  show(state, before) {
    const ready = state.features.length > 0;
    for (const b of this.#makers) b.disabled = !ready;
    const was = new Map((before?.dimensions ?? []).map((d) => [nameOf(d), d]));
    byId("sizes").replaceChildren(...state.dimensions.map((d) => row(d, was.get(nameOf(d)))));
    this.#showRevisions(state.revisions);
    byId("over-photo-row").hidden = !state.photo?.url || state.fragments === 2; // the second piece lies elsewhere in it
    if (ready) this.#lay();
  }

  /** The drawing as it is now, over the photo where that is wanted. */
  #lay() {
    const over = inputOf("over-photo").checked;
    byId("over-photo-words").hidden = !over;
    const way = over ? "&over=photo" : "";
    this.#sheets.show(`${this.#store.path}/sketch.svg?v=${this.#store.state?.revision}${way}`);
  }

  /** @param {State["revisions"]} revisions */
  #showRevisions(revisions) {
    byId("compare").hidden = !revisions.length;
    const earlier = selectOf("earlier");
    const chosen = earlier.value;
    earlier.replaceChildren(
      ...revisions.map((r) => el("option", { value: r.n }, `${r.n} · ${r.words} ${clock(r.at)}`)),
    );
    if (revisions.some((r) => String(r.n) === chosen)) earlier.value = chosen;
    this.#revisions = revisions;
    this.#showFiles();
    if (!revisions.length) this.#sheets.compare("off");
  }

  /** The files of the earlier drawing that is chosen. */
  #showFiles() {
    const chosen = this.#revisions.find((r) => String(r.n) === selectOf("earlier").value);
    byId("earlier-files").replaceChildren(
      ...(chosen?.files ?? []).map((f) => el("li", {}, el("a", { href: f.url, download: f.name }, f.name))),
    );
  }

  #compare() {
    this.#showFiles();
    const way = chosenOf("compare");
    byId("slide").hidden = byId("slide-label").hidden = way !== "slide";
    byId("compare-key").hidden = way !== "over";
    this.#sheets.compare(way, `${this.#store.path}/revisions/${encodeURIComponent(selectOf("earlier").value)}.svg`);
  }

  /** @param {HTMLButtonElement} button */
  async #make(button) {
    const { what, file } = button.dataset;
    const options = {
      ...(what === "fit" || "fit" in button.dataset ? { as: chosenOf("fit") } : {}),
      ...(what === "sketch" ? { thin: "thin" in button.dataset } : { printer: selectOf("printer").value }),
    };
    byId("make-wrong").textContent = "";
    button.disabled = true;
    button.setAttribute("aria-busy", "true");
    const made = await attempt(
      () => this.#store.make({ what, options }),
      (text) => {
        byId("make-wrong").textContent = text;
      },
    );
    button.disabled = false;
    button.removeAttribute("aria-busy");
    button.focus({ preventScroll: true });
    if (made) takeAlong(made.files, `.${file}`);
  }
}

/**
 * @param {Dimension} d
 * @param {Dimension} [old]
 */
function row(d, old) {
  const [size, ...rest] = (d.figures ? decimals(d.figures) : value(d.value_mm)).split(" ");
  const apart = old ? Math.max(Math.abs(old.value_mm - d.value_mm), Math.abs(old.u95_mm - d.u95_mm)) : 0;
  return el(
    "tr",
    { class: `${apart > CHANGED_MM ? "changed" : ""} ${d.u95_mm > ROUGH_MM ? "rough" : ""}`.trim() || null },
    el("td", {}, unbroken(d.words ?? nameOf(d))),
    el("td", { class: "n" }, size),
    el("td", { class: "u" }, rest.join(" ") || plusMinus(d.u95_mm)),
    el("td", { class: "soft" }, BASES[d.basis] ?? d.basis),
  );
}

/**
 * List files to be downloaded, and download the one that was asked for.
 * @param {{ name: string, url: string }[]} files
 * @param {string} ending
 */
function takeAlong(files, ending) {
  const links = files.map((f) => el("a", { href: f.url, download: f.name }, f.name));
  byId("made").replaceChildren(...links.map((a) => el("li", {}, a)));
  (links.find((a) => a.download.endsWith(ending)) ?? links[0]).click();
}

/** @param {Dimension} d */
const nameOf = (d) => `${kindOf(d.kind)} ${d.features.join("–")}`;

/** @param {string | number} at seconds of the epoch, or a date in words */
function clock(at) {
  const when = new Date(typeof at === "number" ? at * 1000 : at);
  return Number.isNaN(when.getTime()) ? "" : when.toLocaleTimeString(language, { hour: "2-digit", minute: "2-digit" });
}
