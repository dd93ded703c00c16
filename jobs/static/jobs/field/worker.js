/* Keeps the page's own files so that it opens without network. RILLBOOK {version, files} stands above, put there by the
   server; a new deployment is another version, a new cache, and the old one goes. Never touches anything but GET. */
(function () {
  "use strict";

  const { version, files } = self.RILLBOOK;
  const CACHE = `rillbook-${version}`;
  const SHELL = files[0];

  async function keep() {
    const kept = await caches.open(CACHE);
    await Promise.all(files.map(async (file) => {
      // A name with its hash never changes its content: what the page just fetched need not come twice.
      const cache = file.startsWith("/static/") ? "default" : "reload";
      const response = await fetch(file, { cache, credentials: "same-origin" });
      // A redirect is the sign-in page: it must never be kept in the page's place.
      if (!response.ok || response.redirected) throw new Error(`${file}: ${response.status}`);
      await kept.put(file, response);
    }));
    await self.skipWaiting();
  }

  async function tidy() {
    const names = await caches.keys();
    await Promise.all(names.filter((name) => name.startsWith("rillbook-") && name !== CACHE).map((name) => caches.delete(name)));
    await self.clients.claim();
  }

  async function answer(request, path) {
    const cache = await caches.open(CACHE);
    return (await cache.match(path)) || fetch(request);
  }

  self.addEventListener("install", (event) => event.waitUntil(keep()));
  self.addEventListener("activate", (event) => event.waitUntil(tidy()));
  self.addEventListener("fetch", (event) => {
    const url = new URL(event.request.url);
    if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
    if (url.pathname === SHELL || files.includes(url.pathname)) event.respondWith(answer(event.request, url.pathname));
  });
})();
