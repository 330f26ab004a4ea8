// Before the first paint: the look that was chosen last on this machine.
(() => {
  try {
    const chosen = localStorage.getItem("look");
    if (chosen === "light" || chosen === "dark") document.documentElement.dataset.look = chosen;
  } catch {
    // No storage (private window): the system's own look holds.
  }
})();
