// Log files: dropped on the form or chosen with it; the form itself works without this script.
(() => {
  "use strict";

  const zoneOf = (event) => event.target.closest?.("form[data-drops]") ?? null;
  const holdsFiles = (event) => [...(event.dataTransfer?.types ?? [])].includes("Files");

  function size(bytes) {
    return bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
  }

  function tell(form) {
    const input = form.querySelector('input[type="file"]');
    const files = [...input.files];
    const total = files.reduce((sum, file) => sum + file.size, 0);
    const most = Number(form.dataset.mostBytes);
    const names = files.map((file) => file.name).join(", ");
    const place = form.querySelector(".chosen");
    const tooLarge = total > most;
    place.textContent =
      files.length === 0
        ? ""
        : tooLarge
          ? `${names}: ${size(total)} is more than ${size(most)} at once. ` +
            "Split the files, or import them at the command line."
          : `Chosen: ${names} (${size(total)}). Not imported yet.`;
    for (const button of form.querySelectorAll("button")) button.disabled = tooLarge;
  }

  // A file dropped next to the form is not to be opened in place of the page.
  for (const kind of ["dragover", "drop"]) {
    document.addEventListener(kind, (event) => {
      if (!holdsFiles(event) || !document.querySelector("form[data-drops]")) return;
      event.preventDefault();
      const form = zoneOf(event);
      if (form === null) event.dataTransfer.dropEffect = "none";
      if (kind === "drop") form?.classList.remove("over");
      else form?.classList.add("over");
      if (form === null || kind !== "drop") return;
      form.querySelector('input[type="file"]').files = event.dataTransfer.files;
      tell(form);
      form.querySelector("button").focus();
    });
  }

  document.addEventListener("dragleave", (event) => {
    const form = zoneOf(event);
    if (form !== null && !form.contains(event.relatedTarget)) form.classList.remove("over");
  });

  document.addEventListener("change", (event) => {
    const form = zoneOf(event);
    if (form !== null && event.target.type === "file") tell(form);
  });

  document.addEventListener("submit", (event) => {
    if (!event.target.matches("form[data-drops]")) return;
    const checks = event.submitter?.value === "preview";
    event.target.querySelector(".chosen").textContent = checks ? "Checking …" : "Importing …";
    // Later: a button that is disabled now is not sent with the form.
    const buttons = event.target.querySelectorAll("button");
    setTimeout(() => buttons.forEach((button) => (button.disabled = true)));
  });

  // Back from the answer: the form is as it was left, and may be sent again.
  window.addEventListener("pageshow", () => {
    document.querySelectorAll("form[data-drops]").forEach(tell);
  });
})();
