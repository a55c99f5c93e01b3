// The tablet: its queue, what it foresees, and the pages it keeps for when there is no network.

import "./act.js";
import { person, within } from "./elements.js";
import { foresee } from "./foresee.js";
import { freshen } from "./fresh.js";
import { show } from "./panel.js";
import { all, hurry, onChange, WAITING } from "./queue.js";
import { begin, net, onNet, send } from "./send.js";
import { keepUndo } from "./undo.js";

const PAGES = "shutline-pages";
const PERSON = "shutline-person";
const BOARD = "/tablet/";
const CLIMATE = "/tablet/climate";
const OF_A_CAR = ["", "/finding", "/paint"];
const MOST_PICTURES_OF_A_CAR = 12;
const LEAVE_SECONDS = 4; // to send what was done before somebody else is asked for
const LEAVE_LOOK_MS = 100;

function redraw() {
  return Promise.all([foresee(), show()]);
}

/**
 * Forget the pages kept for somebody else; what waits to be sent stays where it is. Return whether
 * there was somebody else.
 *
 * @returns {Promise<boolean>}
 */
async function forgetOthers() {
  const address = new URL(location.href);
  if (address.searchParams.get("person") === "changed") {
    address.searchParams.delete("person");
    history.replaceState(null, "", address);
  }
  if (!("caches" in window) || localStorage.getItem(PERSON) === person()) return false;
  await caches.delete(PAGES);
  localStorage.setItem(PERSON, person());
  return true;
}

/**
 * Have the worker keep a page. Return its text, or null where it did not come.
 *
 * @param {string} path
 * @returns {Promise<string | null>}
 */
async function keepPage(path) {
  if (!navigator.serviceWorker?.controller) return null;
  const answer = await fetch(path).catch(() => null);
  return answer?.ok && !answer.redirected ? answer.text() : null;
}

// Keep the pages of every car on the board, where they changed since they were kept.
async function keepBoard() {
  if (!navigator.serviceWorker?.controller || location.pathname !== BOARD) return;
  /** @type {{ [job: string]: string }} */
  const before = JSON.parse(localStorage.getItem(PAGES) ?? "{}");
  /** @type {{ [job: string]: string }} */
  const now = {};
  for (const line of document.querySelectorAll("[data-board-car]")) {
    const { boardCar: job = "", stamp = "" } = line.dataset;
    if (before[job] === stamp && (await hasCar(job))) now[job] = stamp;
    else if (await keepCar(job)) now[job] = stamp;
  }
  localStorage.setItem(PAGES, JSON.stringify(now));
  await keepPage(CLIMATE);
  await forgetGone();
}

/** @param {string} job */
const pagesOf = (job) => OF_A_CAR.map((rest) => `/tablet/cars/${job}${rest}`);

/**
 * @param {string} job
 * @returns {Promise<boolean>}
 */
async function hasCar(job) {
  const pages = await caches.open(PAGES);
  const there = await Promise.all(pagesOf(job).map((page) => pages.match(page)));
  return !there.includes(undefined);
}

/**
 * Keep a car's pages and the pictures on them. Return whether all came.
 *
 * @param {string} job
 * @returns {Promise<boolean>}
 */
async function keepCar(job) {
  const texts = [];
  for (const page of pagesOf(job)) texts.push(await keepPage(page));
  if (texts.includes(null)) return false;
  const found = texts.join("").matchAll(/src="(\/api\/v1\/photos\/[^"]+)"/g);
  const pictures = [...new Set([...found].map(([, path = ""]) => path.replaceAll("&amp;", "&")))];
  for (const picture of pictures.slice(0, MOST_PICTURES_OF_A_CAR)) {
    await fetch(picture).catch(() => null);
  }
  return true;
}

// Forget the pages of cars that left the board, unless something about them waits.
async function forgetGone() {
  const here = [...document.querySelectorAll("[data-board-car]")].map(
    (line) => line.dataset.boardCar,
  );
  const needed = new Set([...here, ...(await all()).map((action) => action.job)]);
  const pages = await caches.open(PAGES);
  for (const { url } of await pages.keys()) {
    const job = new URL(url).pathname.match(/^\/tablet\/cars\/([^/]+)/)?.[1];
    if (job && !needed.has(job)) await pages.delete(url);
  }
}

/**
 * Start the worker. Return whether it has only now begun, and so missed the loading of this page.
 *
 * @returns {Promise<boolean>}
 */
async function startWorker() {
  navigator.storage?.persist?.(); // what waits must outlast a disk that fills up
  if (!("serviceWorker" in navigator)) {
    const line = document.querySelector("[data-net]");
    line?.after(
      Object.assign(document.createElement("p"), {
        className: "quiet",
        textContent: "This address is not secure (https), so pages open with network only.",
      }),
    );
    return false;
  }
  await navigator.serviceWorker.register("/tablet/worker.js", { scope: BOARD });
  await navigator.serviceWorker.ready;
  if (navigator.serviceWorker.controller) return false;
  await new Promise((resolve) =>
    navigator.serviceWorker.addEventListener("controllerchange", resolve, { once: true }),
  );
  return true;
}

/**
 * Who goes sends what they did: afterwards it would wait until they come back.
 *
 * @param {MouseEvent} event
 */
async function leave(event) {
  const link = within(event, 'a[href^="/tablet/who"]');
  const leaver = person();
  if (!link || !leaver || !net.online) return;
  event.preventDefault();
  await hurry(leaver);
  send();
  const until = performance.now() + LEAVE_SECONDS * 1000;
  const waits = async () =>
    (await all()).some((action) => action.person === leaver && action.state === WAITING);
  while (performance.now() < until && (await waits())) {
    await new Promise((resolve) => setTimeout(resolve, LEAVE_LOOK_MS));
  }
  location.assign(link.href);
}

document.addEventListener("click", leave);
keepUndo(redraw);
onChange(redraw);
onNet(show);
freshen();
begin();
await redraw();
const fresh = [await forgetOthers(), await startWorker()];
if (fresh.includes(true)) await keepPage(location.pathname);
await keepBoard();
