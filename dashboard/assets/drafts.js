// What is typed and not sent yet is not lost: when another family is opened, when the page is
// loaded again, when the sign-in ends.
//
// This page's memory has everything, also notes, and ends with the page. The browser's storage of
// this tab has only the fields named in `data-draft` (codes, days and times), and never a note.
(() => {
  "use strict";

  const KEY = "linedays-draft";
  const typed = new Map(); // everything typed, by family
  let sending = null; // family of the form that was sent last

  function stored(reader) {
    try {
      const found = JSON.parse(sessionStorage.getItem(KEY));
      return found?.reader === reader ? found : { reader, families: {} };
    } catch {
      return { reader, families: {} };
    }
  }

  function store(draft) {
    if (Object.keys(draft.families).length === 0) sessionStorage.removeItem(KEY);
    else sessionStorage.setItem(KEY, JSON.stringify(draft));
  }

  const familyOf = (form) => form.elements.namedItem("family_id").value;
  const kept = (form) => form.dataset.draft.split(" ");

  function values(form) {
    const hidden = [...form.querySelectorAll('input[type="hidden"]')].map((field) => field.name);
    return Object.fromEntries([...new FormData(form)].filter(([name]) => !hidden.includes(name)));
  }

  function hasNote(form, all) {
    return Object.entries(all).some(([name, text]) => !kept(form).includes(name) && text !== "");
  }

  function remember(form) {
    const all = values(form);
    typed.set(familyOf(form), all);
    const draft = stored(form.dataset.reader);
    draft.families[familyOf(form)] = {
      values: Object.fromEntries(Object.entries(all).filter(([name]) => kept(form).includes(name))),
      note: hasNote(form, all),
    };
    store(draft);
  }

  function forget(form) {
    typed.delete(familyOf(form));
    const draft = stored(form.dataset.reader);
    delete draft.families[familyOf(form)];
    store(draft);
  }

  function fill(form, all) {
    for (const [name, text] of Object.entries(all)) {
      const field = form.elements.namedItem(name);
      if (field) field.value = text;
    }
    form.dispatchEvent(new Event("restored", { bubbles: true }));
  }

  function restore(form) {
    form.dataset.restored = "true";
    const family = familyOf(form);
    if (sending === family && document.querySelector(".message")) forget(form); // it was recorded
    sending = null;
    const here = typed.get(family);
    const before = stored(form.dataset.reader).families[family];
    if (here) fill(form, here);
    if (here || !before) return;
    fill(form, before.values);
    typed.set(family, values(form));
    const about = document.createElement("p");
    about.className = "draft";
    about.setAttribute("role", "status");
    about.textContent =
      "Not recorded yet: what you chose for this family before the page closed is filled in " +
      "again." +
      (before.note
        ? " The note is gone: notes are private, so the browser does not store them. Write it again."
        : "");
    form.prepend(about);
  }

  for (const kind of ["input", "change"]) {
    document.addEventListener(kind, (event) => {
      const form = event.target.closest?.("form[data-draft]");
      if (form) remember(form);
    });
  }

  document.addEventListener("submit", (event) => {
    if (event.target.matches("form[data-draft]")) sending = familyOf(event.target);
    if (event.target.matches('form[action="/sign-out"]')) {
      sessionStorage.removeItem(KEY);
      typed.clear();
    }
  });

  new MutationObserver(() => {
    for (const form of document.querySelectorAll("form[data-draft]:not([data-restored])")) {
      restore(form);
    }
  }).observe(document.documentElement, { childList: true, subtree: true });

  function unsent() {
    const form = document.querySelector("form[data-draft]");
    const all = form && typed.get(familyOf(form));
    if (!all) return null;
    return { family: familyOf(form), note: hasNote(form, all) };
  }

  // A reader who leaves the page by a link is asked first; a page left alone leaves itself.
  let leavesItself = false;
  window.addEventListener("beforeunload", (event) => {
    if (!leavesItself && unsent()?.note) event.preventDefault();
  });

  window.linedays_drafts = {
    unsent,
    leave() {
      leavesItself = true;
    },
  };
})();
