// Keeps the student's page for use without network. It serves one link only: its scope is the link's own path.
// VERSION and FILES are written above by the studio; another sheet or another version of a file changes VERSION.
// The network comes first, so that a new sheet shows at once; what it can't give in time comes from what was kept.
/* global VERSION, FILES */

const PREFIX = `home ${new URL(self.registration.scope).pathname} `;
const NAME = PREFIX + VERSION;
const PATIENCE = 3000; // ms until what was kept is shown instead

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const kept = await caches.open(NAME);
    await kept.addAll(FILES.map((file) => new Request(file, { cache: "no-cache" })));
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith(PREFIX) && name !== NAME) await caches.delete(name);
    }
    await self.clients.claim();
  })());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET" || new URL(request.url).origin !== self.location.origin) return;
  event.respondWith(answer(request));
});

async function answer(request) {
  if (!(await caches.has(NAME))) return fetch(request); // the link was ended
  const kept = await caches.open(NAME);
  const stored = await kept.match(request, { ignoreSearch: true });
  const fresh = fetch(request).then(async (response) => {
    if (response.ok && stored) await kept.put(request, response.clone());
    // A link that was ended shows nothing any more, here neither.
    if (response.status === 404 && request.mode === "navigate") await forget();
    return response;
  });
  if (!stored) return fresh;
  const late = new Promise((resolve) => { setTimeout(() => resolve(stored), PATIENCE); });
  return Promise.race([fresh.catch(() => stored), late]);
}

async function forget() {
  for (const name of await caches.keys()) {
    if (name.startsWith(PREFIX)) await caches.delete(name);
  }
  await self.registration.unregister();
}
