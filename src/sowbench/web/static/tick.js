// The page of a day's work: ticks, amounts, undo; what is kept or sent is shown as done at once.
"use strict";
(() => {
  const jobs = [...document.querySelectorAll("[data-job]")];
  const heading = document.querySelector("[data-heading]");
  const bar = document.querySelector("[data-progress]");

  // Times are the house's, whatever zone the device is set to.
  const zone = document.querySelector("[data-zone]")?.dataset.zone || undefined;
  const says = (at, parts) => {
    try {
      return new Intl.DateTimeFormat("en-US", { timeZone: zone, ...parts }).format(at);
    } catch {
      return new Intl.DateTimeFormat("en-US", parts).format(at); // a zone the device does not know
    }
  };
  const clock = (text) => {
    const at = new Date(text);
    const date = { year: "numeric", month: "numeric", day: "numeric" };
    if (says(at, date) === says(new Date(), date))
      return says(at, { hour: "numeric", minute: "2-digit", hourCycle: "h23" }).replace(/^0/, "");
    return says(at, { weekday: "short", day: "numeric", month: "long" });
  };

  function close(job, entry, isKept) {
    job.classList.add("done");
    job.dataset.doneEntry = entry.id;
    const when = job.querySelector("[data-when]");
    const who = entry.person ? `, ${entry.person}` : "";
    if (when) when.textContent = `${clock(entry.at)}${who}${isKept ? ", kept here" : ""}`;
    const corrects = job.querySelector('input[name="corrects"]');
    if (corrects) {
      corrects.value = entry.id;
      delete corrects.form.dataset.kept;
    }
    for (const each of job.querySelectorAll("button.mark")) each.disabled = true;
  }

  function open(job) {
    job.classList.remove("done");
    job.dataset.doneEntry = "";
    for (const each of job.querySelectorAll("button.mark")) each.disabled = false;
    for (const form of job.querySelectorAll("form[data-entry]")) delete form.dataset.kept;
  }

  document.addEventListener("sowbench:outbox", ({ detail: { kept, sent } }) => {
    const every = [...sent, ...kept];
    const struck = new Set(every.map((each) => each.corrects).filter(Boolean));
    const waiting = new Set(kept.map((each) => each.id));
    const ticks = new Map();
    for (const each of every) if (each.job && !struck.has(each.id)) ticks.set(each.job, each);
    for (const job of jobs) {
      const entry = ticks.get(job.dataset.job);
      if (entry) close(job, entry, waiting.has(entry.id));
      else if (job.dataset.doneEntry && struck.has(job.dataset.doneEntry)) open(job);
    }
    for (const also of document.querySelectorAll("[data-also]"))
      also.classList.toggle("struck", struck.has(also.dataset.also));
    lasts();
    count();
  });

  // Of a sowing packed for several orders, the part that is ticked off last ends it.
  function lasts() {
    for (const field of document.querySelectorAll("input[data-last-of]")) {
      const here = field.closest("[data-job]");
      const others = jobs.filter((each) => each !== here && each.dataset.job.startsWith(`${field.dataset.lastOf}/`));
      field.disabled = !others.every((each) => each.classList.contains("done"));
    }
  }

  // --- how much is left ---------------------------------------------------------------------------

  const time = (minutes) => {
    const whole = Math.max(1, Math.round(minutes));
    if (whole < 60) return `${whole} min`;
    return whole % 60 ? `${Math.floor(whole / 60)} h ${String(whole % 60).padStart(2, "0")}` : `${whole / 60} h`;
  };

  function count() {
    if (!heading) return;
    const here = jobs.filter((each) => each.closest("[data-stay]"));
    if (here.length === 0) return;
    const left = here.filter((each) => !each.classList.contains("done"));
    const minutes = (some) => some.reduce((sum, each) => sum + Number(each.dataset.minutes), 0);
    const about = `about ${time(minutes(left))}`;
    if (left.length === 0) heading.textContent = here.length === 1 ? "The one job is done" : `All ${here.length} jobs are done`;
    else if (left.length < here.length) heading.textContent = `${left.length} of ${here.length} jobs left, ${about}`;
    else heading.textContent = `${here.length} ${here.length === 1 ? "job" : "jobs"}, ${about}`;
    if (bar) bar.value = minutes(here) - minutes(left);
  }

  // --- amounts ------------------------------------------------------------------------------------

  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("button[data-step]");
    if (!button) return;
    const input = button.parentElement.querySelector("input");
    input.value = Math.max(Number(input.min), Number(input.value) + Number(button.dataset.step));
    input.dispatchEvent(new Event("input", { bubbles: true }));
  });

  document.addEventListener("input", (event) => {
    const input = event.target;
    const form = input.form;
    if (!form?.matches?.("form[data-entry]")) return;
    const cells = form.elements.namedItem("n");
    if (input.name === "n_containers" && input.dataset.per && cells) {
      const [planned, per, most] = [input.defaultValue, input.dataset.per, input.dataset.most].map(Number);
      const now = Number(input.value);
      cells.value = now <= planned ? Math.min(most, per * now) : most + per * (now - planned);
    }
    seeds(form);
  });

  function seeds(form) {
    const field = form.elements.namedItem("values.n_seeds");
    if (!field) return;
    field.disabled = false;
    field.value = Number(form.elements.namedItem("n").value) * Number(field.dataset.perCell);
  }
  for (const form of document.querySelectorAll("form[data-entry]")) seeds(form);

  // --- who is at work: said once, kept on this device ----------------------------------------------

  const who = document.querySelector("input[data-who]");
  if (who) {
    try {
      who.value = localStorage.getItem("sowbench-person") || "";
      who.addEventListener("change", () => localStorage.setItem("sowbench-person", who.value.trim()));
    } catch {
      who.closest("[data-who-box]").hidden = true;
    }
  }
})();
