// Navigation: one open sheet at a time, and the choice of light or dark.
"use strict";
(() => {
  const sheets = [...document.querySelectorAll("details.more")];
  document.addEventListener("click", (event) => {
    for (const each of sheets) if (each.open && !each.contains(event.target)) each.open = false;
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    for (const each of sheets) {
      if (!each.open) continue;
      each.open = false;
      each.querySelector("summary").focus();
    }
  });

  const buttons = [...document.querySelectorAll("[data-theme-choice]")];
  const show = () => {
    const chosen = document.documentElement.dataset.theme || "";
    for (const each of buttons)
      each.setAttribute("aria-pressed", String(each.dataset.themeChoice === chosen));
  };
  for (const each of buttons) {
    each.addEventListener("click", () => {
      const chosen = each.dataset.themeChoice;
      if (chosen) document.documentElement.dataset.theme = chosen;
      else delete document.documentElement.dataset.theme;
      try {
        if (chosen) localStorage.setItem("sowbench-theme", chosen);
        else localStorage.removeItem("sowbench-theme");
      } catch {
        // The choice holds for this page only.
      }
      show();
      document.dispatchEvent(new CustomEvent("sowbench:theme"));
    });
  }
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () =>
    document.dispatchEvent(new CustomEvent("sowbench:theme")),
  );
  show();
})();
