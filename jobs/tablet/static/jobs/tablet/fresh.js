// Brings a page up to date: once all that can be sent is sent, or the network is back, it is loaded
// anew; but never while somebody is at it. Until then it shows what is foreseen, which is as true.

import { person } from "./elements.js";
import { all, onChange, WAITING } from "./queue.js";
import { net, onNet } from "./send.js";

const LOOK_MS = 1000;
const REST_MS = 3000; // nobody has touched the page for so long
const ANEW_MS = 60_000; // a page that was kept, on a network too slow for pages: not more often
const ANEW = "shutline-anew";
const OURS = "[data-car], [data-board-car], [data-climate]";
const AT_WORK = ["pointerdown", "keydown", "input", "scroll"];

export function freshen() {
  const kept = document.querySelector('meta[name="kept"]') !== null;
  const soonest = kept ? Number(sessionStorage.getItem(ANEW) ?? 0) + ANEW_MS : 0;
  let old = kept;
  let had = 0;
  let offline = !net.online;
  let touched = performance.now();
  const touch = () => {
    touched = performance.now();
  };
  for (const event of AT_WORK) document.addEventListener(event, touch, { passive: true });
  document.addEventListener("outdated", () => {
    old = true;
  });
  onNet(() => {
    old ||= offline && net.online;
    offline = !net.online;
  });
  const look = async () => {
    const left = await mineHere();
    old ||= had > 0 && left === 0;
    had = left;
  };
  onChange(look);
  look(); // what waits already may be gone before anything else changes
  setInterval(async () => {
    if (!old || !net.online || net.sending || document.hidden || Date.now() < soonest) return;
    if (performance.now() - touched < REST_MS || isBegun() || (await mineHere())) return;
    old = false;
    sessionStorage.setItem(ANEW, String(Date.now()));
    location.reload();
  }, LOOK_MS);
}

/**
 * Return how many things of whoever is here still wait that this page shows.
 *
 * @returns {Promise<number>}
 */
async function mineHere() {
  const car = document.querySelector("[data-car]")?.dataset.car;
  const mine = (await all()).filter(
    (action) => action.person === person() && action.state === WAITING,
  );
  return mine.filter((action) => !car || action.job === car).length;
}

/**
 * Say whether something was begun and not sent, or the page asks to be left as it is.
 *
 * @returns {boolean}
 */
function isBegun() {
  if (document.querySelector("[data-no-reload], dialog[open]") || !document.querySelector(OURS)) {
    return true;
  }
  return [...document.querySelectorAll("main input, main textarea, main select")].some(isChanged);
}

/**
 * @param {HTMLInputElement | HTMLTextAreaElement | HTMLSelectElement} field
 * @returns {boolean}
 */
function isChanged(field) {
  if (field === document.activeElement) return true;
  if (field instanceof HTMLSelectElement) {
    const first = [...field.options].findIndex((option) => option.defaultSelected);
    return field.selectedIndex !== Math.max(first, 0);
  }
  if (field instanceof HTMLTextAreaElement) return field.value !== field.defaultValue;
  if (field.type === "hidden") return false;
  if (field.type === "file") return Boolean(field.files?.length);
  if (["checkbox", "radio"].includes(field.type)) return field.checked !== field.defaultChecked;
  return field.value !== field.defaultValue;
}
