// The service worker of the tablet: the network first, and without it what was kept.
//
// Files of the release are kept whole; pages as they were last seen; pictures on them, a bounded
// number. An answer to an action is never kept, and a page that asks who is there never takes the
// place of a car.

const FILES = "shutline-files-{{ release }}";
const PAGES = "shutline-pages";
const PICTURES = "shutline-pictures";
const KEPT = [{% for file in files %}"{{ file|escapejs }}"{% if not forloop.last %}, {% endif %}{% endfor %}];
const WITHOUT = KEPT.find((file) => file.endsWith("/without.html"));
const PATIENCE_SECONDS = 3;
const MOST_PICTURES = 300;
const NEVER = ["/tablet/worker.js", "/tablet/manifest.webmanifest"];

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches.open(FILES).then((files) => files.addAll(KEPT.map((file) => new Request(file, { cache: "reload" }))))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    const names = await caches.keys();
    const old = names.filter((name) => name.startsWith("shutline-files-") && name !== FILES);
    await Promise.all(old.map((name) => caches.delete(name)));
    await self.clients.claim();
  })());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (KEPT.includes(address.pathname)) event.respondWith(file(request, address));
  else if (address.pathname.startsWith("/api/v1/photos/")) event.respondWith(picture(event, address));
  else if (address.pathname.startsWith("/tablet/") && !NEVER.includes(address.pathname)) {
    event.respondWith(page(event, address));
  }
});

async function file(request, address) {
  const files = await caches.open(FILES);
  return (await files.match(address.pathname)) ?? fetch(request);
}

// A picture never changes, whatever the signature in its address is today.
async function picture(event, address) {
  const pictures = await caches.open(PICTURES);
  const kept = await pictures.match(address.pathname);
  if (kept) return kept;
  const answer = await fetch(event.request);
  if (answer.status === 200) event.waitUntil(keepPicture(pictures, address.pathname, answer.clone()));
  return answer;
}

async function keepPicture(pictures, path, answer) {
  await pictures.put(path, answer);
  const keys = await pictures.keys();
  await Promise.all(keys.slice(0, Math.max(keys.length - MOST_PICTURES, 0)).map((key) => pictures.delete(key)));
}

async function page(event, address) {
  const asked = fetch(event.request).then((answer) => {
    if (isPage(answer)) event.waitUntil(keep(address.pathname, answer.clone()));
    return answer;
  });
  asked.catch(() => null); // it may fail after we have stopped waiting for it
  const kept = await (await caches.open(PAGES)).match(address.pathname);
  try {
    const answer = await (kept ? Promise.race([asked, tooLong()]) : asked);
    if (answer.status >= 500 && kept) return kept;
    return answer;
  } catch {
    if (kept) return kept;
    return (await caches.match(WITHOUT)) ?? Response.error();
  }
}

function isPage(answer) {
  const type = answer.headers.get("Content-Type") ?? "";
  return answer.status === 200 && !answer.redirected && type.startsWith("text/html");
}

async function keep(path, answer) {
  if (path === "/tablet/who" || path.includes("/since/")) return;
  await (await caches.open(PAGES)).put(path, answer);
}

function tooLong() {
  return new Promise((_, reject) => {
    setTimeout(() => reject(new Error("The network is too slow.")), PATIENCE_SECONDS * 1000);
  });
}
