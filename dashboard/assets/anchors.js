// A way to a part of a page: the part is drawn after the page has loaded, so the browser comes
// too early and is led there once it stands.
(() => {
  "use strict";

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
})();
