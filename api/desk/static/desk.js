// The desk's own script. Without it every form still works; with it nothing typed is lost when the
// server goes away, keys 1 to 9 answer, and the page tells when somebody else was at the case.
"use strict";

(() => {
  const KEYS_OFF = "threewire-desk-keys-off";
  const UNSENT = "threewire-desk-unsent ";
  const DRAFT = "threewire-desk-draft ";
  const ALIVE = "threewire-desk-tab ";
  const THEME = "threewire-desk-theme";
  const PICTURE = "threewire-desk-picture";
  const POLL_MS = 5000;
  const RETRY_MS = 2500;
  const GONE_MS = 150000;  // a tab that did not stir for so long is gone; a hidden one stirs each minute
  const LEFT_MS = 3000;  // one that was left and has no next page after so long is gone too
  const OLD_MS = 14 * 86400000;  // what a tab left behind is kept for two weeks
  const HEAR_MS = 400;  // after the last letter typed
  const MOST_EDGE = 1280;  // pixels of a photo that is sent
  const DEAF_MS = 400;  // a second press that was meant for the page before falls on nothing
  const NO_DRAFT = new Set(["csrf", "nonce", "version", "read_out", "shown"]);
  const AWAY = new Set([429, 502, 503, 504]);

  const byId = (id) => document.getElementById(id);
  const TEXTS = JSON.parse(byId("words") ? byId("words").content.textContent : "{}");  // the page's language
  const phrase = (name, values = {}) => (TEXTS[name] || "").replace(/\{(\w+)\}/g, (_, key) => values[key]);

  const memory = new Map();  // where the browser keeps nothing, the page does as long as it stands
  const store = {
    get(key) { try { const kept = localStorage.getItem(key); if (kept !== null) return JSON.parse(kept); } catch { /* below */ } return memory.get(key) ?? null; },
    set(key, value) { try { localStorage.setItem(key, JSON.stringify(value)); memory.delete(key); } catch { memory.set(key, value); } },
    drop(key) { memory.delete(key); try { localStorage.removeItem(key); } catch { /* private window */ } },
    keys(start) { try { return Object.keys(localStorage).filter((key) => key.startsWith(start)); } catch { return []; } },
  };

  // ---- tabs: each is a call of its own, with its own drafts and its own waiting answers ---------
  // The name is in the tab's own store only between two pages: a tab that is doubled gets another.
  let tab = "";
  function enter() {
    try { tab = sessionStorage.getItem(ALIVE) || ""; sessionStorage.removeItem(ALIVE); } catch { /* private window */ }
    tab = tab || Array.from(crypto.getRandomValues(new Uint8Array(8)), (one) => one.toString(16).padStart(2, "0")).join("");
    stir(false);
  }

  function stir(left) { store.set(ALIVE + tab, { at: Date.now(), left }); }

  function leave() {
    try { sessionStorage.setItem(ALIVE, tab); } catch { /* private window */ }
    stir(true);
  }

  function isGone(name) {
    const { at = 0, left = false } = store.get(ALIVE + name) || {};
    return name !== tab && Date.now() - at > (left ? LEFT_MS : GONE_MS);
  }

  const draftKey = (form) => `${DRAFT}${tab} ${form.dataset.draft}`;
  const tabOf = (key, start) => key.slice(start.length).split(" ")[0];

  // what a tab that is gone left typed in this form is filled in where the form is opened again
  function inherit(form) {
    const ends = ` ${form.dataset.draft}`;
    for (const key of store.keys(DRAFT)) {
      if (!key.endsWith(ends) || !isGone(tabOf(key, DRAFT))) continue;
      if (!store.get(draftKey(form))) store.set(draftKey(form), store.get(key));
      store.drop(key);
    }
  }

  function sweep() {
    for (const key of store.keys(ALIVE)) {
      const name = key.slice(ALIVE.length);
      if (Date.now() - (store.get(key) || {}).at < OLD_MS || name === tab) continue;
      for (const left of store.keys(`${DRAFT}${name} `)) store.drop(left);
      if (!store.get(UNSENT + name)) store.drop(key);
    }
  }

  // ---- drafts: what is typed and not sent, kept per form -------------------------------------
  function entriesOf(form, button) {
    const data = new FormData(form);
    if (button && button.name) data.append(button.name, button.value);
    return [...data].filter((pair) => typeof pair[1] === "string");
  }

  function keepDraft(form) {
    const kept = entriesOf(form).filter(([name, value]) => !NO_DRAFT.has(name) && value);
    const had = form.querySelectorAll("input[type=hidden]").length;
    if (kept.length) store.set(draftKey(form), kept);
    else if (had) store.drop(draftKey(form));
  }

  function restoreDraft(form) {
    inherit(form);
    const kept = store.get(draftKey(form));
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
    if (JSON.stringify(entriesOf(form)) === before) return;
    const hidden = form.querySelector("details.more");
    if (hidden && kept.some(([name]) => ["note", "circumstances", "while"].includes(name))) hidden.open = true;
    tellRestored(form);
  }

  function tellRestored(form) {
    const words = paragraph(phrase("filled_in"));
    byId("news").replaceChildren(words, button(phrase("empty_form"), () => { store.drop(draftKey(form)); location.reload(); }));
  }

  // ---- sending -------------------------------------------------------------------------------
  function say(words) { byId("news").textContent = words; }

  // What waits is a list of forms for each tab, sent in turn. A form carries its mark, so that the
  // server takes it once however often it is sent, and by whichever tab.
  const waitingOf = (name) => { const found = store.get(UNSENT + name); return Array.isArray(found) ? found : []; };
  const waiting = () => waitingOf(tab);

  function keepWaiting(jobs) {
    if (jobs.length) store.set(UNSENT + tab, jobs);
    else store.drop(UNSENT + tab);
    showUnsent();
  }

  const forget = (job) => keepWaiting(waiting().filter((one) => one.id !== job.id));

  function paragraph(words) {
    const made = document.createElement("p");
    made.textContent = words;
    return made;
  }

  function button(words, act) {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "small";
    made.textContent = words;
    made.addEventListener("click", act);
    return made;
  }

  let away = false;  // the last form that was sent found no server
  function showUnsent() {
    const box = byId("unsent");
    if (!box) return;
    const mine = waiting().filter((job) => away || job.held);
    const others = store.keys(UNSENT).map((key) => tabOf(key, UNSENT)).filter((name) => name !== tab);
    const theirs = others.flatMap(waitingOf).filter((job) => job.away);
    box.hidden = !mine.length && !theirs.length;
    box.replaceChildren();
    if (away && mine.length) box.append(paragraph(phrase("not_sent")));
    for (const job of mine) {
      box.append(paragraph(phrase(job.held ? "not_taken" : "waiting", { answer: job.words })));
      if (job.held) box.append(button(phrase("see_why"), () => sendOne({ ...job, from: location.pathname })));
      box.append(button(phrase("do_not_send"), () => { forget(job); free(); }));
    }
    for (const job of theirs) box.append(paragraph(phrase("waiting_elsewhere", { answer: job.words })));
  }

  function free() {
    for (const one of document.querySelectorAll("[aria-disabled=true]")) one.removeAttribute("aria-disabled");
  }

  // a photo waits as text, so that it survives the page; it goes out as the file that it was
  function bodyOf(job) {
    if (!job.photo) return new URLSearchParams(job.entries);
    const body = new FormData();
    for (const [name, value] of job.entries) body.append(name, value);
    const bytes = Uint8Array.from(atob(job.photo.split(",")[1]), (one) => one.charCodeAt(0));
    body.append("photo", new Blob([bytes], { type: "image/jpeg" }), "photo.jpg");
    return body;
  }

  // made small here: it may have to wait, and the server takes no large ones; nothing but pixels stays
  async function photoOf(form) {
    const field = form.querySelector("input[type=file]");
    if (!field || !field.files.length) return "";
    const found = await createImageBitmap(field.files[0]);
    const scale = Math.min(1, MOST_EDGE / Math.max(found.width, found.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(found.width * scale);
    canvas.height = Math.round(found.height * scale);
    canvas.getContext("2d").drawImage(found, 0, 0, canvas.width, canvas.height);
    return canvas.toDataURL("image/jpeg", 0.8);
  }

  const addressOf = (reply) => new URL(reply.headers.get("Content-Location") || reply.url, reply.url).href;

  async function post(job) {
    const reply = await fetch(job.action, {
      method: "POST", body: bodyOf(job), credentials: "same-origin", redirect: "follow",
      headers: { "X-Threewire-In-Place": "1" },  // the next page itself, and not the way to it
    });
    if (AWAY.has(reply.status)) throw new Error(String(reply.status));
    return { reply, text: await reply.text() };
  }

  async function send(job) {
    const { reply, text } = await post(job);
    away = false;
    if (reply.status === 401) { away = true; showUnsent(); put(text, reply); return false; }  // sent after signing in
    if (job.from !== location.pathname) return elsewhere(job, reply);
    // taken, or refused in words: either way the server has it, and its page says what is next
    forget(job);
    if (reply.ok && job.draft) store.drop(`${DRAFT}${tab} ${job.draft}`);
    if (!reply.ok) keepWaiting(waiting().map((one) => ({ ...one, held: true })));  // one thing at a time
    put(text, reply);
    return reply.ok;
  }

  // of another page than the one that is looked at: that page stays where it is
  function elsewhere(job, reply) {
    if (!reply.ok) {
      keepWaiting(waiting().map((one) => (one.id === job.id ? { ...one, held: true } : one)));
      return true;
    }
    forget(job);
    const show = document.createElement("a");
    show.className = "button small";
    show.href = addressOf(reply);
    show.textContent = phrase("show_it");
    byId("news").replaceChildren(paragraph(phrase("sent_now", { answer: job.words })), show);
    return true;
  }

  let sending = false, trying = null;
  async function sendOne(job) {
    try {
      return await send(job);
    } catch {
      away = true;
      keepWaiting(waiting().map((one) => ({ ...one, away: true })));
      trying = setTimeout(takeOver, RETRY_MS);
      return false;
    }
  }

  async function sendAll() {
    const next = () => waiting().find((job) => !job.held);
    if (sending || !next()) return;
    sending = true;
    clearTimeout(trying);
    while (next() && await sendOne(next()));
    sending = false;
  }

  // A tab that is gone sends nothing more: whoever is there takes over what it left waiting.
  function takeOver() {
    for (const key of store.keys(UNSENT)) {
      if (!isGone(tabOf(key, UNSENT))) continue;
      const left = store.get(key);
      store.drop(key);
      if (Array.isArray(left) && left.length) keepWaiting([...waiting(), ...left]);
    }
    sendAll();
  }

  function wordsOf(form, button) {
    const field = form.querySelector("#value, #fleet_number, #cause, #handed_to, #because");
    const title = byId("step") || document.querySelector("h1");
    const number = title.id && document.querySelector("h1 .number");
    const typed = button && button.name === "outcome" ? button.textContent.replace(/\s+/g, " ").trim()
      : [field && field.value, byId("unit") && byId("unit").value].filter(Boolean).join(" ");
    return [number && number.textContent, title.textContent.replace(/\s+/g, " ").trim(), typed].filter(Boolean).join(": ");
  }

  async function onSubmit(event) {
    const form = event.target;
    if (form.matches("form.out")) signOut(event);
    if (!form.matches("form[data-desk]")) return;
    event.preventDefault();
    const button = event.submitter;
    if (button && button.getAttribute("aria-disabled") === "true") {
      if (waiting().length) say(phrase("sent_already"));
      return;
    }
    // read before the buttons change: a form with a text area is laid out anew to be read
    const job = {
      action: form.action, entries: entriesOf(form, button), draft: form.dataset.draft || "",
      words: wordsOf(form, button), from: location.pathname, id: `${tab} ${Date.now()} ${Math.random()}`,
    };
    for (const one of form.querySelectorAll("button")) one.setAttribute("aria-disabled", "true");
    try {
      job.photo = await photoOf(form);
    } catch {
      say(phrase("no_photo"));
      free();
      return;
    }
    if (job.photo) job.words = phrase("with_photo", { answer: job.words });
    // kept before it is sent, so that a crash in between loses nothing
    keepWaiting([...waiting(), job]);
    sendAll();
  }

  // ---- putting the next page in place of this one --------------------------------------------
  function put(text, reply) {
    const page = new DOMParser().parseFromString(text, "text/html");
    const main = page.querySelector("#main");
    if (!main) { location.assign(addressOf(reply)); return; }
    document.title = page.title;
    byId("main").replaceWith(document.adoptNode(main));
    for (const name of ["class", "data-case", "data-version"]) {
      const value = page.body.getAttribute(name);
      if (value === null) document.body.removeAttribute(name);
      else document.body.setAttribute(name, value);
    }
    // at one address the next step stands in the place of this one: back leads to where one came from
    const address = reply.ok ? addressOf(reply) : location.href;
    if (address !== location.href) history.pushState({}, "", address);
    say("");
    keepStep(text, reply);
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

  // ---- the step in hand without the server, and nothing of it after sign-out --------------------
  const KEPT = "threewire-desk-kept";

  function keepStep(text, reply) {
    if (!navigator.serviceWorker || !reply.ok) return;
    const step = { path: new URL(addressOf(reply)).pathname, text, headers: [...reply.headers] };
    // not its controller: a page that was on its way as the worker came has none until it is loaded anew
    navigator.serviceWorker.ready.then(({ active }) => active.postMessage(step));
  }

  function tellKept() {
    const at = Number(document.documentElement.dataset.kept);
    if (!at) return;
    const time = new Date(at).toLocaleTimeString([], { timeStyle: "short" });
    say(phrase("kept_step", { time }));
  }

  // an answer that waits already is not given once more by the page that was loaded anew
  function markWaiting(form) {
    const mark = form.elements.nonce && form.elements.nonce.value;
    if (!mark || !waiting().some((job) => job.entries.some(([name, value]) => name === "nonce" && value === mark))) return;
    for (const one of form.querySelectorAll("button")) one.setAttribute("aria-disabled", "true");
  }

  function signOut(event) {
    const form = event.target, left = store.keys(UNSENT).length;
    if (left && !form.dataset.sure) {
      event.preventDefault();
      form.dataset.sure = "yes";
      say(phrase("still_waiting"));
      return;
    }
    for (const start of [UNSENT, DRAFT, ALIVE]) store.keys(start).forEach(store.drop);
    memory.clear();
    if (window.caches) caches.delete(KEPT);
  }

  // ---- somebody else at the same case ---------------------------------------------------------
  async function poll() {
    const { case: address, version } = document.body.dataset;
    if (!address || document.hidden || waiting().length) return;
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
      show.textContent = phrase("show_news");
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
    const open = { k: "#ways", g: "#drawing", e: "#evidence", w: "#why", m: "#meant", c: "#mind", a: "#answers", s: "#learned", x: "#doubted", h: "#chances" }[event.key];
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
    const show = () => { theme(store.get(THEME)); button.textContent = phrase(dark() ? "make_light" : "make_dark"); };
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

  // a time that is chosen is this browser's: the form says how far its clock is ahead of UTC then
  function zoneOf(field) {
    const told = field.form.elements.zone;
    const tell = () => { if (told) told.value = field.value ? String(-new Date(field.value).getTimezoneOffset()) : ""; };
    const at = new Date(field.dataset.at || "");
    if (!Number.isNaN(at.getTime())) field.value = new Date(at.getTime() - at.getTimezoneOffset() * 60000).toISOString().slice(0, 16);
    field.addEventListener("input", tell);
    tell();
  }

  const clock = new Intl.DateTimeFormat([], { dateStyle: "medium", timeStyle: "short" });  // dear to make
  function localTimes() {
    for (const one of document.querySelectorAll("input[type=datetime-local]")) zoneOf(one);
    for (const one of document.querySelectorAll("time[datetime]")) {
      const at = new Date(one.dateTime);
      if (!Number.isNaN(at.getTime())) one.textContent = clock.format(at);
    }
  }

  // ---- what the complaint may mean, as it is typed; nothing is ticked by itself ---------------
  let listening = null;
  function listen(field) {
    const form = field.form;
    const soon = () => { clearTimeout(listening); listening = setTimeout(() => hear(field), HEAR_MS); };
    field.addEventListener("input", soon);
    for (const one of form.querySelectorAll("[name=duty]")) one.addEventListener("change", soon);
    if (field.value.trim()) soon();
  }

  async function hear(field) {
    const place = byId("heard");
    if (!place || !field.isConnected) return;
    const asked = entriesOf(field.form).filter(([name]) => ["csrf", "complaint", "duty", "heard"].includes(name) || name.startsWith("symptom-"));
    try {
      const reply = await fetch(field.dataset.hear, { method: "POST", body: new URLSearchParams(asked), credentials: "same-origin" });
      const found = reply.ok && new DOMParser().parseFromString(await reply.text(), "text/html").querySelector("#heard");
      if (!found || place.contains(document.activeElement)) return;
      if (found.innerHTML !== place.innerHTML) place.replaceChildren(...[...found.childNodes].map((one) => document.adoptNode(one)));
    } catch { /* the server is away: it is heard when the form is sent */ }
  }

  // ---- a page is there -------------------------------------------------------------------------
  function ready() {
    localTimes();
    for (const form of document.querySelectorAll("form[data-draft]")) {
      restoreDraft(form);
      form.addEventListener("input", () => keepDraft(form));
    }
    for (const form of document.querySelectorAll("form[data-desk]")) markWaiting(form);
    for (const one of document.querySelectorAll("textarea[data-hear]")) listen(one);
    for (const one of document.querySelectorAll("details[data-load]")) {
      const kept = "remember" in one.dataset;  // who wants the circuit beside a step has it at each
      if (kept && store.get(PICTURE)) one.open = true;
      if (one.open) load(one);
      one.addEventListener("toggle", () => {
        if (kept) store.set(PICTURE, one.open);
        if (one.open) load(one);
      });
    }
  }

  function keysSwitch() {
    const button = byId("keys-switch");
    if (!button) return;
    const show = () => {
      button.setAttribute("aria-pressed", String(keysOn()));
      button.textContent = phrase(keysOn() ? "keys_on" : "keys_off");
    };
    button.hidden = false;
    button.addEventListener("click", () => { if (keysOn()) store.set(KEYS_OFF, true); else store.drop(KEYS_OFF); show(); });
    show();
  }

  enter();
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
  sweep();
  away = waiting().some((one) => one.away);
  showUnsent();
  if (!byId("key")) takeOver();
  tellKept();
  if (navigator.serviceWorker && !byId("key")) {
    navigator.serviceWorker.register("/desk/static/worker.js", { scope: "/desk/" }).catch(() => { /* needs https */ });
  }
  addEventListener("storage", (event) => { if (event.key === null || event.key.startsWith(UNSENT)) showUnsent(); });
  addEventListener("online", sendAll);
  addEventListener("pagehide", leave);
  addEventListener("pageshow", (event) => { if (event.persisted) enter(); });
  setInterval(() => { stir(false); poll(); if (!byId("key")) takeOver(); }, POLL_MS);
  document.documentElement.dataset.ready = "yes";
})();
