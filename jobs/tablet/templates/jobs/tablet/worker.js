// The service worker of the tablet: the network first, and without it what was kept.
//
// Files of the release are kept whole; pages as they were last seen; pictures on them, a bounded
// number. An answer to an action is never kept, and a page that asks who is there never takes the
// place of a car.
//
// A template for one thing only: its release, and the files of it. As it lies it is a script.

/**
 * @typedef {object} About
 * @property {string} release
 * @property {string[]} files by their addresses
 */
/** @type {About} */
const ABOUT = JSON.parse("{{ about|escapejs }}");
const FILES = `shutline-files-${ABOUT.release}`;
const PAGES = "shutline-pages";
const PICTURES = "shutline-pictures";
const KEPT = ABOUT.files;
const WITHOUT = KEPT.find((path) => path.endsWith("/without.html")) ?? "";
const PATIENCE_SECONDS = 3;
const MOST_PICTURES = 300;
const MADE = /(<meta name="made" content=")[^"]*/;
const WHO = "/tablet/who";
const NEVER = ["/tablet/worker.js", "/tablet/manifest.webmanifest"];
const worker = /** @type {ServiceWorkerGlobalScope} */ (/** @type {unknown} */ (self));

worker.addEventListener("install", (event) => {
  event.waitUntil(
    caches
      .open(FILES)
      .then((files) => files.addAll(KEPT.map((path) => new Request(path, { cache: "reload" }))))
      .then(() => worker.skipWaiting()),
  );
});

worker.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      const names = await caches.keys();
      const old = names.filter((name) => name.startsWith("shutline-files-") && name !== FILES);
      await Promise.all(old.map((name) => caches.delete(name)));
      await worker.clients.claim();
    })(),
  );
});

worker.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== worker.location.origin) return;
  if (KEPT.includes(address.pathname)) event.respondWith(file(request, address));
  else if (address.pathname.startsWith("/api/v1/photos/")) {
    event.respondWith(picture(event, address));
  } else if (address.pathname.startsWith("/tablet/") && !NEVER.includes(address.pathname)) {
    event.respondWith(page(event, address));
  }
});

/**
 * @param {Request} request
 * @param {URL} address
 */
async function file(request, address) {
  const files = await caches.open(FILES);
  return (await files.match(address.pathname)) ?? fetch(request);
}

/**
 * A picture never changes, whatever the signature in its address is today.
 *
 * @param {FetchEvent} event
 * @param {URL} address
 */
async function picture(event, address) {
  const pictures = await caches.open(PICTURES);
  const kept = await pictures.match(address.pathname);
  if (kept) return kept;
  const answer = await fetch(event.request);
  if (answer.status === 200) {
    event.waitUntil(keepPicture(pictures, address.pathname, answer.clone()));
  }
  return answer;
}

/**
 * @param {Cache} pictures
 * @param {string} path
 * @param {Response} answer
 */
async function keepPicture(pictures, path, answer) {
  await pictures.put(path, answer);
  const keys = await pictures.keys();
  await Promise.all(
    keys.slice(0, Math.max(keys.length - MOST_PICTURES, 0)).map((key) => pictures.delete(key)),
  );
}

/**
 * A page that is opened comes from the network, or as it was kept where that fails or is too slow.
 *
 * @param {FetchEvent} event
 * @param {URL} address
 */
async function page(event, address) {
  if (event.request.mode !== "navigate") return part(event, address);
  if (address.searchParams.get("person") === "changed") await caches.delete(PAGES);
  const pages = await caches.open(PAGES);
  const kept = await pages.match(address.pathname);
  const asked = ask(event.request, kept);
  event.waitUntil(
    asked.then(
      (answer) => seen(pages, address, answer.clone()),
      () => null,
    ),
  );
  try {
    const answer = await (kept ? Promise.race([asked, tooLong()]) : asked);
    return answer.status >= 500 && kept ? marked(kept) : answer;
  } catch {
    return kept ? marked(kept) : ((await caches.match(WITHOUT)) ?? Response.error());
  }
}

/**
 * Ask for a page with the tag of the one that is kept: where that would be the same made now, it is
 * the answer, as of now.
 *
 * @param {Request} request
 * @param {Response | undefined} kept
 */
async function ask(request, kept) {
  const tag = kept?.headers.get("ETag");
  if (!kept || !tag) return fetch(request);
  const headers = { Accept: request.headers.get("Accept") ?? "*/*", "If-None-Match": tag };
  const answer = await fetch(request.url, { headers, cache: "no-store", redirect: "manual" });
  return answer.status === 304 ? asOf(kept.clone(), answer) : answer;
}

/**
 * Return a page that is kept as if it were made when the service said that it still is the same.
 *
 * @param {Response} kept
 * @param {Response} answer
 */
async function asOf(kept, answer) {
  const { status, headers } = kept;
  const made = new Date(answer.headers.get("Date") ?? Date.now()).toISOString();
  const text = await kept.text();
  return new Response(text.replace(MADE, `$1${made}`), { status, headers });
}

/**
 * A page says that it was kept, so that it can tell of when it is, and be brought up to date.
 *
 * @param {Response} kept
 */
async function marked(kept) {
  const text = await kept.text();
  const { status, headers } = kept;
  return new Response(text.replace("<head>", '<head><meta name="kept" content="yes">'), {
    status,
    headers,
  });
}

/**
 * What a page asks for itself is true or fails; a whole page is asked for only to be kept.
 *
 * @param {FetchEvent} event
 * @param {URL} address
 */
async function part(event, address) {
  const pages = await caches.open(PAGES);
  const answer = await fetch(event.request);
  if (!event.request.headers.has("HX-Request")) await seen(pages, address, answer.clone());
  return answer;
}

/**
 * Keep a page, in the cache as it was when the page was asked for: where somebody signed out since,
 * that cache is deleted, and what arrives late goes with it.
 *
 * @param {Cache} pages
 * @param {URL} address
 * @param {Response} answer
 */
async function seen(pages, address, answer) {
  if (address.pathname === WHO) await forgetWhereNobodyIs(answer);
  else if (isPage(answer) && !address.pathname.includes("/since/")) {
    await pages.put(address.pathname, answer);
  }
}

/**
 * Somebody signed out: what was kept for them goes.
 *
 * @param {Response} answer
 */
async function forgetWhereNobodyIs(answer) {
  if (![200, 401].includes(answer.status)) return;
  if ((await answer.text()).includes('name="person" content')) return;
  await Promise.all([PAGES, PICTURES].map((name) => caches.delete(name)));
}

/** @param {Response} answer */
function isPage(answer) {
  const type = answer.headers.get("Content-Type") ?? "";
  return answer.status === 200 && !answer.redirected && type.startsWith("text/html");
}

/** @returns {Promise<never>} */
function tooLong() {
  return new Promise((_, reject) => {
    setTimeout(() => reject(new Error("The network is too slow.")), PATIENCE_SECONDS * 1000);
  });
}
