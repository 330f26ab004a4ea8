// A photo from wherever it comes: file, camera, dropped on the page or pasted.
import { byId, inputOf } from "./dom.js";

const LOOKS_LIKE = /\.(jpe?g|png|webp|tiff?|heic|heif)$/i;

/** @param {(file: File | null) => void} got null when what came is no photo */
export function takePhotos(got) {
  const check = (/** @type {FileList | null | undefined} */ files) => {
    if (!files?.length) return;
    const [file] = files;
    got(file.type.startsWith("image/") || LOOKS_LIKE.test(file.name) ? file : null);
  };
  for (const [id, button] of [
    ["photo-file", "choose"],
    ["photo-camera", "camera"],
  ]) {
    const input = inputOf(id);
    byId(button).addEventListener("click", () => input.click());
    input.addEventListener("change", () => {
      check(input.files);
      input.value = "";
    });
  }
  let inside = 0;
  const drag = (/** @type {number} */ step) => {
    inside += step;
    document.body.classList.toggle("dragging", inside > 0);
  };
  addEventListener("dragenter", () => drag(1));
  addEventListener("dragleave", () => drag(-1));
  addEventListener("dragover", (e) => e.preventDefault());
  addEventListener("drop", (e) => {
    e.preventDefault();
    drag(-inside);
    check(e.dataTransfer?.files);
  });
  addEventListener("paste", (e) => check(e.clipboardData?.files));
}

/**
 * Show a chosen photo where the browser can; a HEIC it may not.
 * @param {HTMLImageElement} image
 * @param {File} file
 */
export function preview(image, file) {
  if (image.src) URL.revokeObjectURL(image.src);
  image.hidden = true;
  image.onload = () => {
    image.hidden = false;
  };
  image.src = URL.createObjectURL(file);
}
