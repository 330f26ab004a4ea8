// Which edges and holes are picked: by touching them on the photo, by typing their labels, or from the list of all.
import { byId, el, inputOf } from "./dom.js";
import { t } from "./words.js";

const MOST = 2;
const BETWEEN = "[\\s,;/+&–-]";

export class Picking {
  #changed;
  #field = inputOf("labels");
  #list = byId("feature-list");
  #wrong = byId("labels-wrong");
  /** @type {string[]} */
  #known = [];
  /** @type {string[]} */
  #picked = [];

  /** @param {(picked: string[]) => void} changed */
  constructor(changed) {
    this.#changed = changed;
    this.#field.addEventListener("input", () => this.#typed());
    byId("labels-clear").addEventListener("click", () => {
      this.set([]);
      this.focus();
    });
  }

  get picked() {
    return this.#picked;
  }

  focus() {
    this.#field.focus({ preventScroll: true });
  }

  /** @param {() => void} then what is done when a person has typed them and presses Enter */
  whenEntered(then) {
    this.#field.addEventListener("keydown", (e) => {
      if (e.key !== "Enter") return;
      e.preventDefault();
      then();
    });
  }

  /** @param {import("./types.js").Feature[]} features */
  offer(features) {
    this.#known = features.map((f) => f.label);
    this.#list.replaceChildren(
      ...features.map(({ label, kind }) =>
        el(
          "button",
          {
            type: "button",
            "data-label": label,
            "aria-pressed": "false",
            title: kind,
            onclick: () => this.toggle(label),
          },
          label,
        ),
      ),
    );
    const still = this.#picked.filter((p) => this.#known.includes(p));
    this.set(still, document.activeElement === this.#field);
  }

  /** @param {string} label */
  toggle(label) {
    if (this.#picked.includes(label)) this.set(this.#picked.filter((p) => p !== label));
    else this.set([...this.#picked, label].slice(-MOST));
  }

  /**
   * @param {string[]} picked
   * @param {boolean} typing whether a person is typing in the field, which stays as it is then
   */
  set(picked, typing = false) {
    this.#picked = picked;
    if (!typing) this.#field.value = picked.join(" ");
    this.say("");
    this.#tell();
  }

  #typed() {
    const words = this.#field.value
      .toUpperCase()
      .split(new RegExp(`${BETWEEN}+`))
      .filter(Boolean);
    const strange = words.filter((w) => !this.#known.includes(w));
    const finished = new RegExp(`${BETWEEN}$`).test(this.#field.value);
    const begun = (/** @type {string} */ w) => w === words.at(-1) && this.#known.some((k) => k.startsWith(w));
    const wrong = strange.find((w) => finished || !begun(w));
    const many = words.length > MOST ? t("Two at most: a reading goes from one to another.") : "";
    this.say(wrong ? t("There is no {label} on this part.", { label: wrong }) : many);
    this.#picked = [...new Set(words.filter((w) => this.#known.includes(w)))].slice(0, MOST);
    this.#tell();
  }

  /**
   * What is wrong with what is picked; an empty text where nothing is.
   * @param {string} text
   */
  say(text) {
    this.#wrong.textContent = text;
    this.#field.setAttribute("aria-invalid", String(Boolean(text)));
  }

  /** Whether something is said to be wrong. */
  get isWrong() {
    return Boolean(this.#wrong.textContent);
  }

  #tell() {
    for (const b of this.#list.querySelectorAll("button")) {
      b.setAttribute("aria-pressed", String(this.#picked.includes(b.dataset.label ?? "")));
    }
    this.#changed(this.#picked);
  }
}
