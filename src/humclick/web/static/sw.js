// Keeps every file of one version, and hands them out whether there is a network or not. Pages are all the one
// empty document; what stands in them, the page's script asks of Python. Calls and photos are not kept here.
const VERSION = "@VERSION@", FILES = "@FILES@", CACHE = `humclick-${VERSION}`;

addEventListener("install", event => event.waitUntil((async () => {
  if (!FILES.length) return skipWaiting();
  const cache = await caches.open(CACHE);
  const have = new Set((await cache.keys()).map(each => new URL(each.url).pathname));
  for (const path of FILES) { // one by one: a phone with a poor network goes on where it stopped
    if (have.has(path)) continue;
    const old = path === "/shell" ? undefined : await caches.match(path);
    const found = old ?? await fetch(path);
    if (!found.ok) throw new Error(`${path}: ${found.status}`);
    await cache.put(path, found);
  }
  await skipWaiting();
})()));

addEventListener("activate", event => event.waitUntil((async () => {
  for (const name of await caches.keys()) {
    if (name.startsWith("humclick-") && name !== CACHE) await caches.delete(name);
  }
  await clients.claim();
})()));

function photo(hash) {
  return new Promise(resolve => {
    const asked = indexedDB.open("humclick");
    asked.onupgradeneeded = () => asked.transaction.abort(); // not ours to make
    asked.onerror = () => resolve(undefined);
    asked.onsuccess = () => {
      const db = asked.result;
      const found = db.transaction("photos").objectStore("photos").get(hash);
      found.onsuccess = () => { db.close(); resolve(found.result?.blob); };
      found.onerror = () => { db.close(); resolve(undefined); };
    };
  });
}

async function answer(request, url) {
  const hash = /^\/photos\/([0-9a-f]{64})$/.exec(url.pathname)?.[1];
  if (hash) {
    const blob = await photo(hash);
    return blob ? new Response(blob, { headers: { "X-Content-Type-Options": "nosniff" } }) : fetch(request);
  }
  const cache = await caches.open(CACHE);
  const kept = await cache.match(request.mode === "navigate" ? "/shell" : url.pathname);
  return kept ?? fetch(request);
}

addEventListener("fetch", event => {
  const url = new URL(event.request.url);
  const other = /^\/(api\/|sw\.js$|authority\.crt$)/.test(url.pathname);
  if (event.request.method !== "GET" || url.origin !== location.origin || other || !FILES.length) return;
  event.respondWith(answer(event.request, url));
});
