// The tablet: its queue, what it foresees, and the pages it keeps for when there is no network.

import "./act.js";
import { foresee } from "./foresee.js";
import { show } from "./panel.js";
import { WAITING, all, onChange } from "./queue.js";
import { begin, net, onNet } from "./send.js";

const PAGES = "shutline-pages";
const PERSON = "shutline-person";
const BOARD = "/tablet/";
const OF_A_CAR = ["", "/finding", "/paint"];
const MOST_PICTURES_OF_A_CAR = 12;
const REST_MS = 3000; // nobody has touched the page for so long

function redraw() {
  return Promise.all([foresee(), show()]);
}

// Forget the pages kept for somebody else; what waits to be sent stays where it is.
async function forgetOthers() {
  const person = document.querySelector('meta[name="person"]')?.content ?? "";
  const address = new URL(location.href);
  if (address.searchParams.get("person") === "changed") {
    address.searchParams.delete("person");
    history.replaceState(null, "", address);
  }
  if (!("caches" in window) || localStorage.getItem(PERSON) === person) return;
  await caches.delete(PAGES);
  localStorage.setItem(PERSON, person);
  await keepPage(location.pathname);
}

// Have the worker keep a page. Return its text, or null where it did not come.
async function keepPage(path) {
  if (!navigator.serviceWorker?.controller) return null;
  const answer = await fetch(path).catch(() => null);
  return answer?.ok && !answer.redirected ? answer.text() : null;
}

// Keep the pages of every car on the board, where they changed since they were kept.
async function keepBoard() {
  if (!navigator.serviceWorker?.controller || location.pathname !== BOARD) return;
  const before = JSON.parse(localStorage.getItem(PAGES) ?? "{}");
  const now = {};
  for (const line of document.querySelectorAll("[data-board-car]")) {
    const { boardCar: job, stamp } = line.dataset;
    if (before[job] === stamp && (await hasCar(job))) now[job] = stamp;
    else if (await keepCar(job)) now[job] = stamp;
  }
  localStorage.setItem(PAGES, JSON.stringify(now));
  await forgetGone();
}

const pagesOf = (job) => OF_A_CAR.map((rest) => `/tablet/cars/${job}${rest}`);

async function hasCar(job) {
  const pages = await caches.open(PAGES);
  const there = await Promise.all(pagesOf(job).map((page) => pages.match(page)));
  return !there.includes(undefined);
}

// Keep a car's pages and the pictures on them. Return whether all came.
async function keepCar(job) {
  const texts = [];
  for (const page of pagesOf(job)) texts.push(await keepPage(page));
  if (texts.includes(null)) return false;
  const found = texts.join("").matchAll(/src="(\/api\/v1\/photos\/[^"]+)"/g);
  const pictures = [...new Set([...found].map((one) => one[1].replaceAll("&amp;", "&")))];
  for (const one of pictures.slice(0, MOST_PICTURES_OF_A_CAR)) await fetch(one).catch(() => null);
  return true;
}

// Forget the pages of cars that left the board, unless something about them waits.
async function forgetGone() {
  const here = [...document.querySelectorAll("[data-board-car]")].map((one) => one.dataset.boardCar);
  const needed = new Set([...here, ...(await all()).map((one) => one.job)]);
  const pages = await caches.open(PAGES);
  for (const { url } of await pages.keys()) {
    const job = new URL(url).pathname.match(/^\/tablet\/cars\/([^/]+)/)?.[1];
    if (job && !needed.has(job)) await pages.delete(url);
  }
}

async function startWorker() {
  navigator.storage?.persist?.(); // what waits must outlast a disk that fills up
  if (!("serviceWorker" in navigator)) {
    const line = document.querySelector("[data-net]");
    line?.after(Object.assign(document.createElement("p"), {
      className: "quiet",
      textContent: "This address is not secure (https), so pages open with network only.",
    }));
    return;
  }
  await navigator.serviceWorker.register("/tablet/worker.js", { scope: BOARD });
  await navigator.serviceWorker.ready;
  if (navigator.serviceWorker.controller) return;
  await new Promise((resolve) => navigator.serviceWorker.addEventListener("controllerchange", resolve, { once: true }));
  await keepPage(location.pathname);
}

// Once all that can be sent is sent, or the network is back, show what the service has now; but
// never while somebody is at it. Until then the page shows what it foresees, which is as true.
function freshen() {
  let old = false;
  let had = 0;
  let offline = !net.online;
  let touched = performance.now();
  const touch = () => (touched = performance.now());
  ["pointerdown", "keydown", "input", "scroll"].forEach((one) => document.addEventListener(one, touch, { passive: true }));
  onNet(() => {
    if (offline && net.online) old = true;
    offline = !net.online;
  });
  onChange(async () => {
    const left = await mineHere();
    if (had && !left) old = true;
    had = left;
  });
  setInterval(async () => {
    const rests = performance.now() - touched > REST_MS;
    if (!old || !rests || document.hidden || !net.online || net.sending || isBegun() || (await mineHere())) return;
    old = false;
    location.reload();
  }, 1000);
}

// Return how many things of whoever is here still wait that this page shows.
async function mineHere() {
  const person = document.querySelector('meta[name="person"]')?.content;
  const car = document.querySelector("[data-car]")?.dataset.car;
  const mine = (await all()).filter((one) => one.person === person && one.state === WAITING);
  return mine.filter((one) => !car || one.job === car).length;
}

// Say whether something is typed, chosen or ticked that was not sent, or the page asks to be left.
function isBegun() {
  if (document.querySelector("[data-no-reload]") || !document.querySelector("[data-car], [data-board-car]")) return true;
  return [...document.querySelectorAll("main input, main textarea, main select")].some((one) => {
    if (one === document.activeElement || one.files?.length) return true;
    if (one.matches("[type=hidden]")) return false;
    if (one.matches("[type=checkbox], [type=radio]")) return one.checked !== one.defaultChecked;
    if (one.matches("select")) return one.selectedIndex !== Math.max([...one.options].findIndex((option) => option.defaultSelected), 0);
    return one.value !== one.defaultValue;
  });
}

onChange(redraw);
onNet(show);
freshen();
begin();
await redraw();
await startWorker();
await forgetOthers();
await keepBoard();
