// Stands between the pages and the net. Files of the pages come from the phone; a crew's pages from the net while it
// answers, else from the phone. `ABOUT` is written above this by the server.
const SHELL = `shell-${ABOUT.version}`, PAGES = "pages", PATIENCE = 4000;
const CREW = /^\/farms\/[0-9a-f-]{36}\/(today|sent|incident|work\/[0-9a-f-]{36})$/;
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
  else if (request.mode === "navigate") event.respondWith(fetch(request).catch(() => caches.match(ABOUT.offline)));
});

async function shell(request) {
  return (await caches.match(request, { cacheName: SHELL })) ?? fetch(request);
}

async function page(event, at) {
  if (await signedOut()) return Response.redirect(ABOUT.out);
  try {
    const answer = await patient(fetch(event.request));
    if (answer.ok && !answer.redirected && !at.search) event.waitUntil(keep(at.pathname, answer.clone()));
    return answer;
  } catch {
    return (await caches.match(at.pathname, { cacheName: PAGES })) ?? caches.match(ABOUT.offline);
  }
}

async function keep(path, answer) {
  if (!(await signedOut())) await (await caches.open(PAGES)).put(path, answer);
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
