// What cures and dries on the car: its bars grow, what is over says so, and the move that waits for
// the last of it opens. Queued touch tests count: foresee.js notes on the row what was felt.
// Everything is found anew each time: the page may be drawn afresh while it is open.

import { find } from "./elements.js";

let ran = false;

/**
 * One that is too cold or too damp has no end that a time could tell.
 *
 * @param {HTMLElement} wait
 * @param {number} now
 */
const isOver = (wait, now) =>
  !("halted" in wait.dataset) && Date.parse(wait.dataset.ends ?? "") <= now;
/**
 * @param {HTMLElement} wait
 * @param {number} now
 */
const isDone = (wait, now) =>
  wait.dataset.found === "dry" || (!("touch" in wait.dataset) && isOver(wait, now));

function tick() {
  const now = Date.now();
  const waits = [...document.querySelectorAll("[data-wait]")];
  for (const wait of waits) {
    wait.toggleAttribute("data-due", isOver(wait, now));
    wait.toggleAttribute("data-done", isDone(wait, now));
    grow(wait.querySelector("progress[data-full]"), now);
  }
  const runs = waits.some((wait) => !isDone(wait, now));
  const starts = document.querySelector("[data-car]")?.dataset.cures === "yes";
  for (const button of document.querySelectorAll("button[data-waits]")) {
    button.disabled = runs || starts;
  }
  for (const words of document.querySelectorAll("[data-wait-words]")) words.hidden = !runs;
  for (const words of document.querySelectorAll("[data-starts-words]")) {
    words.hidden = runs || !starts;
  }
  if (waits.length) find("[data-all-done]").hidden = runs;
  if (ran && !runs) ended();
  ran = runs;
}

/**
 * Between two looks of the service at it, the bar goes on evenly; one that stands still has no
 * end.
 *
 * @param {HTMLProgressElement | null} bar
 * @param {number} now
 */
function grow(bar, now) {
  if (!bar) return;
  const { from = "", full = "", percent } = bar.dataset;
  const share = (now - Date.parse(from)) / (Date.parse(full) - Date.parse(from));
  bar.value = Number(percent) + (100 - Number(percent)) * Math.min(Math.max(share, 0), 1);
  find("span", bar.parentElement ?? document).textContent = `${Math.floor(bar.value)} % done`;
}

// The last of it is over while the page is open: what it says is next is so no more.
function ended() {
  document.querySelector("p.todo")?.remove();
  document.dispatchEvent(new Event("outdated"));
}

document.addEventListener("foreseen", tick);
tick();
setInterval(tick, 1000);
