/* Lets the round page open without a network: fresh from the server where it answers in time, else
   as it was last seen. It touches nothing but the page and its script. */
"use strict";
const KEPT = "heapwright-round-1";
const PARTS = ["/round", "/static/round.js"];
const PATIENCE = 4000;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(PARTS)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter((n) => n !== KEPT).map((n) => caches.delete(n))))
    .then(() => self.clients.claim()));
});

async function fresh(request, path) {
  const answer = await fetch(request);
  if (answer.ok && !answer.redirected) (await caches.open(KEPT)).put(path, answer.clone());
  return answer;
}

async function answered(request, path) {
  const late = new Promise((done) => setTimeout(() => done(null), PATIENCE));
  const found = fresh(request, path);
  const first = await Promise.race([found.catch(() => null), late]);
  if (first && first.status < 500) return first;
  return (await caches.match(path)) || found;
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (PARTS.includes(url.pathname)) event.respondWith(answered(event.request, url.pathname));
});
