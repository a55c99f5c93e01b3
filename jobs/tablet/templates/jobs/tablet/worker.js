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
const WHO = "/tablet/who";
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

// A page that is opened comes from the network, or as it was kept where that fails or is too slow.
async function page(event, address) {
  if (event.request.mode !== "navigate") return part(event, address);
  if (address.searchParams.get("person") === "changed") await caches.delete(PAGES);
  const asked = fetch(event.request);
  event.waitUntil(asked.then((answer) => seen(address, answer.clone()), () => null));
  const kept = await (await caches.open(PAGES)).match(address.pathname);
  try {
    const answer = await (kept ? Promise.race([asked, tooLong()]) : asked);
    return answer.status >= 500 && kept ? marked(kept) : answer;
  } catch {
    return kept ? marked(kept) : ((await caches.match(WITHOUT)) ?? Response.error());
  }
}

// A page says that it was kept, so that it can tell of when it is, and be brought up to date.
async function marked(kept) {
  const text = await kept.text();
  const { status, headers } = kept;
  return new Response(text.replace("<head>", '<head><meta name="kept" content="yes">'), { status, headers });
}

// What a page asks for itself is true or fails; a whole page is asked for only to be kept.
async function part(event, address) {
  const answer = await fetch(event.request);
  if (!event.request.headers.has("HX-Request")) await seen(address, answer.clone());
  return answer;
}

async function seen(address, answer) {
  if (address.pathname === WHO) await forgetWhereNobodyIs(answer);
  else if (isPage(answer) && !address.pathname.includes("/since/")) {
    await (await caches.open(PAGES)).put(address.pathname, answer);
  }
}

// Somebody signed out: what was kept for them goes.
async function forgetWhereNobodyIs(answer) {
  if (![200, 401].includes(answer.status)) return;
  if ((await answer.text()).includes('name="person" content')) return;
  await Promise.all([PAGES, PICTURES].map((name) => caches.delete(name)));
}

function isPage(answer) {
  const type = answer.headers.get("Content-Type") ?? "";
  return answer.status === 200 && !answer.redirected && type.startsWith("text/html");
}

function tooLong() {
  return new Promise((_, reject) => {
    setTimeout(() => reject(new Error("The network is too slow.")), PATIENCE_SECONDS * 1000);
  });
}
