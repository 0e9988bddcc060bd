// Figures are plotted one after the other, each shown before the next is begun.
(() => {
  "use strict";

  const AT_LATEST = 100; // milliseconds; a page in the background is not shown at all
  const plot = window.Plotly.react;
  let before = null;

  const shown = () =>
    new Promise((done) => {
      window.requestAnimationFrame(() => window.setTimeout(done));
      window.setTimeout(done, AT_LATEST);
    });

  window.Plotly.react = (...given) => {
    const plotted = (before ?? shown()).then(() => plot(...given));
    before = plotted.then(shown, shown);
    return plotted;
  };
})();
