// What is wrong with a form is shown next to the field that it is about.
(() => {
  "use strict";

  const WAITS = 15000; // milliseconds after which a form may be sent again without an answer
  let sent = null; // the form that was sent last

  // While a form is on its way its button shows that, and it is not sent a second time.
  function wait(form) {
    const button = form.querySelector('button[type="submit"]');
    if (!button) return;
    form.dataset.waits = button.textContent;
    button.textContent = "Saving …";
    button.setAttribute("aria-busy", "true");
    window.setTimeout(() => stopWaiting(form), WAITS);
  }

  function stopWaiting(form) {
    if (!form?.isConnected || form.dataset.waits === undefined) return;
    const button = form.querySelector('button[type="submit"]');
    button.textContent = form.dataset.waits;
    button.removeAttribute("aria-busy");
    delete form.dataset.waits;
  }

  // An answer mostly makes the form again; one that stays may be sent again.
  window.linedays_forms = {
    answered() {
      const form = sent;
      window.setTimeout(() => stopWaiting(form), 2000);
    },
  };

  window.addEventListener("pageshow", () => stopWaiting(sent)); // back from the next page

  function clear(form) {
    for (const old of form.querySelectorAll(".fault.at-field")) old.remove();
    for (const control of form.querySelectorAll("[aria-invalid]")) {
      control.removeAttribute("aria-invalid");
      const ids = (control.getAttribute("aria-describedby") ?? "").split(" ");
      control.setAttribute("aria-describedby", ids.filter((id) => id !== "fault-at-field").join(" "));
    }
  }

  document.addEventListener(
    "submit",
    (event) => {
      const form = event.target;
      if (form.dataset.waits !== undefined) {
        event.preventDefault();
        event.stopImmediatePropagation();
        return;
      }
      if (!form.dataset.sends && form.dataset.progress === undefined) return;
      clear(form);
      sent = form;
      wait(form);
    },
    true,
  );

  document.addEventListener("click", (event) => {
    if (event.target.closest("button[data-undoes]")) sent = null;
  });

  // Next to the field, else above the button; and the reader is led there.
  function showAtField(form, fault) {
    clear(form);
    const text = document.createElement("p");
    text.className = "fault at-field";
    text.id = "fault-at-field";
    text.textContent = fault.textContent;
    const found = fault.dataset.field ? form.elements.namedItem(fault.dataset.field) : null;
    const control = found instanceof RadioNodeList ? found[0] : found;
    if (control && fault.dataset.value) control.value = fault.dataset.value;
    const box = control?.type === "hidden" ? null : control?.closest(".field, fieldset");
    const button = form.querySelector('button[type="submit"]');
    if (box) box.append(text);
    else button.before(text);
    const focused = box ? control : button;
    if (box?.closest("details")) box.closest("details").open = true;
    if (box) focused.setAttribute("aria-invalid", "true");
    const before = focused.getAttribute("aria-describedby");
    focused.setAttribute("aria-describedby", before ? `${before} ${text.id}` : text.id);
    focused.focus({ preventScroll: true });
    (box ?? text).scrollIntoView({ block: "nearest" });
  }

  // Fields that only one answer needs open with it.
  for (const kind of ["change", "restored"]) {
    document.addEventListener(kind, (event) => {
      const form = event.target.closest?.("form");
      const chosen = form?.querySelector("input[data-unfolds]:checked");
      if (chosen) form.querySelector(`#${chosen.dataset.unfolds}`).open = true;
    });
  }

  // One answer for all who have none yet.
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("button[data-fills]");
    for (const field of button?.closest("form").querySelectorAll("select") ?? []) {
      if (field.value === "") field.value = button.dataset.fills;
    }
  });

  // In a field of several lines Enter starts a new one; with Ctrl it sends the form.
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !(event.ctrlKey || event.metaKey)) return;
    const form = event.target.closest?.("form[data-sends]");
    if (!form || !event.target.matches("textarea")) return;
    event.preventDefault();
    form.requestSubmit();
  });

  // The place that a screen reader reads aloud keeps the sentence; eyes find it at the field.
  let shown = null;
  new MutationObserver(() => {
    for (const fault of document.querySelectorAll(".fault > [data-sent]")) {
      if (fault === shown?.fault && fault.dataset.sent === shown.sent) continue;
      shown = { fault, sent: fault.dataset.sent };
      const atField = sent?.isConnected ?? false;
      fault.parentElement.classList.toggle("unseen", atField);
      stopWaiting(sent);
      if (atField) showAtField(sent, fault);
    }
  }).observe(document.documentElement, {
    childList: true,
    subtree: true,
    attributes: true,
    attributeFilter: ["data-sent"],
  });
})();
