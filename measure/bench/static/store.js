// The state of one job in this window: the newest that is known, and who wants to hear of it.
import { busy, get, post, Refused, remove } from "./api.js";
import { note } from "./notes.js";
import { t } from "./words.js";

/** @typedef {import("./types.js").State} State */
/** @typedef {import("./types.js").News} News */

const STALE = t("This job was changed in another window meanwhile. Look at it as it is now, then try again.");

export class Store {
  /** @type {State | null} */
  #state = null;
  #asking = 0;
  #tracing = false;
  /** @type {((state: State, before: State | null) => void)[]} */
  #hearers = [];
  /** @type {News | null} */
  #late = null;

  /** @param {string} id of the job */
  constructor(id) {
    this.path = `/api/jobs/${encodeURIComponent(id)}`;
  }

  /** The newest that is known. */
  get state() {
    return this.#state;
  }

  /** @param {(state: State, before: State | null) => void} hearer */
  subscribe(hearer) {
    this.#hearers.push(hearer);
  }

  async load() {
    this.#take(await get(this.path));
  }

  /** @param {State} state */
  #take(state) {
    if (this.#state && state.revision < this.#state.revision) return;
    const before = this.#state;
    this.#state = state;
    for (const hear of this.#hearers) hear(state, before);
  }

  /**
   * Have the job changed; when another window was first, show its state and say so.
   * @param {string} what part of the job; an empty text for the job itself
   * @param {object} [more] what else is sent
   * @returns {Promise<State>} the whole state that is answered with
   * @throws {Refused}
   */
  change(what, more = {}) {
    return this.#changed(() => post(`${this.path}${what && "/"}${what}`, { ...more, revision: this.#state?.revision }));
  }

  /**
   * Take something out of the job; see `change`.
   * @param {string} what
   */
  remove(what) {
    return this.#changed(() => remove(`${this.path}${what && "/"}${what}?revision=${this.#state?.revision}`));
  }

  /**
   * Have files made. The job keeps what is drawn, so that its revision is another afterwards: this window's own doing.
   * @param {object} asked
   * @returns {Promise<{ files: { name: string, url: string }[] }>}
   */
  make(asked) {
    return this.#changed(async () => {
      const made = await post(`${this.path}/make`, asked);
      await this.load();
      return made;
    });
  }

  /**
   * Have the photo traced again. What comes of it is this window's own doing, and no news.
   * @param {object} asked
   */
  async trace(asked) {
    this.#tracing = true;
    try {
      const begun = await this.change("trace", asked);
      await this.load();
      return begun;
    } catch (why) {
      this.#tracing = false;
      throw why;
    }
  }

  /** @param {() => Promise<any>} work */
  async #changed(work) {
    this.#asking += 1;
    try {
      const state = await work();
      if (state?.features) this.#take(state);
      return state;
    } catch (why) {
      if (why instanceof Refused && why.code === "stale") {
        const state = why.whole?.state ?? why.whole;
        if (state?.features) this.#take(state);
        else await this.load();
        throw new Refused(STALE, "stale");
      }
      throw why;
    } finally {
      this.#asking -= 1;
      const late = this.#late;
      this.#late = null;
      if (late && !this.#asking) await this.told(late);
    }
  }

  /**
   * An event of the stream: fetch what is new. What this window did itself is no news.
   * @param {News} event
   */
  async told(event) {
    if (this.#asking) {
      this.#late = event;
      return;
    }
    const now = this.#state;
    if (!now) return;
    const newer = event.revision > now.revision;
    const progress = JSON.stringify(event.progress ?? null) !== JSON.stringify(now.progress ?? null);
    if (!newer && !progress && event.state === now.state) return;
    if (event.state === "tracing" && now.state === "tracing") {
      this.#take({ ...now, revision: Math.max(event.revision, now.revision), progress: event.progress });
      return;
    }
    const own = this.#tracing || busy(now);
    await this.load();
    if (event.state !== "tracing") this.#tracing = false;
    if (!own && newer) note(t("Changed in another window: this one shows it now."));
  }
}
