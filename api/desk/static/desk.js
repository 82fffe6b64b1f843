// The desk's own script. Without it every form still works; with it nothing typed is lost when the
// server goes away, keys 1 to 9 answer, and the page tells when somebody else was at the case.
"use strict";

(() => {
  const KEYS_OFF = "threewire-desk-keys-off";
  const UNSENT = "threewire-desk-unsent";
  const DRAFT = "threewire-desk-draft ";
  const THEME = "threewire-desk-theme";
  const POLL_MS = 5000;
  const RETRY_MS = 2500;
  const DEAF_MS = 400;  // a second press that was meant for the page before falls on nothing
  const NO_DRAFT = new Set(["csrf", "nonce", "version", "read_out"]);
  const AWAY = new Set([429, 502, 503, 504]);

  const store = {
    get(key) { try { return JSON.parse(localStorage.getItem(key)); } catch { return null; } },
    set(key, value) { try { localStorage.setItem(key, JSON.stringify(value)); return true; } catch { return false; } },
    drop(key) { try { localStorage.removeItem(key); } catch { /* private window */ } },
  };
  const byId = (id) => document.getElementById(id);

  // ---- drafts: what is typed and not sent, kept per form -------------------------------------
  function entriesOf(form, button) {
    const data = new FormData(form);
    if (button && button.name) data.append(button.name, button.value);
    return [...data].filter((pair) => typeof pair[1] === "string");
  }

  function keepDraft(form) {
    const kept = entriesOf(form).filter(([name, value]) => !NO_DRAFT.has(name) && value);
    const had = form.querySelectorAll("input[type=hidden]").length;
    if (kept.length) store.set(DRAFT + form.dataset.draft, kept);
    else if (had) store.drop(DRAFT + form.dataset.draft);
  }

  function restoreDraft(form) {
    const kept = store.get(DRAFT + form.dataset.draft);
    if (!Array.isArray(kept) || byId("faults")) return;
    const before = JSON.stringify(entriesOf(form));
    for (const [name, value] of kept) {
      for (const field of form.querySelectorAll(`[name="${CSS.escape(name)}"]`)) {
        if (field.type === "hidden" || field.tagName === "BUTTON") continue;
        if (field.type === "radio" || field.type === "checkbox") {
          if (field.value === value) field.checked = true;
        } else if (!field.value || field.tagName === "SELECT") field.value = value;
      }
    }
    const hidden = form.querySelector("details.more");
    if (hidden && kept.some(([name]) => ["note", "circumstances"].includes(name))) hidden.open = true;
    if (JSON.stringify(entriesOf(form)) !== before) tellRestored(form);
  }

  function tellRestored(form) {
    const words = document.createElement("p");
    words.textContent = "What was typed here before and not sent is filled in again.";
    const empty = document.createElement("button");
    empty.type = "button";
    empty.className = "small";
    empty.textContent = "Empty the form";
    empty.addEventListener("click", () => { store.drop(DRAFT + form.dataset.draft); location.reload(); });
    byId("news").replaceChildren(words, empty);
  }

  // ---- sending -------------------------------------------------------------------------------
  function say(words) { byId("news").textContent = words; }

  function showUnsent(job) {
    const box = byId("unsent");
    if (!box) return;
    box.hidden = !job;
    if (!job) { box.replaceChildren(); return; }
    const words = document.createElement("p");
    words.textContent = "Not sent yet: the server does not answer. What you typed is kept on this " +
      "machine and will be sent when it is back.";
    const what = document.createElement("p");
    what.textContent = `Waiting: ${job.words}`;
    const drop = document.createElement("button");
    drop.type = "button";
    drop.className = "small";
    drop.textContent = "Do not send it";
    drop.addEventListener("click", () => { store.drop(UNSENT); showUnsent(null); free(); });
    box.replaceChildren(words, what, drop);
  }

  function free() {
    for (const one of document.querySelectorAll("[aria-disabled=true]")) one.removeAttribute("aria-disabled");
  }

  async function send(job) {
    const body = new URLSearchParams(job.entries);
    const reply = await fetch(job.action, {
      method: "POST", body, credentials: "same-origin", redirect: "follow",
    });
    if (AWAY.has(reply.status)) throw new Error(String(reply.status));
    const text = await reply.text();
    if (reply.status === 401) { showUnsent(job); put(text, reply); return; }  // sent after signing in
    // taken, or refused in words: either way the server has it, and its page says what is next
    store.drop(UNSENT);
    showUnsent(null);
    if (reply.ok && job.draft) store.drop(DRAFT + job.draft);
    put(text, reply);
  }

  let trying = null;
  function tryLater(job) {
    if (!store.set(UNSENT, job)) job.lost = true;
    showUnsent(job);
    clearTimeout(trying);
    trying = setTimeout(() => attempt(store.get(UNSENT)), RETRY_MS);
  }

  async function attempt(job) {
    if (!job) return;
    try { await send(job); } catch { tryLater(job); }
  }

  function wordsOf(form, button) {
    const field = form.querySelector("#value, #fleet_number, #cause, #handed_to, #because");
    const title = document.querySelector("#step, h1");
    const typed = button && button.name === "outcome" ? button.textContent.replace(/\s+/g, " ").trim()
      : [field && field.value, byId("unit") && byId("unit").value].filter(Boolean).join(" ");
    return [title && title.textContent.trim(), typed].filter(Boolean).join(": ");
  }

  function onSubmit(event) {
    const form = event.target;
    if (!form.matches("form[data-desk]")) return;
    event.preventDefault();
    if (store.get(UNSENT)) return;  // one thing waits already; it goes first
    const button = event.submitter;
    if (button && button.getAttribute("aria-disabled") === "true") return;
    for (const one of form.querySelectorAll("button")) one.setAttribute("aria-disabled", "true");
    const job = {
      action: form.action, entries: entriesOf(form, button), draft: form.dataset.draft || "",
      words: wordsOf(form, button), page: location.pathname + location.search,
    };
    store.set(UNSENT, job);  // before it is sent, so that a crash in between loses nothing
    attempt(job);
  }

  // ---- putting the next page in place of this one --------------------------------------------
  function put(text, reply) {
    const page = new DOMParser().parseFromString(text, "text/html");
    const main = page.querySelector("#main");
    if (!main) { location.assign(reply.url); return; }
    document.title = page.title;
    byId("main").replaceWith(document.adoptNode(main));
    for (const name of ["class", "data-case", "data-version"]) {
      const value = page.body.getAttribute(name);
      if (value === null) document.body.removeAttribute(name);
      else document.body.setAttribute(name, value);
    }
    if (reply.redirected || reply.url !== location.href) history.pushState({}, "", reply.ok ? reply.url : location.href);
    say("");
    ready();
    deafen();
    window.scrollTo(0, 0);
    const faults = byId("faults");
    const first = faults || document.querySelector("[data-focus]") || byId("step") || byId("main");
    first.focus({ preventScroll: !faults });
    const lead = document.querySelector(".now-lead");
    const next = document.querySelector(".now-next");
    if (!faults && lead) say(""), announce(`${lead.textContent}. ${next ? next.textContent : ""}`);
  }

  function announce(words) {
    const live = byId("live");
    if (live) live.textContent = words.replace(/\s+/g, " ").trim();
  }

  // ---- somebody else at the same case ---------------------------------------------------------
  async function poll() {
    const { case: address, version } = document.body.dataset;
    if (!address || document.hidden || store.get(UNSENT)) return;
    try {
      const reply = await fetch(`${address}/version?since=${version}`, { credentials: "same-origin" });
      if (!reply.ok || reply.redirected) return;
      const told = await reply.json();
      if (String(told.version) === document.body.dataset.version || byId("news").dataset.at === String(told.version)) return;
      const box = byId("news");
      box.dataset.at = String(told.version);
      const words = document.createElement("p");
      words.textContent = told.words.join(" ");
      const show = document.createElement("a");
      show.className = "button small";
      show.href = location.href;
      show.textContent = "Show it; what you typed stays";
      box.replaceChildren(words, show);
    } catch { /* the server is away: the next form says so */ }
  }

  // ---- keys ----------------------------------------------------------------------------------
  const typing = (node) => node.matches("input:not([type=radio]):not([type=checkbox]), textarea, select");
  const keysOn = () => !store.get(KEYS_OFF);

  // a key that is held, or pressed twice, answers once: what comes next has to be read first
  const deaf = () => !("ready" in document.documentElement.dataset);
  let hearing = null;
  function deafen() {
    clearTimeout(hearing);
    delete document.documentElement.dataset.ready;
    hearing = setTimeout(() => { document.documentElement.dataset.ready = "yes"; }, DEAF_MS);
  }

  function onKey(event) {
    const pushes = ["Enter", " "].includes(event.key) && event.target.matches("button, a, summary");
    if (pushes && (event.repeat || deaf())) { event.preventDefault(); return; }
    if (document.querySelector("dialog[open]")) return;
    if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing || !keysOn()) return;
    if (typing(event.target)) {
      if (event.key === "Escape") event.target.blur();
      return;
    }
    if (event.repeat) return;
    if (/^[0-9.-]$/.test(event.key)) { digit(event); return; }
    const open = { e: "#evidence", w: "#why", m: "#meant", c: "#mind", a: "#answers", s: "#learned", h: "#chances" }[event.key];
    if (open) toggle(event, document.querySelector(open));
    else if (event.key === "?") { event.preventDefault(); byId("keys-help").showModal(); }
    else if (event.key === "/") focusOn(event, byId("find") || byId("q"));
    else press(event, /^[a-z]$/.test(event.key) && document.querySelector(`[data-key="${event.key}"]`));
  }

  function press(event, target) {
    if (!target) return;
    event.preventDefault();
    if (!deaf()) target.click();
  }

  function digit(event) {
    const group = event.target.closest && event.target.closest("fieldset[data-pick]");
    if (group) { pick(event, group); return; }
    const target = document.querySelector(`[data-digit="${event.key}"]`);
    if (target) { press(event, target); return; }
    const value = byId("value");  // a digit where a reading is asked for begins the reading
    if (value) { event.preventDefault(); value.focus(); value.value += event.key; value.dispatchEvent(new Event("input", { bubbles: true })); }
  }

  function pick(event, group) {
    const options = [...group.querySelectorAll("input[type=radio]")];
    const wanted = options.find((one) => one.closest("label").querySelector("kbd").textContent === event.key);
    if (!wanted) return;
    event.preventDefault();
    wanted.checked = true;
    wanted.dispatchEvent(new Event("input", { bubbles: true }));
    const groups = [...document.querySelectorAll(".machine fieldset:not(.seldom)")].filter((one) => one.offsetParent);
    const next = groups[groups.indexOf(group) + 1];
    const first = next && (next.querySelector("input:checked") || next.querySelector("input, textarea"));
    (first || document.querySelector(".send input, .send button")).focus();
  }

  function toggle(event, details) {
    if (!details) return;
    event.preventDefault();
    details.open = !details.open;
    details.querySelector("summary").focus();
    if (details.open) details.scrollIntoView({ block: "nearest" });
  }

  function focusOn(event, field) {
    if (!field) return;
    event.preventDefault();
    if (field.closest("details")) field.closest("details").open = true;
    field.focus();
    field.select();
  }

  async function load(details) {
    const place = details.querySelector(".loaded");
    if (!place || details.dataset.done) return;
    details.dataset.done = "yes";
    try {
      const reply = await fetch(details.dataset.load, { credentials: "same-origin" });
      const page = new DOMParser().parseFromString(await reply.text(), "text/html");
      const found = page.querySelector(`#${details.dataset.part}`);
      if (found) place.replaceWith(document.adoptNode(found));
    } catch { delete details.dataset.done; }
  }

  // ---- light and dark, the list of keys, local times -----------------------------------------
  function theme(wanted) {
    if (wanted) document.documentElement.dataset.theme = wanted;
    else delete document.documentElement.dataset.theme;
  }

  function themeSwitch() {
    const button = byId("theme-switch");
    if (!button) return;
    const dark = () => (store.get(THEME) || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark";
    const show = () => { theme(store.get(THEME)); button.textContent = dark() ? "Make it light" : "Make it dark"; };
    button.hidden = false;
    button.addEventListener("click", () => { store.set(THEME, dark() ? "light" : "dark"); show(); });
    show();
  }

  function keysHelp() {
    const button = byId("keys-help-open");
    if (!button) return;
    button.hidden = false;
    button.addEventListener("click", () => byId("keys-help").showModal());
  }

  function localTimes() {
    for (const one of document.querySelectorAll("time[datetime]")) {
      const at = new Date(one.dateTime);
      if (!Number.isNaN(at.getTime())) one.textContent = at.toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
    }
  }

  // ---- a page is there -------------------------------------------------------------------------
  function ready() {
    localTimes();
    for (const form of document.querySelectorAll("form[data-draft]")) {
      restoreDraft(form);
      form.addEventListener("input", () => keepDraft(form));
    }
    for (const one of document.querySelectorAll("details[data-load]")) {
      if (one.open) load(one);
      one.addEventListener("toggle", () => { if (one.open) load(one); });
    }
  }

  function keysSwitch() {
    const button = byId("keys-switch");
    if (!button) return;
    const show = () => {
      button.setAttribute("aria-pressed", String(keysOn()));
      button.textContent = `Letter and number keys are ${keysOn() ? "on" : "off"}: turn them ${keysOn() ? "off" : "on"}`;
    };
    button.hidden = false;
    button.addEventListener("click", () => { if (keysOn()) store.set(KEYS_OFF, true); else store.drop(KEYS_OFF); show(); });
    show();
  }

  document.addEventListener("submit", onSubmit);
  document.addEventListener("keydown", onKey);
  window.addEventListener("popstate", () => location.reload());
  const print = byId("print");
  if (print) { print.hidden = false; print.addEventListener("click", () => window.print()); }
  keysSwitch();
  themeSwitch();
  keysHelp();
  ready();
  const first = document.querySelector("[data-focus]");
  if (first) first.focus();
  const faults = byId("faults");
  if (faults) faults.focus();
  const waiting = store.get(UNSENT);
  if (waiting) { showUnsent(waiting); if (!byId("key")) attempt(waiting); }
  setInterval(poll, POLL_MS);
  document.documentElement.dataset.ready = "yes";
})();
