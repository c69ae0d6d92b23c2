// Keeps the forms and job cards that were opened within reach without a network:
// the page of each, and the files it is made of. It changes nothing that the network
// answers. Pages of nothing else are kept.
"use strict";

const pages = "brakewear-pages";
const files = "brakewear-files";
// A day's round of vehicles, and a few versions of the program.
const most = { [pages]: 30, [files]: 40 };
const kept = /^\/(measure|vehicles\/\d+\/measure|cards\/\d+)$/;

addEventListener("install", () => skipWaiting());
addEventListener("activate", (event) => event.waitUntil(clients.claim()));

addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  // Who takes the phone next has no business in these pages.
  if (event.request.method === "POST" && url.pathname === "/sign-out") event.waitUntil(caches.delete(pages));
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (event.request.mode === "navigate" && kept.test(url.pathname)) event.respondWith(answer(event, pages, url.pathname));
  else if (url.pathname.startsWith("/static/")) event.respondWith(answer(event, files, url.pathname));
});

async function answer(event, name, path) {
  const cache = await caches.open(name);
  try {
    const response = await fetch(event.request);
    if (!new URL(event.request.url).search) event.waitUntil(keep(cache, name, path, response.clone()));
    return response;
  } catch (err) {
    const old = await cache.match(path);
    if (old) return old;
    throw err;
  }
}

// keep puts the newest answer last and drops the oldest. Who may no longer see
// a page no longer finds it here.
async function keep(cache, name, path, response) {
  if (response.ok && !response.redirected) await cache.put(path, response);
  else if (response.status < 500) await cache.delete(path);
  const keys = await cache.keys();
  await Promise.all(keys.slice(0, Math.max(0, keys.length - most[name])).map((key) => cache.delete(key)));
}
