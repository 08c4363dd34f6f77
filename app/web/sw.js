// Keeps the files of one version of the page on the device, all of them or none, so that the page opens
// without a signal. A new version waits until a person takes it; the old page goes on with its old files.
// Knows nothing of training, and touches no request for data.
//
// The build fills in the version (a hash of all files), the page, the other files that every device keeps, and
// the parts of the program that only some need: those are kept where they are in use. All have their content in
// their names, the page too: no file of another version can get among them.
const VERSION = "{{version}}";
const PAGE = "{{page}}";
const FILES = {{files}};
const PARTS = {{parts}};
// Where the page is opened; an address of data that is typed by hand goes to the server.
const PLACES = ["/", "/join", "/set-up"];
const CACHE = "page-" + VERSION;
// In the cache of a version on a device whose person needs the parts.
const NEEDED = "/parts-are-needed";

// Caches of other versions.
const others = async () => (await caches.keys()).filter((name) => name.startsWith("page-") && name !== CACHE);

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(CACHE);
    const answers = (await others()).map(async (name) => (await caches.open(name)).match(NEEDED));
    const needed = (await Promise.all(answers)).some((answer) => answer);
    // Refused as a whole when one file is not to be had: the old version stays.
    await cache.addAll([PAGE, ...FILES, ...(needed ? PARTS : [])]);
    if (needed) await cache.put(NEEDED, new Response());
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    const old = await others();
    await Promise.all(old.map((name) => caches.delete(name)));
    await self.clients.claim();
  })());
});

// Keeps the parts as well: said each time that a page uses them, mostly when they are kept already.
async function keepParts() {
  const cache = await caches.open(CACHE);
  if (await cache.match(NEEDED)) return;
  await cache.addAll(PARTS);
  await cache.put(NEEDED, new Response());
}

self.addEventListener("message", (event) => {
  // A person took the new version.
  if (event.data === "take-over") self.skipWaiting();
  if (event.data === "keep-parts") event.waitUntil(keepParts());
});

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  const page = request.mode === "navigate" && PLACES.includes(url.pathname);
  const path = page ? PAGE : url.pathname;
  if (!page && path !== PAGE && !FILES.includes(path) && !PARTS.includes(path)) return;
  event.respondWith((async () => {
    const cache = await caches.open(CACHE);
    // The browser may have thrown the files away; then the server is asked.
    return (await cache.match(path)) ?? fetch(request);
  })());
});
