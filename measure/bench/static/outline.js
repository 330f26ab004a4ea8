// The outline as traced: how far it is, what was refused, and mending it by strokes, corners or another thickness.
import { attempt, busy, post } from "./api.js";
import { byId, el, icon } from "./dom.js";
import { parse } from "./numbers.js";

const WORDS = {
  look: "Drag moves the picture, wheel or two fingers zoom.",
  away: "Paint over what the line took in wrongly. By keys: on the picture, arrows move the pen, the space bar lowers and lifts it.",
  part: "Paint over what the line left out. By keys: on the picture, arrows move the pen, the space bar lowers and lifts it.",
  corners: "Drag each ring onto where the card’s sides would meet, or move it with Tab and arrow keys.",
};

export class Outline {
  /**
   * @param {import("./store.js").Store} store
   * @param {import("./strokes.js").Strokes} strokes
   * @param {import("./corners.js").Corners} corners
   */
  constructor(store, strokes, corners) {
    Object.assign(this, { store, strokes, corners });
    for (const radio of document.querySelectorAll("[name=tool]")) radio.addEventListener("change", () => this.use(radio.value));
    byId("stroke-back").addEventListener("click", () => strokes.back());
    byId("mend-clear").addEventListener("click", () => {
      strokes.clear();
      corners.forget();
      this.mended();
    });
    byId("retrace").addEventListener("submit", (e) => {
      e.preventDefault();
      this.again();
    });
    this.use("look");
  }

  use(tool) {
    this.tool = tool;
    document.querySelector(`[name=tool][value=${tool}]`).checked = true;
    byId("tool-words").textContent = WORDS[tool];
    this.strokes.paint(tool === "part" || tool === "away" ? tool : null);
    this.corners.show(tool === "corners");
    this.mended();
  }

  /** What has been mended can be taken back. */
  mended() {
    byId("mend-row").hidden = !this.strokes.all.length && !this.corners.byHand;
    byId("stroke-back").disabled = !this.strokes.all.length;
  }

  show(state, before) {
    const tracing = busy(state);
    const refused = !tracing && Boolean(state.refusal);
    const stands = state.features.length > 0; // a trace that was refused leaves the one before as it was
    byId("progress").hidden = !tracing;
    byId("progress-step").textContent = tracing ? (state.progress?.step ?? "Waiting for its turn") : "";
    byId("progress-share").value = state.progress?.share ?? 0;
    byId("refusal").hidden = !refused;
    byId("refusal-head").textContent = stands ? "Traced again it was refused: the line is the one before" : "This photo can’t be measured";
    byId("refusal-text").textContent = refused ? state.refusal.text : "";
    byId("look").hidden = tracing || !state.features.length;
    byId("mend").hidden = tracing || !state.photo;
    byId("mend-head").textContent = refused ? "Does it see the wrong thing? Show it where" : "Not quite? Show it where";
    byId("cautions").replaceChildren(...(tracing ? [] : state.cautions).map((c) => el("li", {}, icon("suspect"), el("span", {}, c.text))));
    if (!before || before.thickness_mm !== state.thickness_mm) byId("thickness").value = state.thickness_mm ?? "";
    if (!before || before.fragments !== state.fragments) byId("in-two").checked = state.fragments === 2;
    byId("in-two-row").hidden = state.subject !== "part";
    if (state.strokes && !same(before?.strokes, state.strokes)) this.strokes.load(state.strokes);
    if (tracing && this.tool !== "look") this.use("look");
    if (!tracing) this.corners.load(state.card?.corners ?? null, state.card_corners ?? null, refused);
    this.mended();
  }

  async again() {
    const thickness = byId("thickness").value;
    const wrong = byId("retrace-wrong");
    if (!(parse(thickness) >= 0)) {
      wrong.textContent = "Write the thickness in millimetres, such as 4.2.";
      byId("thickness").focus();
      return;
    }
    wrong.textContent = "";
    const { state } = this.store;
    this.store.tracing = true;
    const fragments = byId("in-two").checked ? 2 : 1;
    const asked = { thickness, subject: state.subject, fragments, strokes: this.strokes.plain(), card_corners: this.corners.plain(), revision: state.revision };
    const begun = await attempt(
      async () => {
        const answer = await this.store.change(() => post(`${this.store.path}/trace`, asked));
        await this.store.load();
        return answer;
      },
      (text) => (wrong.textContent = text),
    );
    if (!begun) this.store.tracing = false;
  }
}

const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);
