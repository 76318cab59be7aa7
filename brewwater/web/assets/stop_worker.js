// Keeps the page of the stop and its files, which know nobody, so that it opens without a connection too.
const KEPT = "brewwater-stop-1";
const FILES = ["/stop", "/stop/stop.js", "/stop/stop.css"];

self.addEventListener("install", (event) => event.waitUntil(self.skipWaiting()));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("message", (event) => event.waitUntil(
  caches.open(KEPT).then((kept) => Promise.all(FILES.map(async (file) => {
    const answer = await fetch(file);
    if (answer.ok && !answer.redirected) await kept.put(file, answer);
  }))).catch(() => undefined)
));
self.addEventListener("fetch", (event) => {
  const asked = new URL(event.request.url);
  if (event.request.method !== "GET" || asked.origin !== location.origin || !FILES.includes(asked.pathname)) return;
  event.respondWith((async () => {
    const kept = await caches.open(KEPT);
    try {
      const answer = await fetch(event.request);
      if (answer.ok && !answer.redirected) await kept.put(asked.pathname, answer.clone());
      return answer;
    } catch (error) {
      return (await kept.match(asked.pathname)) || Promise.reject(error);
    }
  })());
});
