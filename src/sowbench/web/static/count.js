// A tray counted cell by cell: drawn as it is, one tap a cell, whole rows, or by number only.
"use strict";
(() => {
  const form = document.getElementById("count");
  const data = document.getElementById("drawing");
  if (!form || !data) return;
  const { across, cells: nCells, clump, start, last } = JSON.parse(data.textContent);
  const find = (name) => form.querySelector(`[data-${name}]`);
  const map = find("map");
  const tray = find("tray");
  const right = form.elements.namedItem("n");
  const seen = form.elements.namedItem("n_of");
  const field = form.elements.namedItem("cells");
  if (!nCells || !tray) return;

  const TARGET = 48; // pixels, one thumb
  const ROWS_AT_ONCE = 6; // of a tray too wide for the screen
  const NAMES = { ".": "not looked at", 0: "empty", "-": "too few", 1: "right", "+": "too many" };
  const CYCLE = clump ? ["1", "0", "-", "+"] : ["1", "0", "+"];
  const nRows = Math.ceil(nCells / across);
  const draftKey = `sowbench-draft/${document.querySelector("[data-today]").dataset.today}/${data.dataset.sowing}/${data.dataset.number}`;

  let marks = [...start];
  let isMap = !marks.every((each) => each === "."); // whether the map is what is counted
  let rowInHand = 0;
  let cellInHand = 0;
  let firstRow = 0;
  let mode = "labelled";

  // --- what was begun and not kept is there again -------------------------------------------------

  const drafts = {
    read() {
      try {
        const text = localStorage.getItem(draftKey);
        return text && text.length === nCells ? [...text] : null;
      } catch {
        return null;
      }
    },
    write() {
      try {
        localStorage.setItem(draftKey, marks.join(""));
      } catch {
        // No storage: a count that is not kept is lost with the page.
      }
    },
    drop() {
      try {
        localStorage.removeItem(draftKey);
      } catch {
        // Nothing was written either.
      }
    },
  };

  // --- drawing ------------------------------------------------------------------------------------

  const SPACE = "http://www.w3.org/2000/svg";
  const LEAVES = "M0 2c-2-5-8-6-11-3 2 4 7 5 11 3zM0 2c2-5 8-6 11-3-2 4-7 5-11 3z";
  function svg(name, attributes) {
    const element = document.createElementNS(SPACE, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    return element;
  }
  function plants(mark) {
    const drawing = svg("svg", { viewBox: "-15 -13 30 26", "aria-hidden": "true" });
    const at = { 1: ["translate(0,0)"], "+": ["translate(-7.5,0) scale(.58)", "translate(7.5,0) scale(.58)"], "-": ["scale(.55)"] }[mark] || [];
    for (const transform of at) drawing.append(svg("path", { d: LEAVES, transform }));
    return drawing;
  }

  const buttons = new Map();

  function paint(at) {
    const button = buttons.get(at);
    if (!button) return;
    const mark = marks[at];
    button.dataset.mark = mark;
    const row = Math.floor(at / across) + 1;
    button.setAttribute("aria-label", `row ${row}, cell ${(at % across) + 1}: ${NAMES[mark]}`);
    button.replaceChildren(plants(mark));
    button.tabIndex = at === cellInHand ? 0 : -1;
  }

  function draw() {
    const width = tray.parentElement.clientWidth - 4; // less its rim
    mode = width >= across * TARGET + 56 ? "labelled" : width >= across * TARGET ? "bare" : "folded";
    const perLine = mode === "folded" ? Math.ceil(across / Math.ceil((across * TARGET) / width)) : across;
    tray.className = `tray ${mode}`;
    tray.style.maxWidth = mode === "labelled" ? `${across * 64 + 60}px` : "";
    buttons.clear();
    const rows = [];
    const isPaged = mode === "folded" && nRows > ROWS_AT_ONCE;
    firstRow = isPaged ? Math.floor(rowInHand / ROWS_AT_ONCE) * ROWS_AT_ONCE : 0;
    const end = isPaged ? Math.min(nRows, firstRow + ROWS_AT_ONCE) : nRows;
    for (let row = firstRow; row < end; row += 1) {
      const line = document.createElement("div");
      line.className = "row";
      line.setAttribute("role", "row");
      line.dataset.row = row;
      if (mode === "folded") line.classList.add(`of-${perLine}`);
      const name = document.createElement("button");
      name.type = "button";
      name.className = "row-name";
      name.tabIndex = -1;
      name.textContent = mode === "folded" ? `Row ${row + 1}` : `${row + 1}`;
      name.setAttribute("aria-label", `row ${row + 1}: all right, none, or not looked at`);
      const head = document.createElement("div");
      head.className = "row-head";
      head.setAttribute("role", "rowheader");
      head.append(name);
      line.append(head);
      if (mode === "bare") {
        const number = document.createElement("span");
        number.className = "row-number";
        number.setAttribute("aria-hidden", "true");
        number.textContent = `${row + 1}`;
        line.append(number);
      }
      const of = Math.min(across, nCells - row * across);
      for (let column = 0; column < of; column += 1) {
        const at = row * across + column;
        const cell = document.createElement("button");
        cell.type = "button";
        cell.className = "cell";
        cell.setAttribute("role", "gridcell");
        cell.dataset.at = at;
        if (last.length === nCells && last[at] !== ".") {
          cell.classList.add("was");
          cell.dataset.was = last[at];
        }
        buttons.set(at, cell);
        line.append(cell);
      }
      // A part-filled row keeps the width of a cell.
      for (let column = of; column < across && mode !== "folded"; column += 1) {
        line.append(document.createElement("span"));
      }
      rows.push(line);
    }
    tray.replaceChildren(...rows);
    for (const at of buttons.keys()) paint(at);
    for (const each of form.querySelectorAll("[data-pages]")) each.hidden = !isPaged;
    find("overview").toggleAttribute("hidden", !isPaged);
    if (isPaged) overview(end);
    hand(rowInHand);
    total();
  }

  function overview(end) {
    const picture = find("overview");
    picture.setAttribute("viewBox", `-.3 -.3 ${across + 0.6} ${nRows + 0.6}`);
    const kinds = { 1: "m1", "+": "mp", "-": "mm" };
    const drawn = marks.map((mark, at) =>
      svg("rect", { x: (at % across) + 0.1, y: Math.floor(at / across) + 0.1, width: 0.8, height: 0.8, class: kinds[mark] || (mark === "0" ? "m0" : "dot") }),
    );
    drawn.push(svg("rect", { x: -0.1, y: firstRow, width: across + 0.2, height: end - firstRow, class: "view" }));
    picture.replaceChildren(...drawn);
    for (const each of form.querySelectorAll("[data-rows-shown]"))
      each.textContent = `rows ${firstRow + 1} to ${end} of ${nRows}`;
    for (const each of form.querySelectorAll("[data-page]"))
      each.disabled = Number(each.dataset.page) < 0 ? firstRow === 0 : end >= nRows;
  }

  function hand(row) {
    rowInHand = row;
    for (const each of tray.children) each.classList.toggle("in-hand", Number(each.dataset.row) === row);
    find("hand").hidden = false;
    find("hand-name").textContent = `Row ${row + 1}`;
  }

  function total() {
    const n = (mark) => marks.filter((each) => each === mark).length;
    const nSeen = nCells - n(".");
    const nRight = n("1") + n("+");
    if (isMap) {
      field.value = nSeen ? marks.join("") : "";
      right.value = nSeen ? nRight : "";
      seen.value = nSeen || nCells;
    } else field.value = "";
    find("right").textContent = isMap ? nRight : right.value || 0;
    find("seen").textContent = isMap ? nSeen : seen.value || nCells;
    const parts = [];
    if (isMap) {
      if (n("0")) parts.push(`${n("0")} empty`);
      if (n("-")) parts.push(`${n("-")} with too few`);
      if (n("+")) parts.push(`${n("+")} with too many`);
      if (n(".") && nSeen) parts.push(`${n(".")} not looked at`);
    } else if (right.value) parts.push("by number only");
    find("parts").textContent = parts.join(", ");
    if (!find("pages").hidden) overview(Math.min(nRows, firstRow + ROWS_AT_ONCE));
  }

  // --- tapping ------------------------------------------------------------------------------------

  function set(at, mark) {
    marks[at] = mark;
    paint(at);
  }
  function changed() {
    isMap = true;
    drafts.write();
    total();
  }
  const next = (mark) => CYCLE[(CYCLE.indexOf(mark) + 1) % CYCLE.length];

  function setRow(row, mark) {
    for (let at = row * across; at < Math.min(nCells, (row + 1) * across); at += 1) set(at, mark);
    hand(row);
    changed();
  }
  function cycleRow(row) {
    const every = marks.slice(row * across, (row + 1) * across);
    const is = (mark) => every.every((each) => each === mark);
    setRow(row, is("1") ? "0" : is("0") ? "." : "1");
  }
  function take(at) {
    const before = cellInHand;
    cellInHand = at;
    paint(before);
    paint(at);
    hand(Math.floor(at / across));
  }

  tray.addEventListener("click", (event) => {
    const cell = event.target.closest(".cell");
    const name = event.target.closest(".row-name");
    if (cell) {
      const at = Number(cell.dataset.at);
      take(at);
      set(at, next(marks[at]));
      changed();
    } else if (name) cycleRow(Number(name.closest(".row").dataset.row));
  });

  form.addEventListener("click", (event) => {
    const button = event.target.closest("button[type=button]");
    if (!button) return;
    const { all, row, page } = button.dataset;
    if (all !== undefined) {
      marks = marks.map(() => all);
      if (all === ".") drafts.drop();
      isMap = all !== ".";
      if (!isMap) right.value = "";
      draw();
      if (isMap) changed();
    } else if ("fromLast" in button.dataset) {
      marks = [...last];
      draw();
      changed();
    } else if (row !== undefined && button.closest("[data-hand]")) setRow(rowInHand, row);
    else if (page !== undefined) {
      rowInHand = Math.min(nRows - 1, Math.max(0, firstRow + Number(page) * ROWS_AT_ONCE));
      take(rowInHand * across);
      draw();
    }
  });

  // Arrows walk the cells; space or enter cycles; a letter or digit sets a mark.
  const KEYS = { 0: "0", 1: "1", "-": "-", "+": "+", ".": ".", e: "0", r: "1" };
  tray.addEventListener("keydown", (event) => {
    const cell = event.target.closest(".cell");
    if (!cell) return;
    const at = Number(cell.dataset.at);
    const column = at % across;
    const row = Math.floor(at / across);
    const to = {
      ArrowRight: Math.min(nCells - 1, at + 1),
      ArrowLeft: Math.max(0, at - 1),
      ArrowDown: Math.min(nCells - 1, at + across),
      ArrowUp: Math.max(0, at - across),
      Home: at - column,
      End: Math.min(nCells - 1, at - column + across - 1),
      PageDown: Math.min(nCells - 1, at + across * ROWS_AT_ONCE),
      PageUp: Math.max(column, at - across * ROWS_AT_ONCE),
    }[event.key];
    const mark = KEYS[event.key];
    if (to !== undefined) {
      event.preventDefault();
      take(to);
      if (!buttons.has(to)) draw();
      buttons.get(to).focus();
    } else if (mark !== undefined && (mark !== "-" || clump)) {
      event.preventDefault();
      set(at, mark);
      changed();
      const after = Math.min(nCells - 1, at + 1);
      take(after);
      if (!buttons.has(after)) draw();
      buttons.get(after).focus();
    } else if (event.key === "a") cycleRow(row);
  });

  // --- by number only -----------------------------------------------------------------------------

  for (const input of [right, seen]) {
    input.addEventListener("input", () => {
      isMap = false;
      seen.setCustomValidity("");
      total();
    });
  }

  // --- keeping ------------------------------------------------------------------------------------

  form.querySelector("[data-by-number]").open = false; // The map is there; without script this is.
  form.addEventListener("invalid", () => (form.querySelector("[data-by-number]").open = true), true);

  form.addEventListener("sowbench:kept", ({ detail: { entry, submitter } }) => {
    drafts.drop();
    const then = submitter?.dataset.then;
    if (then) {
      location.assign(then);
      return;
    }
    const saved = document.querySelector("[data-saved]");
    saved.textContent = `Kept: ${entry.n} of ${entry.n_of ?? nCells}.`;
    saved.hidden = false;
    saved.scrollIntoView({ block: "center" });
    delete form.dataset.kept;
  });

  // The marks, named once.
  find("keys").append(
    ...["1", "0", ...(clump ? ["-"] : []), "+", "."].map((mark) => {
      const item = document.createElement("li");
      const cell = document.createElement("span");
      cell.className = "cell";
      cell.dataset.mark = mark;
      cell.append(plants(mark));
      item.append(cell, NAMES[mark]);
      return item;
    }),
  );

  const draft = drafts.read();
  if (draft) {
    marks = draft;
    isMap = true;
  }
  map.hidden = false;
  draw();
  let before = tray.parentElement.clientWidth;
  addEventListener("resize", () => {
    const now = tray.parentElement.clientWidth;
    if (now !== before) draw();
    before = now;
  });
})();
