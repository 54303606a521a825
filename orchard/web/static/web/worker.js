// Stands between the pages and the net. Files of the pages come from the phone; a crew's pages from the net while it
// answers, else from the phone. `ABOUT` is written above this by the server.
const SHELL = `shell-${ABOUT.version}`, PAGES = "pages", PATIENCE = 600;
const CREW = /^\/farms\/[0-9a-f-]{36}\/(today|sent|incident|work\/[0-9a-f-]{36})$|^\/api\/v1\/farms\/[0-9a-f-]{36}\/emergency-list\.html$/;
const CARDS = "cards", CARD = /^\/farms\/[0-9a-f-]{36}\/emergency$/;
const PAPER = /^\/api\/v1\/farms\/[0-9a-f-]{36}\/products\/[0-9a-f-]{36}\/documents\/[0-9a-f-]{36}\/content$/;
const OPEN = new Set([ABOUT.offline, ABOUT.out]);

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(caches.open(SHELL).then((cache) => cache.addAll([...ABOUT.shell, ...OPEN])));
});

self.addEventListener("activate", (event) => {
  const old = caches.keys().then((names) => Promise.all(names.filter((one) => one.startsWith("shell-") && one !== SHELL).map((one) => caches.delete(one))));
  event.waitUntil(old.then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event, at = new URL(request.url);
  if (request.method !== "GET" || at.origin !== location.origin) return;
  if (ABOUT.shell.includes(at.pathname)) event.respondWith(shell(request));
  else if (OPEN.has(at.pathname)) event.respondWith(fetch(request).catch(() => caches.match(at.pathname)));
  else if (CREW.test(at.pathname)) event.respondWith(page(event, at));
  else if (PAPER.test(at.pathname)) event.respondWith(paper(event, at));
  else if (CARD.test(at.pathname)) event.respondWith(card(event, at));
  else if (request.mode === "navigate") event.respondWith(fetch(request).catch(() => caches.match(ABOUT.offline)));
});

async function shell(request) {
  return (await caches.match(request, { cacheName: SHELL })) ?? fetch(request);
}

// A page that is kept is shown at once where the net is slow; what comes later is kept, and told where it is another.
async function page(event, at) {
  if (await signedOut()) return Response.redirect(ABOUT.out);
  const kept = await caches.match(at.pathname, { cacheName: PAGES }), must = event.request.headers.has("X-Fresh");
  const fresh = fetch(event.request).then(async (answer) => {
    if (answer.ok && !answer.redirected && !at.search) await keep(at.pathname, answer.clone());
    return answer;
  });
  event.waitUntil(fresh.catch(() => {}));
  if (must) return fresh;
  if (!kept) return fresh.catch(() => caches.match(ABOUT.offline));
  try { return await patient(fresh); } catch { event.waitUntil(fresh.then((answer) => tell(at.pathname, kept, answer)).catch(() => {})); return kept; }
}

// A label file that is kept is the label file: its bytes never change. It goes with the pages at sign-out.
async function paper(event, at) {
  if (await signedOut()) return Response.redirect(ABOUT.out);
  return (await caches.match(at.pathname, { cacheName: PAGES })) ?? fetch(event.request).catch(() => caches.match(ABOUT.offline));
}

// The emergency card is kept apart and stays when all else goes at sign-out: it names no person, and no farm.
// Whoever no longer belongs to the farm loses it at the next look; a way to the sign-in is no answer.
async function card(event, at) {
  const kept = await caches.match(at.pathname, { cacheName: CARDS });
  const fresh = fetch(event.request).then(async (answer) => {
    const cards = await caches.open(CARDS);
    if (answer.ok && !answer.redirected) await cards.put(at.pathname, answer.clone());
    else if (answer.status === 403 || answer.status === 404) await cards.delete(at.pathname);
    return answer;
  });
  event.waitUntil(fresh.catch(() => {}));
  if (!kept) return fresh.catch(() => caches.match(ABOUT.offline));
  try {
    const answer = await patient(fresh);
    return (answer.ok && !answer.redirected) || answer.status === 403 || answer.status === 404 ? answer : kept;
  } catch { return kept; }
}

async function keep(path, answer) {
  if (!(await signedOut())) await (await caches.open(PAGES)).put(path, answer);
}

async function tell(path, kept, answer) {
  if (!answer.ok || kept.headers.get("X-Version") === answer.headers.get("X-Version")) return;
  for (const client of await self.clients.matchAll()) client.postMessage({ fresh: path });
}

function patient(answer) {
  return Promise.race([answer, new Promise((_, fail) => setTimeout(() => fail(new Error("slow")), PATIENCE))]);
}

function signedOut() {
  return new Promise((done) => {
    const asked = indexedDB.open("orchard", 1);
    asked.onupgradeneeded = () => { asked.result.createObjectStore("queue", { keyPath: "seq", autoIncrement: true }); asked.result.createObjectStore("kept"); };
    asked.onerror = () => done(false);
    asked.onsuccess = () => {
      const found = asked.result.transaction("kept").objectStore("kept").get("out");
      found.onsuccess = () => { done(!!found.result); asked.result.close(); };
      found.onerror = () => done(false);
    };
  });
}
