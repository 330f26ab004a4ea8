// The switch between light and dark. Without a choice the system's own look holds, also when that changes.
import { buttonOf } from "./dom.js";
import { t } from "./words.js";

const look = document.documentElement.dataset; // begun by theme-first.js
const button = buttonOf("theme");
let chosen = kept();

/** The look that was chosen last on this machine. */
function kept() {
  try {
    return localStorage.getItem("look");
  } catch {
    return null; // no storage
  }
}

function show() {
  const light = look.look === "dark";
  const words = button.querySelector(".theme-words");
  if (words) words.textContent = light ? t("Light") : t("Dark");
  button.setAttribute("aria-label", light ? t("Light look") : t("Dark look"));
  button.hidden = false;
}

button.addEventListener("click", () => {
  chosen = look.look === "dark" ? "light" : "dark";
  look.look = chosen;
  try {
    localStorage.setItem("look", chosen);
  } catch {
    // Then it holds for this page only.
  }
  show();
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", (e) => {
  if (chosen) return;
  look.look = e.matches ? "dark" : "light";
  show();
});
show();
