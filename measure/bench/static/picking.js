// Which edges and holes are picked: by touching them on the photo, by typing their labels, or from the list of all.
import { byId, el } from "./dom.js";

const MOST = 2;

export class Picking {
  /** @param {(picked: string[]) => void} changed */
  constructor(changed) {
    this.changed = changed;
    this.known = [];
    this.picked = [];
    this.field = byId("labels");
    this.field.addEventListener("input", () => this.typed());
    byId("labels-clear").addEventListener("click", () => {
      this.set([]);
      this.field.focus();
    });
  }

  offer(features) {
    this.known = features.map((f) => f.label);
    byId("feature-list").replaceChildren(
      ...features.map((f) => el("button", { type: "button", "data-label": f.label, "aria-pressed": "false", title: f.kind, onclick: () => this.toggle(f.label) }, f.label)),
    );
    this.set(this.picked.filter((p) => this.known.includes(p)), true);
  }

  toggle(label) {
    if (this.picked.includes(label)) this.set(this.picked.filter((p) => p !== label));
    else this.set([...this.picked, label].slice(-MOST));
  }

  set(picked, quiet = false) {
    this.picked = picked;
    if (!quiet || document.activeElement !== this.field) this.field.value = picked.join(" ");
    this.say("");
    this.tell();
  }

  typed() {
    const words = this.field.value.toUpperCase().split(/[\s,;/+&–-]+/).filter(Boolean);
    const strange = words.filter((w) => !this.known.includes(w));
    const finished = /[\s,;/+&–-]$/.test(this.field.value);
    const wrong = strange.filter((w) => finished || w !== words.at(-1) || !this.known.some((k) => k.startsWith(w)));
    this.say(wrong.length ? `There is no ${wrong[0]} on this part.` : words.length > MOST ? "Two at most: a reading goes from one to another." : "");
    this.picked = [...new Set(words.filter((w) => this.known.includes(w)))].slice(0, MOST);
    this.tell();
  }

  say(text) {
    byId("labels-wrong").textContent = text;
    this.field.setAttribute("aria-invalid", String(Boolean(text)));
  }

  tell() {
    for (const b of byId("feature-list").children) b.setAttribute("aria-pressed", String(this.picked.includes(b.dataset.label)));
    this.changed(this.picked);
  }
}
