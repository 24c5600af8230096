// The pages of sowings: what was written down is shown as soon as the book has it.
"use strict";
(() => {
  const waiting = new Set();

  // Kept on this device: the form is free for the next entry of its kind.
  document.addEventListener("sowbench:kept", ({ target: form, detail: { entry } }) => {
    if (!(form instanceof HTMLFormElement)) return;
    waiting.add(entry.id);
    delete form.dataset.kept;
    for (const each of form.querySelectorAll("textarea")) each.value = "";
    const details = form.closest("details");
    if (details) details.open = false;
  });

  // Taken by the book without anything to say: the page is shown anew, as it is now.
  document.addEventListener("sowbench:answer", ({ detail: { entry, state, notes } }) => {
    if (!waiting.delete(entry.id) || waiting.size) return;
    if (!["taken", "known"].includes(state) || notes?.length) return;
    const isWriting = document.querySelector("details.do[open]");
    if (isWriting) return;
    const url = new URL(location.href);
    url.searchParams.delete("correct");
    url.hash = "journal";
    if (url.href === location.href) location.reload();
    else if (url.search === location.search) {
      history.replaceState(null, "", url);
      location.reload();
    } else location.assign(url);
  });

  // An address with #do-count opens that form.
  const open = () => {
    const named = document.getElementById(location.hash.slice(1));
    if (named instanceof HTMLDetailsElement) named.open = true;
  };
  addEventListener("hashchange", open);
  open();
})();
