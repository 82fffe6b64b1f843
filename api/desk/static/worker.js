// Shows the step in hand when it is loaded anew without the server. It keeps the desk's own files and
// the last page of each of a few cases, no longer than a session lasts; all of it goes at sign-out.
"use strict";

const KEPT = "threewire-desk-kept";
const FILES = ["desk.css", "drawing.css", "desk.js", "desk.svg"].map((name) => `/desk/static/${name}`);
const MOST_STEPS = 4;
const KEPT_MS = 12 * 3600000;
const CASE = /^\/desk\/cases\/\d{8}$/;

self.addEventListener("install", (event) => {
  // what is sent goes straight to the server: it need not wait until this worker is awake
  if (event.addRoutes) event.addRoutes({ condition: { requestMethod: "POST" }, source: "network" });
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(FILES)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const { pathname } = new URL(event.request.url);
  if (event.request.method !== "GET") return;
  if (event.request.mode === "navigate") event.respondWith(page(event, pathname));
  else if (FILES.includes(pathname)) event.respondWith(file(event.request, pathname));
});
// a page that was put in the place of another was fetched after a form: it comes from the script
self.addEventListener("message", (event) => event.waitUntil(keep(event.data.path, event.data.text, event.data.headers)));

async function page(event, path) {
  try {
    const reply = await fetch(event.request);
    if (reply.status === 401) event.waitUntil(forget());
    else if (reply.ok && CASE.test(path)) event.waitUntil(reply.clone().text().then((text) => keep(path, text, [...reply.headers])));
    return reply;
  } catch (away) {
    const kept = await (await caches.open(KEPT)).match(path);
    const at = kept && Number(kept.headers.get("X-Kept-At"));
    if (!at || Date.now() - at > KEPT_MS) throw away;
    return new Response((await kept.text()).replace("<html", `<html data-kept="${at}"`), { headers: kept.headers });
  }
}

async function file(request, path) {
  const kept = await caches.open(KEPT);
  try {
    const reply = await fetch(request);
    if (reply.ok) await kept.put(path, reply.clone());
    return reply;
  } catch (away) {
    return await kept.match(path) || Promise.reject(away);
  }
}

async function keep(path, text, headers) {
  if (!CASE.test(path)) return;
  const kept = await caches.open(KEPT), told = new Headers(headers);
  told.set("X-Kept-At", String(Date.now()));
  // over what was kept of the case, in one write: there is no moment without a step
  await kept.put(path, new Response(text, { headers: told }));
  const steps = (await kept.keys()).filter((one) => CASE.test(new URL(one.url).pathname));
  for (const old of steps.slice(0, -MOST_STEPS)) await kept.delete(old);
}

async function forget() {
  const kept = await caches.open(KEPT);
  for (const one of await kept.keys()) if (CASE.test(new URL(one.url).pathname)) await kept.delete(one);
}
