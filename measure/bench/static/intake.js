// For owners: choose a photo, send it, hear at once whether it will do.
import { attempt, post } from "./api.js";
import { byId, el, icon } from "./dom.js";
import { preview, takePhotos } from "./photo-file.js";

const HEADS = {
  good: ["agrees", "Thank you, this photo is good"],
  usable: ["agrees", "Thank you, this photo will do"],
  retake: ["suspect", "Please take it once more"],
};

let photo = null;

takePhotos((file) => {
  byId("wrong").textContent = file ? "" : "That is no photo.";
  if (!file) return;
  photo = file;
  byId("verdict").hidden = true;
  byId("chosen").hidden = false;
  byId("more").hidden = false;
  preview(byId("preview"), file);
  byId("go").scrollIntoView({ block: "end" });
  byId("go").focus({ preventScroll: true });
});

byId("send").addEventListener("submit", async (e) => {
  e.preventDefault();
  if (!photo) return;
  const go = byId("go");
  const form = new FormData();
  form.set("photo", photo, photo.name);
  for (const field of ["name", "thickness"]) if (byId(field).value.trim()) form.set(field, byId(field).value);
  go.disabled = true;
  go.lastChild.textContent = "Looking at it…";
  byId("wrong").textContent = "";
  const answer = await attempt(
    () => post(`/api/intake${location.search}`, form),
    (text) => (byId("wrong").textContent = text),
  );
  if (answer) show(answer);
  go.disabled = false;
  go.lastChild.textContent = "Send it";
});

function show(answer) {
  const [shape, head] = HEADS[answer.verdict] ?? HEADS.retake;
  byId("send").hidden = byId("ask").hidden = true;
  byId("verdict").hidden = false;
  byId("verdict").className = `verdict ${answer.verdict}`;
  byId("verdict-head").replaceChildren(icon(shape), head);
  byId("reply").textContent = answer.reply;
  const reasons = (answer.reasons ?? []).map((r) => (typeof r === "string" ? r : r.text));
  byId("reasons").replaceChildren(...reasons.map((r) => el("li", {}, r)));
  byId("another").lastChild.textContent = answer.verdict === "retake" ? "Try again" : "Send another photo";
  byId("verdict").focus();
  byId("verdict").scrollIntoView({ block: "start" });
}

byId("another").addEventListener("click", () => {
  photo = null;
  byId("send").hidden = byId("ask").hidden = false;
  byId("verdict").hidden = true;
  byId("chosen").hidden = true;
  byId("more").hidden = true;
  byId("camera").focus();
});
