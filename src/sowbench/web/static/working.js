// Dotted numbers open their working: a fragment of the book, shown in a dialog.
"use strict";
(() => {
  const dialog = document.getElementById("working");
  const body = document.getElementById("working-body");
  if (!dialog || !body) return;

  const say = (words) => {
    const line = document.createElement("p");
    line.textContent = words;
    body.replaceChildren(line);
  };

  document.addEventListener("click", async (event) => {
    const button = event.target.closest?.("[data-working]");
    if (!button) return;
    event.preventDefault();
    say("Looking it up …");
    if (!dialog.open) dialog.showModal();
    try {
      const answer = await fetch(button.dataset.working, {
        headers: { "HX-Request": "true", Accept: "text/html" },
      });
      const text = await answer.text();
      if (!answer.ok) {
        const page = new DOMParser().parseFromString(text, "text/html");
        say(page.querySelector("main")?.textContent.trim() || "This number has no working.");
        return;
      }
      body.innerHTML = text;
      globalThis.htmx?.process(body);
      document.dispatchEvent(new CustomEvent("sowbench:charts", { detail: body }));
    } catch {
      say("The book does not answer: workings need a connection.");
    }
  });

  // A press beside the sheet closes it.
  dialog.addEventListener("click", (event) => {
    if (event.target === dialog) dialog.close();
  });
})();
