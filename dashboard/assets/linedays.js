// What a page does by itself: keys, ways within the call list, focus, print, and saying when
// the dashboard does not answer.
(() => {
  "use strict";

  let wanted = null; // id of what gets the focus once the panel is made

  const rows = () => [...document.querySelectorAll("a.row-link")];
  const shown = (element) => element != null && element.offsetParent !== null;

  function go(search) {
    window.dash_clientside.set_props("url", { search });
  }

  function focusSoon(find, tries = 40) {
    const element = find();
    if (element?.closest("details")) element.closest("details").open = true;
    if (shown(element)) {
      element.focus();
    } else if (tries > 0) {
      window.setTimeout(() => focusSoon(find, tries - 1), 50);
    }
  }

  function focusRow() {
    focusSoon(() => document.querySelector('a.row-link[tabindex="0"]'));
  }

  // What a search found can be opened at once.
  if (window.location.pathname === "/families" && window.location.search.includes("q=")) {
    focusSoon(() => document.querySelector("table.families tbody .code"), 200);
  }

  const inPanel = (id) => () =>
    document.getElementById(id) ?? document.querySelector(`[data-instead-of="${id}"]`);

  // Show a family in the panel, then go to a part of it.
  function openFamily(link, id) {
    const family = new URLSearchParams(link.search).get("family");
    const isShown = document.querySelector("#panel-name .code")?.textContent === family;
    wanted = isShown ? null : id;
    if (link.search !== window.location.search) go(link.search);
    if (isShown) focusSoon(inPanel(id));
  }

  // -- ways within the list -----------------------------------------------------------------
  document.addEventListener("click", (event) => {
    if (event.button !== 0 || event.metaKey || event.ctrlKey || event.shiftKey) return;
    let link = event.target.closest("a[data-in-page]");
    if (!link && !event.target.closest("a, button") && String(window.getSelection()) === "") {
      link = event.target.closest("table.calls tr")?.querySelector("a.row-link") ?? null;
    }
    if (link) {
      event.preventDefault();
      if (link.dataset.opens) {
        openFamily(link, "panel-name");
        return;
      }
      const back = link.closest(".back") !== null;
      if (back) focusRow();
      if (back && link.search === window.location.search) {
        window.dash_clientside.set_props("split", { className: "split" });
      } else if (link.search !== window.location.search) {
        go(link.search);
      }
      return;
    }
    const button = event.target.closest("button");
    if (button?.id === "print") window.print();
    if (button?.dataset.downloads) {
      window.dash_clientside.set_props("export-list", { data: Date.now() });
    }
    if (button?.dataset.seen) {
      window.dash_clientside.set_props(button.dataset.seen, { data: Date.now() });
    }
    if (button?.dataset.undoes) {
      wanted = "panel-message";
      const data = { row: button.dataset.undoes, at: Date.now() };
      window.dash_clientside.set_props(button.dataset.store, { data });
    }
    const table = button?.dataset.shows;
    if (table !== undefined) {
      const data = { table, row: button.dataset.row, at: Date.now() };
      window.dash_clientside.set_props("family-asked", { data });
      window.setTimeout(() => {
        document.querySelector("[data-source]")?.scrollIntoView({ block: "nearest" });
      }, 400);
    }
  });

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.dataset.sends) return;
    event.preventDefault();
    wanted = "panel-message";
    const data = { ...Object.fromEntries(new FormData(form)), at: Date.now() };
    window.dash_clientside.set_props(form.dataset.sends, { data });
  });

  document.addEventListener("change", (event) => {
    const name = event.target.dataset?.chooses;
    if (!name) return;
    const query = new URLSearchParams(window.location.search);
    if (!event.target.dataset.keeps) {
      query.delete("page");
      query.delete("family");
    }
    if (event.target.value) query.set(name, event.target.value);
    else query.delete(name);
    const text = query.toString();
    go(text ? `?${text}` : "");
  });

  // -- keys ---------------------------------------------------------------------------------
  // Letters act only while the focus is on a family of the list or in the panel, and never in a field.
  // On the page of a family there is but one, so that they act wherever the focus is.
  const LETTERS = { c: "reached-yes", s: "until-on", a: "assigned-to" };

  function actsByLetter(event) {
    const at = document.activeElement;
    if (event.ctrlKey || event.metaKey || event.altKey) return false;
    const onFamily = document.getElementById("family-others") !== null;
    if (at?.matches("input, select, textarea")) return false;
    if (!onFamily && !at?.closest("a.row-link, .panel")) return false;
    if (event.key === "n") {
      const next =
        document.querySelector(".panel .message a") ??
        document.getElementById("next-family") ??
        document.querySelector(".on-list a[rel=next]");
      next?.click();
      return next !== null;
    }
    if (event.key === "u") {
      document.querySelector(".panel .message [data-undoes]")?.click();
      return true;
    }
    const id = LETTERS[event.key];
    if (id === undefined) return false;
    if (at.matches("a.row-link")) openFamily(at, id);
    else focusSoon(inPanel(id));
    return true;
  }

  function findsByKey(event) {
    const at = document.activeElement;
    const find = document.getElementById("find");
    if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey || !find) return false;
    if (at?.matches("input, select, textarea")) return false;
    find.focus();
    find.select();
    return true;
  }

  document.addEventListener("keydown", (event) => {
    const at = document.activeElement;
    if (findsByKey(event)) {
      event.preventDefault();
      return;
    }
    if (actsByLetter(event)) {
      event.preventDefault();
      return;
    }
    if (event.key === "Escape" && at?.closest(".panel")) {
      const back = document.querySelector(".panel .back a");
      if (shown(back)) back.click();
      else focusRow();
      return;
    }
    if (!at?.matches("a.row-link")) return;
    const all = rows();
    const here = all.indexOf(at);
    const to = {
      ArrowDown: here + 1,
      ArrowUp: here - 1,
      Home: 0,
      End: all.length - 1,
    }[event.key];
    if (to === undefined || !all[to]) return;
    event.preventDefault();
    at.tabIndex = -1;
    all[to].tabIndex = 0;
    all[to].focus();
  });

  // -- a list left open follows what others did ----------------------------------------------
  // As long as somebody is there; asking by itself does not keep a sign-in open.
  const FOLLOWS_EVERY = 20000;
  const FOLLOWS_FOR = 1800000; // after the last key or movement; then a sign-in ends
  const IS_THERE_FOR = 120000; // so long somebody is taken to look at the page
  let lastActed = Date.now();
  for (const kind of ["keydown", "pointerdown", "pointermove", "wheel", "touchstart"]) {
    document.addEventListener(kind, () => (lastActed = Date.now()), { capture: true, passive: true });
  }

  const isThere = () => Date.now() - lastActed < IS_THERE_FOR;

  function follow() {
    const open = document.getElementById("split") ?? document.getElementById("family-others");
    if (document.hidden || open === null) return;
    const typed = (window.linedays_drafts?.unsent() ?? null) !== null;
    window.dash_clientside.set_props("looked", { data: { at: Date.now(), typed, there: isThere() } });
  }

  window.setInterval(() => {
    if (Date.now() - lastActed < FOLLOWS_FOR) follow();
  }, FOLLOWS_EVERY);
  document.addEventListener("visibilitychange", follow);

  // -- when a sign-in ends ---------------------------------------------------------------------
  // A page left alone leaves itself, so that no family stays on an unwatched screen. A person
  // who types is not away: that keeps the sign-in open, and so does the button of the warning.
  const WARNS_BEFORE = 120;
  const ASKS_EVERY = 60000;
  const STAYS = 300; // seconds that a typed note stays after the sign-in has ended
  let leaving = null;
  let warning = null;
  let lastAsked = Date.now();

  function toSignIn() {
    const here = new URL(window.location.href);
    const draft = window.linedays_drafts?.unsent();
    if (draft && here.pathname === "/") here.searchParams.set("family", draft.family);
    const to = encodeURIComponent(here.pathname + here.search);
    const about = draft ? `&draft=${draft.note ? "note" : "codes"}` : "";
    window.linedays_drafts?.leave();
    window.location.replace(`/sign-in?to=${to}${about}`);
  }

  function stayAwhile() {
    const seconds = Number(document.body?.dataset.idleSeconds ?? 0);
    if (seconds === 0) return;
    lastAsked = Date.now();
    window.clearTimeout(leaving);
    window.clearTimeout(warning);
    leaving = window.setTimeout(toSignIn, (seconds + 5) * 1000);
    warning = window.setTimeout(warnOfTheEnd, Math.max(0, seconds - WARNS_BEFORE) * 1000);
  }
  stayAwhile(); // a page that is sent whole asks for nothing more

  function warnOfTheEnd() {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet-action small";
    button.textContent = "Stay signed in";
    button.addEventListener("click", keepSignedIn);
    trouble("You will be signed out in 2 minutes, because nothing was done here for a while. ", button);
  }

  async function keepSignedIn() {
    const here = { method: "HEAD", redirect: "manual" };
    const answer = await ask(window.location.pathname, here).catch(() => null);
    if (answer?.ok) {
      trouble("");
      stayAwhile();
    } else if (answer?.type === "opaqueredirect") {
      signInHasEnded();
    }
  }

  document.addEventListener("input", () => {
    if (document.body.dataset.idleSeconds > 0 && Date.now() - lastAsked > ASKS_EVERY) {
      lastAsked = Date.now();
      keepSignedIn();
    }
  });

  // A note that was typed here would be lost with the page, so its writer is asked first.
  function signInHasEnded() {
    if (!window.linedays_drafts?.unsent()?.note) {
      toSignIn();
      return;
    }
    window.clearTimeout(warning);
    window.clearTimeout(leaving);
    leaving = window.setTimeout(toSignIn, STAYS * 1000);
    const link = document.createElement("a");
    link.href = "/sign-in";
    link.target = "_blank";
    link.rel = "noopener";
    link.textContent = "Sign in again in a new tab";
    trouble(
      "Your sign-in has ended, so this call is not recorded yet. What you typed stays on this page " +
        "for 5 minutes. ",
      link,
      ", then come back here and send it again.",
    );
  }

  // -- when the dashboard does not answer ------------------------------------------------------
  function trouble(...parts) {
    const place = document.getElementById("trouble");
    place.replaceChildren(...parts);
    place.hidden = parts[0] === "";
  }

  const asksByItself = (given) => String(given[1]?.body).includes('"changedPropIds":["looked.data"]');

  // -- while an answer takes longer than a moment ----------------------------------------------
  const SHOWN_AFTER = 300;
  let pending = 0;
  let soon = null;

  function waits(change) {
    pending += change;
    if (pending === 0) window.clearTimeout(soon);
    else if (change > 0 && pending === 1) soon = window.setTimeout(() => busy(true), SHOWN_AFTER);
    if (pending === 0) busy(false);
  }

  function busy(is) {
    document.documentElement.classList.toggle("busy", is);
    document.getElementById("main")?.setAttribute("aria-busy", String(is));
  }

  async function askShown(...given) {
    waits(1);
    try {
      return await ask(...given);
    } finally {
      waits(-1);
    }
  }

  const ask = window.fetch.bind(window);
  window.fetch = async (...given) => {
    const address = String(given[0]?.url ?? given[0]);
    if (!address.includes("_dash-")) return ask(...given);
    try {
      const answer = await (asksByItself(given) ? ask : askShown)(...given);
      if (answer.status === 401) {
        signInHasEnded();
        return answer;
      }
      if (asksByItself(given)) return answer;
      if (address.includes("_dash-update")) stayAwhile();
      window.linedays_forms?.answered();
      if (answer.ok) trouble("");
      else trouble(await answer.clone().text());
      return answer;
    } catch (fault) {
      trouble(
        "The dashboard is not responding. Check that it is running on this computer, then " +
          "reload the page. Anything already recorded is saved.",
      );
      throw fault;
    }
  };

  // -- paper ----------------------------------------------------------------------------------
  const PAPER_WIDTH = 680;
  window.addEventListener("beforeprint", () => {
    for (const chart of document.querySelectorAll(".js-plotly-plot")) {
      window.Plotly?.relayout(chart, { autosize: false, width: PAPER_WIDTH });
    }
  });
  window.addEventListener("afterprint", () => {
    for (const chart of document.querySelectorAll(".js-plotly-plot")) {
      window.Plotly?.relayout(chart, { autosize: true, width: null });
    }
  });

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    linedays: {
      focusPanel() {
        if (wanted !== null) {
          const id = wanted;
          wanted = null;
          focusSoon(inPanel(id));
        }
        return window.dash_clientside.no_update;
      },
    },
  });
})();
