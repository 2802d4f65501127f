// Card's own files, kept for when the network is dead: what the machine answers comes first, what was kept only after.
"use strict";
const KEPT = "truerun-card-4";
const PARTS = ["as_it_is", "back", "bench", "card", "drafts", "gauges", "head", "keys", "parts", "rows", "still_open", "unsent", "waiting"];
const FILES = ["/card", ...PARTS.map(name => `/card/${name}.js`), "/card/card.css", "/assets/tokens.css", "/assets/scheme.js"];
self.addEventListener("install", event => { event.waitUntil(caches.open(KEPT).then(kept => Promise.all(FILES.slice(1).map(file => kept.add(file)))).then(() => self.skipWaiting())); });
self.addEventListener("activate", event => { event.waitUntil(caches.keys().then(names => Promise.all(names.filter(name => name !== KEPT).map(name => caches.delete(name)))).then(() => self.clients.claim())); });
self.addEventListener("fetch", event => {
  const path = new URL(event.request.url).pathname;
  if (event.request.method !== "GET" || !(FILES.includes(path) || path.startsWith("/assets/font/"))) return;
  event.respondWith((async () => {
    const kept = await caches.open(KEPT);
    try {
      const answer = await fetch(event.request);
      if (answer.ok) await kept.put(path, answer.clone());
      return answer;
    } catch (dead) {
      const before = await kept.match(path);
      if (before) return before;
      throw dead;
    }
  })());
});
