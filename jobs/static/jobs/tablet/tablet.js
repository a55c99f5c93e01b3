// The tablet: its queue, what it foresees, and the pages it keeps for when there is no network.

import "./act.js";
import { foresee } from "./foresee.js";
import { show } from "./panel.js";
import { onChange } from "./queue.js";
import { begin, net, onNet } from "./send.js";

const PAGES = "shutline-pages";
const PERSON = "shutline-person";
const QUIET_SECONDS = 1;

function redraw() {
  return Promise.all([foresee(), show()]);
}

// Forget the pages kept for somebody else; what waits to be sent stays where it is.
async function forgetOthers() {
  const person = document.querySelector('meta[name="person"]')?.content ?? "";
  const asked = new URLSearchParams(location.search).get("person") === "changed";
  if (!("caches" in window) || (!asked && localStorage.getItem(PERSON) === person)) return;
  await caches.delete(PAGES);
  localStorage.setItem(PERSON, person);
  if (asked) history.replaceState(null, "", location.pathname);
}

// Keep the pages of every car on the board, where they changed since they were kept.
async function keepBoard() {
  if (!navigator.serviceWorker?.controller) return;
  const kept = JSON.parse(localStorage.getItem(PAGES) ?? "{}");
  const here = {};
  for (const line of document.querySelectorAll("[data-board-car]")) {
    const { boardCar: job, stamp } = line.dataset;
    const pages = ["", "/finding", "/paint"].map((rest) => `/tablet/cars/${job}${rest}`);
    const there = await Promise.all(pages.map((page) => caches.match(page)));
    try {
      if (kept[job] !== stamp || there.includes(undefined)) {
        for (const page of pages) await fetch(page);
      }
      here[job] = stamp;
    } catch {
      break; // no network: what is kept stays
    }
  }
  localStorage.setItem(PAGES, JSON.stringify({ ...kept, ...here }));
}

async function startWorker() {
  if (!("serviceWorker" in navigator)) {
    const line = document.querySelector("[data-net]");
    line?.after(Object.assign(document.createElement("p"), {
      className: "quiet",
      textContent: "This address is not secure (https), so pages open with network only.",
    }));
    return;
  }
  await navigator.serviceWorker.register("/tablet/worker.js", { scope: "/tablet/" });
  await navigator.serviceWorker.ready;
  if (!navigator.serviceWorker.controller) {
    await new Promise((resolve) => navigator.serviceWorker.addEventListener("controllerchange", resolve, { once: true }));
    await fetch(location.href); // the worker keeps it
  }
}

// When the last thing was sent, show the car as the service has it now.
function freshen() {
  let had = 0;
  let timer = null;
  onChange(async () => {
    const { all } = await import("./queue.js");
    const left = (await all()).length;
    clearTimeout(timer);
    if (had && !left && net.online) timer = setTimeout(reload, QUIET_SECONDS * 1000);
    had = left;
  });
}

function reload() {
  const page = document.querySelector("[data-car], [data-board-car]");
  if (page && !document.querySelector("[data-no-reload]") && !isBegun()) location.reload();
}

// Say whether something is typed, chosen or ticked that was not sent.
function isBegun() {
  return [...document.querySelectorAll("main input, main textarea, main select")].some((one) => {
    if (one === document.activeElement || one.files?.length) return true;
    if (one.matches("[type=hidden], select")) return false;
    if (one.matches("[type=checkbox], [type=radio]")) return one.checked !== one.defaultChecked;
    return one.value !== one.defaultValue;
  });
}

onChange(redraw);
onNet(show);
freshen();
begin();
await redraw();
await forgetOthers();
await startWorker();
await keepBoard();
