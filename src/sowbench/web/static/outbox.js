// Entries are kept in the browser's own database first, then sent; docs/book.md, section 5.
// Nothing that was entered is thrown away here: an entry leaves the outbox when the book says that
// it has it, or when a person sets it aside, and then it stays in the database all the same.
"use strict";
(() => {
  const MOST_AT_ONCE = 50;
  const FIRST_WAIT_MS = 2000;
  const LONGEST_WAIT_MS = 60000;
  const LEASE_MS = 20000;
  const SENT_KEPT_MS = 3 * 24 * 3600 * 1000;
  const DAY_MS = 24 * 3600 * 1000;

  const line = document.getElementById("kept");
  const root = document.documentElement;
  const me = makeId();
  const keptAt = root.dataset.keptAt ? new Date(root.dataset.keptAt) : null;
  const loadedAt = keptAt || new Date();
  const channel = "BroadcastChannel" in globalThis ? new BroadcastChannel("sowbench-outbox") : null;

  let usable = "indexedDB" in globalThis && "crypto" in globalThis;
  let isAway = !navigator.onLine || keptAt !== null;
  let refusedBy = 0; // status with which the book last turned a post away
  let isSending = false;
  let isWanted = false;
  let waitMs = FIRST_WAIT_MS;
  let timer = 0;

  function makeId() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (each) => each.toString(16).padStart(2, "0")).join("");
  }

  // --- the browser's own database ---------------------------------------------------------------

  let opened = null;
  function database() {
    opened ??= new Promise((resolve, reject) => {
      const asked = indexedDB.open("sowbench", 1);
      asked.onupgradeneeded = () => {
        const db = asked.result;
        db.createObjectStore("outbox", { keyPath: "seq", autoIncrement: true });
        db.createObjectStore("sent", { keyPath: "id" });
        db.createObjectStore("lease", { keyPath: "name" });
      };
      asked.onsuccess = () => {
        asked.result.onversionchange = () => {
          asked.result.close();
          opened = null;
        };
        resolve(asked.result);
      };
      asked.onerror = () => reject(asked.error);
      asked.onblocked = () => reject(new Error("The database is in use by an older page."));
    });
    opened.catch(() => (opened = null));
    return opened;
  }

  // One transaction: `act` gets the stores and may give back a request, whose result is given back.
  async function within(names, mode, act) {
    const db = await database();
    return new Promise((resolve, reject) => {
      const transaction = db.transaction(names, mode, { durability: "strict" });
      const request = act(...names.map((name) => transaction.objectStore(name)));
      transaction.oncomplete = () => resolve(request ? request.result : undefined);
      transaction.onabort = transaction.onerror = () => reject(transaction.error);
    });
  }
  const everything = (name) => within([name], "readonly", (store) => store.getAll());

  // --- from a form to an entry ------------------------------------------------------------------

  const NUMBERS = new Set(["n", "n_of", "n_containers"]);
  const NO_FIELDS = new Set(["_csrf_token", "back", "id"]);
  const whole = (text) => (/^\d{1,9}$/.test(text) ? Number(text) : text);

  function entryOf(form, submitter) {
    const entry = { id: makeId() };
    const values = {};
    const data = submitter ? new FormData(form, submitter) : new FormData(form);
    for (const [name, raw] of data) {
      if (typeof raw !== "string" || NO_FIELDS.has(name)) continue;
      const text = raw.trim();
      if (text === "") continue;
      if (NUMBERS.has(name)) entry[name] = whole(text);
      else if (name === "trays") {
        const each = text.split(",").map((part) => part.trim());
        entry.trays = each.filter((part) => part !== "").map(whole);
      } else if (name.startsWith("values.")) {
        const number = Number(text);
        values[name.slice(7)] = Number.isFinite(number) ? number : text;
      } else entry[name] = text;
    }
    if (Object.keys(values).length) entry.values = values;
    if (!entry.person) {
      const person = whoIsHere();
      if (person) entry.person = person;
    }
    const now = new Date();
    entry.at ??= now.toISOString();
    const today = document.querySelector("[data-today]")?.dataset.today;
    if (entry.day_date && entry.day_date === today) entry.day_date = dayNow(today, now);
    return entry;
  }

  // A page may stay open, or be kept, over midnight; its day then moves on as the device's does.
  function dayNow(today, now) {
    const midnight = (when) => new Date(when.getFullYear(), when.getMonth(), when.getDate());
    const passed = Math.round((midnight(now) - midnight(loadedAt)) / DAY_MS);
    if (passed <= 0) return today;
    return new Date(Date.parse(`${today}T00:00:00Z`) + passed * DAY_MS).toISOString().slice(0, 10);
  }

  function whoIsHere() {
    try {
      return localStorage.getItem("sowbench-person") || "";
    } catch {
      return "";
    }
  }

  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!(form instanceof HTMLFormElement) || !form.matches("form[data-entry]") || !usable) return;
    event.preventDefault();
    if (form.dataset.kept) return; // a second tap on the same tick
    const entry = entryOf(form, event.submitter);
    form.dataset.kept = entry.id;
    try {
      await within(["outbox"], "readwrite", (outbox) => {
        outbox.add({ entry, state: "kept", notes: [], since: entry.at });
      });
    } catch {
      // No room or no database: the book takes it directly, or the browser says why not.
      delete form.dataset.kept;
      usable = false;
      form.submit();
      return;
    }
    const more = { bubbles: true, detail: { entry, submitter: event.submitter } };
    form.dispatchEvent(new CustomEvent("sowbench:kept", more));
    if (form.dataset.done) document.querySelector(form.dataset.done)?.classList.add("done");
    channel?.postMessage("changed");
    await show();
    send();
  });

  // --- sending ----------------------------------------------------------------------------------

  // Nothing is sent by two tabs at once: a lock of the browser, or where it gives none (plain HTTP
  // in the house) a lease in the database. If both fail, the book knows an id it has had.
  async function alone(act) {
    if (navigator.locks) return navigator.locks.request("sowbench-outbox", act);
    if (!(await lease(true))) {
      later(LEASE_MS / 4);
      return undefined;
    }
    try {
      return await act();
    } finally {
      await lease(false);
    }
  }

  async function lease(isTaken) {
    let isMine = false;
    await within(["lease"], "readwrite", (store) => {
      const asked = store.get("outbox");
      asked.onsuccess = () => {
        const held = asked.result;
        isMine = !held || held.owner === me || held.until < Date.now();
        if (isMine) store.put({ name: "outbox", owner: me, until: isTaken ? Date.now() + LEASE_MS : 0 });
      };
    });
    return isMine;
  }

  async function send() {
    if (!usable) return;
    if (isSending) {
      isWanted = true;
      return;
    }
    isSending = true;
    clearTimeout(timer);
    try {
      await alone(sendAll);
    } catch (error) {
      console.warn("Entries are kept; sending failed:", error);
      later(waitMs);
    } finally {
      isSending = false;
      await show();
      if (isWanted) {
        isWanted = false;
        send();
      }
    }
  }

  function later(ms) {
    clearTimeout(timer);
    timer = setTimeout(send, ms);
    waitMs = Math.min(waitMs * 2, LONGEST_WAIT_MS);
  }

  async function sendAll() {
    let hasSent = false;
    let most = MOST_AT_ONCE;
    for (;;) {
      const kept = (await everything("outbox")).filter((each) => each.state === "kept");
      if (kept.length === 0) break;
      if (!navigator.locks && !(await lease(true))) return;
      const batch = kept.slice(0, most);
      const answers = await post(batch.map((each) => each.entry));
      if (answers === null) {
        later(waitMs);
        break;
      }
      if (answers.status) {
        // The book cannot read the post as a whole: find the entry that it cannot read.
        if (batch.length > 1) most = Math.ceil(batch.length / 2);
        else await settle(batch, [{ id: batch[0].entry.id, state: "refused", notes: [answers.message] }]);
        continue;
      }
      most = MOST_AT_ONCE;
      waitMs = FIRST_WAIT_MS;
      await settle(batch, answers);
      hasSent = true;
    }
    if (hasSent) {
      channel?.postMessage("changed");
      keepPages(["/today", location.pathname], true);
    }
  }

  // Answers by the book; null where the entries are to be kept; a status where they cannot be read.
  async function post(entries) {
    try {
      const asked = await fetch("/entries/token", { cache: "no-store", signal: AbortSignal.timeout(10000) });
      isAway = false;
      refusedBy = asked.ok ? 0 : asked.status;
      if (!asked.ok) return null;
      const { token } = await asked.json();
      const answer = await fetch("/entries", {
        method: "POST",
        headers: { "Content-Type": "application/json", Accept: "application/json", "x-csrftoken": token },
        body: JSON.stringify(entries),
        keepalive: entries.length === 1, // a page that is left at once still sends its entry
        signal: AbortSignal.timeout(30000),
      });
      if (answer.ok) {
        const answers = await answer.json();
        const fits = Array.isArray(answers) && answers.length === entries.length;
        return fits ? answers : null;
      }
      refusedBy = answer.status;
      if (![400, 413, 422].includes(answer.status)) return null;
      refusedBy = 0;
      const said = await answer.json().catch(() => ({}));
      return { status: answer.status, message: said.message || `The book answered ${answer.status}.` };
    } catch {
      isAway = true;
      return null;
    }
  }

  async function settle(batch, answers) {
    await within(["outbox", "sent"], "readwrite", (outbox, sent) => {
      batch.forEach((kept, at) => {
        const { state, notes } = answers[at];
        if (state === "taken" || state === "known") {
          outbox.delete(kept.seq);
          sent.put({ id: kept.entry.id, entry: kept.entry, notes: notes || [], at: Date.now() });
        } else if (state === "clash" || state === "refused") {
          outbox.put({ ...kept, state, notes: notes || [] });
        }
      });
    });
    batch.forEach((kept, at) => {
      document.dispatchEvent(
        new CustomEvent("sowbench:answer", { detail: { entry: kept.entry, ...answers[at] } }),
      );
    });
  }

  // --- what is said, once, at the top -----------------------------------------------------------

  async function show() {
    if (!usable) return;
    const [outbox, sent] = await Promise.all([everything("outbox"), everything("sent")]);
    const kept = outbox.filter((each) => each.state === "kept");
    if (line) {
      const words = [];
      if (keptAt) words.push(`as of ${clock(keptAt)}`);
      if (isAway) words.push(kept.length ? `offline, ${kept.length} kept here` : "offline: what you enter is kept here");
      else if (refusedBy === 401 || refusedBy === 403) words.push(`${kept.length} kept here: the book does not let this device in`);
      else if (kept.length && refusedBy) words.push(`${kept.length} kept here: the book is busy or in trouble`);
      else if (kept.length) words.push(`${kept.length} kept here, being sent`);
      if (words.length && !globalThis.isSecureContext) words.push("this page cannot be reloaded without a connection");
      line.textContent = words.join(" · ");
      line.hidden = words.length === 0;
    }
    tell(outbox, sent);
    document.dispatchEvent(
      new CustomEvent("sowbench:outbox", { detail: { kept: kept.map((each) => each.entry), sent: sent.map((each) => each.entry) } }),
    );
  }

  function clock(when) {
    const time = `${when.getHours()}:${String(when.getMinutes()).padStart(2, "0")}`;
    const isToday = when.toDateString() === new Date().toDateString();
    return isToday ? time : `${when.toLocaleDateString("en-US", { weekday: "short", day: "numeric", month: "long" })}, ${time}`;
  }

  const inWords = (entry) => {
    const trays = entry.trays?.length ? `, tray ${entry.trays.join(", ")}` : "";
    const number = entry.n === undefined ? "" : `: ${entry.n}${entry.n_of === undefined ? "" : ` of ${entry.n_of}`}`;
    return `${entry.sowing || entry.place || "the house"}, ${entry.kind}${trays}${number}`;
  };

  // What the book would not take, and what it wants looked at; each with a way to settle it.
  function tell(outbox, sent) {
    const main = document.getElementById("main");
    if (!main) return;
    let box = document.getElementById("outbox-told");
    const stuck = outbox.filter((each) => each.state === "clash" || each.state === "refused");
    const noted = sent.filter((each) => each.notes.length);
    if (!stuck.length && !noted.length) {
      box?.remove();
      return;
    }
    if (!box) {
      box = document.createElement("section");
      box.id = "outbox-told";
      box.setAttribute("aria-label", "Entries to look at");
      main.prepend(box);
    }
    const flags = stuck.map((each) => {
      const isClash = each.state === "clash";
      const title = isClash ? "Not taken: another entry has the same mark" : "Not taken: the book cannot read it";
      return flag("act", title, inWords(each.entry), each.notes, [
        [isClash ? "Both are right: send it again" : "Send it again", () => again(each)],
        ["Set it aside", () => aside(each)],
      ]);
    });
    for (const each of noted) {
      flags.push(flag("watch", "Taken, but look at this", inWords(each.entry), each.notes, [["Seen", () => seen(each)]]));
    }
    box.replaceChildren(...flags);
  }

  function flag(level, title, what, notes, deeds) {
    const make = (name, text, cls) => {
      const element = document.createElement(name);
      if (text) element.textContent = text;
      if (cls) element.className = cls;
      return element;
    };
    const block = make("div", "", `flag ${level}`);
    block.append(sign(level));
    const words = make("div");
    words.append(make("b", title), make("div", what), ...notes.map((each) => make("div", each)));
    const row = make("div", "", "deeds");
    for (const [label, act] of deeds) {
      const button = make("button", label, "big");
      button.type = "button";
      button.addEventListener("click", async () => {
        await act();
        channel?.postMessage("changed");
        await show();
        send();
      });
      row.append(button);
    }
    words.append(row);
    block.append(words);
    return block;
  }

  function sign(level) {
    const space = "http://www.w3.org/2000/svg";
    const svg = document.createElementNS(space, "svg");
    for (const [name, value] of [["class", "icon"], ["width", "26"], ["height", "26"], ["viewBox", "-16 -16 32 32"], ["aria-hidden", "true"]])
      svg.setAttribute(name, value);
    const path = document.createElementNS(space, "path");
    path.setAttribute("d", level === "act" ? "M0-12 13 11H-13zM0-4v6M0 6.500v.3" : "M-12 0a12 12 0 1 0 24 0a12 12 0 1 0-24 0M0-7V1l5 3");
    svg.append(path);
    return svg;
  }

  const again = (kept) =>
    within(["outbox"], "readwrite", (outbox) => {
      outbox.put({ ...kept, entry: { ...kept.entry, id: makeId() }, state: "kept", notes: [] });
    });
  const aside = (kept) =>
    within(["outbox"], "readwrite", (outbox) => {
      outbox.put({ ...kept, state: "aside" });
    });
  const seen = (sent) =>
    within(["sent"], "readwrite", (store) => {
      store.put({ ...sent, notes: [] });
    });

  // --- pages that stay when the connection goes -------------------------------------------------

  async function keepPages(paths, anew = false) {
    const worker = globalThis.isSecureContext ? navigator.serviceWorker : undefined;
    if (!worker) return;
    const ready = await worker.ready;
    ready.active?.postMessage({ keep: paths, anew });
  }

  function pathsHere() {
    const links = [...document.querySelectorAll('a[href^="/sowings/"][href*="/trays/"], a[href="/count"]')];
    return [...new Set([location.pathname, "/today", ...links.map((each) => each.pathname)])];
  }

  async function begin() {
    if (globalThis.isSecureContext && navigator.serviceWorker) {
      navigator.serviceWorker.register("/worker.js").catch((error) => console.warn("Pages are not kept:", error));
      if (!keptAt) keepPages(pathsHere());
    }
    if (!usable) return;
    try {
      await within(["sent"], "readwrite", (sent) => {
        const asked = sent.getAll();
        asked.onsuccess = () => {
          for (const each of asked.result)
            if (Date.now() - each.at > SENT_KEPT_MS && !each.notes.length) sent.delete(each.id);
        };
      });
    } catch {
      usable = false; // the forms of the page then post by themselves
      return;
    }
    navigator.storage?.persist?.().catch(() => undefined);
    await show();
    send();
  }

  const wake = () => {
    waitMs = FIRST_WAIT_MS;
    isAway = !navigator.onLine;
    send();
  };
  addEventListener("online", wake);
  addEventListener("offline", () => {
    isAway = true;
    show();
  });
  addEventListener("pageshow", (event) => {
    if (event.persisted) wake();
  });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") wake();
  });
  channel?.addEventListener("message", show);
  begin();
})();
