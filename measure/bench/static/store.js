// The state of one job in this window: the newest that is known, and who wants to hear of it.
import { Refused, busy, get } from "./api.js";
import { note } from "./notes.js";

export class Store {
  constructor(id) {
    this.path = `/api/jobs/${encodeURIComponent(id)}`;
    this.state = null;
    this.asking = 0;
    this.tracing = false;
    this.hearers = [];
    this.heard = null;
  }

  subscribe(hearer) {
    this.hearers.push(hearer);
  }

  take(state) {
    if (this.state && state.revision < this.state.revision) return;
    const before = this.state;
    this.state = state;
    for (const hear of this.hearers) hear(state, before);
  }

  async load() {
    this.take(await get(this.path));
  }

  /** Do something that answers with the whole state; when another window was first, show its state and say so. */
  async change(work) {
    this.asking += 1;
    try {
      const state = await work();
      if (state?.features) this.take(state);
      return state;
    } catch (why) {
      if (why instanceof Refused && why.code === "stale") {
        const state = why.whole?.state ?? why.whole;
        if (state?.features) this.take(state);
        else await this.load();
        throw new Refused("This job was changed in another window meanwhile. Look at it as it is now, then try again.", "stale", 409);
      }
      throw why;
    } finally {
      this.asking -= 1;
      const late = this.heard;
      this.heard = null;
      if (late && !this.asking) await this.told(late);
    }
  }

  /** An event of the stream: fetch what is new. What this window did itself is no news. */
  async told(event) {
    if (this.asking) {
      this.heard = event;
      return;
    }
    if (!this.state) return;
    const newer = event.revision > this.state.revision;
    const moved = event.state !== this.state.state || JSON.stringify(event.progress ?? null) !== JSON.stringify(this.state.progress ?? null);
    if (!newer && !moved) return;
    if (event.state === "tracing" && this.state.state === "tracing") {
      this.take({ ...this.state, revision: Math.max(event.revision, this.state.revision), progress: event.progress });
      return;
    }
    const own = this.tracing || busy(this.state);
    await this.load();
    if (event.state !== "tracing") this.tracing = false;
    if (!own && newer) note("Changed in another window: this one shows it now.");
  }
}
