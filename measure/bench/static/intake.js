// For owners: choose a photo, send it, hear at once whether it will do.
import { attempt, post } from "./api.js";
import { buttonOf, byId, el, icon, inputOf } from "./dom.js";
import { preview, takePhotos } from "./photo-file.js";
import { t } from "./words.js";

/** @typedef {{ verdict: "good" | "usable" | "retake", reply: string, reasons: { text: string }[],
 *   ticket: number | null }} Answer */

const FIELDS = ["name", "thickness", "owner", "contact"];
const HEADS = {
  good: ["agrees", t("Thank you, this photo is good")],
  usable: ["agrees", t("Thank you, this photo will do")],
  retake: ["suspect", t("Please take it once more")],
};

/** @type {File | null} */
let photo = null;

takePhotos((file) => {
  byId("wrong").textContent = file ? "" : t("That is no photo.");
  if (!file) return;
  photo = file;
  byId("verdict").hidden = true;
  byId("chosen").hidden = false;
  byId("more").hidden = false;
  preview(byId("preview", HTMLImageElement), file);
  byId("go").scrollIntoView({ block: "end" });
  byId("go").focus({ preventScroll: true });
});

byId("send").addEventListener("submit", async (e) => {
  e.preventDefault();
  if (!photo) return;
  const form = new FormData();
  form.set("photo", photo, photo.name);
  for (const field of FIELDS) if (inputOf(field).value.trim()) form.set(field, inputOf(field).value);
  buttonOf("go").disabled = true;
  caption("go", t("Looking at it…"));
  byId("wrong").textContent = "";
  const answer = await attempt(
    () => post(`/api/intake${location.search}`, form),
    (text) => {
      byId("wrong").textContent = text;
    },
  );
  if (answer) show(answer);
  buttonOf("go").disabled = false;
  caption("go", t("Send it"));
});

/**
 * The words of a button beside its picture.
 * @param {string} id
 * @param {string} words
 */
function caption(id, words) {
  const last = byId(id).lastChild;
  if (last) last.textContent = words;
}

/** @param {Answer} answer */
function show({ verdict, reply, reasons, ticket }) {
  const [shape, head] = HEADS[verdict];
  byId("send").hidden = byId("ask").hidden = true;
  byId("verdict").hidden = false;
  byId("verdict").className = `verdict ${verdict}`;
  byId("verdict-head").replaceChildren(icon(shape), head);
  byId("ticket").hidden = !ticket;
  const [before, after] = t("Your number is {number}. Bring it to the event, with the part.").split("{number}");
  byId("ticket").replaceChildren(before, el("b", {}, String(ticket)), after);
  byId("reply").textContent = reply;
  byId("reasons").replaceChildren(...reasons.map((r) => el("li", {}, r.text)));
  caption("another", verdict === "retake" ? t("Try again") : t("Send another photo"));
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
