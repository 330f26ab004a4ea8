// The switch between light and dark; without a choice the system's own look holds.
const button = document.getElementById("theme");
const dark = matchMedia("(prefers-color-scheme: dark)");
const now = () => document.documentElement.dataset.look ?? (dark.matches ? "dark" : "light");

function show() {
  const other = now() === "dark" ? "Light" : "Dark";
  button.querySelector(".theme-words").textContent = other;
  button.setAttribute("aria-label", `${other} look`);
  button.hidden = false;
}

button.addEventListener("click", () => {
  document.documentElement.dataset.look = now() === "dark" ? "light" : "dark";
  try {
    localStorage.setItem("look", document.documentElement.dataset.look);
  } catch {
    // Then it holds for this page only.
  }
  show();
});
dark.addEventListener("change", show);
show();
