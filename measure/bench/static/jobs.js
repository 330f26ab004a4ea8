// The evening's jobs and a new one.
import { attempt, busy, get, post } from "./api.js";
import { buttonOf, byId, chosenOf, el, icon, inputOf } from "./dom.js";
import { parse, plusMinus } from "./numbers.js";
import { preview, takePhotos } from "./photo-file.js";
import { scale, watchScale } from "./scale.js";
import { counted, language, t } from "./words.js";

/**
 * @typedef {object} Listed a job in the list
 * @property {string} id
 * @property {number} ticket its number, 0 where it has none
 * @property {string} name
 * @property {string} owner
 * @property {number} begun seconds since 1970, 0 where nobody knows
 * @property {string} state
 * @property {string} note
 * @property {string | null} thumbnail
 * @property {number | null} worst_u95_mm
 * @property {string} worst_words
 */

/** @type {Record<string, [shape: string, words: string]>} */
const STATES = {
  waiting: ["waiting", t("Waits to be traced: open it")],
  tracing: ["outline", t("Being traced")],
  refused: ["stop", t("Can’t be measured")],
  traced: ["part", t("Traced, no readings yet")],
  measured: ["jaws", t("Measured")],
};
const FEW = 6; // are seen at a glance, and need no search
const MANY = 12; // fit on a screen only as rows
const OFTEN_MS = 2000;
const SELDOM_MS = 10000;
const NO_THICKNESS = t(
  "Write the thickness in millimetres, such as 4.2; 0 if it can’t be measured, and all sizes are less sure.",
);

/** @type {File | null} */
let photo = null;

/** @param {Listed} job */
function card(job) {
  const [shape, words] = STATES[job.state] ?? ["waiting", job.state];
  const worst =
    job.worst_u95_mm === null
      ? ""
      : ` · ${t("{u95} mm at worst: {words}", { u95: plusMinus(job.worst_u95_mm), words: job.worst_words })}`;
  const none = (/** @type {Event} */ e) => /** @type {Element} */ (e.target).replaceWith(icon(shape));
  const picture = job.thumbnail
    ? el("img", { src: job.thumbnail, alt: "", loading: "lazy", onerror: none })
    : icon(shape);
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
        el("span", { class: "name" }, job.name || t("Unnamed part")),
        el("span", { class: "whose" }, whose(job)),
        el("span", { class: `state ${job.state}` }, icon(shape), `${words}${worst}`),
        job.note ? el("span", { class: "note" }, job.note) : null,
      ),
    ),
  );
}

/** @param {Listed} job */
function whose({ ticket, owner, begun }) {
  const day = begun ? new Date(begun * 1000).toLocaleDateString(language) : "";
  return [ticket ? t("No. {ticket}", { ticket }) : "", owner, day].filter(Boolean).join(" · ");
}

/**
 * Whether a job has all these words in what it is called by.
 * @param {Listed} job
 * @param {string[]} words
 */
function has(job, words) {
  const text = `${job.id} ${job.name} ${job.owner} ${job.note} ${job.ticket || ""} ${STATES[job.state]?.[1] ?? ""}`;
  return words.every((w) => text.toLowerCase().includes(w));
}

/** @type {Listed[]} */
let known = [];
let shown = "";
function show() {
  const words = inputOf("find").value.toLowerCase().split(" ").filter(Boolean);
  const jobs = known.filter((j) => has(j, words));
  const key = JSON.stringify(jobs);
  if (key !== shown) {
    shown = key;
    byId("list").replaceChildren(...jobs.map(card));
    byId("list").classList.toggle("many", known.length > MANY);
  }
  byId("search").hidden = known.length <= FEW;
  byId("found").textContent = words.length
    ? t("{some} of {all}", { some: jobs.length, all: known.length })
    : counted("{n} job", "{n} jobs", known.length);
  byId("none").hidden = known.length > 0;
}
byId("find").addEventListener("input", show);

async function load() {
  /** @type {{ jobs: Listed[] }} */
  const { jobs } = await get("/api/jobs");
  known = jobs;
  show();
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
    say("photo", t("That is no photo: JPEG, HEIC, PNG, WebP and TIFF are read."));
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
  say("photo", photo ? "" : t("The photo is missing."));
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
  for (const field of ["name", "owner", "contact"]) form.set(field, inputOf(field).value);
  for (const [field, value] of Object.entries(scale())) form.set(field, value);
  form.set("photo", file, file.name);
  buttonOf("start").disabled = true;
  const made = await attempt(
    () => post("/api/jobs", form),
    (text) => say("new", text),
  );
  buttonOf("start").disabled = false;
  if (made) location.assign(`/job/${encodeURIComponent(made.id)}`);
}

watchScale();
refresh();
document.addEventListener("visibilitychange", () => document.hidden || load().catch(() => {}));
