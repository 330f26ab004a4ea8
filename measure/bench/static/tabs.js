// Three steps of a job as tabs, one shown at a time; the address keeps which.
import { buttonOf, byId } from "./dom.js";

const NAMES = ["outline", "readings", "drawing"];

export class Tabs {
  #opened;
  #name = NAMES[0];

  /** @param {(name: string) => void} opened */
  constructor(opened) {
    this.#opened = opened;
    for (const [i, name] of NAMES.entries()) {
      const tab = buttonOf(`tab-${name}`);
      tab.addEventListener("click", () => this.open(name));
      tab.addEventListener("keydown", (e) => {
        /** @type {Record<string, number>} */
        const keys = { ArrowRight: i + 1, ArrowLeft: i - 1, Home: 0, End: NAMES.length - 1 };
        const to = keys[e.key];
        if (to === undefined) return;
        e.preventDefault();
        const other = NAMES[(to + NAMES.length) % NAMES.length];
        this.open(other);
        byId(`tab-${other}`).focus();
      });
    }
    addEventListener("hashchange", () => this.open(this.fromAddress() ?? this.#name));
  }

  /** Which is open. */
  get name() {
    return this.#name;
  }

  fromAddress() {
    const name = location.hash.slice(1);
    return NAMES.includes(name) ? name : null;
  }

  /** @param {string} name */
  open(name) {
    this.#name = name;
    for (const n of NAMES) {
      const on = n === name;
      byId(`tab-${n}`).setAttribute("aria-selected", String(on));
      byId(`tab-${n}`).tabIndex = on ? 0 : -1;
      byId(`panel-${n}`).hidden = !on;
    }
    history.replaceState(null, "", `#${name}`);
    const panels = document.querySelector(".panels");
    if (panels) panels.scrollTop = 0;
    this.#opened(name);
  }
}
