// A reader's place on a page whose parts are made after it has loaded, or made again.
(() => {
  "use strict";

  // -- a way to a part: the browser comes too early, and is led there once it is made ----------
  function comeTo(id, tries = 100) {
    const part = document.getElementById(id);
    if (part !== null) {
      part.scrollIntoView();
      part.tabIndex = -1;
      part.focus({ preventScroll: true });
    } else if (tries > 0) {
      window.setTimeout(() => comeTo(id, tries - 1), 50);
    }
  }

  const wanted = decodeURIComponent(window.location.hash.slice(1));
  if (wanted !== "" && wanted !== "main") comeTo(wanted);

  // -- a choice in a part that is made again: the focus goes back to it ------------------------
  const WAIT_MS = 20000;
  let watching = null;

  document.addEventListener("change", (event) => {
    const key = event.target.dataset?.chooses;
    if (key === undefined) return;
    watching?.disconnect();
    watching = new MutationObserver(() => {
      const lost = document.activeElement === null || document.activeElement === document.body;
      if (lost) document.querySelector(`[data-chooses="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });
    });
    watching.observe(document.getElementById("main"), { childList: true, subtree: true });
    const mine = watching;
    window.setTimeout(() => mine.disconnect(), WAIT_MS);
  });
})();
