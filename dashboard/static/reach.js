// Keeps pages within reach without a network, with what they are made of, where the
// browser lets it: on https, or on the machine itself.
"use strict";

// withinReach keeps this page, under page, and those of the paths, one by one, each once a day.
const withinReach = async (page, paths) => {
  if (!("serviceWorker" in navigator)) return;
  const asset = "link[rel=stylesheet], link[rel=icon], link[rel=preload], script[src]";
  try {
    await navigator.serviceWorker.register("/measure-worker.js");
    await navigator.serviceWorker.ready;
    const cleared = await outbox.cleared; // and what the worker put there of this page with it
    const [pages, files] = await Promise.all([caches.open("brakewear-pages"), caches.open("brakewear-files")]);
    const kept = navigator.serviceWorker.controller && performance.getEntriesByType("navigation")[0]?.workerStart > 0;
    if (page && (!kept || cleared)) await pages.add(page);
    const need = new Set([...document.querySelectorAll(asset)].map((x) => x.href || x.src));
    for (const path of navigator.connection?.saveData ? [] : paths) {
      const old = await pages.match(path);
      if (old && new Date(old.headers.get("Date")).toDateString() === new Date().toDateString()) continue;
      const fresh = await fetch(path);
      if (!fresh.ok || fresh.redirected) continue;
      const other = new DOMParser().parseFromString(await fresh.clone().text(), "text/html");
      for (const x of other.querySelectorAll(asset)) need.add(new URL(x.getAttribute("href") || x.getAttribute("src"), location).href);
      await pages.put(path, fresh);
    }
    for (const file of need) if (!(await files.match(file))) await files.add(file);
  } catch { /* then there has to be a network */ }
};
