// The page of one job: wires picture, tabs and panels to the state that the bench program tells.
import { About } from "./about.js";
import { Another } from "./another.js";
import { Caliper } from "./caliper.js";
import { Completion } from "./completion.js";
import { Corners } from "./corners.js";
import { buttonOf, byId, el, nearest } from "./dom.js";
import { Drawing } from "./drawing.js";
import { Entry } from "./entry.js";
import { listen } from "./events.js";
import { Next } from "./next.js";
import { note } from "./notes.js";
import { plusMinus } from "./numbers.js";
import { Outline } from "./outline.js";
import { PanZoom } from "./panzoom.js";
import { Parts } from "./parts.js";
import { Photo } from "./photo.js";
import { Picking } from "./picking.js";
import { Readings } from "./readings.js";
import { Say } from "./say.js";
import { Sheets } from "./sheets.js";
import { Store } from "./store.js";
import { Strokes } from "./strokes.js";
import { Tabs } from "./tabs.js";
import { Trial } from "./trial.js";
import { Undo } from "./undo.js";
import { counted, t } from "./words.js";
import { Workshop } from "./workshop.js";

const NOTE_S = 12;
const LABEL_RIM = 62; // px round the part, for its labels

const store = new Store(byId("job-name").dataset.job ?? "");
const view = byId("view");
const zoomButtons = byId("zoom");
const panzoom = new PanZoom(view, zoomButtons, moved, clicked);
const photo = new Photo(view, panzoom, [zoomButtons, byId("hidden-labels")], (hidden) => {
  byId("hidden-labels").hidden = hidden === 0 || tabs.name === "drawing";
  byId("hidden-labels").textContent = counted("{n} more label: zoom in", "{n} more labels: zoom in", hidden);
});
const strokes = new Strokes(photo, panzoom, () => outline.mended());
const corners = new Corners(photo, panzoom, byId("loupe"), () => outline.mended());
const sheets = new Sheets(view, panzoom);
const outline = new Outline(store, strokes, corners);
const picking = new Picking((picked) => {
  photo.mark(picked, wanted());
  entry.picked(picked);
});
const entry = new Entry(store, picking, showJaws);
const readings = new Readings(store, (r) => entry.change(r));
const next = new Next(picking, entry);
const drawing = new Drawing(store, sheets);
const completion = new Completion(store, photo, panzoom);
const say = new Say(store);
const trial = new Trial(store);
const workshop = new Workshop(store);
const caliper = new Caliper(store);
const undo = new Undo(store);
const about = new About(store);
const parts = new Parts(store, photo, panzoom);
const another = new Another(store);
/** @type {{ photo: import("./panzoom.js").View | null, paper: import("./panzoom.js").View | null }} */
const views = { photo: null, paper: null };
const tabs = new Tabs(turnTo);

function moved() {
  photo.moved();
  strokes.draw();
  parts.draw();
  corners.draw();
  sheets.moved();
}

/**
 * @param {EventTarget | null} target
 * @param {import("./types.js").Point} at in the picture
 */
function clicked(target, at) {
  if (tabs.name === "outline" && parts.touching) {
    parts.touch(at);
    return;
  }
  const label = nearest(target, "[data-label]")?.dataset.label;
  if (!store.state?.features.length) return;
  if (tabs.name === "outline" && completion.marking) {
    completion.pick(label, at);
    return;
  }
  if (!label) return;
  if (tabs.name === "outline" && say.picking) {
    say.pick(label);
    return;
  }
  if (tabs.name === "outline") tabs.open("readings");
  picking.toggle(label);
}

/**
 * What the picture shows goes with the tab; each is found again as it was left.
 * @param {string} name
 */
function turnTo(name) {
  const paper = name === "drawing";
  views[sheets.isOpen ? "paper" : "photo"] = panzoom.kept();
  photo.hide(paper);
  byId("zoom-part").hidden = paper;
  if (name !== "outline") outline.use("look");
  sheets.open(paper);
  if (!paper && store.state?.photo) panzoom.setSize(store.state.photo.width, store.state.photo.height);
  photo.mark(picking.picked, wanted());
  showJaws();
  const kept = views[paper ? "paper" : "photo"];
  if (kept) panzoom.goBack(kept);
  else moved();
}

function wanted() {
  if (tabs.name === "outline") return store.state?.asked?.flatMap((a) => a.features) ?? [];
  return tabs.name === "readings" && !picking.picked.length ? (store.state?.next?.features ?? []) : [];
}

/** Jaws on the photo while readings are taken: of the one that is asked for, and of those in the list. */
function showJaws() {
  const state = store.state;
  const reading = tabs.name === "readings" && state;
  const next = picking.picked.length ? [] : (reading && state.next?.jaws) || [];
  photo.showJaws({
    asked: reading ? (entry.jaws.length ? entry.jaws : next) : [],
    taken: reading ? state.readings : [],
  });
}

byId("zoom-in").addEventListener("click", () => panzoom.zoom(1.4));
byId("zoom-out").addEventListener("click", () => panzoom.zoom(1 / 1.4));
byId("zoom-all").addEventListener("click", () => panzoom.showAll());
byId("zoom-part").addEventListener("click", () => panzoom.show(photo.partBox(), LABEL_RIM));
byId("looks-right").addEventListener("click", () => {
  tabs.open("readings");
  if (store.state?.next) byId("next-take").focus();
  else picking.focus();
});

/** @param {import("./types.js").State} state */
function showHead(state) {
  const name = state.name || t("Unnamed part");
  byId("job-name").textContent = state.ticket ? `${state.ticket} · ${name}` : name;
  byId("job-name").title = name;
  document.title = `${name} · jawline`;
  const u95 = state.worst_u95_mm;
  byId("worst").hidden = u95 === null;
  if (u95 !== null)
    byId("worst").replaceChildren(
      el("b", {}, `${plusMinus(u95)} mm`),
      t("at worst: {words}", { words: state.worst_words }),
    );
  for (const n of ["readings", "drawing"]) buttonOf(`tab-${n}`).disabled = !state.features.length;
}

/**
 * What a new outline makes of the readings.
 * @param {import("./types.js").Reading[]} readings
 */
function becameOf(readings) {
  const suspect = readings.filter((r) => r.verdict === "suspect").length;
  if (!suspect) return t("All readings are kept, and fit this outline.");
  return counted(
    "All readings are kept; {n} no longer fits: look there.",
    "All readings are kept; {n} no longer fit: look there.",
    suspect,
  );
}

let featuresKey = "";
store.subscribe((state, before) => {
  const first = !before?.features.length && state.features.length > 0;
  const retraced = before?.state === "tracing" && state.state !== "tracing";
  showHead(state);
  if (!sheets.isOpen) photo.show(state);
  outline.show(state, before);
  const key = state.features.map((f) => f.label).join();
  if (key !== featuresKey) picking.offer(state.features);
  featuresKey = key;
  readings.show(state);
  next.show(state);
  drawing.show(state, before);
  completion.show(state);
  say.show(state);
  trial.show(state);
  caliper.show(state);
  workshop.show(state);
  undo.show(state);
  about.show(state, before);
  another.show(state);
  parts.show(state);
  if (retraced && state.readings.length) note(becameOf(state.readings), NOTE_S);
  if (!state.features.length && tabs.name !== "outline") tabs.open("outline");
  if ((first || retraced) && !sheets.isOpen && state.features.length) panzoom.show(photo.partBox(), LABEL_RIM);
  photo.mark(picking.picked, wanted());
  showJaws();
  if (before && (first || retraced)) goOn(state);
});

/**
 * Whoever waited for a trace goes on at the next step by the keys; who is at something else stays there.
 * @param {import("./types.js").State} state
 */
function goOn({ refusal, features }) {
  if (!refusal && !features.length) return;
  if (tabs.name !== "outline" || document.activeElement !== document.body) return;
  byId(refusal ? "trace-again" : "looks-right").focus({ preventScroll: true });
}

/** @param {import("./types.js").State | null} state */
function firstTab(state) {
  if (!state?.features.length) return "outline";
  return tabs.fromAddress() ?? (state.state === "measured" ? "readings" : "outline");
}

try {
  await store.load();
  tabs.open(firstTab(store.state));
  if (store.state) goOn(store.state); // the trace may have been quicker than the page
} catch (why) {
  tabs.open("outline");
  note(why instanceof Error ? why.message : String(why), 30);
}
let lost = false;
listen(
  `${store.path}/events`,
  (event) => store.told(event).catch(() => {}),
  (answering) => {
    byId("lost").hidden = answering;
    if (answering && (lost || !store.state)) store.load().catch(() => {});
    lost = !answering;
  },
);
