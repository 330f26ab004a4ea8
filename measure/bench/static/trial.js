// What is said of a trial print, and what the next drawing does about it.
import { attempt } from "./api.js";
import { buttonOf, byId, el, unbroken } from "./dom.js";
import { plusMinus, value } from "./numbers.js";
import { kindOf, t } from "./words.js";

export class Trial {
  #store;
  #said = byId("said", HTMLTextAreaElement);

  /** @param {import("./store.js").Store} store */
  constructor(store) {
    this.#store = store;
    byId("trial-form").addEventListener("submit", (e) => {
      e.preventDefault();
      this.#take();
    });
    this.#said.addEventListener("input", () => wrong(""));
  }

  /** @param {import("./types.js").State} state */
  show(state) {
    buttonOf("trial-take").disabled = !state.features.length;
  }

  async #take() {
    wrong("");
    const state = await attempt(() => this.#store.change("trial", { said: this.#said.value }), wrong);
    if (!state?.trial) return;
    this.#said.value = "";
    byId("trial-found").replaceChildren(...found(state.trial));
  }
}

/** @param {string} text */
function wrong(text) {
  byId("trial-wrong").textContent = text;
}

/** @param {import("./types.js").Trial} trial */
function found({ of, drawn, revision, changes, sizes }) {
  const about = el(
    "p",
    {},
    drawn
      ? t("Taken to be said of the {drawn} of drawing {of}.", { drawn, of })
      : t("Taken to be said of drawing {of}.", { of }),
  );
  if (revision === of) return [about, el("p", {}, t("Nothing is to be changed: drawing {of} stands.", { of }))];
  const moved = changes.map((c) => {
    const values = { feature: c.feature, mm: `${value(Math.abs(c.by_mm))} ${plusMinus(c.u95_mm)}` };
    return c.by_mm > 0 ? t("{feature} out by {mm}", values) : t("{feature} back by {mm}", values);
  });
  const sized = sizes.map((s) => `${nameOf(s)}: ${value(s.before_mm)} → ${value(s.value_mm)} ${plusMinus(s.u95_mm)}`);
  return [
    about,
    el(
      "p",
      {},
      t("Drawing {revision} is drawn and kept. It differs from {of}, the one printed, by, mm:", { revision, of }),
    ),
    el("ul", { class: "changes" }, ...[...moved, ...sized].map((words) => el("li", {}, words))),
  ];
}

/** @param {{ kind: string, features: string[] }} s */
const nameOf = (s) => unbroken(`${s.kind === "distance" ? "" : `${kindOf(s.kind)} `}${s.features.join("–")}`);
