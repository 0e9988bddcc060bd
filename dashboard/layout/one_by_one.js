// Figures are drawn one after the other, each shown before the next is begun.
(() => {
  "use strict";

  const AT_LATEST = 100; // milliseconds; a page in the background is not shown at all
  const draw = window.Plotly.react;
  let before = null;

  const shown = () =>
    new Promise((done) => {
      window.requestAnimationFrame(() => window.setTimeout(done));
      window.setTimeout(done, AT_LATEST);
    });

  window.Plotly.react = (...given) => {
    const drawn = (before ?? shown()).then(() => draw(...given));
    before = drawn.then(shown, shown);
    return drawn;
  };
})();
