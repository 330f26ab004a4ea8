// The page of one job: wires picture, tabs and panels to the state that the bench program tells.
import { Completion } from "./completion.js";
import { Corners } from "./corners.js";
import { byId, el } from "./dom.js";
import { Drawing } from "./drawing.js";
import { Entry } from "./entry.js";
import { listen } from "./events.js";
import { Next } from "./next.js";
import { note } from "./notes.js";
import { plusMinus } from "./numbers.js";
import { Outline } from "./outline.js";
import { PanZoom } from "./panzoom.js";
import { Photo } from "./photo.js";
import { Picking } from "./picking.js";
import { Readings } from "./readings.js";
import { Sheets } from "./sheets.js";
import { Store } from "./store.js";
import { Strokes } from "./strokes.js";
import { Tabs } from "./tabs.js";
import { Trial } from "./trial.js";
import { Undo } from "./undo.js";

const LABEL_RIM = 62; // px round the part, for its labels

const store = new Store(byId("job-name").dataset.job);
const view = byId("view");
const zoomButtons = document.querySelector(".zoom");
const panzoom = new PanZoom(view, zoomButtons, () => {
  photo.moved();
  strokes.draw();
  corners.draw();
  sheets.moved();
});
const photo = new Photo(view, panzoom, [zoomButtons, byId("hidden-labels")], (hidden) => {
  byId("hidden-labels").hidden = hidden === 0 || tabs.name === "drawing";
  byId("hidden-labels").textContent = `${hidden} more ${hidden === 1 ? "label" : "labels"}: zoom in`;
});
const strokes = new Strokes(photo, panzoom, () => outline.mended());
const corners = new Corners(photo, panzoom, byId("loupe"), () => outline.mended());
const sheets = new Sheets(view, panzoom);
const outline = new Outline(store, strokes, corners);
const picking = new Picking((picked) => {
  photo.mark(picked, wanted());
  entry.picked(picked);
});
const entry = new Entry(store, picking);
const readings = new Readings(store);
const next = new Next(picking, entry);
const drawing = new Drawing(store, sheets);
const completion = new Completion(store);
const trial = new Trial(store);
const undo = new Undo(store);
const views = {};
const tabs = new Tabs((name) => {
  const paper = name === "drawing";
  const was = sheets.root.hidden ? "photo" : "paper";
  views[was] = panzoom.untouched ? null : { ...panzoom.view };
  photo.root.toggleAttribute("hidden", paper);
  byId("zoom-part").hidden = paper;
  if (name !== "outline") outline.use("look");
  sheets.open(paper);
  if (!paper && store.state?.photo) panzoom.setSize(store.state.photo.width, store.state.photo.height);
  const kept = views[paper ? "paper" : "photo"];
  if (kept) Object.assign(panzoom, { view: kept, untouched: false });
  photo.mark(picking.picked, wanted());
  panzoom.moved();
});

function wanted() {
  return tabs.name === "readings" && !picking.picked.length ? (store.state?.next?.features ?? []) : [];
}

panzoom.clicked = (target) => {
  const label = target.closest?.("[data-label]")?.dataset.label;
  if (!label || !store.state?.features.length) return;
  if (tabs.name === "outline" && completion.marking) return completion.pick(label);
  if (tabs.name === "outline") tabs.open("readings");
  picking.toggle(label);
};
byId("zoom-in").addEventListener("click", () => panzoom.zoom(1.4));
byId("zoom-out").addEventListener("click", () => panzoom.zoom(1 / 1.4));
byId("zoom-all").addEventListener("click", () => panzoom.showAll());
byId("zoom-part").addEventListener("click", () => panzoom.show(photo.partBox(), LABEL_RIM));
byId("looks-right").addEventListener("click", () => {
  tabs.open("readings");
  byId(store.state.next ? "next-take" : "labels").focus();
});

function showHead(state) {
  const name = state.name || "Unnamed part";
  byId("job-name").textContent = name;
  byId("job-name").title = name;
  document.title = `${name} · jawline`;
  const worst = byId("worst");
  worst.hidden = !Number.isFinite(state.worst_u95_mm);
  if (!worst.hidden) worst.replaceChildren(el("b", {}, `${plusMinus(state.worst_u95_mm)} mm`), "at worst");
  for (const n of ["readings", "drawing"]) byId(`tab-${n}`).disabled = !state.features.length;
}

let featuresKey = "";
store.subscribe((state, before) => {
  const first = !before?.features.length && state.features.length > 0;
  const retraced = before?.state === "tracing" && state.state !== "tracing";
  showHead(state);
  if (sheets.root.hidden) photo.show(state);
  outline.show(state, before);
  const key = state.features.map((f) => f.label).join();
  if (key !== featuresKey) picking.offer(state.features);
  featuresKey = key;
  readings.show(state);
  next.show(state);
  drawing.show(state, before);
  completion.show(state);
  trial.show(state);
  undo.show(state);
  if (!state.features.length && tabs.name !== "outline") tabs.open("outline");
  if ((first || retraced) && sheets.root.hidden && state.features.length) panzoom.show(photo.partBox(), LABEL_RIM);
  photo.mark(picking.picked, wanted());
});

try {
  await store.load();
  const begin = store.state.state === "measured" ? "readings" : "outline";
  tabs.open(store.state.features.length ? (tabs.fromAddress() ?? begin) : "outline");
} catch (why) {
  tabs.open("outline");
  note(why.message, 30);
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
