// The outline as traced: how far it is, what was refused, and mending it by strokes, corners or another thickness.
import { attempt, busy } from "./api.js";
import { buttonOf, byId, chosenOf, el, icon, inputOf, radiosOf, selectOf } from "./dom.js";
import { decimals, parse } from "./numbers.js";
import { scale, showScale, watchScale } from "./scale.js";
import { t } from "./words.js";

/** @typedef {import("./types.js").State} State */
/** @typedef {"look" | "away" | "part" | "hole" | "corners"} Tool */

const BY_KEYS = t("By keys: on the picture, arrows move the pen, the space bar lowers and lifts it.");
/** @type {Record<Tool, string>} */
const WORDS = {
  look: t("Drag moves the picture, wheel or two fingers zoom."),
  away: `${t("Paint over what the line took in wrongly.")} ${BY_KEYS}`,
  part: `${t("Paint over what the line left out.")} ${BY_KEYS}`,
  hole: t("Touch the middle of a hole that the line left out, then trace again."),
  corners: t("Drag each ring onto where the card’s sides would meet, or move it with Tab and arrow keys."),
};

export class Outline {
  #store;
  #strokes;
  #corners;
  /** @type {Tool} */
  #tool = "look";
  /** @type {State | null} how it was before what is painted now was traced */
  #painted = null;

  /**
   * @param {import("./store.js").Store} store
   * @param {import("./strokes.js").Strokes} strokes
   * @param {import("./corners.js").Corners} corners
   */
  constructor(store, strokes, corners) {
    this.#store = store;
    this.#strokes = strokes;
    this.#corners = corners;
    for (const radio of radiosOf("tool")) {
      radio.addEventListener("change", () => this.use(/** @type {Tool} */ (radio.value)));
    }
    byId("stroke-back").addEventListener("click", () => strokes.back());
    byId("mend-clear").addEventListener("click", () => {
      strokes.clear();
      corners.forget();
      this.mended();
    });
    for (const radio of radiosOf("subject")) radio.addEventListener("change", () => this.#asPart());
    byId("retrace").addEventListener("submit", (e) => {
      e.preventDefault();
      this.#again();
    });
    watchScale();
    this.use("look");
  }

  /** @param {Tool} tool */
  use(tool) {
    this.#tool = tool;
    for (const radio of radiosOf("tool")) radio.checked = radio.value === tool;
    byId("tool-words").textContent = WORDS[tool];
    this.#strokes.paint(tool === "hole" ? "away" : tool === "part" || tool === "away" ? tool : null);
    this.#corners.show(tool === "corners");
    this.mended();
  }

  /** What has been mended can be taken back. */
  mended() {
    byId("mend-row").hidden = !this.#strokes.any && !this.#corners.byHand;
    buttonOf("stroke-back").disabled = !this.#strokes.any;
  }

  /**
   * @param {State} state
   * @param {State | null} before
   */
  show(state, before) {
    const tracing = busy(state);
    const refused = !tracing && Boolean(state.refusal);
    this.#showProgress(state, tracing);
    this.#showRefusal(state, refused);
    byId("wall-words").hidden = tracing || !state.edges?.lower.length;
    if (!tracing && before?.state === "tracing") {
      const same = this.#painted !== null && !refused && alike(this.#painted, state);
      byId("mend-same").textContent = same ? t("What you painted changed nothing: the line is as it was.") : "";
      this.#painted = null;
    }
    byId("look").hidden = tracing || !state.features.length;
    byId("mend").hidden = tracing || !state.photo;
    this.#showFirst(state);
    if (refused) byId("mend-head").textContent = t("Does it see the wrong thing? Show it where");
    const cautions = tracing ? [] : state.cautions;
    byId("cautions").replaceChildren(...cautions.map((c) => el("li", {}, icon("suspect"), el("span", {}, c.text))));
    if (before?.thickness_mm !== state.thickness_mm)
      inputOf("thickness").value = decimals(String(state.thickness_mm ?? ""));
    if (before?.rim !== state.rim) selectOf("rim").value = state.rim;
    if (before?.fragments !== state.fragments) inputOf("in-two").checked = state.fragments === 2;
    if (before?.subject !== state.subject) for (const r of radiosOf("subject")) r.checked = r.value === state.subject;
    if (!same(before?.scale, state.scale)) showScale(state.scale);
    this.#asPart();
    if (!same(before?.strokes, state.strokes)) this.#strokes.load(state.strokes);
    if (tracing && this.#tool !== "look") this.use("look");
    if (!tracing) this.#corners.load(state.card?.corners ?? null, state.card_corners, refused);
    this.mended();
  }

  /** What only a part is asked. */
  #asPart() {
    byId("in-two-row").hidden = chosenOf("subject") !== "part";
  }

  /**
   * A photo that nobody has traced yet, sent by its owner: what has to be known is asked first.
   * @param {State} state
   */
  #showFirst({ state, thickness_told }) {
    const first = state === "waiting";
    byId("first-words").hidden = byId("subject-row").hidden = !first;
    byId("tools").hidden = byId("tool-words").hidden = first;
    byId("owner-thickness").textContent = thickness_told
      ? t("Its owner wrote “{words}”.", { words: thickness_told })
      : "";
    byId("mend-head").textContent = first ? t("How thick is it?") : t("Not quite? Show it where");
    byId("trace-words").textContent = first ? t("Trace the photo") : t("Trace again");
    byId("trace-again").classList.toggle("main", first);
  }

  /**
   * @param {State} state
   * @param {boolean} tracing
   */
  #showProgress({ progress }, tracing) {
    byId("progress").hidden = !tracing;
    byId("progress-step").textContent = tracing ? (progress?.step ?? "") : "";
    byId("progress-share", HTMLProgressElement).value = progress?.share ?? 0;
  }

  /**
   * @param {State} state
   * @param {boolean} refused
   */
  #showRefusal({ refusal, features }, refused) {
    byId("refusal").hidden = !refused;
    byId("refusal-head").textContent = features.length
      ? t("Traced again it was refused: the line is the one before") // which stays as it was
      : t("This photo can’t be measured");
    byId("refusal-text").textContent = refused ? (refusal?.text ?? "") : "";
  }

  async #again() {
    const thickness = inputOf("thickness").value;
    const wrong = byId("retrace-wrong");
    const subject = chosenOf("subject");
    if (!(parse(thickness) >= 0) && (subject === "part" || thickness.trim())) {
      wrong.textContent = t("Write the thickness in millimetres, such as 4.2.");
      byId("thickness").focus();
      return;
    }
    wrong.textContent = "";
    const asked = {
      thickness,
      subject,
      rim: selectOf("rim").value,
      fragments: inputOf("in-two").checked ? 2 : 1,
      strokes: this.#strokes.plain(),
      card_corners: this.#corners.plain(),
      scale: scale(),
    };
    const now = this.#store.state;
    this.#painted = this.#strokes.any && !same(now?.strokes, asked.strokes) ? now : null;
    await attempt(
      () => this.#store.trace(asked),
      (text) => {
        wrong.textContent = text;
      },
    );
  }
}

/**
 * @param {unknown} a
 * @param {unknown} b
 */
const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

const LIKE_MM = 0.03; // less than what any size is known to

/**
 * Whether two outlines are the same to all that can be told.
 * @param {State} a
 * @param {State} b
 */
const alike = (a, b) =>
  same(
    a.features.map((f) => [f.kind, f.loop]),
    b.features.map((f) => [f.kind, f.loop]),
  ) &&
  a.dimensions.length === b.dimensions.length &&
  a.dimensions.every((d, i) => Math.abs(d.value_mm - b.dimensions[i].value_mm) < LIKE_MM);
