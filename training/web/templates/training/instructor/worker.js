/* Without a network: the tablet's own page in the place of any other, and the files that it is made of.
 *
 * The network always comes first. What the API or a page says of a person is never kept here; it goes by untouched.
 */
{% autoescape off %}const SHELL = "{{ shell }}";
const FILES = {{ files }};{% endautoescape %}
const STORE = "files-1";
const PATIENCE = 4000; // milliseconds for a page of the ramp; a network that is barely there is none
const RAMP = /^\/(today|teach|tablet)\//;

self.addEventListener("install", (event) => {
  event.waitUntil(fill().then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(clear().then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (FILES.includes(address.pathname)) event.respondWith(file(request));
});

async function fill() {
  const store = await caches.open(STORE);
  await Promise.all([SHELL, ...FILES].map(async (address) => {
    const answer = await fetch(address, { cache: "reload", credentials: "omit" });
    if (answer.ok) await store.put(address, answer);
  }));
}

async function clear() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name !== STORE).map((name) => caches.delete(name)));
}

async function page(request) {
  const kept = await caches.match(SHELL);
  const hurry = kept && RAMP.test(new URL(request.url).pathname);
  try {
    return await (hurry ? Promise.race([fetch(request), late()]) : fetch(request));
  } catch {
    return kept || Response.error();
  }
}

function late() {
  return new Promise((_, refuse) => setTimeout(() => refuse(new Error("no answer")), PATIENCE));
}

async function file(request) {
  const address = new URL(request.url).pathname;
  try {
    const answer = await fetch(request);
    if (answer.ok) {
      const store = await caches.open(STORE);
      await store.put(address, answer.clone());
    }
    return answer;
  } catch {
    return (await caches.match(address)) || Response.error();
  }
}
