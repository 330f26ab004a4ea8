// The drawing's side of the page: sizes with their uncertainties, files to take along, revisions.
import { attempt, post } from "./api.js";
import { byId, el, unbroken } from "./dom.js";
import { plusMinus, value } from "./numbers.js";

const BASIS = { photo: "photo", caliper: "caliper", both: "both" };
const ROUGH_MM = 0.1;

export class Drawing {
  /**
   * @param {import("./store.js").Store} store
   * @param {import("./sheets.js").Sheets} sheets
   */
  constructor(store, sheets) {
    Object.assign(this, { store, sheets });
    for (const b of document.querySelectorAll("[data-what]")) b.addEventListener("click", () => this.make(b));
    for (const r of document.querySelectorAll("[name=compare]")) r.addEventListener("change", () => this.compare());
    byId("earlier").addEventListener("change", () => this.compare());
    byId("slide").addEventListener("input", (e) => this.sheets.slide(Number(e.target.value)));
  }

  show(state, before) {
    const ready = state.features.length > 0;
    for (const b of document.querySelectorAll("[data-what]")) b.disabled = !ready;
    this.showSizes(state, before);
    this.showRevisions(state);
    if (ready) this.sheets.show(`${this.store.path}/sketch.svg?v=${state.revision}`);
  }

  showSizes(state, before) {
    const was = new Map((before?.dimensions ?? []).map((d) => [nameOf(d), d]));
    byId("sizes").replaceChildren(
      ...state.dimensions.map((d) => {
        const [size, ...rest] = (d.figures ?? value(d.value_mm)).split(" ");
        const old = was.get(nameOf(d));
        const changed = old && (Math.abs(old.value_mm - d.value_mm) > 0.004 || Math.abs(old.u95_mm - d.u95_mm) > 0.004);
        return el(
          "tr",
          { class: `${changed ? "changed" : ""} ${d.u95_mm > ROUGH_MM ? "rough" : ""}`.trim() || null },
          el("td", {}, unbroken(d.words ?? nameOf(d))),
          el("td", { class: "n" }, size),
          el("td", { class: "u" }, rest.join(" ") || plusMinus(d.u95_mm)),
          el("td", { class: "soft" }, BASIS[d.basis] ?? d.basis),
        );
      }),
    );
  }

  showRevisions(state) {
    const revisions = state.revisions ?? [];
    byId("compare").hidden = !revisions.length;
    const chosen = byId("earlier").value;
    byId("earlier").replaceChildren(...revisions.map((r) => el("option", { value: r.n }, `${r.n} · ${r.words ?? ""} ${clock(r.at)}`)));
    if (revisions.some((r) => String(r.n) === chosen)) byId("earlier").value = chosen;
    if (!revisions.length) this.sheets.compare("off", null);
  }

  compare() {
    const how = document.querySelector("[name=compare]:checked").value;
    byId("slide").hidden = byId("slide-label").hidden = how !== "slide";
    byId("compare-key").hidden = how !== "over";
    this.sheets.compare(how, `${this.store.path}/revisions/${encodeURIComponent(byId("earlier").value)}.svg`);
  }

  async make(button) {
    const { what, file } = button.dataset;
    const fit = document.querySelector("[name=fit]:checked").value;
    const options = what === "fit" ? { as: fit } : {};
    byId("make-wrong").textContent = "";
    button.disabled = true;
    button.setAttribute("aria-busy", "true");
    const made = await attempt(
      () => post(`${this.store.path}/make`, { what, options }),
      (text) => (byId("make-wrong").textContent = text),
    );
    button.disabled = false;
    button.removeAttribute("aria-busy");
    button.focus({ preventScroll: true });
    if (!made) return;
    byId("made").replaceChildren(...made.files.map((f) => el("li", {}, el("a", { href: f.url, download: f.name }, f.name))));
    const wanted = made.files.find((f) => f.name.endsWith(`.${file}`)) ?? made.files[0];
    [...byId("made").querySelectorAll("a")].find((a) => a.textContent === wanted.name).click();
  }
}

const nameOf = (d) => `${d.kind} ${d.features.join("–")}`;

function clock(at) {
  const when = new Date(typeof at === "number" ? at * 1000 : at); // seconds of the epoch
  return Number.isNaN(when.getTime()) ? "" : when.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
}
