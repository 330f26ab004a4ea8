// The evening's jobs and a new one.
import { attempt, busy, get, post } from "./api.js";
import { buttonOf, byId, chosenOf, el, icon, inputOf } from "./dom.js";
import { parse, plusMinus } from "./numbers.js";
import { preview, takePhotos } from "./photo-file.js";

/**
 * @typedef {object} Listed a job in the list
 * @property {string} id
 * @property {string} name
 * @property {string} state
 * @property {string} note
 * @property {string | null} thumbnail
 * @property {number | null} worst_u95_mm
 * @property {string} worst_words
 */

/** @type {Record<string, [shape: string, words: string]>} */
const STATES = {
  waiting: ["waiting", "Waits to be traced: open it"],
  tracing: ["outline", "Being traced"],
  refused: ["stop", "Can’t be measured"],
  traced: ["part", "Traced, no readings yet"],
  measured: ["jaws", "Measured"],
};
const OFTEN_MS = 2000;
const SELDOM_MS = 10000;
const NO_THICKNESS =
  "Write the thickness in millimetres, such as 4.2; 0 if it can’t be measured, and all sizes are less sure.";

/** @type {File | null} */
let photo = null;

/** @param {Listed} job */
function card(job) {
  const [shape, words] = STATES[job.state] ?? ["waiting", job.state];
  const worst = job.worst_u95_mm === null ? "" : ` · ${plusMinus(job.worst_u95_mm)} mm at worst: ${job.worst_words}`;
  const picture = job.thumbnail ? el("img", { src: job.thumbnail, alt: "", loading: "lazy" }) : icon(shape);
  return el(
    "li",
    {},
    el(
      "a",
      { href: `/job/${encodeURIComponent(job.id)}` },
      el("div", { class: "thumb" }, picture),
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
  /** @type {{ jobs: Listed[] }} */
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

/**
 * @param {"photo" | "thickness" | "new"} about
 * @param {string} text
 */
function say(about, text) {
  byId(`${about}-wrong`).textContent = text;
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
  preview(byId("preview", HTMLImageElement), file);
  const thickness = inputOf("thickness");
  (thickness.value ? byId("start") : thickness).focus();
});
byId("thickness").addEventListener("input", () => say("thickness", ""));

byId("new").addEventListener("submit", async (e) => {
  e.preventDefault();
  const thickness = inputOf("thickness");
  const known = parse(thickness.value) >= 0;
  thickness.setAttribute("aria-invalid", String(!known));
  say("thickness", known ? "" : NO_THICKNESS);
  say("photo", photo ? "" : "The photo is missing.");
  if (!known) thickness.focus();
  else if (!photo) byId("choose").focus();
  else await begin(thickness.value, photo);
});

/**
 * @param {string} thickness
 * @param {File} file
 */
async function begin(thickness, file) {
  const form = new FormData();
  form.set("thickness", thickness);
  form.set("subject", chosenOf("subject"));
  form.set("rim", chosenOf("rim"));
  form.set("name", inputOf("name").value);
  form.set("photo", file, file.name);
  buttonOf("start").disabled = true;
  const made = await attempt(
    () => post("/api/jobs", form),
    (text) => say("new", text),
  );
  buttonOf("start").disabled = false;
  if (made) location.assign(`/job/${encodeURIComponent(made.id)}`);
}

refresh();
document.addEventListener("visibilitychange", () => document.hidden || load().catch(() => {}));
