// Keeps the forms and job cards that were opened within reach without a network:
// the page of each, and the files it is made of. It changes nothing that the network
// answers. Pages of nothing else are kept.
"use strict";

const pages = "brakewear-pages";
const files = "brakewear-files";
// A day's round of vehicles, and a few versions of the program.
const most = { [pages]: 60, [files]: 40 };
const kept = /^\/(measure|vehicles\/\d+\/(measure|test)|cards\/\d+)$/;

addEventListener("install", () => skipWaiting());
addEventListener("activate", (event) => event.waitUntil(clients.claim()));

addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  // Who takes the phone next has no business in these pages.
  if (event.request.method === "POST" && url.pathname === "/sign-out") event.waitUntil(caches.delete(pages));
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (event.request.mode === "navigate" && kept.test(url.pathname)) event.respondWith(answer(event, pages, pageOf(url)));
  else if (url.pathname.startsWith("/static/")) event.respondWith(answer(event, files, url.pathname));
});

// pageOf is what a page is kept under. Forms of brake tests are one for each method and
// stage, and no other page with a query is kept.
const pageOf = (url) => url.pathname + (url.pathname.endsWith("/test") ? url.search : "");

async function answer(event, name, path) {
  const cache = await caches.open(name);
  try {
    const response = await fetch(event.request);
    const { pathname, search } = new URL(event.request.url);
    if (path === pathname + search) event.waitUntil(keep(cache, name, path, response.clone()));
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
