// Calls typed in from a printed list are not lost when the page is loaded again or the sign-in ends.
//
// The browser's storage of this tab has codes, outcomes, days and times; what was agreed is private
// and never stored.
(() => {
  "use strict";

  const KEY = "linedays-sheet";
  const KEPT = ["reached", "called_at", "recheck_on"];
  const form = document.querySelector("form.call-sheet[data-sheet]");

  const isKept = (name) => KEPT.includes(name.split(" ")[0]);
  const fields = () => [...form.elements].filter((field) => isKept(field.name ?? ""));
  const agreed = () => [...form.elements].some((f) => f.name?.startsWith("agreed ") && f.value !== "");

  function stored() {
    try {
      return JSON.parse(sessionStorage.getItem(KEY));
    } catch {
      return null;
    }
  }

  function remember() {
    const filled = fields().filter((field) => field.value !== "");
    const values = Object.fromEntries(filled.map((field) => [field.name, field.value]));
    if (filled.length === 0) sessionStorage.removeItem(KEY);
    else sessionStorage.setItem(KEY, JSON.stringify({ sheet: form.dataset.sheet, values, agreed: agreed() }));
  }

  function restore(draft) {
    for (const field of fields()) field.value = draft.values[field.name] ?? "";
    const about = document.createElement("p");
    about.className = "draft";
    about.setAttribute("role", "status");
    about.textContent =
      "Not recorded yet: what you chose before the page closed is filled in again." +
      (draft.agreed ? " What was agreed is not stored in the browser: write it again." : "");
    form.prepend(about);
  }

  document.addEventListener("submit", (event) => {
    if (event.target.matches('form[action="/sign-out"]')) sessionStorage.removeItem(KEY);
  });
  if (document.querySelector("[data-recorded]")) sessionStorage.removeItem(KEY);
  if (!form) return;
  const draft = stored();
  const isEmpty = fields().every((field) => field.value === "");
  if (isEmpty && draft?.sheet === form.dataset.sheet) restore(draft);
  for (const kind of ["input", "change"]) form.addEventListener(kind, remember);
})();
