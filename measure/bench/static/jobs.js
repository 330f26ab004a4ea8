// The evening's jobs and a new one.
import { attempt, busy, get, post } from "./api.js";
import { byId, el, icon } from "./dom.js";
import { parse, plusMinus } from "./numbers.js";
import { preview, takePhotos } from "./photo-file.js";

const STATES = {
  waiting: ["waiting", "Waits for its turn"],
  tracing: ["outline", "Being traced"],
  refused: ["stop", "Can’t be measured"],
  traced: ["part", "Traced, no readings yet"],
  measured: ["jaws", "Measured"],
};
const OFTEN_MS = 2000;
const SELDOM_MS = 10000;

let photo = null;

function card(job) {
  const [shape, words] = STATES[job.state] ?? ["waiting", job.state];
  const worst = Number.isFinite(job.worst_u95_mm) ? ` · ${plusMinus(job.worst_u95_mm)} mm at worst` : "";
  return el(
    "li",
    {},
    el(
      "a",
      { href: `/job/${encodeURIComponent(job.id)}` },
      el("div", { class: "thumb" }, job.thumbnail ? el("img", { src: job.thumbnail, alt: "", loading: "lazy" }) : icon(shape)),
      el(
        "div",
        { class: "text" },
        el("span", { class: "name" }, job.name || "Unnamed part"),
        el("span", { class: `state ${job.state}` }, icon(shape), `${words}${worst}`),
        job.note ? el("span", { class: "note" }, job.note) : null,
      ),
    ),
  );
}

let shown = "";
async function load() {
  const { jobs } = await get("/api/jobs");
  const key = JSON.stringify(jobs);
  if (key !== shown) {
    shown = key;
    byId("list").replaceChildren(...jobs.map(card));
  }
  byId("none").hidden = jobs.length > 0;
  return jobs;
}

async function refresh() {
  let wait = SELDOM_MS;
  if (!document.hidden) {
    try {
      const jobs = await load();
      if (jobs.some(busy)) wait = OFTEN_MS;
    } catch {
      wait = OFTEN_MS;
    }
  }
  setTimeout(refresh, wait);
}

function say(id, text) {
  byId(`${id}-wrong`).textContent = text;
}

takePhotos((file) => {
  if (!file) {
    say("photo", "That is no photo: JPEG, HEIC, PNG, WebP and TIFF are read.");
    return;
  }
  photo = file;
  say("photo", "");
  say("new", "");
  byId("drop-words").textContent = file.name;
  preview(byId("preview"), file);
  const thickness = byId("thickness");
  (thickness.value ? byId("start") : thickness).focus();
});
byId("thickness").addEventListener("input", () => say("thickness", ""));

byId("new").addEventListener("submit", async (e) => {
  e.preventDefault();
  const thickness = byId("thickness");
  const known = parse(thickness.value) >= 0;
  thickness.setAttribute("aria-invalid", String(!known));
  say("thickness", known ? "" : "Write the thickness in millimetres, such as 4.2; 0 if it can’t be measured, and all sizes are less sure.");
  say("photo", photo ? "" : "The photo is missing.");
  if (!known) return thickness.focus();
  if (!photo) return byId("choose").focus();
  const start = byId("start");
  start.disabled = true;
  const form = new FormData();
  form.set("thickness", thickness.value);
  form.set("subject", document.querySelector("[name=subject]:checked").value);
  form.set("name", byId("name").value);
  form.set("photo", photo, photo.name);
  const made = await attempt(
    () => post("/api/jobs", form),
    (text) => say("new", text),
  );
  start.disabled = false;
  if (made) location.assign(`/job/${encodeURIComponent(made.id)}`);
});

refresh();
document.addEventListener("visibilitychange", () => document.hidden || load().catch(() => {}));
