// Before the first paint: the look that was chosen last on this machine, or else the system's own.
(() => {
  const root = document.documentElement;
  root.dataset.look = matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
  try {
    const chosen = localStorage.getItem("look");
    if (chosen === "light" || chosen === "dark") root.dataset.look = chosen;
  } catch {
    // No storage (private window): the system's own look holds.
  }
})();
