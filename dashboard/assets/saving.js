// Save what a card shows as PNG, SVG or CSV. Everything is made in the browser.
(() => {
  "use strict";

  const GAP = 24; // pixels between small figures
  const LABEL = 20; // pixels above a small figure, for its name
  const SCALE = 2; // pixels of a PNG for one of the screen

  function nameOf(card) {
    const title = card.querySelector("h2")?.textContent ?? "figure";
    return title.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-|-$/g, "");
  }

  function save(blob, name) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = name;
    link.click();
    window.setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  }

  // -- tables -------------------------------------------------------------------------------
  function cell(text) {
    const plain = text.trim().replace(/\s+/g, " ");
    const safe = /^([=@]|[+-](?![\d.,]+( ?%)?$))/.test(plain) ? `'${plain}` : plain; // never a formula
    return /[",]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
  }

  function csv(card) {
    const tables = [...card.querySelectorAll("table")];
    const rows = (table) => [...table.rows].map((row) => [...row.cells].map((c) => cell(c.textContent)).join(","));
    return `${tables.map((table) => rows(table).join("\r\n")).join("\r\n\r\n")}\r\n`;
  }

  // -- figures ------------------------------------------------------------------------------
  const STYLES = ["fill", "stroke", "stroke-width", "stroke-dasharray", "font-size", "font-family", "text-anchor"];

  // One picture of all small figures of a card, with their styles written into it.
  function together(card) {
    const figures = [...card.querySelectorAll("svg.small-figure")];
    const { width, height } = figures[0].viewBox.baseVal;
    const across = Math.min(figures.length, 4);
    const whole = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    const size = [across * (width + GAP), Math.ceil(figures.length / across) * (height + LABEL + GAP)];
    whole.setAttribute("xmlns", "http://www.w3.org/2000/svg");
    whole.setAttribute("width", size[0]);
    whole.setAttribute("height", size[1]);
    figures.forEach((figure, at) => {
      const group = document.createElementNS(whole.namespaceURI, "g");
      const place = [(at % across) * (width + GAP), Math.floor(at / across) * (height + LABEL + GAP)];
      group.setAttribute("transform", `translate(${place[0]} ${place[1] + LABEL})`);
      const name = document.createElementNS(whole.namespaceURI, "text");
      name.textContent = figure.closest("li").querySelector("h3").textContent.trim();
      name.setAttribute("font-size", "13");
      name.setAttribute("font-family", "sans-serif");
      name.setAttribute("y", "-4");
      group.append(name);
      for (const shape of figure.children) {
        const copy = shape.cloneNode(true);
        const style = window.getComputedStyle(shape);
        for (const key of STYLES) copy.setAttribute(key, style.getPropertyValue(key));
        copy.removeAttribute("class");
        group.append(copy);
      }
      whole.append(group);
    });
    return { text: new XMLSerializer().serializeToString(whole), size };
  }

  async function asPng({ text, size }) {
    const image = new Image();
    image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(text)}`;
    await image.decode();
    const canvas = document.createElement("canvas");
    [canvas.width, canvas.height] = size.map((side) => side * SCALE);
    const context = canvas.getContext("2d");
    context.fillStyle = "white";
    context.fillRect(0, 0, canvas.width, canvas.height);
    context.drawImage(image, 0, 0, canvas.width, canvas.height);
    return new Promise((resolve) => canvas.toBlob(resolve, "image/png"));
  }

  async function saveFigure(card, format) {
    const plot = card.querySelector(".js-plotly-plot");
    const name = nameOf(card);
    if (plot) {
      const { width, height } = plot.getBoundingClientRect();
      const options = { format, width, height, filename: name, scale: format === "png" ? SCALE : 1 };
      await window.Plotly.downloadImage(plot, options);
      return;
    }
    const figure = together(card);
    const blob = format === "svg" ? new Blob([figure.text], { type: "image/svg+xml" }) : await asPng(figure);
    save(blob, `${name}.${format}`);
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-saves]");
    if (!button) return;
    const card = button.closest(".figure-card");
    const format = button.dataset.saves;
    if (format === "csv") save(new Blob(["\ufeff", csv(card)], { type: "text/csv" }), `${nameOf(card)}.csv`);
    else saveFigure(card, format);
  });
})();
