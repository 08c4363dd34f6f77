// Keeps the files of one version of the page on the device, all of them or none, so that the page opens
// without a signal. A new version waits until a person takes it; the old page goes on with its old files.
// Knows nothing of training, and touches no request for data.
//
// The build fills in the version (a hash of all files), the page and the other files. All have their
// content in their names, the page too: no file of another version can get among them.
const VERSION = "{{version}}";
const PAGE = "{{page}}";
const FILES = {{files}};
// Where the page is opened; an address of data that is typed by hand goes to the server.
const PLACES = ["/", "/join", "/set-up"];
const CACHE = "page-" + VERSION;

self.addEventListener("install", (event) => {
  // Refused as a whole when one file is not to be had: the old version stays.
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll([PAGE, ...FILES])));
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    const old = (await caches.keys()).filter((name) => name.startsWith("page-") && name !== CACHE);
    await Promise.all(old.map((name) => caches.delete(name)));
    await self.clients.claim();
  })());
});

// A person took the new version.
self.addEventListener("message", (event) => {
  if (event.data === "take-over") self.skipWaiting();
});

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  const page = request.mode === "navigate" && PLACES.includes(url.pathname);
  const path = page ? PAGE : url.pathname;
  if (!page && path !== PAGE && !FILES.includes(path)) return;
  event.respondWith((async () => {
    const cache = await caches.open(CACHE);
    // The browser may have thrown the files away; then the server is asked.
    return (await cache.match(path)) ?? fetch(request);
  })());
});
