// The season, seed and house pages: a button that prints the page.
"use strict";
for (const each of document.querySelectorAll("[data-print]"))
  each.addEventListener("click", () => globalThis.print());
