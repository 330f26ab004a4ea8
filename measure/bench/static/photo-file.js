// A photo from wherever it comes: file, camera, dropped on the page or pasted.
import { byId } from "./dom.js";

const LOOKS_LIKE = /\.(jpe?g|png|webp|tiff?|heic|heif)$/i;

/** @param {(file: File | null) => void} got null when what came is no photo */
export function takePhotos(got) {
  const check = (file) => got(file && (file.type.startsWith("image/") || LOOKS_LIKE.test(file.name)) ? file : null);
  for (const which of ["file", "camera"]) {
    const input = byId(`photo-${which}`);
    byId(which === "file" ? "choose" : "camera").addEventListener("click", () => input.click());
    input.addEventListener("change", () => {
      if (input.files.length) check(input.files[0]);
      input.value = "";
    });
  }
  let inside = 0;
  addEventListener("dragenter", () => document.body.classList.toggle("dragging", ++inside > 0));
  addEventListener("dragleave", () => document.body.classList.toggle("dragging", --inside > 0));
  addEventListener("dragover", (e) => e.preventDefault());
  addEventListener("drop", (e) => {
    e.preventDefault();
    inside = 0;
    document.body.classList.remove("dragging");
    if (e.dataTransfer.files.length) check(e.dataTransfer.files[0]);
  });
  addEventListener("paste", (e) => {
    if (e.clipboardData.files.length) check(e.clipboardData.files[0]);
  });
}

/** Show a chosen photo where the browser can; a HEIC it may not. */
export function preview(image, file) {
  if (image.src) URL.revokeObjectURL(image.src);
  image.hidden = true;
  image.onload = () => (image.hidden = false);
  image.src = URL.createObjectURL(file);
}
