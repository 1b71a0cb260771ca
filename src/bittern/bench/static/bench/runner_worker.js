// Kept beside one run's page: when the network is gone, a reload brings an empty page of the runner and its files,
// which the page's script fills from what the device keeps of the run. No other page is kept or touched.
// self.kept: shell, its address; files, with their contents' hashes in their names.

const NAME = `bittern-runner ${self.registration.scope} ${hash(JSON.stringify(self.kept))}`;
const OURS = `bittern-runner ${self.registration.scope} `;
// Short enough to wait at a vehicle, long enough for a weak signal.
const PATIENCE_MS = 4000;
const KEPT_MS = 24 * 3600e3;

function hash(text) {
  let number = 5381;
  for (let place = 0; place < text.length; place += 1) number = (number * 33 + text.charCodeAt(place)) % 4294967296;
  return number.toString(16);
}

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(NAME);
    await cache.addAll([...self.kept.files, new Request(self.kept.shell, { cache: "reload" })]);
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    const old = (await caches.keys()).filter((name) => name.startsWith(OURS) && name !== NAME);
    await Promise.all(old.map((name) => caches.delete(name)));
    await self.clients.claim();
  })());
});

const answerPage = async (request) => {
  try {
    const answer = await Promise.race([
      fetch(request),
      new Promise((done, failed) => setTimeout(() => failed(new Error("no answer")), PATIENCE_MS)),
    ]);
    if (answer.status < 500) return answer;
    throw new Error(String(answer.status));
  } catch (error) {
    const kept = await (await caches.open(NAME)).match(self.kept.shell);
    const age_ms = kept ? Date.now() - Date.parse(kept.headers.get("Date")) : 0;
    if (!kept || age_ms > KEPT_MS) throw error;
    return kept;
  }
};

const answerFile = async (request) => (await (await caches.open(NAME)).match(request)) ?? fetch(request);

self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET") return;
  const url = new URL(request.url);
  if (request.mode === "navigate") {
    if (url.href === self.registration.scope) event.respondWith(answerPage(request));
    return;
  }
  if (self.kept.files.some((file) => new URL(file, self.location).href === url.href)) event.respondWith(answerFile(request));
});
