// Draws the charts of a page from their descriptions, in the colors of the page.
// A description may name a color of look.css as "var(--leaf)"; it is drawn anew when the theme changes.
"use strict";
(() => {
  const { vega, vegaLite, vegaEmbed } = document.currentScript.dataset;
  const drawn = new Map();
  let libraries = null;

  const load = (source) =>
    new Promise((done, failed) => {
      const script = document.createElement("script");
      script.src = source;
      script.onload = done;
      script.onerror = () => failed(new Error(`${source} could not be loaded.`));
      document.head.append(script);
    });

  const libs = () => {
    libraries ??= (async () => {
      for (const each of [vega, vegaLite, vegaEmbed]) await load(each);
    })();
    return libraries;
  };

  const color = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  const colored = (value) => {
    if (typeof value === "string")
      return value.replace(/var\((--[a-z-]+)\)/g, (_, name) => color(name));
    if (Array.isArray(value)) return value.map(colored);
    if (value && typeof value === "object")
      return Object.fromEntries(Object.entries(value).map(([key, each]) => [key, colored(each)]));
    return value;
  };

  const config = () => {
    const font = '"Atkinson Hyperlegible Next Variable", system-ui, sans-serif';
    const ink = color("--ink");
    const soft = color("--soft");
    const line = color("--line");
    return {
      background: null,
      font,
      view: { stroke: null },
      axis: {
        labelColor: soft, titleColor: soft, gridColor: line, domainColor: line, tickColor: line,
        labelFontSize: 14, titleFontSize: 14, titleFontWeight: 400, labelPadding: 6,
      },
      axisX: { grid: false },
      legend: {
        labelColor: ink, titleColor: soft, labelFontSize: 14, titleFontSize: 14,
        titleFontWeight: 400, orient: "top",
      },
      header: { labelColor: ink, titleColor: soft, labelFontSize: 15, labelFontWeight: 600 },
      title: { color: ink, fontSize: 17, fontWeight: 600, anchor: "start" },
      text: { color: ink, fontSize: 14 },
      line: { color: color("--leaf"), strokeWidth: 3 },
      area: { color: color("--leaf") },
      bar: { color: color("--leaf") },
      rect: { color: color("--leaf") },
      point: { color: ink, size: 90, strokeWidth: 2.5 },
      rule: { color: ink, strokeWidth: 2 },
      range: {
        category: [color("--leaf"), color("--soil"), color("--water"), color("--watch"), soft],
        heatmap: [color("--leaf-wash"), color("--leaf")],
      },
    };
  };

  // The words beside the pointer: our own, because the library's would write styles into the page.
  let tip = null;
  const tooltip = (_, event, __, value) => {
    tip ??= document.body.appendChild(
      Object.assign(document.createElement("div"), { className: "chart-tip", hidden: true }),
    );
    if (value === undefined || value === null || value === "") {
      tip.hidden = true;
      return;
    }
    tip.textContent =
      typeof value === "object"
        ? Object.entries(value).map(([name, each]) => `${name}: ${each}`).join("\n")
        : String(value);
    tip.hidden = false;
    const room = document.documentElement.clientWidth - tip.offsetWidth - 8;
    tip.style.left = `${Math.max(8, Math.min(event.clientX + 14, room))}px`;
    tip.style.top = `${event.clientY + 16}px`;
  };

  const draw = async (figure) => {
    const described = document.getElementById(figure.dataset.chart);
    if (!described) return;
    let holder = figure.querySelector(":scope > .chart-drawing");
    if (!holder) {
      holder = document.createElement("div");
      holder.className = "chart-drawing";
      holder.setAttribute("aria-hidden", "true");
      figure.prepend(holder);
    }
    try {
      await libs();
      await document.fonts?.ready;
      drawn.get(figure)?.finalize();
      const spec = colored(JSON.parse(described.textContent));
      const embedded = await globalThis.vegaEmbed(holder, spec, {
        ast: true,
        actions: false,
        defaultStyle: false,
        renderer: "svg",
        tooltip,
        config: config(),
      });
      drawn.set(figure, embedded);
      figure.classList.add("drawn");
    } catch (error) {
      figure.classList.remove("drawn");
      holder.textContent = `The picture could not be drawn: ${error.message}`;
    }
  };

  const drawAll = (root) => {
    for (const each of root.querySelectorAll("figure.chart[data-chart]")) draw(each);
  };

  const again = () => {
    for (const each of drawn.keys()) {
      if (each.isConnected) draw(each);
      else {
        drawn.get(each).finalize();
        drawn.delete(each);
      }
    }
  };

  const start = () => {
    drawAll(document);
    document.addEventListener("sowbench:theme", again);
    document.addEventListener("sowbench:charts", (event) => drawAll(event.detail));
    document.addEventListener("htmx:afterSettle", (event) => drawAll(event.target));
  };
  start();
})();
