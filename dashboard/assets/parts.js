// Parts of a page that are ready-made HTML, and what a reader unfolded in them.
(() => {
  "use strict";

  // A button that shows and hides what it names; styles use it on narrow screens alone.
  const unfolded = new Set(); // stays open when a part of the page is made again

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button.unfolds");
    if (!button) return;
    const id = button.getAttribute("aria-controls");
    if (!unfolded.delete(id)) unfolded.add(id);
    button.setAttribute("aria-expanded", String(unfolded.has(id)));
  });

  const opened = new Set(); // so do parts of it that a reader opened
  document.addEventListener(
    "toggle",
    (event) => {
      const name = event.target.dataset.stays;
      if (name !== undefined && event.target.isConnected) {
        if (event.target.open) opened.add(name);
        else opened.delete(name);
      }
    },
    true,
  );

  // What had the focus gets it again where its part is made again, also as a new component.
  const REPLACED_WITHIN = 1000; // milliseconds
  let left = {};

  const focusedIn = (part) =>
    part?.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;

  // One component in place of hundreds. The server has escaped every text in it.
  function Static({ id, html }) {
    const place = React.useRef(null);
    const key = focusedIn(place.current);
    React.useLayoutEffect(() => {
      const part = place.current;
      return () => {
        const focused = focusedIn(part);
        if (focused !== undefined) left = { key: focused, at: performance.now() };
      };
    }, []);
    React.useLayoutEffect(() => {
      for (const button of place.current.querySelectorAll("button.unfolds")) {
        button.setAttribute("aria-expanded", String(unfolded.has(button.getAttribute("aria-controls"))));
      }
      for (const part of place.current.querySelectorAll("details[data-stays]")) {
        part.open = opened.has(part.dataset.stays);
      }
      const recent = performance.now() - left.at < REPLACED_WITHIN ? left.key : undefined;
      const sought = key ?? (document.activeElement === document.body ? recent : undefined);
      if (sought === undefined || place.current.contains(document.activeElement)) return;
      place.current.querySelector(`[data-key="${CSS.escape(sought)}"]`)?.focus();
    }, [html]);
    return React.createElement("div", {
      id,
      className: "static",
      ref: place,
      dangerouslySetInnerHTML: { __html: html },
    });
  }
  window.linedays_parts = { Static };
})();
