// Answers without signal. Pages of a sheet or a round come from the shop while it answers in time, else as they were
// taken along; the program's own files come from the phone. SHELL and VERSION are written above by the shop.

const PAGES = "pages";
const MINE = `program-${VERSION}`;
const PATIENCE_MS = 4000;
const CARRIED = /^\/(sheets\/\d+\/work|rigs\/\d+\/round)\/$/;
/** Their address is the hash of what they hold, so the one on the phone is the one. */
const PICTURES = /^\/(photos|known\/files)\//;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(MINE).then((cache) => cache.addAll(SHELL)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches.keys()
      .then((names) => Promise.all(names.filter((name) => name.startsWith("program-") && name !== MINE).map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  );
});

async function program(request) {
  return (await caches.match(request, { cacheName: MINE })) ?? fetch(request);
}

async function picture(request, path) {
  return (await caches.match(path, { cacheName: PAGES })) ?? fetch(request);
}

/** In place of a page that is not here; its status keeps anybody from taking it for the page itself. */
async function noSignal() {
  const said = await caches.match("/no-signal/", { cacheName: MINE });
  return new Response(said.body, { status: 503, statusText: "No signal", headers: said.headers });
}

/** The shop's page if it comes in time and in good order, else the one on this phone. */
async function page(request, path) {
  const known = await caches.match(path, { cacheName: PAGES });
  const asked = fetch(request);
  if (!known) return asked.catch(noSignal);
  const late = new Promise((resolve) => setTimeout(() => resolve(known), PATIENCE_MS));
  const fresh = asked.then(async (answer) => {
    if (answer.status >= 500) return known;
    if (answer.ok && !answer.redirected) await (await caches.open(PAGES)).put(path, answer.clone());
    return answer;
  });
  return Promise.race([fresh, late]).catch(() => known);
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname, search } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin) return;
  if (SHELL.includes(pathname + search) && request.mode !== "navigate") event.respondWith(program(request));
  else if (PICTURES.test(pathname)) event.respondWith(picture(request, pathname));
  else if (CARRIED.test(pathname) && !search) event.respondWith(page(request, pathname));
  else if (request.mode === "navigate") {
    event.respondWith(fetch(request).catch(noSignal));
  }
});
